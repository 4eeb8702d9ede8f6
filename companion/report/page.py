"""The commissioning report: one HTML page, complete in itself, for the screen and for paper."""

from __future__ import annotations

from datetime import UTC, tzinfo
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from companion.report import sections
from companion.report.folding import story
from companion.report.markup import Markup, element, joined
from companion.report.notes import notes
from companion.report.steps import wordings
from companion.report.wording import Clock, lasting, left_as, named, plural

if TYPE_CHECKING:
    from collections.abc import Sequence

    from companion.dialogue.forgetting import Forgotten
    from companion.ports import Entry
    from companion.report.folding import Story
    from companion.report.notes import Sounds

# Nothing is fetched and nothing runs, whatever a text in the log may try.
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; media-src data:"
_BY_HAND = ("Address", "Permit", "Technician", "Licence", "Signature", "Date")


def report_page(
    entries: Sequence[Entry], *, zone: tzinfo | None = UTC, sounds: Sounds | None = None
) -> str:
    """Return the report on a job as a self-contained HTML page.

    Args:
        entries: the job's entries, in order; at least the one that opens it.
        zone: the zone in which times are written, None for the machine's own; each also carries
            its UTC time.
        sounds: where the sound of notes is; without it they are told by name and digest.
    """
    told = story(entries)
    clock = Clock(zone, told.opened)
    page = element(
        "html",
        element(
            "head",
            element("meta", charset="utf-8"),
            element("meta", http_equiv="Content-Security-Policy", content=_POLICY),
            element("meta", name="viewport", content="width=device-width, initial-scale=1"),
            element("title", f"Commissioning report, job {told.job}"),
            element("style", _style()),
        ),
        element("body", element("main", _head(told, clock), _body(told, clock, sounds))),
        lang="en",
    )
    return f"<!DOCTYPE html>\n{page}\n"


@cache
def _style() -> Markup:
    """The style sheet is ours and holds no '<', so it goes in as it is."""
    return Markup((files("companion.report") / "page.css").read_text(encoding="utf-8"))


def _head(told: Story, clock: Clock) -> Markup:
    return element(
        "header",
        element("p", "Commissioning report", class_="kind"),
        element("h1", told.title or "Untitled job"),
        _ending(told, clock),
        element("dl", *_facts(told, clock), class_="facts"),
    )


def _ending(told: Story, clock: Clock) -> Markup:
    """How the job ended, first and plainly."""
    last = clock.date_time(told.last) if told.last else None
    if told.ended == "finished":
        return element("p", element("strong", "Finished"), " ", last, class_="ending finished")
    if told.ended == "left safe":
        checks = [check for check in told.left_checks if check != "told"]
        left = joined(
            f"Told: {told.told}. " if told.told else None,
            f"Affirmed: {', '.join(map(left_as, checks))}." if checks else None,
        )
        return element(
            "p",
            element("strong", "Left safe, not finished"),
            " ",
            last,
            element("span", left) if left else None,
            class_="ending left",
        )
    return element(
        "p",
        element("strong", "This job is still open"),
        element("span", "What follows is how it stood at ", last, ".", _standing_at(told)),
        class_="ending open",
    )


def _standing_at(told: Story) -> str | None:
    words = wordings(told.text, told.procedure)
    return f" The step: {words.step(told.step)}" if told.step else None


def _facts(told: Story, clock: Clock) -> list[Markup]:
    procedure = f"{told.procedure}, version {told.version}" if told.procedure else ""
    facts: list[tuple[str, str | Markup | None]] = [
        ("Job", told.job),
        ("Procedure", procedure),
        ("Opened", clock.date_time(told.opened) if told.opened else None),
        ("Took", lasting(told.opened, told.last) if told.opened and told.last else None),
        ("Licensed for line voltage", _licensed(told)),
        ("State or province", named(told.answers.get("region") or "not asked")),
        ("Times are", clock.zone_name(told.opened) if told.opened else None),
    ]
    return [
        element("div", element("dt", term), element("dd", value)) for term, value in facts if value
    ]


def _licensed(told: Story) -> str:
    return named(told.answers.get("licensed") or "not asked")


def _body(told: Story, clock: Clock, sounds: Sounds | None) -> Markup:
    words = wordings(told.text, told.procedure)
    for search in told.searches:
        words = words.or_else(wordings(search.text, search.procedure))
    return joined(
        sections.attention(told, words, clock),
        sections.alarms(told, clock),
        sections.searches(told, clock),
        sections.readings(told, clock),
        sections.holds(told, words, clock),
        sections.cautions(told, words, clock),
        sections.steps(told, words, clock),
        sections.questions(told, words, clock),
        notes(told, words, clock, sounds),
        sections.hearing(told, clock),
        _by_hand(),
        _chain(told, clock),
    )


def _by_hand() -> Markup | None:
    """What the log does not hold: lines to be filled in on paper."""
    return sections.section(
        "To fill in by hand",
        element(
            "div",
            [element("p", element("span", label), class_="blank") for label in _BY_HAND],
            class_="blanks",
        ),
        class_="by-hand",
    )


def _removals(told: Story, clock: Clock) -> list[Markup]:
    """Who asks why something is missing finds here when and why it went."""
    return [
        element(
            "p",
            "Entry ",
            str(removal.number),
            ", ",
            clock.date_time(removal.at),
            f": removed {_lost(removal)}. Why: {removal.why or 'not said'}.",
        )
        for removal in told.removals
    ]


def _lost(removal: Forgotten) -> str:
    said = f"what {plural(len(removal.entries), 'entry', 'entries')} said"
    sound = f"the sound of {plural(len(removal.sounds), 'entry', 'entries')}"
    parts = [said] * bool(removal.entries) + [sound] * bool(removal.sounds)
    return " and ".join(parts) or "nothing"


def _chain(told: Story, clock: Clock) -> Markup | None:
    state = "does not hold" if told.damage else "holds"
    removed = (
        f" The content of {plural(told.removed, 'entry', 'entries')} was removed on request."
        if told.removed
        else ""
    )
    return sections.section(
        "Record",
        element(
            "p",
            f"{plural(told.entries, 'entry', 'entries')}; the chain {state}.{removed} Nothing is"
            " ever changed in the log: a correction is a new entry. The digest below stands for"
            " all of them; the same digest in an export shows that it is the same record.",
        ),
        element("p", element("code", told.head), class_="digest"),
        *_removals(told, clock),
        element(
            "p",
            "Procedure text: ",
            element("code", told.procedure_digest),
            class_="digest",
        )
        if told.procedure_digest
        else None,
        class_="record",
    )
