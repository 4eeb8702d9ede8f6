"""A job's entries, gathered under the headings of the report.

Tolerant where the log is: a payload that was removed on request, a kind that is unknown here, a
hold point met that was never opened. The report shows what there is and leaves the rest out.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from companion.chain import head, verify
from companion.dialogue.forgetting import FORGOTTEN, FREELY_SAID, removals
from companion.dialogue.record import logged_notes, logged_readings
from companion.errors import DamagedLogError
from companion.report.told import (
    Alarm,
    Answered,
    AskedAgain,
    Confirmed,
    Passage,
    Passed,
    Search,
    Story,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from companion.ports import Entry

# Kinds whose payload says something: an empty one was removed.
_SAY_NOTHING = frozenset(
    {"resumed", "all-clear", "standing-by", "woken", "called-off", "finished", "left-safe"}
)


# A clock that is kept right moves by seconds: common practice, no source.
_SET_BACK = timedelta(minutes=1)


def story(entries: Sequence[Entry]) -> Story:
    """Return what the entries of one job tell.

    Args:
        entries: a job's entries, in order.
    """
    told = Story(
        entries=len(entries),
        head=head(entries),
        readings=logged_readings(entries),
        notes=logged_notes(entries),
        removals=removals(entries),
    )
    emptied = _emptied(entries)
    told.removed = len(emptied)
    told.unjudged = sum(e.number in emptied and e.kind not in FREELY_SAID for e in entries)
    for entry in entries:
        _take(told, entry)
    for passage in told.passages:
        passage.last = passage.last or len(entries)
    try:
        verify(entries)
    except DamagedLogError as broken:
        told.damage = f"{broken.where}: {broken.problem}"
    return told


def _emptied(entries: Sequence[Entry]) -> set[int]:
    """Return the entries that said something and do not any more."""
    named = {number for removal in removals(entries) for number in removal.entries}
    return named | {e.number for e in entries if not e.payload and e.kind not in _SAY_NOTHING}


def _take(told: Story, entry: Entry) -> None:
    """Let one entry add to the story."""
    told.job = entry.job
    told.kinds[entry.kind] += 1
    if entry.kind == FORGOTTEN:  # no work on the job: it did not last until then
        return
    if told.last and told.last - entry.at >= _SET_BACK:
        told.set_back.append((entry.number, told.last, entry.at))
    told.opened = told.opened or entry.at
    told.last = entry.at
    if not entry.payload and entry.kind not in _SAY_NOTHING:
        return
    teller = _TELLERS.get(entry.kind)
    if teller:
        teller(told, entry)


def _job_opened(told: Story, entry: Entry) -> None:
    told.title = said(entry, "title")
    told.procedure = said(entry, "procedure")
    told.version = said(entry, "version")
    told.procedure_digest = said(entry, "digest")
    told.text = said(entry, "text")


def _resumed(told: Story, entry: Entry) -> None:
    told.resumed.append(entry.at)
    told.ended = ""


def _choice(told: Story, entry: Entry) -> None:
    choice = said(entry, "choice")
    told.answered[choice] = Answered(entry.at, said(entry, "step"), choice, said(entry, "option"))


def _choice_withdrawn(told: Story, entry: Entry) -> None:
    told.answered.pop(said(entry, "choice"), None)


def _missed(told: Story, entry: Entry) -> None:
    told.missed.append((entry.at, said(entry, "step"), said(entry, "point")))


def _caution(told: Story, entry: Entry) -> None:
    told.cautions.append((entry.at, said(entry, "step")))


def _step_entered(told: Story, entry: Entry) -> None:
    step = said(entry, "step")
    told.steps.setdefault(step, Passed(step, entry.at))
    told.step = step


def _step_left(how: str, why: str) -> Callable[[Story, Entry], None]:
    def tell(told: Story, entry: Entry) -> None:
        step = said(entry, "step")
        passed = told.steps.setdefault(step, Passed(step, entry.at))
        passed.how, passed.why, passed.at = how, said(entry, why), entry.at

    return tell


def _hold_opened(told: Story, entry: Entry) -> None:
    open_now = _open_passage(told, said(entry, "step"))
    if open_now:
        open_now.last = entry.number
    told.passages.append(_passage(entry))


def _hold_check(told: Story, entry: Entry) -> None:
    passage = _open_passage(told, said(entry, "step"))
    if passage is None:
        passage = _passage(entry)
        told.passages.append(passage)
    passage.checks.append((entry.at, said(entry, "check"), said(entry, "answer")))


def _hold_met(told: Story, entry: Entry) -> None:
    passage = _open_passage(told, said(entry, "step"))
    if passage is None:
        passage = _passage(entry)
        told.passages.append(passage)
    passage.met, passage.last = entry.at, entry.number
    passage.title = said(entry, "title")


def _passage(entry: Entry) -> Passage:
    return Passage(
        said(entry, "step"), said(entry, "hold"), entry.at, said(entry, "why"), first=entry.number
    )


def _open_passage(told: Story, step: str) -> Passage | None:
    """The hold point of this step that was opened last, unless it was met."""
    for passage in reversed(told.passages):
        if passage.step == step:
            return None if passage.met else passage
    return None


def _question(told: Story, entry: Entry) -> None:
    told.questions.append((entry.at, entry.payload))


def _emergency(told: Story, entry: Entry) -> None:
    told.alarms.append(Alarm(entry.at, said(entry, "hazard"), said(entry, "words")))


def _all_clear(told: Story, entry: Entry) -> None:
    for alarm in told.alarms:
        alarm.clear = alarm.clear or entry.at


def _fault_begun(told: Story, entry: Entry) -> None:
    told.searches.append(
        Search(entry.at, said(entry, "title"), said(entry, "procedure"), said(entry, "text"))
    )


def _fault_ended(told: Story, entry: Entry) -> None:
    if told.searches:
        told.searches[-1].how = said(entry, "how")


def _asked_again(told: Story, entry: Entry) -> None:
    told.asked_again.append(
        AskedAgain(entry.number, entry.at, said(entry, "words"), said(entry, "why"))
    )


def _confirmed(told: Story, entry: Entry) -> None:
    told.confirmed.append(Confirmed(entry.number, entry.at, said(entry, "of")))


def _called_off(told: Story, entry: Entry) -> None:
    told.called_off = entry.at


def _left_safe(told: Story, entry: Entry) -> None:
    told.ended = "left safe"
    told.told = said(entry, "told")
    checks = entry.payload.get("checks") or []
    told.left_checks = [str(c) for c in checks] if isinstance(checks, list) else [str(checks)]


def _finished(told: Story, _: Entry) -> None:
    told.ended = "finished"


_TELLERS: Mapping[str, Callable[[Story, Entry], None]] = {
    "job-opened": _job_opened,
    "resumed": _resumed,
    "choice": _choice,
    "choice-withdrawn": _choice_withdrawn,
    "reading-confirmed": _confirmed,
    "reading-missed": _missed,
    "caution-given": _caution,
    "step-entered": _step_entered,
    "step-done": _step_left("done", ""),
    "step-skipped": _step_left("skipped", "reason"),
    "step-deferred": _step_left("deferred", "why"),
    "hold-opened": _hold_opened,
    "hold-check": _hold_check,
    "hold-met": _hold_met,
    "question": _question,
    "emergency": _emergency,
    "all-clear": _all_clear,
    "fault-begun": _fault_begun,
    "fault-ended": _fault_ended,
    "asked-again": _asked_again,
    "called-off": _called_off,
    "left-safe": _left_safe,
    "finished": _finished,
}


def said(entry: Entry, key: str) -> str:
    """Return what a payload has under a key, as text; a list of words as a sentence."""
    value = entry.payload.get(key)
    if value is None:
        return ""
    return " ".join(map(str, value)) if isinstance(value, list) else str(value)
