"""The sections of the report after its head, each None where there is nothing to tell."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.report.markup import element, joined
from companion.report.reading_tables import all_readings, comparison, table
from companion.report.wording import hazard, lines, measured, named, plain, plural, shortened

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from companion.dialogue.record import LoggedReading
    from companion.ports import Json
    from companion.report.markup import Element, Markup
    from companion.report.steps import Wordings
    from companion.report.told import Passage, Story
    from companion.report.wording import Clock


def section(title: str, *content: Markup | None, class_: str | None = None) -> Element | None:
    """Return a section with its heading in the margin, or None without content."""
    if not any(content):
        return None
    return element(
        "section", element("h2", title), element("div", *content, class_="body"), class_=class_
    )


# ---------------------------------------------------------------- readings


def readings(told: Story, clock: Clock) -> Markup | None:
    """Return the readings: before against after first, then each as it was taken."""
    compared = comparison(told)
    listed = all_readings(told, clock)
    return section(
        "Readings",
        element("h3", "As found and as left") if compared else None,
        compared,
        element("h3", "In the order taken") if compared else None,
        listed,
    )


# ---------------------------------------------------------------- hold points and cautions


def holds(told: Story, words: Wordings, clock: Clock) -> Markup | None:
    """Return each passage of a hold point, with the checks and readings that met it."""
    return section("Hold points", *(_passage(told, p, words, clock) for p in told.passages))


def _passage(told: Story, passage: Passage, words: Wordings, clock: Clock) -> Markup:
    met = (
        joined("Met at ", clock.time(passage.met))
        if passage.met
        else element("strong", "Not met", class_="unmet")
    )
    why = f" ({passage.why})" if passage.why and passage.why != "reached" else ""
    return element(
        "article",
        element("h3", hold_name(passage, words)),
        element("p", met, ". Opened at ", clock.time(passage.opened), why, ".", class_="when"),
        _evidence(told, passage, words, clock),
        class_="hold",
    )


def hold_name(passage: Passage, words: Wordings) -> str:
    """Return a hold point's number and title."""
    title = passage.title or words.hold(passage.step)
    return f"{passage.hold} {title}".strip()


def _evidence(told: Story, passage: Passage, words: Wordings, clock: Clock) -> Markup | None:
    """The checks and readings, each with its time, in the order in which they came."""
    checks = [
        (at, words.check(passage.step, check), plain(answer))
        for at, check, answer in passage.checks
    ]
    taken = [
        (r.at, named(r.name or r.point), _measured_and_judged(r)) for r in told.of_passage(passage)
    ]
    rows = [
        element(
            "tr",
            element("td", clock.time(at), class_="time"),
            element("td", what),
            element("td", answer, class_="figure"),
        )
        for at, what, answer in sorted(checks + taken, key=lambda row: row[0])
    ]
    return element("table", element("tbody", rows), class_="evidence") if rows else None


def _measured_and_judged(reading: LoggedReading) -> str:
    value = measured(reading.value, reading.unit)
    return f"{value}, outside" if reading.verdict == "outside" else value


def cautions(told: Story, words: Wordings, clock: Clock) -> Markup | None:
    """Return the cautions that were heard to their end."""
    return section(
        "Cautions given", timed([(at, words.caution(s)) for at, s in told.cautions], clock)
    )


def timed(rows: list[tuple[datetime, str]], clock: Clock) -> Markup | None:
    """Return rows of a time and a text, None without any."""
    if not rows:
        return None
    return element(
        "table",
        element(
            "tbody",
            [
                element("tr", element("td", clock.time(at), class_="time"), element("td", text))
                for at, text in rows
            ],
        ),
        class_="timed",
    )


# ---------------------------------------------------------------- steps


def steps(told: Story, words: Wordings, clock: Clock) -> Markup | None:
    """Return every step that was reached and how it ended."""
    if not told.steps:
        return None
    counts = {
        how: sum(passed.how == how for passed in told.steps.values())
        for how in ("done", "skipped", "deferred")
    }
    summary = ", ".join(f"{count} {how}" for how, count in counts.items() if count)
    rows = [
        element(
            "tr",
            element("td", clock.time(passed.at or passed.entered), class_="time"),
            element("td", words.step(passed.step)),
            element(
                "td",
                named(passed.how) or "Not completed",
                element("span", passed.why, class_="note") if passed.why else None,
                class_="how" if passed.how == "done" else "how undone",
            ),
        )
        for passed in told.steps.values()
    ]
    return section(
        "Steps",
        element("p", f"{plural(len(told.steps), 'step')} reached: {summary}." if summary else None),
        table(("Time", "Step", "How it ended"), rows, "steps"),
    )


# ---------------------------------------------------------------- questions


def questions(told: Story, words: Wordings, clock: Clock) -> Markup | None:
    """Return each sizing question with its answer, working and sources."""
    return section("Questions", *(_question(at, said, words, clock) for at, said in told.questions))


def _question(at: datetime, said: Mapping[str, Json], words: Wordings, clock: Clock) -> Markup:
    title = plain(said.get("title")) or named(plain(said.get("sizing")))
    caution = plain(said.get("caution"))
    return element(
        "article",
        element("h3", title, element("span", clock.time(at), class_="aside")),
        element("p", plain(said.get("spoken")), class_="answer"),
        element(
            "dl",
            *_fact("Asked with", _inputs(said.get("inputs"))),
            *_fact("From the log", _points(said.get("from_log"), words)),
            *_fact("Result", _result(said)),
            *_fact("Working", lines(said.get("working"))),
            *_fact("Assumed", lines(said.get("assumptions"))),
            *_fact("Caution", [caution] if caution else []),
            *_fact("Source", lines(said.get("sources"))),
        ),
        class_="question",
    )


def _result(said: Mapping[str, Json]) -> list[str]:
    value, unit = plain(said.get("value")), plain(said.get("unit"))
    return [measured(shortened(value), unit)] if value else []


def _points(value: Json, words: Wordings) -> list[str]:
    return [", ".join(map(words.point, lines(value)))] if lines(value) else []


def _inputs(value: Json) -> list[str]:
    if not isinstance(value, dict):
        return lines(value)
    return [", ".join(f"{named(key).lower()} {plain(item)}" for key, item in value.items())]


def _fact(term: str, texts: list[str]) -> list[Markup]:
    if not texts:
        return []
    return [element("dt", term), element("dd", [element("div", text) for text in texts])]


# ---------------------------------------------------------------- what else happened


def alarms(told: Story, clock: Clock) -> Markup | None:
    """Return the emergencies: when, what was said, when the technician was clear of it."""
    return section(
        "Emergencies",
        *(
            element(
                "p",
                element("strong", hazard(alarm.hazard)),
                " at ",
                clock.time(alarm.at),
                f", said: “{alarm.words}”. ",
                joined("Clear at ", clock.time(alarm.clear), ".")
                if alarm.clear
                else "Clear was never said.",
            )
            for alarm in told.alarms
        ),
        class_="alarms",
    )


def searches(told: Story, clock: Clock) -> Markup | None:
    """Return the faults that were looked for, and how each search ended."""
    ends = {"finished": "to its end", "left": "left early"}
    return section(
        "Faults looked for",
        *(
            element(
                "p",
                element("strong", search.title),
                " from ",
                clock.time(search.at),
                f", {ends.get(search.how, 'not ended')}.",
            )
            for search in told.searches
        ),
        class_="searches",
    )


def hearing(told: Story, clock: Clock) -> Markup | None:
    """Return how the conversation went: what had to be asked again, and pauses."""
    pauses = told.kinds["standing-by"]
    facts = [
        f"Asked again {plural(len(told.asked_again), 'time')}." if told.asked_again else None,
        f"Stood by {plural(pauses, 'time')}." if pauses else None,
    ]
    rows = [
        (each.at, f"“{each.words}”: {each.why}" if each.words else each.why)
        for each in told.asked_again
    ]
    resumed = [
        joined("Taken up again at ", *_listed(told.resumed, clock), ". ") if told.resumed else None
    ]
    said = [fact for fact in facts if fact]
    return section(
        "Conversation",
        element("p", " ".join([*said, ""]), *resumed) if said or told.resumed else None,
        timed(rows, clock),
    )


def _listed(times: list[datetime], clock: Clock) -> list[Markup | str | None]:
    listed: list[Markup | str | None] = []
    for at in times:
        listed += [", " if listed else None, clock.time(at)]
    return listed
