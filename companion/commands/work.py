"""`companion work`: run a job, or resume one, by headset, recordings or typed words."""

from __future__ import annotations

import argparse
import sys
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from companion.commands.options import add_log, add_procedure, log_path
from companion.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager

    from companion.errors import DeviceError
    from companion.headset import Headset
    from companion.joblog import SqliteStore
    from companion.loop import Happened, Loop
    from companion.note_taking import Evidence
    from companion.ports import Clip, Entry, Mouth, Voice
    from companion.procedures.model import Procedure


def add(command: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    command.description = (
        "Run a job, or resume the last one that is open: by headset, unless you type what you "
        "would say, or give recordings."
    )
    command.epilog = "example: companion work --devices, then: companion work"
    how = command.add_mutually_exclusive_group()
    how.add_argument("--typed", action="store_true", help="one line an utterance, from stdin")
    how.add_argument("--wav", nargs="+", type=Path, metavar="FILE", help="recordings, in order")
    how.add_argument(
        "--devices", action="store_true", help="list microphones and headphones, and choose"
    )
    for name, what in (("microphone", "what it hears you by"), ("headphones", "what it speaks by")):
        command.add_argument(
            f"--{name}", metavar="NAME", help=f"{what}, this time: a number or part of a name"
        )
    command.add_argument(
        "--plain",
        action="store_true",
        help="plain lines instead of the full-screen view (also for a screen reader)",
    )
    command.add_argument(
        "--keep-sound",
        action=argparse.BooleanOptionalAction,
        help="keep the sound of each reading beside the log, from now on (default: it is not)",
    )
    command.add_argument(
        "--loudspeaker",
        action=argparse.BooleanOptionalAction,
        help="you hear it through a loudspeaker, from now on: while it speaks, only 'quiet' and "
        "cries for help are heard (default: a headset)",
    )
    voices = "from now on: how it speaks; by voice too: louder, slower, another voice"
    command.add_argument("--loudness", type=float, metavar="DB", help=f"-9 to 12, {voices}")
    command.add_argument("--pace", type=float, metavar="FACTOR", help="0.7 to 1.6, from now on")
    command.add_argument(
        "--voice", type=int, metavar="N", help="1 to 5, from now on: which of its voices"
    )
    command.add_argument("--new", action="store_true", help="begin a new job, resume none")
    command.add_argument("--job", metavar="ID", help="resume this job")
    add_procedure(command)
    add_log(command)
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Run the command."""
    if arguments.devices:
        from companion.commands.choosing import choose_devices

        return choose_devices()
    from companion.joblog import SqliteStore
    from companion.note_taking import Evidence
    from companion.working import named_procedure

    made = named_procedure(arguments.procedure)
    _keep_choices(arguments)
    keeps_sound = _keeps_sound(arguments)
    with _way(arguments) as way, SqliteStore(log_path(arguments)) as store:
        job_id, resuming = _which_job(store, arguments)
        _tell_others(store, job_id)
        _tidy(store)
        evidence = Evidence(store.sounds, job_id) if keeps_sound else None
        _work(arguments, store, way, (job_id, None if resuming else made), evidence)
    return 0


def _keep_choices(arguments: argparse.Namespace) -> None:
    """Remember how it is to speak and through what, where that is asked for now.

    Raises:
        InputError: it cannot speak so.
    """
    from companion.dialogue.manner import FASTEST, LOUDEST_DB, SLOWEST, SOFTEST_DB
    from companion.errors import InputError
    from companion.settings import load_settings, save_settings
    from companion.speaking.pyttsx3_voice import VOICES

    ranges = {
        "loudness": (SOFTEST_DB, LOUDEST_DB),
        "pace": (SLOWEST, FASTEST),
        "voice": (1, len(VOICES)),
    }
    asked = {name: getattr(arguments, name) for name in ranges}
    for name, value in asked.items():
        low, high = ranges[name]
        if value is not None and not low <= value <= high:
            raise InputError(
                f"--{name} {value:g} is more or less than it can",
                f"Give {low:g} to {high:g}: companion work --{name} {high:g}",
            )
    settings = load_settings()
    manner = settings.manner
    wanted = replace(
        manner,
        gain_db=manner.gain_db if asked["loudness"] is None else asked["loudness"],
        pace=manner.pace if asked["pace"] is None else asked["pace"],
        voice=manner.voice if asked["voice"] is None else asked["voice"] - 1,
    )
    kept = settings.speaking(wanted)
    if arguments.loudspeaker is not None:
        kept = replace(kept, loudspeaker="yes" if arguments.loudspeaker else "no")
    if kept != settings:
        save_settings(kept)


def _keeps_sound(arguments: argparse.Namespace) -> bool:
    """Return whether the sound of readings is kept; what is asked for now is remembered.

    Where there is no sound, nothing is kept and nothing is said of it.
    """
    from companion.settings import load_settings, save_settings

    settings = load_settings()
    if arguments.keep_sound is not None:
        settings = replace(settings, keep_sound="yes" if arguments.keep_sound else "no")
        save_settings(settings)
    return settings.keep_sound == "yes" and not arguments.typed


def _tidy(store: SqliteStore) -> None:
    """Remove sounds that no entry names, and say so."""
    count = store.tidy_sounds()
    if count:
        sounds = "1 sound" if count == 1 else f"{count} sounds"
        print(f"Removed {sounds} that no entry names: a run was cut off there.", file=sys.stderr)


@dataclass(frozen=True)
class _Way:
    """How the technician and the companion hear one another."""

    voice: Voice
    mouth: Mouth
    listen: Callable[[Loop], None]
    cue: Callable[[str], Clip] | None = None
    voices: Callable[[int], Voice] | None = None


def _work(
    arguments: argparse.Namespace,
    store: SqliteStore,
    way: _Way,
    job: tuple[str, Procedure | None],
    evidence: Evidence | None,
) -> None:
    """Open the job, or resume it where no procedure is given, and go on until it ends."""
    from companion.loop import Loop

    job_id, procedure = job
    loop = Loop(store, job_id, way.voice, way.mouth, lambda: datetime.now(UTC), cue=way.cue)
    loop.shelf, loop.evidence = store.sounds, evidence
    if not (arguments.typed or arguments.wav):
        from companion.dialogue.session import Session
        from companion.settings import load_settings
        from companion.working import keep_manner, show_said, unseen

        loop.watch = unseen(show_said)
        settings = load_settings()
        loop.session = Session(manner=settings.manner)
        loop.loudspeaker = settings.loudspeaker == "yes"
        loop.voices, loop.keep_manner = way.voices, keep_manner
    try:
        loop.open(procedure) if procedure else loop.resume()
        way.listen(loop)
    finally:
        if loop.job.procedure and not loop.job.ended:
            _say_kept(arguments, job_id)
    if loop.unsaved:
        raise loop.unsaved


def _way(arguments: argparse.Namespace) -> AbstractContextManager[_Way]:
    if arguments.typed:
        return _typed()
    return _recorded(arguments.wav) if arguments.wav else _by_headset(arguments)


@contextmanager
def _typed() -> Iterator[_Way]:
    from companion.speaking.mouths import TextMouth, TextVoice
    from companion.working import show_line, type_lines

    yield _Way(TextVoice(), TextMouth(show_line), type_lines)


@contextmanager
def _recorded(files: list[Path]) -> Iterator[_Way]:
    from companion.audio.sound_files import FileEar
    from companion.loop import recogniser_for, run, sound_listener
    from companion.settings import load_settings
    from companion.speaking.mouths import TextMouth, TextVoice
    from companion.working import require_words, show_heard, show_line

    ear, recogniser = FileEar(files), recogniser_for(load_settings())
    require_words(recogniser)

    def listen(loop: Loop) -> None:
        loop.foresee = show_heard
        run(loop, ear, sound_listener(loop.language, recogniser))

    yield _Way(TextVoice(), TextMouth(show_line), listen)


@contextmanager
def _by_headset(arguments: argparse.Namespace) -> Iterator[_Way]:
    from companion.audio.cues import cue
    from companion.glance.screen import can_be_shown
    from companion.headset import Headset
    from companion.loop import (
        other_voice,
        recogniser_for,
        run,
        sound_listener,
        speak_out,
        spoken_voice,
    )
    from companion.settings import load_settings
    from companion.working import (
        require_words,
        show_heard,
        show_lost,
        show_unknown_words,
        unseen,
    )

    settings = load_settings()
    heard_by = arguments.microphone or settings.microphone
    spoken_by = arguments.headphones or settings.headphones
    voice, recogniser = spoken_voice(), recogniser_for(settings)
    require_words(recogniser)
    with Headset(heard_by, spoken_by) as headset:
        names = f"Microphone: {headset.ear.device.name}. Headphones: {headset.mouth.device.name}."
        print(f"  {names}")
        if settings.loudspeaker == "yes":
            print(
                "  Through a loudspeaker: while it speaks, only 'quiet' and cries for help count."
            )
        print("  Listening. Say 'what can I say' for help. Ctrl-C stops; the job is kept.")

        def listen(loop: Loop) -> None:
            show_unknown_words(loop, recogniser)
            listener = sound_listener(loop.language, recogniser)
            with ExitStack() as stack:
                if arguments.plain or not can_be_shown():
                    loop.foresee, lost = unseen(show_heard), unseen(show_lost)
                else:
                    lost = stack.enter_context(_view(loop, headset))
                run(loop, headset, listener, lost)
                speak_out(loop, headset)
            if headset.overruns:
                print(f"  Sound was lost {headset.overruns} times: this machine was busy.")

        yield _Way(voice, headset, listen, cue, other_voice)


@contextmanager
def _view(loop: Loop, headset: Headset) -> Iterator[Callable[[DeviceError | None], None]]:
    """Show the job full-screen; at the end, print how it stands where the lines stand."""
    from companion.glance.drawing import closing
    from companion.glance.screen import Screen
    from companion.glance.watching import Watching
    from companion.sound_card import quiet_start
    from companion.working import show_line

    said_plainly = loop.watch
    watching = Watching(loop)
    screen = Screen(watching.seen)
    watching.wake = screen.wake

    def watch(happened: Happened) -> None:
        watching.watch(happened)
        if screen.problem and said_plainly:
            said_plainly(happened)

    try:
        with quiet_start(), screen:
            loop.watch, headset.on_sound = watch, watching.take
            yield watching.lost
    finally:
        loop.watch, headset.on_sound = said_plainly, None
        if screen.problem:
            show_line(f"(The view ended: {screen.problem}. Plain lines: companion work --plain)")
        shown = watching.seen()
        for line in (*closing(shown), *(() if shown.step else loop.session.said)):
            show_line(line)
        if loop.job.ended:
            show_line(f"Job {loop.job_id} is kept. Its report: companion jobs report")


def _which_job(store: SqliteStore, arguments: argparse.Namespace) -> tuple[str, bool]:
    """Return the job's id, and whether it is resumed."""
    if arguments.job:
        _refuse_emptied(list(store.entries(arguments.job)))  # raises if there is none
        return arguments.job, True
    latest = None if arguments.new else store.latest_open()
    if latest:
        return latest.id, True
    return store.new_job_id(datetime.now(UTC)), False


def _refuse_emptied(entries: list[Entry]) -> None:
    """A job goes on by what its entries say: whether it is locked out, what was proved."""
    from companion.dialogue.forgetting import is_whole

    if not is_whole(entries):
        raise InputError(
            f"Job {entries[0].job} cannot be resumed: what was done was removed on request",
            "Begin a new one with: companion work --new",
        )


def _tell_others(store: SqliteStore, job_id: str) -> None:
    """Name the other jobs that are open: they wait, and nothing else would tell."""
    for job in store.jobs():
        if job.state == "open" and job.id != job_id:
            how = f"companion work --job {job.id}"
            print(f"Also open: {job.title}, since {job.opened:%Y-%m-%d}: {how}", file=sys.stderr)


def _say_kept(arguments: argparse.Namespace, job_id: str) -> None:
    how = " --typed" if arguments.typed else " --wav FILE" if arguments.wav else ""
    log = f" --log {arguments.log}" if arguments.log else ""
    print(f"Job {job_id} is kept. Resume it with: companion work{how}{log}", file=sys.stderr)
