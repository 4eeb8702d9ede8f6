"""Running a job at a desk: typed words or recordings instead of a headset, the same loop."""

from __future__ import annotations

import sys
from contextlib import suppress
from typing import TYPE_CHECKING, TypeVar

from companion.dialogue.events import Heard, Say, Tick
from companion.dialogue.notes import typed_note
from companion.dialogue.scopes import named_scopes
from companion.errors import InputError, ModelError
from companion.language.compose import compose
from companion.language.typed import repair
from companion.loop import typed
from companion.numbers import NUMBER_WORDS
from companion.ports import Scope
from companion.procedure_shelf import named
from companion.settings import load_settings, save_settings

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from companion.dialogue.events import Event
    from companion.dialogue.manner import Manner
    from companion.errors import DeviceError
    from companion.loop import Happened, Loop
    from companion.ports import Recogniser
    from companion.procedures.model import Procedure

Seen = TypeVar("Seen")
SHOWN_WORDS = 8
DOUBTFUL = 0.25  # below this match, what was heard is shown as ignored


def named_procedure(name: str) -> Procedure:
    """Return a procedure by its slug, packaged or of your own, or one from a file (.toml).

    Raises:
        InputError: the file cannot be read.
        ProcedureError: there is no such procedure, or the file breaks a rule.
    """
    return named(name)


def type_lines(loop: Loop) -> None:
    """Take lines from the keyboard or a pipe, each an utterance, until the job or they end."""
    asking = sys.stdin.isatty()
    if asking:
        print("  (type what you would say, one line each; Ctrl-D stops, the job is kept)")
    while not loop.finished:
        try:
            line = input("> " if asking else "")
        except EOFError:
            return
        if line.strip():
            if not asking:
                print(f"> {line}")
            loop.happen(Tick(loop.now()))  # a timer may be due meanwhile
            _take(loop, line)


def _take(loop: Loop, line: str) -> None:
    words = repair(line, loop.language)
    if not (loop.session.note or typed_note(line) or loop.language.understand(words)):
        hint = (
            "type: i'm clear, when you are safe" if loop.job.emergency else "type: what can i say"
        )
        print(f"  (not understood here; {hint})")
    typed(loop, words, line)


def show_line(text: str) -> None:
    """Show what is said."""
    print(f"  {text}", flush=True)


def unseen(show: Callable[[Seen], None]) -> Callable[[Seen], None]:
    """Return the same for beside a headset, where a screen that is gone must not end the job."""

    def shown(what: Seen) -> None:
        with suppress(OSError):
            show(what)

    return shown


def show_lost(lost: DeviceError | None) -> None:
    """Show that the headset is gone, and why, or that it is back."""
    gone = "The job is kept; plug the headset in again, or stop with Ctrl-C."
    show_line(f"({lost.problem}. {gone})" if lost else "(The headset is back.)")


def keep_manner(manner: Manner) -> None:
    """Keep how it is to speak for the next job; where that fails, this job goes on all the same."""
    with suppress(InputError):
        save_settings(load_settings().speaking(manner))


def show_said(happened: Happened) -> None:
    """Show what was said in a turn, for those who look at the screen beside the headset."""
    for act in happened.outcome.acts:
        if isinstance(act, Say):
            show_line(act.text)


def require_words(recogniser: Recogniser) -> None:
    """Refuse a recogniser that cannot hear a number or an emergency.

    A number that lost a word is another number: 'point five' for "point oh five".

    Raises:
        ModelError: it lacks such words.
    """
    recogniser.listen_for(compose(Scope("everything")).grammar, None)
    needed = NUMBER_WORDS | compose(Scope("standing by", awake=False)).vocabulary
    lacking = [word for word in recogniser.missing_words if word in needed]
    if lacking:
        raise ModelError(
            f"The recogniser in use can't hear numbers or emergencies ({_some(lacking)})",
            "Take one that can: companion models use bundled",
        )


def _some(words: Sequence[str]) -> str:
    more = f" and {len(words) - SHOWN_WORDS} more" if len(words) > SHOWN_WORDS else ""
    return ", ".join(words[:SHOWN_WORDS]) + more


def show_unknown_words(loop: Loop, recogniser: Recogniser) -> None:
    """Say which words of the job the recogniser cannot hear: no sentence with one is heard."""
    if loop.job.procedure is None:
        return
    everything = compose(named_scopes(loop.job.procedure)["everything"])
    recogniser.listen_for(everything.grammar, None)
    if recogniser.missing_words:
        print(f"  This recogniser can't hear: {_some(recogniser.missing_words)}.", flush=True)


def show_heard(event: Event) -> None:
    """Show what was heard in a recording, before it is answered."""
    if not isinstance(event, Heard):
        return
    heard = event.hearing
    if event.own_words is not None:
        return  # its own voice, through a loudspeaker
    if event.noting and not event.candidates:
        print(f"> {heard.start_s:.1f} s: (in the note: {heard.free or 'no words'})")
    elif not heard.words or heard.match < DOUBTFUL:
        print(f"> {heard.start_s:.1f} s: (not for the companion: {heard.free or 'no words'})")
    else:
        said = f"{' '.join(heard.words)}  [match {heard.match:.2f}]"
        print(f"> {heard.start_s:.1f} s: {said}", flush=True)
