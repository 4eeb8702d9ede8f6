"""Notes: what is said between "take a note" and a silence is kept as it sounds.

While one is being said nothing in it is a command: the technician tells about gas, shocks and
numbers there. What is listened for are the words that end it ("end of note"), that drop it
("cancel the note"), and the cries for help, each by itself, in a pause: an utterance of its own.
A cry for help ends the note; what was said up to it is kept. A doubtful one is asked about, and
that ends the note too. Right behind a piece of the note a single word is no cry: "fire" closes many
a sentence. Where the end is missed, nothing is lost: the silence ends it.

The sound is the loop's business (`note_taking`): it keeps it, then tells by `NoteEnded`.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING

from companion.dialogue.events import PlayKept
from companion.dialogue.noted import TYPED, UNVERIFIED
from companion.dialogue.prompting import ask_now
from companion.dialogue.session import Noting
from companion.errors import NotANumberError
from companion.language.meanings import Choice
from companion.language.phrasing import phrase
from companion.numbers import parse, say

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from companion.dialogue.events import NoteEnded
    from companion.dialogue.noted import Noted
    from companion.dialogue.outcome import Turn
    from companion.language.meanings import Candidate

END, CANCEL = Choice("note", "end"), Choice("note", "cancel")
_QUIETLY = frozenset({"emergency", "interrupted", "stopped"})  # nobody waits to hear of it
_TYPED = re.compile(
    r"\s*(?:take a |make a )?note(?:\s+that\b|\s*:)\s*(?P<words>\S.*)", re.IGNORECASE | re.DOTALL
)


def typed_note(line: str) -> str:
    """Return the words of a note that was typed in one line, '' where it is none.

    >>> typed_note("Note that the filter rack is bent"), typed_note("note two")
    ('the filter rack is bent', '')
    """
    found = _TYPED.fullmatch(line)
    return found["words"].strip() if found else ""


def is_taking(turn: Turn) -> bool:
    """Return whether a note is being said."""
    return turn.session.note is not None and not turn.session.note.ended


def take_note(turn: Turn) -> None:
    """'Take a note'."""
    turn.remember(note=Noting(), pending=None)
    turn.tell_aside("note.go-ahead")
    turn.cue("attention")


def answered(turn: Turn, meaning: object) -> bool:
    """Let what ends a note, or drops it, do so; return whether it was that."""
    if meaning == END and turn.certain:  # typed: a note is one line, and none was typed
        turn.remember(note=None)
        turn.tell_aside("note.nothing")
        ask_now(turn)
    elif meaning == END:
        turn.remember(note=Noting("end of note"))
    elif meaning == CANCEL:
        turn.remember(note=None)
        turn.tell_aside("note.cancelled")
        ask_now(turn)
    else:
        return False
    return True


def interrupt(turn: Turn, why: str) -> None:
    """End the note being said, if one is, for what goes before; it will be kept quietly."""
    if is_taking(turn):
        turn.remember(note=None if turn.certain else Noting(why))


def typed(turn: Turn, words: str) -> None:
    """Log a note that was typed."""
    turn.remember(note=None)
    turn.log(
        "note",
        id=len(turn.job.notes) + 1,
        step=turn.job.step,
        words=words,
        words_are=TYPED,
        ended="typed",
    )
    turn.tell("note.typed", number=_in_words(len(turn.job.notes)))
    ask_now(turn)


def ended(turn: Turn, event: NoteEnded) -> None:
    """Log a note that was said to its end; its sound is on the disk already."""
    note = turn.session.note
    if note is None:
        return  # dropped meanwhile
    turn.remember(note=None)
    why = note.ended or event.why
    if event.why == "nothing":
        if why not in _QUIETLY:
            turn.tell_aside("note.nothing")
            ask_now(turn)
        return
    if event.kept is None and not event.words:
        if why not in _QUIETLY:
            turn.tell_aside("note.lost")
        return
    sound = {"sound": event.kept.payload} if event.kept else {}
    turn.log(
        "note",
        id=len(turn.job.notes) + 1,
        step=turn.job.step,
        words=event.words,
        words_are=UNVERIFIED,
        ended=why,
        gaps=event.gaps,
        **sound,
    )
    if why in _QUIETLY:
        return
    if why == "full":
        turn.tell("note.full")
    number = _in_words(len(turn.job.notes))
    if event.kept is None:
        turn.tell("note.words-only", number=number)
    else:
        turn.tell("note.kept", number=number, seconds=_seconds(event.kept.length_s))
    turn.cue("logged")
    ask_now(turn)


def play(turn: Turn, which: str) -> None:
    """'Play the note', 'play note two': what was kept, or the words that were typed."""
    notes = turn.job.notes
    number = _number(which, len(notes))
    if not notes:
        turn.tell("note.none")
    elif not 1 <= number <= len(notes):
        turn.tell("note.no-such", count=_counted(len(notes)).capitalize())
    else:
        _play(turn, notes[number - 1])


def _play(turn: Turn, note: Noted) -> None:
    number = _in_words(note.number)
    if note.is_removed:
        turn.tell("note.removed", number=number)
    elif note.is_typed:
        turn.tell("note.typed-was", number=number, words=note.words)
    elif note.sound is None:
        turn.tell("note.without-sound", number=number)
    else:
        turn.tell("note.playing", number=number)
        turn.acts.append(PlayKept(note.sound, phrase("note.sound", seconds=note.sound.length_s)))


def count(turn: Turn) -> None:
    """'How many notes'."""
    turn.tell("note.count", count=_counted(len(turn.job.notes)).capitalize())


def _number(which: str, last: int) -> int:
    """Return the number that was named; the last where none was."""
    if not which:
        return last
    try:
        return int(parse(which.split()))
    except NotANumberError:
        return 0


def _counted(number: int) -> str:
    key = {0: "note.count-none", 1: "note.count-one"}.get(number, "note.count-many")
    return phrase(key, number=_in_words(number))


def _in_words(number: int) -> str:
    return say(Decimal(number))


def _seconds(length_s: str) -> str:
    """Return a length as spoken: whole seconds, at least one."""
    whole = max(1, int(Decimal(length_s).to_integral_value()))
    return phrase("note.second" if whole == 1 else "note.seconds", number=_in_words(whole))


def foreign(candidate: Candidate) -> bool:
    """Return whether a candidate ends a note; said when none is taken, it is for nobody."""
    return candidate.meaning in (END, CANCEL)


NOTES: Mapping[str, Callable[[Turn, str], None]] = {
    "take-note": lambda turn, _: take_note(turn),
    "play-note": play,
    "count-notes": lambda turn, _: count(turn),
}
