"""`companion selftest`: is everything there, does it work, and which recogniser hears you best."""

from __future__ import annotations

import json
import sys
from functools import partial
from typing import TYPE_CHECKING

from companion.commands.options import add_log, log_path

if TYPE_CHECKING:
    import argparse

INTERRUPTED = 130
INTRODUCTION = """\
Put the headset on. Twenty phrases appear, one after the other: read each aloud as you would say
it at work, when it appears. What was heard is shown at once. Nothing is recorded to disk.
Ctrl-C stops, and nothing is kept."""
DESCRIPTION = """\
Try what a job needs, one line each: what is wrong, and what to do.

With --listen, you read 20 phrases aloud instead; every recogniser that is here hears
them, and the one that hears you clearly better is kept.
"""
EPILOG = """\
example: companion selftest --listen

exit codes: 0 nothing failed (warnings or not), 4 a model, the voice, a device or a package
failed, 5 only the storage failed, 130 you stopped it. The headset is the way to work, so a
machine without one fails; where you type or give recordings, leave it out with --no-sound.
"""


def add(command: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    command.description = DESCRIPTION
    command.epilog = EPILOG
    what = command.add_mutually_exclusive_group()
    what.add_argument("--listen", action="store_true", help="read 20 phrases, compare recognisers")
    what.add_argument(
        "--no-sound", action="store_true", help="leave out devices, microphone and headphones"
    )
    command.add_argument("--json", action="store_true", help="print one JSON object")
    add_log(command)
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Run the command."""
    return _listen(arguments) if arguments.listen else _check(arguments)


def _check(arguments: argparse.Namespace) -> int:
    from companion.selftest.checks import asked_for, findings
    from companion.selftest.findings import as_json, exit_code

    asked = asked_for(log_path(arguments), sound=not arguments.no_sound)
    made = []
    for finding in findings(asked):
        made.append(finding)
        if not arguments.json:
            print(finding.line(), flush=True)
    if arguments.json:
        print(json.dumps(as_json(made), indent=2))
    return exit_code(made)


def _listen(arguments: argparse.Namespace) -> int:
    from companion.audio.headset_ear import HeadsetEar
    from companion.selftest.listening_test import listening_test
    from companion.selftest.told import as_json, as_text
    from companion.settings import load_settings
    from companion.sound_card import microphone

    # The phrases are for the eye; with --json, standard output is for the object alone.
    show = partial(print, file=sys.stderr if arguments.json else sys.stdout, flush=True)
    settings = load_settings()
    device = microphone(settings.microphone)
    show(INTRODUCTION)
    try:
        result = listening_test(lambda: HeadsetEar(device), settings, show)
    except KeyboardInterrupt:
        print("\ncompanion: stopped; nothing was kept", file=sys.stderr)
        return INTERRUPTED
    print(json.dumps(as_json(result), indent=2) if arguments.json else as_text(result))
    return 0
