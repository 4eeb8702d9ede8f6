"""From the inputs of a question to its answer: what is missing, what is refused, what is said.

Nothing here knows a formula. The order is always the same: settle the inputs (said, else read off
the log, else assumed), refuse what is missing or out of range, work it out, put it into words.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from companion import quantities
from companion.sizing.model import Amount, Answer, Given, MeasureLike
from companion.sizing.refusals import (
    capital,
    left_out,
    not_an_option,
    out_of_range,
    refusal,
    wrong_unit,
)
from companion.sizing.tables import exact_number, table

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.sizing.model import Input, Inputs, Range, Result, Said, Sizing

_BREATH_WORDS = 20


def missing_input(sizing: Sizing, given: Inputs, log: Mapping[str, MeasureLike]) -> Input | None:
    """Return the first input that must be known and is not; see `companion.sizing.missing`."""
    known = _known(sizing, given, log)
    for wanted in sizing.inputs:
        if wanted.name not in known and not wanted.default and wanted.needed(known):
            return wanted
    return None


def answered(sizing: Sizing, given: Inputs, log: Mapping[str, MeasureLike], region: str) -> Answer:
    """Return the answer; see `companion.sizing.answer`."""
    if sizing.united_states_only and is_canadian(region):
        raise refusal(
            f"{sizing.title} rests on NFPA 70, and {region} follows CSA C22.1",
            "Ask a licensed electrician there.",
            "Canada has its own wire table. Ask a licensed electrician.",
        )
    _check_names(sizing, given)
    wanted = missing_input(sizing, given, log)
    if wanted is not None:
        raise left_out(wanted)
    settled = _settled(sizing, given, log)
    return _in_words(sizing, settled, sizing.work(settled), _log_used(sizing, given, log))


def changed(sizing: Sizing, given: Inputs, measure: MeasureLike) -> dict[str, Said]:
    """Return the inputs with the one replaced that `measure` fits; see `companion.sizing.change`.

    What was said is changed before what was assumed; among several that fit, none is guessed.
    """
    fitting = [wanted for wanted in sizing.inputs if _fits(wanted, measure)]
    said = [wanted for wanted in fitting if wanted.name in given]
    of_these = said or fitting
    if len(of_these) == 1 and not of_these[0].many:
        return {**given, of_these[0].name: measure}
    if not of_these:
        raise refusal(
            f"{sizing.title} has nothing in that unit",
            "Ask the question again, in full.",
            "Nothing here is measured in that. Ask it again.",
        )
    names = " or ".join(wanted.spoken for wanted in of_these[:2])
    raise refusal(
        f"The change could be {', '.join(wanted.spoken for wanted in of_these)}",
        "Ask the question again, in full.",
        f"Change the {names}? Ask it again in full.",
    )


def is_canadian(region: str) -> bool:
    """Return whether a region, by name or letter code, is a province or territory of Canada.

    >>> is_canadian("ON"), is_canadian("Ohio")
    (True, False)
    """
    named = region.strip().lower()
    return any(named in (row.text("region"), row.text("short")) for row in table("regions").rows)


# ---------------------------------------------------------------- settling the inputs


def _known(sizing: Sizing, given: Inputs, log: Mapping[str, MeasureLike]) -> dict[str, Said]:
    """What was said, and what the log fills of the rest."""
    known = dict(given)
    for wanted in sizing.inputs:
        reading = next((log[point] for point in wanted.from_log if point in log), None)
        if wanted.name not in known and reading is not None and wanted.needed(known):
            known[wanted.name] = reading
    return known


def _log_used(sizing: Sizing, given: Inputs, log: Mapping[str, MeasureLike]) -> Mapping[str, str]:
    """Which test point filled which input."""
    filled = _known(sizing, given, log).keys() - given.keys()
    return {
        wanted.name: next(point for point in wanted.from_log if point in log)
        for wanted in sizing.inputs
        if wanted.name in filled
    }


def _check_names(sizing: Sizing, given: Inputs) -> None:
    unknown = sorted(given.keys() - {wanted.name for wanted in sizing.inputs})
    if unknown:
        raise refusal(
            f"{sizing.slug} has no input '{unknown[0]}'",
            f"It takes: {', '.join(wanted.name for wanted in sizing.inputs)}.",
            "I can't use that here. Ask it again.",
        )


def _settled(sizing: Sizing, given: Inputs, log: Mapping[str, MeasureLike]) -> Given:
    known = _known(sizing, given, log)
    amounts: dict[str, tuple[Amount, ...]] = {}
    picks: dict[str, str] = {}
    assumed = set()
    for wanted in sizing.inputs:
        said = known.get(wanted.name)
        if said is None and wanted.default and wanted.needed(known):
            assumed.add(wanted.name)
            said = wanted.default
        if said is None:
            continue
        if wanted.options:
            picks[wanted.name] = _option(wanted, said)
        else:
            amounts[wanted.name] = _amounts(wanted, said)
    return Given(amounts, picks, frozenset(assumed))


def _option(wanted: Input, said: Said) -> str:
    """Return which option was said, as a word or as a number."""
    if isinstance(said, tuple):
        raise not_an_option(wanted, "several")
    if isinstance(said, str):
        if said not in {option.value for option in wanted.options}:
            raise not_an_option(wanted, said)
        return said
    for option in wanted.options:
        if _as_fraction(option.value) == Fraction(said.value):
            return option.value
    raise not_an_option(wanted, Amount(said.value, said.unit or "count").written())


def _as_fraction(option: str) -> Fraction | None:
    """Return an option as a number: '1-1/4' is five quarters, 'yes' and '1/0' are none."""
    try:
        return Fraction(exact_number(option.replace("-", " ")))
    except ValueError:
        return None


def _amounts(wanted: Input, said: Said) -> tuple[Amount, ...]:
    if isinstance(said, str):  # the default, or words that are no number
        try:
            return (Amount(exact_number(said), wanted.unit),)
        except ValueError as exc:
            raise refusal(
                f"{wanted.spoken} of '{said}' is no number",
                "Give it as a number.",
                f"I did not get the {wanted.spoken}. Ask again.",
            ) from exc
    several = said if isinstance(said, tuple) else (said,)
    if not several or (len(several) > 1 and not wanted.many):
        raise refusal(
            f"{wanted.spoken} was given {len(several)} times",
            "Give it once.",
            f"Say the {wanted.spoken} once.",
        )
    return tuple(
        _checked(wanted, Amount(m.value, _as_meant(wanted, m.unit or wanted.unit))) for m in several
    )


def _checked(wanted: Input, amount: Amount) -> Amount:
    valid = _range_for(wanted, amount.unit)
    if valid is None:
        raise wrong_unit(wanted, amount.unit)
    if not valid.holds(amount):
        raise out_of_range(wanted, amount, valid)
    return amount


def _range_for(wanted: Input, unit: str) -> Range | None:
    """Return the range of that unit, else the first of its dimension."""
    if unit not in quantities.UNITS:
        return None
    dimension = quantities.UNITS[unit].dimension
    same = [r for r in wanted.ranges if quantities.UNITS[r.unit].dimension == dimension]
    return next((r for r in same if r.unit == unit), same[0] if same else None)


def _as_meant(wanted: Input, unit: str) -> str:
    """Return the unit, or the input's own one that is said alike ('inches' of water, degrees)."""
    if unit not in quantities.UNITS or _range_for(wanted, unit):
        return unit
    heard = set(quantities.UNITS[unit].heard)
    alike = (r.unit for r in wanted.ranges if heard & set(quantities.UNITS[r.unit].heard))
    return next(alike, unit)


def _fits(wanted: Input, measure: MeasureLike) -> bool:
    """Whether a measure could be this input; a bare number fits whatever is measured."""
    if measure.unit is None:
        return bool(wanted.ranges)
    if wanted.kind == "gauge":
        return measure.unit == "gauge"
    return _range_for(wanted, _as_meant(wanted, measure.unit)) is not None


# ---------------------------------------------------------------- putting it into words


def _in_words(
    sizing: Sizing, settled: Given, result: Result, log_used: Mapping[str, str]
) -> Answer:
    said = {
        wanted.name: phrase
        for wanted in sizing.inputs
        if wanted.name not in settled.assumed and (phrase := _heard(wanted, settled))
    }
    return Answer(
        spoken=f"{result.over} {_result(result.lead, _joined(said, log_used))}".strip(),
        value=result.value,
        unit=result.unit,
        working=result.working,
        spoken_working=_sentence(result.why),
        assumptions=_assumptions(sizing, settled, result),
        caution=" ".join(filter(None, (result.caution, sizing.caution))),
        sources=sizing.sources,
        inputs={sizing.input(name).spoken: _written(sizing.input(name), settled) for name in said},
        from_log=tuple(log_used.values()),
        over_limit=bool(result.over),
        defers=sizing.defers,
        in_metric=_sentence(result.metric),
    )


def _result(lead: str, heard: str) -> str:
    """Return the result with the inputs as heard, in two sentences where one has no breath."""
    if not heard:
        return f"{capital(lead)}."
    whole = f"{capital(lead)}, for {heard}."
    return whole if len(whole.split()) <= _BREATH_WORDS else f"{capital(lead)}. For {heard}."


def _sentence(words: str) -> str:
    return capital(words.rstrip(".")) + "."


def _heard(wanted: Input, settled: Given) -> str:
    """Return an input as it is said back, '' where it is unknown or goes without saying."""
    if wanted.name in settled.picks:
        chosen = settled.picks[wanted.name]
        words = next(option.spoken for option in wanted.options if option.value == chosen)
        return wanted.heard.format(words) if words else ""
    amounts = settled.amounts.get(wanted.name, ())
    if not amounts:
        return ""
    words = " plus ".join(amount.spoken() for amount in amounts)
    usual = amounts[0].unit == wanted.unit
    return wanted.heard.format(words, number=amounts[0].number() if usual else words)


def _written(wanted: Input, settled: Given) -> str:
    if wanted.name in settled.picks:
        return settled.picks[wanted.name]
    return " + ".join(amount.written() for amount in settled.amounts[wanted.name])


def _joined(said: Mapping[str, str], log_used: Mapping[str, str]) -> str:
    """Return the inputs as heard, with a word for those that came from the log."""
    if log_used and said.keys() <= log_used.keys():
        phrases = [*said.values(), "from the log"]
    else:
        phrases = [
            f"{phrase} from the log" if name in log_used else phrase
            for name, phrase in said.items()
        ]
    return ", ".join(phrases).replace(", ~", " ").removeprefix("~")


def _assumptions(sizing: Sizing, settled: Given, result: Result) -> tuple[str, ...]:
    """Return what was taken for granted, every default in it, ready to be said."""
    taken = [
        sizing.assumption,
        *(wanted.assumed for wanted in sizing.inputs if wanted.name in settled.assumed),
    ]
    told = ", ".join(filter(None, taken))
    sentences = (f"Taking {told}." if told else "", result.assumption)
    spoken = " ".join(filter(None, sentences))
    return (spoken,) if spoken else ()
