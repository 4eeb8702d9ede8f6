"""How many questions are understood by a model that did not learn from them."""

from __future__ import annotations

import csv
import json
from dataclasses import asdict, dataclass
from importlib.resources import files
from typing import TYPE_CHECKING

from rapidfuzz import fuzz, process

from companion import sizing
from companion.bench.hearing.labels import inputs_apart, label
from companion.bench.rates import wilson
from companion.bench.wordings.making import made, talk, write_model
from companion.errors import InputError
from companion.language.amounts import pieces
from companion.language.loosely import question
from companion.language.wordings import packaged_wordings

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from companion.language.meanings import Question
    from companion.language.question_model import QuestionModel
    from companion.language.wordings import Wording

    Words = tuple[str, ...]

_PEER_LEAST = 80.0  # token set ratio from which the peer takes a wording for the question


@dataclass(slots=True)
class Tally:
    """What came of so many questions.

    Attributes:
        right: the sizing and every input.
        part: the sizing, with an input left out that is asked for.
        wrong_input: the sizing, with a wrong input, or answered without one that was said; the
            answer says it aloud.
        other: another sizing.
        not_understood: none.
    """

    right: int = 0
    part: int = 0
    wrong_input: int = 0
    other: int = 0
    not_understood: int = 0

    @property
    def of(self) -> int:
        """How many there were."""
        return sum(asdict(self).values())

    def line(self, name: str) -> str:
        """Return a line for the screen: percents, the last with its 95 % bound."""
        shares = "".join(f"{100 * times / max(1, self.of):8.1f}" for times in asdict(self).values())
        wrong = wilson(self.other + self.wrong_input, max(1, self.of))
        return f"{name:28}{self.of:6}{shares}    wrong at most {100 * wrong.high:.1f}"


def report(shares: int, out: Path | None, *, errors: bool) -> None:
    """Test in shares, then on questions and remarks of other writers; write the model of all."""
    asked, spoken = packaged_wordings(), talk()
    found: dict[str, Tally] = {}
    print(f"{'':28}{'of':>6}{'right':>8}{'part':>8}{'input':>8}{'other':>8}{'none':>8}   %")
    if shares > 1:
        ours, peer = Tally(), Tally()
        for share in range(shares):
            learnt = [each for at, each in enumerate(asked) if at % shares != share]
            model, _ = made(learnt, spoken)
            for wording in asked[share::shares]:
                _count(ours, wording, model, errors=errors)
            _count_peer(peer, asked[share::shares], learnt)
        found |= {"wordings, not learnt from": ours, "the nearest wording (peer)": peer}
        for name, tally in found.items():
            print(tally.line(name), flush=True)
    model, slots = made(asked, spoken)
    found["'asked', another writer"] = _count_asked(model, errors=errors)
    print(found["'asked', another writer"].line("'asked', another writer"))
    taken, remarks = _taken(model, errors=errors)
    print(f"remarks taken for a question: {taken} of {remarks}")
    if out is not None:
        try:
            write_model(out, model, slots)
        except OSError as problem:
            raise InputError(
                f"'{out}' cannot be written: {problem.strerror}", "Choose another with --out."
            ) from problem
    told = {name: asdict(tally) for name, tally in found.items()}
    print(json.dumps({"questions": told, "remarks": [taken, remarks]}))


def _count(tally: Tally, wording: Wording, model: QuestionModel, *, errors: bool) -> None:
    meant = question(wording.words, model)
    wanted = _label(wording)
    came = _against(meant, wanted)
    setattr(tally, came, getattr(tally, came) + 1)
    if errors and came in {"other", "wrong_input"}:
        print(f"  {came}: {' '.join(wording.words)} -> {label(meant) if meant else ''}")


def _label(wording: Wording) -> str:
    """Return what a wording means by its marks, as `labels.label` puts it."""
    given = []
    for mark in wording.marked:
        said = pieces(list(wording.words[mark.start : mark.end]))
        amount = next((piece for piece in said if piece.is_amount), None)
        words = "-".join(wording.words[mark.start : mark.end])
        value = mark.value or (words if amount is None else str(amount.value))
        given.append(f"{mark.name}={value}")
    return " ".join([f"questions.{wording.sizing}", *given])


def _count_peer(tally: Tally, tested: Sequence[Wording], learnt: Sequence[Wording]) -> None:
    """The peer knows no inputs: where it finds the sizing, that counts as all right."""
    texts = [" ".join(each.words) for each in learnt]
    for wording in tested:
        nearest = process.extractOne(
            " ".join(wording.words), texts, scorer=fuzz.token_set_ratio, score_cutoff=_PEER_LEAST
        )
        if nearest is None:
            tally.not_understood += 1
        elif learnt[nearest[2]].sizing == wording.sizing:
            tally.right += 1
        else:
            tally.other += 1


def _rows(name: str) -> Iterable[dict[str, str]]:
    text = files("companion.bench.hearing").joinpath(name).read_text("utf-8")
    return csv.DictReader(text.splitlines(), delimiter="\t")


def _count_asked(model: QuestionModel, *, errors: bool) -> Tally:
    tally = Tally()
    for row in _rows("asked_questions.tsv"):
        meant = question(tuple(row["words"].split()), model)
        wanted = row["means"]
        came = _against(meant, wanted)
        setattr(tally, came, getattr(tally, came) + 1)
        if errors and came != "right":
            print(f"  {came}: {row['words']} | {wanted} -> {label(meant) if meant else ''}")
    return tally


def _against(meant: Question | None, wanted: str) -> str:
    """Return what came of a question whose meaning is written down as a label."""
    if meant is None:
        return "not_understood"
    found = label(meant)
    if found.split(" ")[0] != wanted.split(" ", maxsplit=1)[0]:
        return "other"
    missing, added = inputs_apart(wanted, found)
    if added:
        return "wrong_input"
    if not missing:
        return "right"
    asks = sizing.missing(meant.sizing, meant.inputs) is not None
    return "part" if asks else "wrong_input"


def _taken(model: QuestionModel, *, errors: bool) -> tuple[int, int]:
    """Return how many remarks would be taken for a question, and of how many."""
    remarks = [row["words"].replace("/", " ").split() for row in _rows("remarks.tsv")]
    taken = [(words, found) for words in remarks if (found := question(words, model))]
    if errors:
        for words, found in taken:
            print(f"  taken: {' '.join(words)} -> {label(found)}")
    return len(taken), len(remarks)
