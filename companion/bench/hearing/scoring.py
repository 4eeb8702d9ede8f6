"""What came of a case, decided by the real dialogue.

What was heard is taken through `dialogue.turn.take` at the case's moment, and so is a perfect
hearing of the same words. Same entries and same answer: right. The words of DESIGN's benchmark
section are kept apart: asked (it was not sure and said so, nothing taken), missed (addressed, and
nothing came of it), silent error (a reading, a slot of a question, a choice or a hold answer was
taken wrong without being asked about), other wrong (another command was obeyed, or one more than
was said). A reading of a hold point is always read back and asked about before it counts: taken
wrong there, it is read back wrong, which counts as asked and is told apart too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from decimal import Decimal, InvalidOperation
from enum import Enum
from typing import TYPE_CHECKING, Any

from companion.bench.hearing.labels import inputs_apart, label
from companion.dialogue.events import Adjust, Finish, Heard, Hush, ListenFor, Say
from companion.dialogue.session import Between, ConfirmHeard, ConfirmReading
from companion.dialogue.state import apply
from companion.dialogue.turn import take
from companion.language.compose import compose
from companion.language.phrasing import phrase
from companion.ports import Alternative, Draft, Hearing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from companion.bench.hearing.case import Case, Moment
    from companion.dialogue.outcome import Outcome
    from companion.dialogue.session import Pending, Session
    from companion.dialogue.state import Job

AT = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
_HOLD_ANSWERS = frozenset({"hold-check", "hold-met", "reading-confirmed"})
VALUES = _HOLD_ANSWERS | {"reading", "correction", "choice", "question", "reading-missed"}
_HOW_HEARD = frozenset({"words", "match"})
_ANSWERS = (Say, Hush, Adjust, Finish)


class Came(Enum):
    """What came of a case."""

    RIGHT = "right"
    ASKED = "asked"
    READ_BACK = "read back wrong"  # a reading of a hold point: it waits for 'Right?'
    MISSED = "missed"
    SILENT_ERROR = "silent error"
    OTHER_WRONG = "other wrong"
    QUIET = "quiet"  # not addressed, and nothing came of it
    DISTURBED = "disturbed"  # not addressed, and it asked to say again
    FALSE_ACCEPT = "false accept"  # not addressed, and it did something


@dataclass(frozen=True, slots=True)
class Score:
    """What came of a case.

    Attributes:
        came: what.
        is_known: whether the language of the moment has the words at all.
        holds_value: whether a reading, a slot, a choice or a hold answer was said.
        taken: what was taken, as labels.
        means: what was said, as a label; '' where neither the corpus nor the language knows.
        logged: the entries, each its kind and what it names.
    """

    came: Came
    is_known: bool
    holds_value: bool
    taken: str = ""
    means: str = ""
    logged: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class _Played:
    """What came of hearings at a moment."""

    drafts: tuple[Draft, ...]
    acts: tuple[Any, ...]
    session: Session
    meant: tuple[str, ...]  # the best meaning of each hearing that something came of
    asks: bool  # it asked to say again, or asked between
    obeys: bool  # something came of a hearing that it did not ask about

    @property
    def entries(self) -> list[tuple[str, Any]]:
        """Entries without how they were heard."""
        return [
            (d.kind, {k: _plain(k, v) for k, v in d.payload.items() if k not in _HOW_HEARD})
            for d in self.drafts
            if d.kind != "asked-again"
        ]

    @property
    def logged(self) -> tuple[tuple[str, str], ...]:
        """Entries, each its kind and what it names, to be read by people."""
        return tuple((kind, _told(payload)) for kind, payload in self.entries)

    @property
    def values(self) -> list[tuple[str, Any]]:
        """Those entries that hold a reading, a choice, a question or a hold answer."""
        return [(kind, payload) for kind, payload in self.entries if kind in VALUES]

    @property
    def answer(self) -> list[Any]:
        """What was said and done."""
        return [act for act in self.acts if isinstance(act, _ANSWERS)]

    @property
    def doubt(self) -> Pending | None:
        """What it asked because it was not sure."""
        return _doubt(self.session)


def scored(case: Case, moment: Moment, hearings: Sequence[Hearing]) -> Score:
    """Return what came of a case.

    Args:
        case: what was said.
        moment: at which moment of a job.
        hearings: what was heard, in order; none where no utterance was found.
    """
    meanings = compose(moment.scope).interpret(case.words)
    known = bool(meanings)
    wanted = _played(moment, [_perfect(case.words)] if known else [])
    got = _played(moment, hearings)
    holds = known and (bool(VALUES & {kind for kind, _ in wanted.entries}) or bool(wanted.doubt))
    came = _came(wanted, got, moment.session.pending) if case.addressed else _came_of_talk(got)
    if case.addressed and not known:
        came = _came_of_unknown(case, got, came)
    means = case.means or (label(meanings[0]) if meanings else "")
    return Score(came, known, holds and case.addressed, "; ".join(got.meant), means, got.logged)


def _perfect(words: tuple[str, ...]) -> Hearing:
    return Hearing((Alternative(words, match=1.0, log_prob=0.0),), free=" ".join(words))


def _played(moment: Moment, hearings: Sequence[Hearing]) -> _Played:
    """Take hearings through the dialogue, one after another."""
    job, session, scope = moment.job, moment.session, moment.scope
    drafts: list[Draft] = []
    acts: list[Any] = []
    meant: list[str] = []
    asks = obeys = False
    for hearing in hearings:
        candidates = compose(scope).candidates(hearing)
        outcome = take(job, session, Heard(hearing, candidates, AT))
        asked, came = _asks(outcome), _has_come(outcome)
        doubts = not outcome.drafts and _doubt(outcome.session) not in (None, _doubt(session))
        asks = asks or asked or doubts
        obeys = obeys or (came and not (asked or doubts or _is_hushed(outcome)))
        if candidates and came:
            meant.append(label(candidates[0].meaning))
        job, session = _after(job, outcome.drafts), outcome.session
        drafts += outcome.drafts
        acts += outcome.acts
        scope = next(act.scope for act in reversed(outcome.acts) if isinstance(act, ListenFor))
    return _Played(tuple(drafts), tuple(acts), session, tuple(meant), asks, obeys)


def _doubt(session: Session) -> Pending | None:
    pending = session.pending
    return pending if isinstance(pending, Between | ConfirmReading | ConfirmHeard) else None


def _is_hushed(outcome: Outcome) -> bool:
    """Whether all that came is silence: at a moment when nothing is said, as all here are."""
    done = [act for act in outcome.acts if isinstance(act, _ANSWERS)]
    return not outcome.drafts and bool(done) and all(isinstance(act, Hush) for act in done)


def _plain(name: str, payload: Any) -> Any:  # noqa: ANN401 - as entries have it
    """Return a value without closing zeros: ten point oh is ten point oh oh."""
    if name != "value" or not isinstance(payload, str):
        return payload
    try:
        return str(Decimal(payload).normalize())
    except InvalidOperation:
        return payload


def _told(payload: dict[str, Any]) -> str:
    """Return what an entry names, in one short line."""
    named = (f"{name} {value}" for name, value in payload.items() if value not in ("", None))
    return ", ".join(named)


def _asks(outcome: Outcome) -> bool:
    """Whether it asked to say again, or between; of two once more, nothing is logged."""
    which = phrase("between.which")
    return any(draft.kind == "asked-again" for draft in outcome.drafts) or any(
        isinstance(act, Say) and act.text == which for act in outcome.acts
    )


def _has_come(outcome: Outcome) -> bool:
    """Whether anything was logged, said or done."""
    return bool(outcome.drafts) or any(isinstance(act, _ANSWERS) for act in outcome.acts)


def _after(job: Job, drafts: Sequence[Draft]) -> Job:
    for draft in drafts:
        job = apply(job, draft)
    return job


def _came(wanted: _Played, got: _Played, before: Pending | None) -> Came:
    """Return what came of something addressed; `before` is what was pending then."""
    if got.entries == wanted.entries and (_alike(got, wanted) or _same_values(got, wanted)):
        return Came.RIGHT
    if not got.entries and (got.asks or (got.doubt and got.doubt != before)):
        return Came.ASKED
    if _is_read_back(got) and not _is_other(got, wanted):
        return Came.READ_BACK
    if not got.entries and not got.answer:
        return Came.MISSED
    if got.values != wanted.values:  # another one, or a value that was taken for a command
        return Came.SILENT_ERROR
    return Came.OTHER_WRONG


def _same_values(got: _Played, wanted: _Played) -> bool:
    """Whether the same values were logged, said back with more or fewer closing zeros."""
    alike = len(got.answer) == len(wanted.answer) and _bare(got.doubt) == _bare(wanted.doubt)
    return bool(wanted.values) and alike


def _alike(got: _Played, wanted: _Played) -> bool:
    """Whether the same was answered, and the same is doubted."""
    return got.answer == wanted.answer and _bare(got.doubt) == _bare(wanted.doubt)


def _bare(doubt: Pending | None) -> Pending | None:
    """A doubt without how well it was heard."""
    return replace(doubt, match=1.0) if isinstance(doubt, ConfirmReading) else doubt


def _is_read_back(got: _Played) -> bool:
    """Whether all that was taken is a reading that waits for 'Right?'."""
    return bool(got.values) and all(p.get("confirmed") is False for _, p in got.values)


def _is_other(got: _Played, wanted: _Played) -> bool:
    """Whether something else than values differs too."""
    others = [[e for e in each.entries if e[0] not in VALUES] for each in (got, wanted)]
    return others[0] != others[1]


def _came_of_talk(got: _Played) -> Came:
    """Return what came of something that was not addressed."""
    if got.entries or got.obeys:
        return Came.FALSE_ACCEPT
    return Came.DISTURBED if got.asks else Came.QUIET


def _came_of_unknown(case: Case, got: _Played, came: Came) -> Came:
    """Return what came of an addressed sentence that the grammar does not know."""
    if came is Came.ASKED:
        return came
    if case.means and got.meant and all(_is_meant(case.means, each) for each in got.meant):
        return Came.RIGHT
    if case.means and not got.entries and any(_leaves_out(case.means, each) for each in got.meant):
        return Came.ASKED  # for what was left out
    return Came.MISSED if came is Came.RIGHT else came  # nothing was wanted, nothing came


def _is_meant(means: str, found: str) -> bool:
    """Whether a label is the one that is meant, or names more than it: a unit.

    Of a question all inputs must be there, and no other.
    """
    if f"{found} ".startswith(f"{means} ") and not means.startswith("questions."):
        return True
    same = _is_same_rule(means, found)
    return same and means.startswith("questions.") and inputs_apart(means, found) == ([], [])


def _is_same_rule(means: str, found: str) -> bool:
    return means.partition(" ")[0] == found.partition(" ")[0]


def _leaves_out(means: str, found: str) -> bool:
    """Whether a label is the question that is meant without some of its inputs."""
    if found.split(" ", maxsplit=1)[0] != means.split(" ", maxsplit=1)[0] or not means.startswith(
        "questions."
    ):
        return False
    missing, added = inputs_apart(means, found)
    return bool(missing) and not added
