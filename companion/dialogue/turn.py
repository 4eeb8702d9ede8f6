"""One event taken through the dialogue.

`take` is the whole conversation as a pure function: job, session and event in; the new session,
the entries to append and the acts to carry out, out. Read it from here: safety first (emergency,
store, microphone), then what was awaited, then everything else that may be said at any time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, assert_never

from companion.dialogue import (
    attention,
    commands,
    levels,
    notes,
    questions,
    readings,
    safety,
    timers,
)
from companion.dialogue.awaiting import (
    AllClear,
    Doing,
    HoldReading,
    Leaving,
    Licence,
    Nothing,
    OpenChoice,
    StepReading,
    Waking,
    awaiting,
    missing_readings,
)
from companion.dialogue.drawn_out import is_drawn_out
from companion.dialogue.events import (
    SOUND_LOST,
    EarBack,
    EarLost,
    Heard,
    Interrupted,
    ListenFor,
    NoteEnded,
    Opened,
    Resumed,
    SoundDropped,
    SoundGone,
    SoundNotKept,
    SpeechEnded,
    StoreFailed,
    Tick,
    Unclear,
)
from companion.dialogue.judging import (
    Accept,
    AskAgain,
    AskBetween,
    Ignore,
    Judgement,
    Thresholds,
    is_slight,
    judge,
    thresholds,
)
from companion.dialogue.outcome import Outcome, Turn
from companion.dialogue.over_voice import heard_over_voice
from companion.dialogue.prompting import ask_now
from companion.dialogue.scopes import expectation, scope_for
from companion.dialogue.session import Between, ConfirmHeard, ConfirmReading, MissingInput
from companion.dialogue.walking import caution_heard, enter, leave_choice
from companion.dialogue.within_note import heard_within
from companion.language.meanings import (
    TAKING_BACK,
    Candidate,
    Change,
    Choice,
    Command,
    Correction,
    Emergency,
    Question,
    Reading,
    TimerFor,
    Value,
)
from companion.procedures.walking import first_step

if TYPE_CHECKING:
    from collections.abc import Sequence

    from companion.dialogue.events import Event
    from companion.dialogue.session import Pending, Session
    from companion.dialogue.state import Job
    from companion.ports import Hearing

SECOND_TIME = 2
ALL_CLEAR = Command(
    "all-clear"
)  # means nothing without an emergency, whose scope has it as a choice

_YES, _NO = Command("yes"), Command("no")
_MARK = ("mark",)
_GO_ON = Command("go-on")
_OF_AN_ANSWER = frozenset({"why", "source", "in-metric"})
_TAKEN = frozenset({"reading", "correction", "reading-confirmed", "hold-check", "choice"})
_TALK_S = 0.8  # what is shorter and matches nothing was a noise
_AMID_TALK_S = 1.5  # a breath between two sentences is shorter


def take(job: Job, session: Session, event: Event) -> Outcome:
    """Return what one event leads to.

    Args:
        job: the fold of the job's entries so far.
        session: what the dialogue remembers beside it.
        event: what happened; it carries the time.

    Returns:
        The new session, the entries to append first, and the acts to carry out after. The last
        act says what to listen for from now on. If the entries can't be appended, nothing of the
        outcome stands: take `StoreFailed` with the old job and session instead.
    """
    turn = Turn(job, session, event.at)
    _happen(turn, event)
    waits = awaiting(turn.job, turn.session)
    scope = scope_for(turn.job, turn.session, waits)
    turn.acts.append(ListenFor(scope, expectation(turn.job, waits)))
    return turn.outcome()


def _happen(turn: Turn, event: Event) -> None:  # noqa: C901, PLR0912 - one line an event
    match event:
        case Opened():
            _open(turn, event)
        case Resumed(keeps_sound=keeps_sound):
            if keeps_sound and not turn.job.ended:
                turn.tell("evidence.on")
            safety.resume(turn)
        case Heard():
            _hear(turn, event)
        case NoteEnded():
            notes.ended(turn, event)
        case SoundNotKept(why=why):
            if not turn.session.told_not_kept:
                turn.remember(told_not_kept=True)
                turn.tell_aside("evidence.full" if why == "full" else "evidence.failed")
        case SoundDropped():
            levels.dropped(turn, event)
        case SoundGone(why=why):
            turn.tell_aside("note.altered" if why == "altered" else "note.missing")
        case Unclear(why=why):
            _unclear(turn, why)
        case SpeechEnded(what=what):
            _heard_out(turn, what)
        case Interrupted():
            pass  # what was cut was not given: that is all there is to it
        case Tick():
            safety.tick(turn)
            timers.tick(turn)
        case StoreFailed(spoken=spoken, hazard=hazard):
            turn.remember(note=None)  # a note that cannot be logged is not tried again and again
            if hazard:
                turn.tell_urgently(f"emergency.{hazard}")
            turn.say(spoken)
        case EarLost():
            turn.remember(ear_lost_at=turn.session.ear_lost_at or turn.at)
            turn.tell_aside("listening.ear-lost")
        case EarBack():
            attention.come_back(turn)
        case _:
            assert_never(event)


def _open(turn: Turn, event: Opened) -> None:
    made = event.procedure
    turn.log(
        "job-opened",
        procedure=made.slug,
        title=made.title,
        version=made.version,
        digest=made.digest,
        text=made.text,
    )
    if event.keeps_sound:
        turn.tell("evidence.on")
    turn.tell("job.opened", title=made.title)
    first = first_step(made, turn.job.answers)
    if first is not None:
        enter(turn, first.slug)


def _heard_out(turn: Turn, what: str) -> None:
    """A caution counts as given once it was heard to its end."""
    kind, _, slug = what.partition(":")
    if kind == "timer":
        timers.was_heard(turn, slug)
    if kind == "confirm":
        turn.remember(prompted=slug)
    if kind == "caution":
        caution_heard(turn, slug)


def _unclear(turn: Turn, why: str) -> None:
    """Nobody commands for so long: it was not for me. Of what was torn, nobody knows."""
    if notes.is_taking(turn):
        return
    if why != SOUND_LOST or turn.session.standing_by:
        turn.cue("not understood")
        return
    turn.log("asked-again", words="", why=why)
    turn.tell_aside("unclear.again")


def _hear(turn: Turn, event: Heard) -> None:
    """Judge a hearing, then understand it; a doubt that it leaves keeps the sound it is about."""
    turn.certain, turn.sound = event.typed, event.sound
    turn.said_at = event.said_at or event.at
    before = turn.session.pending
    if event.own_words is not None:
        cry = heard_over_voice(turn, event)
        if cry is not None:
            understand(turn, cry)
    elif notes.is_taking(turn):
        _hear_within_note(turn, event)
    elif event.typed and _is_free(turn) and (words := notes.typed_note(event.hearing.free)):
        notes.typed(turn, words)
    else:
        _hear_said(turn, event)
    pending = turn.session.pending
    if isinstance(pending, Between | ConfirmReading | ConfirmHeard) and pending is not before:
        turn.remember(doubted=turn.sound)


def _is_free(turn: Turn) -> bool:
    """Return whether a job is being worked: no emergency, not standing by, not ended."""
    return not isinstance(awaiting(turn.job, turn.session), AllClear | Nothing | Waking)


def _hear_within_note(turn: Turn, event: Heard) -> None:
    """Hear what is said while a note is taken: all but what ends it is the note."""
    heard = heard_within(turn, event)
    if isinstance(heard, Accept):
        understand(turn, heard.candidate)
    elif isinstance(heard, AskAgain):
        notes.interrupt(turn, "interrupted")
        _say_again(turn, event, heard.best)
    elif event.typed:
        notes.typed(turn, event.hearing.free)


def _hear_said(turn: Turn, event: Heard) -> None:
    between = isinstance(turn.session.pending, Between)
    amid, unasked = _is_amid_talk(turn.session, event.hearing), False
    judgement: Judgement
    if event.typed and event.candidates:
        judgement = Accept(event.candidates[0])
    else:
        meant = tuple(
            each
            for each in event.candidates
            if each.meaning != ALL_CLEAR and not notes.foreign(each)
        )
        limits = _limits(turn.session, event.hearing, meant, amid=amid)
        judgement = judge(meant, lambda m: readings.likelihood(turn, m), limits)
        if unasked := _is_unasked(turn, judgement):
            judgement = Ignore()
    match judgement:
        case Ignore():
            _overhear(turn, event.hearing, is_words=unasked)
        case AskAgain() | AskBetween() if between:
            turn.tell("between.which")
        case AskAgain(best=best):
            _say_again(turn, event, best)
        case AskBetween(first=first, second=second):
            _ask_between(turn, first, second)
        case Accept(candidate=candidate):
            turn.remember(unclear=0, unsure=(), slight_ended_s=None)
            understand(turn, _fitting(turn, candidate, event.candidates))
            is_taken = bool(_TAKEN & {draft.kind for draft in turn.drafts})
            if is_taken and _may_be_talk(candidate) and not event.typed:
                turn.remember(slight_ended_s=event.hearing.end_s)
    if not isinstance(judgement, Ignore) and _is_free(turn):
        levels.follow(turn, event)


def _may_be_talk(candidate: Candidate) -> bool:
    """Return whether people say such a thing to each other: it names no test point, no command."""
    meaning = candidate.meaning
    is_bare = isinstance(meaning, Reading) and not meaning.point
    return is_slight(candidate) or is_bare


def _overhear(turn: Turn, hearing: Hearing, *, is_words: bool) -> None:
    """Remember talk that was not for the companion; a noise is none.

    Where it goes on right behind a value without its test point, or a yes, that was most likely
    talk too: the reading is struck, the check withdrawn, and it is asked for again.
    """
    if is_words or hearing.end_s - hearing.start_s >= _TALK_S:
        slight_s = turn.session.slight_ended_s
        turn.remember(talk_ended_s=hearing.end_s, slight_ended_s=None)
        if slight_s is not None and 0.0 <= hearing.start_s - slight_s < _AMID_TALK_S:
            commands.take_back_amid_talk(turn)
    turn.cue("not understood")


def _is_amid_talk(session: Session, hearing: Hearing) -> bool:
    """Return whether talk that was not for the companion ended just before.

    Where it was asked whether there is an emergency, what comes is the answer.
    """
    if _is_urgent(session.pending):
        return False
    ended_s = session.talk_ended_s
    return ended_s is not None and 0.0 <= hearing.start_s - ended_s < _AMID_TALK_S


def _is_urgent(pending: Pending | None) -> bool:
    return isinstance(pending, ConfirmHeard) and pending.is_urgent


def _limits(
    session: Session, hearing: Hearing, meant: Sequence[Candidate], *, amid: bool
) -> Thresholds:
    """Return where the lines are drawn for a hearing.

    An answer to 'this or that?' is the second time of hearing it; anything else that is said then
    is held to what it would be held to otherwise. What takes something back is never made harder
    to say.
    """
    limits = thresholds(calibrated=hearing.is_calibrated).in_noise(hearing.snr_db)
    best = meant[0].meaning if meant else None
    if session.standing_by:
        limits = limits.asleep()
    if isinstance(best, Choice) and best.choice == "between":
        return limits.settling()
    takes_back = isinstance(best, Command) and best.name in TAKING_BACK
    if meant and is_drawn_out(hearing, meant[0]):
        limits = limits.drawn_out()
    return limits.amid_talk() if amid and not takes_back else limits


def _is_unasked(turn: Turn, judgement: Judgement) -> bool:
    """Return whether what was heard answers nothing: then it was said to someone else.

    That is a yes or no that nobody asked for, and "what about …", "why" and the like where no
    sizing was asked, "mark" where no clock runs, "go on" where nothing is left. A no right behind a
    reading may be meant for it, and is answered.
    """
    best = judgement.candidate if isinstance(judgement, Accept) else None
    if isinstance(judgement, AskAgain):
        best = judgement.best
    if best is None:
        return False
    meaning = best.meaning
    if best.words == _MARK or meaning == _GO_ON:
        return not (turn.session.rest if meaning == _GO_ON else turn.job.clocks)
    of_answer = isinstance(meaning, Command) and meaning.name in _OF_AN_ANSWER
    if of_answer or isinstance(meaning, Change):
        return turn.session.asked is None
    if meaning not in (_YES, _NO):
        return False
    if best.meaning == _NO and turn.session.changed == "reading":
        return False
    return isinstance(awaiting(turn.job, turn.session), Doing | StepReading | HoldReading)


def _fitting(turn: Turn, chosen: Candidate, candidates: tuple[Candidate, ...]) -> Candidate:
    """Of several meanings of the same words, return the one that is being waited for."""
    same = [c for c in candidates if c.words == chosen.words]
    waits = awaiting(turn.job, turn.session)
    wanted: tuple[type, ...] = ()
    if isinstance(waits, MissingInput):
        wanted = (Value,)
    elif isinstance(waits, OpenChoice | Licence | Between | AllClear | Leaving):
        wanted = (Choice,)
    return next((c for c in same if isinstance(c.meaning, wanted)), chosen)


def _say_again(turn: Turn, event: Heard, best: Candidate | None) -> None:
    """Ask to say it again; when the same comes again as poorly, ask whether that was it."""
    emergency = best is not None and isinstance(best.meaning, Emergency)
    if turn.session.standing_by and not emergency:
        return
    words = " ".join(event.hearing.words)
    turn.remember(talk_ended_s=None)  # what comes next is most likely the answer
    if best is not None and emergency and _is_asked(turn.session.pending, best):
        understand(turn, best)  # cried out again instead of a yes
        return
    twice = best is not None and best.words == turn.session.unsure
    if best is not None and twice and turn.job.emergency:
        understand(turn, _fitting(turn, best, event.candidates))  # only "I'm clear" is heard there
        return
    if best is not None and (emergency or twice) and best.meaning != Command("confirmed"):
        best = _fitting(turn, best, event.candidates)
        turn.log("asked-again", words=words, why="emergency" if emergency else "twice the same")
        urgent_at = turn.at if emergency else None
        turn.remember(pending=ConfirmHeard(best, _kept(turn.session.pending), urgent_at), unsure=())
        ask_now(turn)
        return
    turn.log("asked-again", words=words, why="unclear")
    turn.remember(unclear=turn.session.unclear + 1, unsure=best.words if best else ())
    turn.tell_aside("unclear.help" if turn.session.unclear >= SECOND_TIME else "unclear.again")


def _is_asked(pending: Pending | None, best: Candidate) -> bool:
    """Return whether this emergency is the one that it was asked about."""
    asked = pending.candidate if isinstance(pending, ConfirmHeard) else None
    return asked is not None and asked.meaning == best.meaning


def _ask_between(turn: Turn, first: Candidate, second: Candidate) -> None:
    if turn.session.standing_by:
        return
    words = " ".join(first.words)
    turn.log("asked-again", words=words, why=f"or: {' '.join(second.words)}")
    turn.remember(pending=Between(first, second, _kept(turn.session.pending)))
    ask_now(turn)


def _kept(pending: Pending | None) -> Pending | None:
    """Return what is waited for again once a doubt is settled: no older doubt."""
    return pending.before if isinstance(pending, Between | ConfirmHeard) else pending


def understand(turn: Turn, candidate: Candidate) -> None:
    """Do what a sentence means. What is said during an emergency counts only as 'I'm clear'."""
    meaning = candidate.meaning
    if isinstance(meaning, Emergency):
        notes.interrupt(turn, "emergency")
        safety.emergency(turn, meaning, candidate.words)
    elif notes.is_taking(turn):
        notes.answered(turn, meaning)
    elif turn.job.emergency:
        _in_emergency(turn, meaning)
    elif turn.session.standing_by:
        _while_standing_by(turn, meaning)
    elif isinstance(awaiting(turn.job, turn.session), Nothing):
        turn.tell("job.ended" if turn.job.ended else "job.no-step", how=turn.job.ended)
    else:
        _do(turn, candidate)
    if turn.confirmed is not None:
        affirmed, turn.confirmed = turn.confirmed, None
        turn.sound = turn.session.doubted
        understand(turn, affirmed)


def _while_standing_by(turn: Turn, meaning: object) -> None:
    """Nothing is for it but the attention phrase, and the answer to a doubtful emergency."""
    doubt = turn.session.pending
    if meaning == Command("wake"):
        attention.wake(turn)
    elif isinstance(doubt, ConfirmHeard) and (isinstance(meaning, Choice) or meaning == _NO):
        turn.remember(pending=doubt.before)
        if meaning == Choice("doubt", "yes"):
            turn.confirmed = doubt.candidate
        else:
            turn.tell("listening.stand-by", attention=turn.session.attention)


def _in_emergency(turn: Turn, meaning: object) -> None:
    if meaning in (Choice("clear", "clear"), Command("all-clear")):
        safety.all_clear(turn)
    else:
        safety.warn(turn)


def _do(turn: Turn, candidate: Candidate) -> None:
    """Everything that may be said while a job goes on."""
    meaning, words = candidate.meaning, candidate.words
    if meaning not in (_GO_ON, Command("quiet")):
        turn.remember(rest=())  # of a long answer that nobody wanted more of
    if isinstance(meaning, Choice):
        _choose(turn, meaning)
        return
    _drop_stale(turn, meaning)
    match meaning:
        case Command(name=name, point=detail):
            commands.obey(turn, name, detail)
        case Reading():
            readings.take_reading(turn, meaning, words, candidate.match)
        case Correction():
            readings.correct(turn, meaning, words, candidate.match)
        case Question(sizing=slug, inputs=inputs):
            questions.ask(turn, slug, inputs)
        case Change(measure=measure):
            questions.change(turn, measure)
        case Value():
            _take_value(turn, candidate, meaning)
        case TimerFor():
            timers.set_timer(turn, meaning)
        case _:
            pass


def _drop_stale(turn: Turn, meaning: object) -> None:
    """Something else was said than what a confirmation or a choice of two waits for."""
    pending = turn.session.pending
    answers = isinstance(meaning, Command) and meaning.name in _ANSWERS
    if isinstance(pending, MissingInput):
        stale = isinstance(meaning, Reading)
    elif isinstance(pending, ConfirmHeard):
        if not answers:
            turn.remember(pending=pending.before)
        return
    else:
        stale = isinstance(pending, Between) or not answers
    if stale and pending is not None:
        turn.remember(pending=None)
        if isinstance(pending, ConfirmReading):
            turn.tell_aside("reading.not-logged")


_ANSWERS = frozenset(
    {"yes", "no", "confirmed", "thats-wrong", "never-mind", "repeat", "what-can-i-say", "quiet"}
)


def _take_value(turn: Turn, candidate: Candidate, value: Value) -> None:
    """A bare value answers the sizing's question, or it is the awaited reading."""
    pending = turn.session.pending
    if isinstance(pending, MissingInput):
        questions.take_input(turn, pending, value)
    elif value.measure is not None:
        reading = Reading("", value.measure)
        readings.take_reading(turn, reading, candidate.words, candidate.match)


def _choose(turn: Turn, chosen: Choice) -> None:
    """An option was said: of two that sound alike, of the licence, or of the step's choice."""
    waits = awaiting(turn.job, turn.session)
    match waits:
        case Between() if chosen.choice == "between":
            _chosen_between(turn, waits, chosen.option)
        case Licence(choice=choice) if chosen.choice == choice:
            safety.licence_answer(turn, choice, chosen.option)
        case Leaving(check="told") if chosen.choice == "told":
            commands.left_safe(turn, chosen.option)
        case OpenChoice(step=step) if step.choice and chosen.choice == step.choice.slug:
            turn.log("choice", step=step.slug, choice=chosen.choice, option=chosen.option)
            turn.remember(changed="choice", choice_step=step.slug)
            option = next(o for o in step.choice.options if o.slug == chosen.option)
            turn.say(f"{option.names[0].capitalize()}.")
            if missing_readings(turn.job, step) and not option.goto:
                ask_now(turn)
            else:
                leave_choice(turn, step, option)
        case _:
            turn.tell("unclear.nothing-to-confirm")


def _chosen_between(turn: Turn, between: Between, option: str) -> None:
    turn.remember(pending=between.before)
    turn.sound = turn.session.doubted
    if option == "neither":
        turn.tell("between.neither")
        return
    understand(turn, between.first if option == "first" else between.second)
