"""What the report says, as one tree: HTML and PDF are written from it, so they say the same."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from companion.report import sections
from companion.report.air_profile import air_profile
from companion.report.attention import attention
from companion.report.customer import customer_page
from companion.report.folding import story
from companion.report.handover import left_behind, local_code, region
from companion.report.heard import readings_heard
from companion.report.markup import Element, element, joined
from companion.report.notes import notes
from companion.report.power_budget import power_budget
from companion.report.site import equipment_and_site
from companion.report.steps import Wordings, wordings
from companion.report.wording import Clock, lasting, left_as, named, plural

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import tzinfo

    from companion.dialogue.forgetting import Forgotten
    from companion.ports import Entry
    from companion.report.markup import Markup
    from companion.report.notes import Sounds
    from companion.report.told import Story


@dataclass(frozen=True, slots=True)
class Document:
    """A report: the job's id, the last digest of its chain, its region and the two parts."""

    job: str
    head: str
    region: str
    customer: Element
    technical: Element


def document(entries: Sequence[Entry], *, zone: tzinfo | None, sounds: Sounds | None) -> Document:
    """Return the report on a job.

    Args:
        entries: the job's entries, in order.
        zone: the zone in which times are written, None for the machine's own.
        sounds: where the sound of notes is; without it they are told by name and digest.
    """
    told = story(entries)
    clock = Clock(zone, told.opened)
    words = wordings(told.text, told.procedure)
    for search in told.searches:
        words = words.or_else(wordings(search.text, search.procedure))
    return Document(
        told.job,
        told.head,
        told.answer("region"),
        customer_page(told, words, clock),
        element(
            "article",
            _head(told, clock),
            _body(told, words, clock, sounds),
            class_="technical",
        ),
    )


def _head(told: Story, clock: Clock) -> Element:
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
            element("span", left, class_="beneath") if left else None,
            class_="ending left",
        )
    return element(
        "p",
        element("strong", "This job is still open"),
        element(
            "span",
            "What follows is how it stood at ",
            last,
            ".",
            _standing_at(told),
            class_="beneath",
        ),
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
        ("State or province", region(told)),
        ("Times are", clock.zone_name(told.opened) if told.opened else None),
    ]
    return [
        element("div", element("dt", term), element("dd", value)) for term, value in facts if value
    ]


def _licensed(told: Story) -> str:
    return named(told.answer("licensed") or "not asked")


def _body(told: Story, words: Wordings, clock: Clock, sounds: Sounds | None) -> Markup:
    return joined(
        attention(told, words, clock),
        sections.alarms(told, clock),
        sections.searches(told, clock),
        equipment_and_site(told, words, clock),
        sections.readings(told, clock),
        air_profile(told),
        power_budget(told),
        sections.holds(told, words, clock),
        sections.cautions(told, words, clock),
        sections.steps(told, words, clock),
        sections.questions(told, words, clock),
        notes(told, words, clock, sounds),
        readings_heard(told, clock),
        sections.hearing(told, clock),
        left_behind(told, words, clock),
        local_code(told, words, clock),
        _chain(told, clock),
    )


def _removals(told: Story, clock: Clock) -> list[Element]:
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
