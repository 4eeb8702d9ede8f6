"""`companion selftest` as it is run: on a bare machine, with things broken, on a complete one."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from contextlib import contextmanager
from threading import Event, Thread
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.bench.virtual_card import VirtualCard
from companion.ports import SAMPLE_RATE_HZ
from companion.rehearsal.speakers import speaker
from companion.selftest.phrases import phrases

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from companion.ports import Samples

NAMES = [
    "recogniser", "model files", "voice", "devices", "microphone", "headphones", "storage",
    "settings", "versions",
]  # fmt: skip
WITHOUT_SOUND = [name for name in NAMES if name not in {"devices", "microphone", "headphones"}]
LACKING = VirtualCard.is_possible()
card_needed = pytest.mark.skipif(bool(LACKING), reason=f"no virtual sound card: {LACKING}")


def command(*arguments: object) -> list[str]:
    return [sys.executable, "-m", "companion", "selftest", *map(str, arguments)]


def selftest(
    environment: Mapping[str, str], *arguments: object
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command(*arguments),
        env=environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


@pytest.fixture
def home(tmp_path: Path) -> dict[str, str]:
    """An environment whose settings and log are nobody's."""
    folders = {f"XDG_{kind}_HOME": str(tmp_path / kind.lower()) for kind in ("CONFIG", "DATA")}
    return {**os.environ, **folders}


def without(home: Mapping[str, str], folder: Path, module: str, raises: str) -> dict[str, str]:
    """Return an environment in which a module cannot be imported."""
    folder.mkdir(exist_ok=True)
    (folder / f"{module}.py").write_text(f"raise {raises}\n")
    kept = home.get("PYTHONPATH")
    return {**home, "PYTHONPATH": os.pathsep.join([str(folder), *([kept] if kept else [])])}


@pytest.fixture
def bare(home: dict[str, str], tmp_path: Path) -> dict[str, str]:
    """A machine without PortAudio; the error is the one that sounddevice raises there."""
    return without(home, tmp_path / "bare", "sounddevice", "OSError('PortAudio library not found')")


def lines(done: subprocess.CompletedProcess[str]) -> dict[str, str]:
    """Return the verdict of each line, one a check, in order."""
    assert "Traceback" not in done.stderr
    found = done.stdout.splitlines()
    return {line[9:21].strip(): line[:8].strip() for line in found}


def troubled(done: subprocess.CompletedProcess[str]) -> list[str]:
    """Return what failed; a warning that this machine is slow now is none of a test's business."""
    return [name for name, verdict in lines(done).items() if verdict == "failed"]


def line(done: subprocess.CompletedProcess[str], name: str) -> str:
    return next(each for each in done.stdout.splitlines() if each[9:21].strip() == name)


# ---------------------------------------------------------------- without a sound card


def test_on_a_bare_machine_it_says_what_to_install(bare: dict[str, str]) -> None:
    done = selftest(bare)
    assert done.stderr == ""
    assert list(lines(done)) == NAMES
    assert troubled(done) == ["devices", "microphone", "headphones"]
    assert "apt-get install libportaudio2" in line(done, "devices")
    assert "companion work --typed" in line(done, "devices")
    assert line(done, "microphone").endswith("as for devices.")
    assert done.returncode == 4


def test_without_sound_a_bare_machine_is_fine(bare: dict[str, str]) -> None:
    done = selftest(bare, "--no-sound")
    assert list(lines(done)) == WITHOUT_SOUND
    assert list(lines(done)) == WITHOUT_SOUND
    assert troubled(done) == [], done.stdout
    assert done.returncode == 0


def test_no_voice_stops_no_other_check(home: dict[str, str], tmp_path: Path) -> None:
    mute = without(home, tmp_path / "mute", "pyttsx3", "ImportError('no voice here')")
    done = selftest(mute, "--no-sound")
    verdicts = lines(done)
    assert list(verdicts) == WITHOUT_SOUND
    assert (verdicts["recogniser"], verdicts["voice"]) == ("warning", "failed")
    assert "espeak" in line(done, "voice")
    assert done.returncode == 4


def test_a_place_that_cannot_hold_the_log_is_a_failure_of_storage_alone(
    home: dict[str, str], tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("no folder")
    done = selftest(home, "--no-sound", "--log", tmp_path / "file" / "jobs.sqlite3")
    assert lines(done)["storage"] == "failed"
    assert "--log" in line(done, "storage")
    assert done.returncode == 5


def test_broken_settings_are_one_failure_and_the_rest_goes_on(
    home: dict[str, str], tmp_path: Path
) -> None:
    path = tmp_path / "config" / "companion" / "settings.json"
    path.parent.mkdir(parents=True)
    path.write_text('{"recogniser": "loud"}')
    done = selftest(home, "--no-sound")
    verdicts = lines(done)
    assert list(verdicts) == WITHOUT_SOUND
    assert troubled(done) == ["settings"]
    assert str(path) in line(done, "settings")
    assert "Mend or remove the file." in line(done, "settings")
    assert done.returncode == 5


def test_json_is_one_object(bare: dict[str, str]) -> None:
    done = selftest(bare, "--json")
    told = json.loads(done.stdout)
    assert set(told) == {"verdict", "exit_code", "findings"}
    assert [finding["name"] for finding in told["findings"]] == NAMES
    for finding in told["findings"]:
        assert set(finding) == {"name", "verdict", "says", "remedy"}
    assert (told["verdict"], told["exit_code"], done.returncode) == ("failed", 4, 4)


def test_listening_without_a_microphone_is_one_clear_line(bare: dict[str, str]) -> None:
    done = selftest(bare, "--listen")
    assert done.returncode == 4
    assert done.stderr.startswith("companion: ")
    assert done.stderr.count("\n") == 1
    assert "apt-get install libportaudio2" in done.stderr


# ---------------------------------------------------------------- with a sound card


def hiss(seconds: float) -> Samples:
    """A quiet room, -60 dBFS: 20 log10(33 / 32,768)."""
    noise = np.random.default_rng(5).normal(0, 33, round(seconds * SAMPLE_RATE_HZ))
    return noise.astype(np.int16)


@contextmanager
def in_a_room(card: VirtualCard) -> Iterator[None]:
    """Let the microphone hear a room, not digital silence, as long as this lasts."""
    over = Event()

    def breathe() -> None:
        while not over.is_set():
            card.say(hiss(2.0)).wait()

    breathing = Thread(target=breathe)
    breathing.start()
    try:
        yield
    finally:
        over.set()
        breathing.join()


@pytest.fixture(scope="module")
def card() -> Iterator[VirtualCard]:
    with VirtualCard() as running:
        yield running


def on(card: VirtualCard, home: Mapping[str, str]) -> dict[str, str]:
    """Return the environment of a card, with a home of this test's own."""
    return {**card.environment, **{key: home[key] for key in home if key.startswith("XDG_DATA")}}


@card_needed
@pytest.mark.card
def test_on_a_complete_machine_all_is_well(card: VirtualCard, home: dict[str, str]) -> None:
    before = len(card.headphones.samples)
    with in_a_room(card):
        done = selftest(on(card, home))
    assert done.stderr == ""
    assert list(lines(done)) == NAMES
    assert troubled(done) == [], done.stdout
    assert done.returncode == 0
    heard = line(done, "microphone")
    noise_dbfs = int(heard.partition("noise ")[2].partition(" dBFS")[0])
    assert noise_dbfs == pytest.approx(-60, abs=2)
    played = np.abs(card.headphones.samples[before:].astype(np.int32))
    assert played.max() > 3_000  # the cue came out of the headphones


@card_needed
@pytest.mark.card
def test_a_muted_microphone_fails(card: VirtualCard, home: dict[str, str]) -> None:
    done = selftest(on(card, home))  # the virtual microphone gives zeros while nothing is said
    assert troubled(done) == ["microphone"]
    assert "muted" in line(done, "microphone")
    assert done.returncode == 4


def _heeds_ctrl_c() -> None:
    signal.signal(signal.SIGINT, signal.default_int_handler)


@contextmanager
def listening(environment: Mapping[str, str], *options: str) -> Iterator[subprocess.Popen[str]]:
    """Start `--listen`, stoppable by Ctrl-C even where these tests run in the background."""
    with subprocess.Popen(
        command("--listen", *options),
        env={**environment, "PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=_heeds_ctrl_c,  # noqa: PLW1509 - it only resets a signal
    ) as process:
        try:
            yield process
        finally:
            process.kill()


@card_needed
@pytest.mark.card
def test_ctrl_c_stops_the_reading_and_keeps_nothing(
    card: VirtualCard, home: dict[str, str]
) -> None:
    with listening(on(card, home)) as process:
        assert process.stdout
        assert any("1 of 20" in shown for shown in process.stdout)
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=20)
    assert err == "\ncompanion: stopped; nothing was kept\n"
    assert process.returncode == 130


@card_needed
@pytest.mark.card
def test_twenty_phrases_read_aloud_over_the_card(card: VirtualCard, home: dict[str, str]) -> None:
    """A synthetic reader looks at the screen and reads each phrase as it appears."""
    voice = speaker("flite:slt" if shutil.which("flite") else "espeak:en-us+m3")
    spoken = {phrase.reads: voice.say(" ".join(phrase.words)) for phrase in phrases()}
    with in_a_room(card), listening(on(card, home), "--json") as process:
        assert process.stderr
        assert process.stdout
        shown = []
        for row in process.stderr:
            shown.append(row)
            if (sound := spoken.get(row.strip())) is not None:
                card.say(np.concatenate([hiss(0.8), sound, hiss(0.1)])).wait()
        told = json.loads(process.stdout.read())
    assert process.wait() == 0
    assert sum("heard:" in row for row in shown) == 20
    assert told["read"] == told["asked"] == 20
    assert [each["words"] for each in told["phrases"]] == [" ".join(p.words) for p in phrases()]
    assert {each["recogniser"] for each in told["recognisers"]} == {"bundled", "bundled-original"}
    used = next(each for each in told["recognisers"] if each["recogniser"] == "bundled")
    assert used["accuracy"]["of"] == 20
    assert used["accuracy"]["hits"] >= 10  # loose: a clean synthetic voice is heard
    assert told["level"]["noise_dbfs"] == pytest.approx(-60, abs=4)
    assert told["level"]["clipped_share"] == 0.0
