"""Every command, and bad input to it: one clear line, the right exit code, nothing lost."""

from __future__ import annotations

import io
import json
import os
import resource
import shlex
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from importlib.metadata import distribution
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pypdf
import pytest
import soundfile

from companion.audio.sound_files import resampled
from companion.cli import EXAMPLES, main, parser
from companion.errors import CompanionError
from companion.hearing import model_files
from companion.joblog import SqliteStore
from companion.packaged import packaged_folder
from companion.procedures.template import begun
from companion.rehearsal.speakers import speaker
from companion.sizing import sizings

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

TO_THE_DUCT = ("nothing there", "clean", "it may stop", "insulated duct", "gas furnace")
ASK_KEYS = {"value", "unit", "spoken", "working", "assumptions", "caution", "sources"}


@pytest.fixture(autouse=True)
def at_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let nothing reach the user's own job log."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


def companion(
    *arguments: object, said: str = "", limit_bytes: int | None = None
) -> subprocess.CompletedProcess[str]:
    """Run the command in a process of its own."""

    def limited() -> None:
        if limit_bytes is not None:
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit_bytes, limit_bytes))

    return subprocess.run(
        [sys.executable, "-m", "companion", *map(str, arguments)],
        input=said,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
        preexec_fn=limited if limit_bytes is not None else None,
    )


def typed(log: Path, *lines: str, more: tuple[str, ...] = ()) -> str:
    """Work on a job by typed lines, in this process; return what was printed."""
    out, err = io.StringIO(), io.StringIO()
    stdin, sys.stdin = sys.stdin, io.StringIO("\n".join(lines))
    try:
        with redirect_stdout(out), redirect_stderr(err):
            code = main(["work", "--typed", "--log", str(log), *more])
    finally:
        sys.stdin = stdin
    assert code == 0, err.getvalue()
    return out.getvalue() + err.getvalue()


def kinds(log: Path, job: str | None = None) -> list[str]:
    with SqliteStore(log, read_only=True) as store:
        return [entry.kind for entry in store.entries(job or store.jobs()[-1].id)]


@pytest.fixture(scope="module")
def worked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log with one job: choices, readings, one struck, a question; still open."""
    log = tmp_path_factory.mktemp("worked") / "jobs.sqlite3"
    typed(
        log, *TO_THE_DUCT, "sheet metal", "plate static 0.5", "lowest rise 30", "strike that",
        "lowest rise 35", "what gauge for half an amp at sixty feet",
    )  # fmt: skip
    return log


def one_line(text: str) -> str:
    """Return the one line that there is, without its end."""
    assert text.count("\n") == 1, text
    assert text.startswith("companion: ")
    assert "Traceback" not in text
    return text.strip()


# ---------------------------------------------------------------- help and usage


def test_help_names_every_command_and_exit_code(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["--help"])
    told = capsys.readouterr().out
    assert ended.value.code == 0
    for word in ("rehearse", "work", "hear", "ask", "jobs", "exit codes", "130"):
        assert word in told


def test_hear_lists_its_scopes(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["hear", "--help"])
    told = capsys.readouterr().out
    for scope in ("steps", "readings", "questions", "everything"):
        assert scope in told


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["dance"],
        ["work", "--typed", "--wav", "x.wav"],
        ["hear"],
        ["hear", "x.wav", "--scope", "nowhere"],
        ["ask"],
        ["jobs"],
        ["jobs", "export", "--format", "xml"],
        ["rehearse", "--noise", "loud"],
        ["rehearse", "--seed", "one"],
    ],
)
def test_wrong_usage_is_2(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 2
    assert "usage:" in capsys.readouterr().err


def test_every_example_can_be_parsed() -> None:
    lines = [
        line.split("companion ", 1)[1] for line in EXAMPLES.splitlines() if "  companion " in line
    ]
    assert len(lines) >= 4
    for line in lines:
        parser().parse_args(shlex.split(line))


def test_the_version_is_the_installed_one(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["--version"])
    assert capsys.readouterr().out.split()[-1] == distribution("companion").version


# ---------------------------------------------------------------- ask


@pytest.mark.parametrize("slug", sorted(sizings()))
def test_every_sizing_answers_its_example(slug: str, capsys: pytest.CaptureFixture[str]) -> None:
    example = sizings()[slug].example
    assert main(["ask", example, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told.keys() >= ASK_KEYS
    assert told["sizing"] == slug
    assert told["spoken"]
    assert told["working"]
    assert told["sources"]
    assert main(["ask", example]) == 0
    text = capsys.readouterr().out
    assert text.startswith(told["spoken"])
    assert "Working:" in text
    assert "Source:" in text


def test_there_are_fifteen_sizings() -> None:
    assert len(sizings()) >= 15


@pytest.mark.parametrize(
    ("question", "told"),
    [
        ("how long is a piece of string", "is no sizing question I know, or it is not clear which"),
        ("", "is no sizing question I know"),
        ("what gauge for half an amp", "How many feet, one way? Ask again with the one-way length"),
        ("what gauge for half an amp at nine thousand feet", "from one to five hundred feet"),
    ],
)
def test_what_cannot_be_answered_is_3_and_says_how_to_ask(
    question: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["ask", question]) == 3
    out, err = capsys.readouterr()
    assert out == ""
    assert told in one_line(err)


def test_a_question_that_is_no_text_is_3() -> None:
    done = companion("ask", os.fsdecode(b"\xff half"))
    assert done.returncode == 3
    assert "is no sizing question I know" in one_line(done.stderr)


# ---------------------------------------------------------------- work, typed


def test_a_job_is_worked_typed_and_resumed(tmp_path: Path) -> None:
    log = tmp_path / "jobs.sqlite3"
    first = typed(log, *TO_THE_DUCT)
    assert "> it may stop" in first
    assert "is kept. Resume it with: companion work" in first
    second = typed(log, "which step", "blue elephants", "", "sheet metal")
    assert "Resuming. Motorized fresh air damper." in second
    assert "(not understood here; type: what can i say)" in second
    assert "Read the rating plate to me." in second
    assert kinds(log).count("resumed") == 1
    assert kinds(log).count("job-opened") == 1


def test_new_begins_another_job_and_job_takes_up_a_named_one(tmp_path: Path) -> None:
    log = tmp_path / "jobs.sqlite3"
    typed(log, *TO_THE_DUCT)
    assert "Say done after each step" in typed(log, "nothing there", more=("--new",))
    with SqliteStore(log, read_only=True) as store:
        first, second = (job.id for job in store.jobs())
    assert first != second
    told = typed(log, "which step", "pause", more=("--job", first))
    assert "Look at the duct there." in told
    assert f"companion work --job {second}" in told  # the other one is open too
    assert kinds(log, first).count("resumed") == 1
    assert "resumed" not in kinds(log, second)
    told = typed(log, "clean", more=("--job", second))
    assert f"companion work --job {first}" in told
    assert kinds(log, second).count("resumed") == 1
    told = typed(log, "which step", more=("--job", first))  # and back: paused, then resumed
    assert "Look at the duct there." in told


def test_a_job_typed_to_left_safe_is_not_taken_up_again(tmp_path: Path) -> None:
    log = tmp_path / "jobs.sqlite3"
    told = typed(log, "call it off", "yes", "the office", "never read")
    assert told.rstrip().endswith("Left safe, and logged. Job closed.")
    assert "Say done after each step" in typed(log)  # a new one


def test_bytes_that_are_no_text_lose_nothing(tmp_path: Path) -> None:
    log = tmp_path / "jobs.sqlite3"
    run = subprocess.run(
        [sys.executable, "-m", "companion", "work", "--typed", "--log", str(log)],
        input=b"nothing there\n\xff\xfe\x00\nclean\n",
        capture_output=True,
        check=False,
        env={**os.environ, "LC_ALL": "C.UTF-8", "PYTHONUTF8": "0"},
    )
    assert run.returncode in (0, 3), run.stderr
    assert b"Traceback" not in run.stderr
    assert "choice" in kinds(log)


def start_typing(log: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "companion", "work", "--typed", "--log", str(log)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=hears_control_c,  # noqa: PLW1509 - no threads here
    )


def hears_control_c() -> None:
    """A check that was started in the background hands down an ignored SIGINT."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def say_and_wait(process: subprocess.Popen[str], line: str, answer: str) -> None:
    assert process.stdin
    assert process.stdout
    process.stdin.write(f"{line}\n")
    process.stdin.flush()
    while answer not in (printed := process.stdout.readline()):
        assert printed, f"no '{answer}'"


def test_killed_in_the_middle_what_was_answered_is_there(tmp_path: Path) -> None:
    log = tmp_path / "jobs.sqlite3"
    process = start_typing(log)
    say_and_wait(process, "nothing there", "Clean, or suspect?")
    say_and_wait(process, "clean", "It may stop, or it never stops?")
    process.kill()
    process.wait()
    for stream in (process.stdin, process.stdout, process.stderr):
        assert stream
        stream.close()
    assert kinds(log).count("choice") == 2
    told = typed(log, "it may stop")
    assert "Resuming." in told
    assert "Ask the customer: may the blower stop" in told
    assert kinds(log).count("choice") == 3


def test_control_c_is_130_and_keeps_the_job(tmp_path: Path) -> None:
    log = tmp_path / "jobs.sqlite3"
    process = start_typing(log)
    say_and_wait(process, "nothing there", "Clean, or suspect?")
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=30)
    assert process.returncode == 130
    assert "is kept. Resume it with: companion work" in err
    assert "interrupted; all that was logged is kept" in err
    assert "Traceback" not in err
    assert kinds(log).count("choice") == 1


def test_an_unknown_job_is_5_and_an_unknown_procedure_3(
    worked: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["work", "--typed", "--job", "1999-01-01-1", "--log", str(worked)]) == 5
    assert "List the jobs with: companion jobs list" in one_line(capsys.readouterr().err)
    assert main(["work", "--typed", "--procedure", "nosuch", "--log", str(worked)]) == 3
    assert "fresh-air-damper, high-static, humidifier" in one_line(capsys.readouterr().err)


def test_a_second_companion_on_one_log_is_refused(
    worked: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = shutil.copy(worked, tmp_path / "copy.sqlite3")
    with SqliteStore(log):
        assert main(["work", "--typed", "--log", str(log)]) == 5
    one_line(capsys.readouterr().err)


# ---------------------------------------------------------------- a procedure of one's own

SMALL = Path(__file__).parent / "dialogue" / "small.toml"


def test_a_procedure_of_ones_own_is_worked_and_resumed_without_its_file(tmp_path: Path) -> None:
    log, own = tmp_path / "jobs.sqlite3", tmp_path / "own.toml"
    own.write_text(begun("attic-fan", "Attic fan switch"), "utf-8")
    assert "Attic fan switch." in typed(log, more=("--procedure", str(own)))
    own.unlink()
    assert "Look at the duct wrap and tape" in typed(log, "nothing there")


@pytest.mark.parametrize(
    ("found", "put", "told"),
    [
        ('say = "Look at the duct."', 'sayy = "Look at the duct."', "sayy"),
        ('{ slug = "board", names', '{ slug = "board", goto = "nowhere", names', "nowhere"),
        ('slug = "small"', 'slug = "small', ""),
        ('unit = "ohm"', 'unit = "furlong"', "furlong"),
    ],
)
def test_a_broken_procedure_is_3_and_names_file_and_place(
    found: str, put: str, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = SMALL.read_text("utf-8")
    assert found in text
    own, log = tmp_path / "own.toml", tmp_path / "jobs.sqlite3"
    own.write_text(text.replace(found, put, 1), "utf-8")
    assert main(["work", "--typed", "--procedure", str(own), "--log", str(log)]) == 3
    line = capsys.readouterr().err
    assert "Traceback" not in line
    assert "own.toml" in line
    assert told in line
    assert not log.exists()


@pytest.mark.parametrize("name", ["missing.toml", "folder.toml", "bytes.toml", "empty.toml"])
def test_a_procedure_that_cannot_be_read_is_3(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "folder.toml").mkdir()
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00slug")
    (tmp_path / "empty.toml").write_text("")
    log = tmp_path / "jobs.sqlite3"
    assert main(["work", "--typed", "--procedure", str(tmp_path / name), "--log", str(log)]) == 3
    err = capsys.readouterr().err
    assert err.startswith("companion: ")
    assert name in err
    assert "Traceback" not in err


# ---------------------------------------------------------------- the disk


def test_a_disk_with_no_room_for_a_log_is_5(tmp_path: Path) -> None:
    done = companion("work", "--typed", "--log", tmp_path / "a.sqlite3", limit_bytes=1000)
    assert done.returncode == 5
    assert "say resume" in one_line(done.stderr) or "Free" in done.stderr


def test_a_disk_with_no_room_for_the_job_is_5_and_says_so_aloud(tmp_path: Path) -> None:
    log = tmp_path / "a.sqlite3"
    done = companion("work", "--typed", "--log", log, said="nothing there\n", limit_bytes=60_000)
    assert done.returncode == 5
    assert done.stdout.strip() == (
        "I can't save. Nothing more is logged. Free the disk, then say resume."
    )
    assert "Everything logged before is safe" in one_line(done.stderr)


def test_a_disk_that_fills_during_the_job_keeps_what_was_answered(tmp_path: Path) -> None:
    log = tmp_path / "a.sqlite3"
    typed(log, *TO_THE_DUCT, "sheet metal")
    before = kinds(log)
    room = max(path.stat().st_size for path in tmp_path.iterdir()) + 30_000
    lines = ["plate static 0.5", "strike that"] * 80
    done = companion("work", "--typed", "--log", log, said="\n".join(lines), limit_bytes=room)
    assert done.returncode == 5, done.stderr
    answers = done.stdout.split("\n> ")
    failed = next(n for n, each in enumerate(answers) if "I can't save." in each)
    assert failed > 1
    assert "zero point five" not in answers[failed]
    answered = sum("\n  Plate static, zero point five" in each for each in answers[1:failed])
    after = kinds(log)
    assert after[: len(before)] == before
    assert after.count("reading") >= answered
    assert "Traceback" not in done.stderr
    assert "Resuming." in typed(log, "which step")  # with room again it goes on


@contextmanager
def read_only(folder: Path) -> Iterator[None]:
    """Mount a folder over itself so that nobody can write to it; only root may."""
    if os.geteuid() != 0 or shutil.which("mount") is None:
        pytest.skip("mounting needs root")
    for how in ("bind", "remount,bind,ro"):
        command = ["mount", "-o", how, str(folder), str(folder)]
        if subprocess.run(command, check=False).returncode:
            pytest.skip("this system does not let us mount")
    try:
        yield
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)  # noqa: S607


def test_a_read_only_disk_is_5_to_write_and_can_be_read(tmp_path: Path, worked: Path) -> None:
    folder = tmp_path / "stick"
    folder.mkdir()
    log = Path(shutil.copy(worked, folder / "jobs.sqlite3"))
    with read_only(folder):
        done = companion("work", "--typed", "--log", log, said="which step\n")
        assert done.returncode == 5
        one_line(done.stderr)
        assert companion("jobs", "list", "--log", log).returncode == 0


@pytest.mark.parametrize(
    "arguments",
    [
        ["jobs", "list"],
        ["jobs", "show"],
        ["jobs", "export"],
        ["jobs", "report"],
        ["work", "--typed"],
    ],
)
def test_an_output_that_takes_no_more_is_told_in_one_line(
    worked: Path, arguments: list[str]
) -> None:
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("no /dev/full here")
    with full.open("w") as out:
        done = subprocess.run(
            [sys.executable, "-m", "companion", *arguments, "--log", str(worked)],
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 3
    assert "Traceback" not in done.stderr
    assert "No space left on device" in done.stderr


# ---------------------------------------------------------------- jobs


def test_jobs_are_listed_shown_exported_and_reported(
    worked: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = ["--log", str(worked)]
    assert main(["jobs", "list", *log]) == 0
    line = capsys.readouterr().out
    assert "open" in line
    assert line.rstrip().endswith("Motorized fresh air damper")
    assert main(["jobs", "show", *log]) == 0
    shown = capsys.readouterr().out.splitlines()
    assert len(shown) == len(kinds(worked))
    assert any("struck" in each for each in shown)
    assert main(["jobs", "export", "--format", "csv", *log]) == 0
    table = capsys.readouterr().out
    assert "Plate static" in table
    assert "inH2O" in table or "in. w.c." in table
    assert main(["jobs", "export", "--format", "json", *log]) == 0
    exported = json.loads(capsys.readouterr().out)
    assert exported["job"]["state"] == "open"
    assert main(["jobs", "export", "--format", "entries-csv", *log]) == 0
    assert len(capsys.readouterr().out.splitlines()) > len(kinds(worked))
    out = tmp_path / "report.html"
    assert main(["jobs", "report", "--out", str(out), *log]) == 0
    assert capsys.readouterr().out == f"Written: {out}\n"
    page = out.read_text("utf-8")
    assert page.lower().startswith("<!doctype html>")
    assert "Plate static" in page
    out = tmp_path / "report.pdf"
    assert main(["jobs", "report", "--out", str(out), *log]) == 0
    assert capsys.readouterr().out == f"Written: {out}\n"
    first = pypdf.PdfReader(out).pages[0]
    assert first.mediabox[2:] == [612, 792]  # letter: 8.5 by 11 inches of 72 points
    out = tmp_path / "another"
    assert main(["jobs", "report", "--pdf", "--paper", "a4", "--out", str(out), *log]) == 0
    capsys.readouterr()
    first = pypdf.PdfReader(out).pages[0]
    assert first.mediabox[3] == pytest.approx(297 / 25.4 * 72, abs=0.1)  # A4, ISO 216
    assert "For the customer" in first.extract_text()


def test_a_pdf_can_be_piped_on(worked: Path, capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    assert main(["jobs", "report", "--pdf", "--log", str(worked)]) == 0
    assert len(pypdf.PdfReader(io.BytesIO(capfdbinary.readouterr().out)).pages) > 1


def test_paper_without_a_pdf_is_refused(worked: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["jobs", "report", "--paper", "a4", "--log", str(worked)]) == 3
    assert "--paper a4 is for a PDF, and this report is HTML" in capsys.readouterr().err


def test_the_named_job_is_the_one_shown(worked: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with SqliteStore(worked, read_only=True) as store:
        job = store.jobs()[0].id
    assert main(["jobs", "show", job, "--log", str(worked)]) == 0
    assert capsys.readouterr().out


@pytest.mark.parametrize("action", ["list", "show", "export", "report"])
def test_without_a_log_every_look_at_it_is_5(
    action: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["jobs", action, "--log", str(tmp_path / "none.sqlite3")]) == 5
    assert "Start a job first: companion work" in one_line(capsys.readouterr().err)


@pytest.mark.parametrize("action", ["show", "export", "report"])
def test_an_unknown_job_is_5(action: str, worked: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["jobs", action, "1999-01-01-1", "--log", str(worked)]) == 5
    assert "No job '1999-01-01-1'" in one_line(capsys.readouterr().err)


def test_a_log_without_jobs_has_none_to_show(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "empty.sqlite3"
    SqliteStore(log).close()
    assert main(["jobs", "list", "--log", str(log)]) == 0
    assert capsys.readouterr().out == ""
    assert main(["jobs", "show", "--log", str(log)]) == 5
    one_line(capsys.readouterr().err)


@pytest.mark.parametrize("action", ["export", "report"])
def test_a_place_that_cannot_be_written_is_3(
    action: str, worked: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    nowhere = tmp_path / "no-such-folder" / "file"
    assert main(["jobs", action, "--out", str(nowhere), "--log", str(worked)]) == 3
    assert "Choose another place with --out." in one_line(capsys.readouterr().err)


def test_a_newer_log_is_5_for_every_command_and_left_as_it_is(
    worked: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = Path(shutil.copy(worked, tmp_path / "newer.sqlite3"))
    connection = sqlite3.connect(log)
    connection.execute("PRAGMA user_version = 99")
    connection.commit()
    connection.close()
    before = log.read_bytes()
    for arguments in (["work", "--typed"], ["jobs", "list"], ["jobs", "show"], ["jobs", "report"]):
        assert main([*arguments, "--log", str(log)]) == 5
        assert "newer" in one_line(capsys.readouterr().err)
    assert log.read_bytes() == before


def test_a_file_that_is_no_log_is_5(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = tmp_path / "notes.txt"
    log.write_text("buy tape\n" * 500)
    for arguments in (["work", "--typed"], ["jobs", "list"]):
        assert main([*arguments, "--log", str(log)]) == 5
        one_line(capsys.readouterr().err)
    assert log.read_text() == "buy tape\n" * 500


# ---------------------------------------------------------------- hear, and work on recordings

BAD_SOUNDS = {
    "missing.wav": "there is no such file",
    "empty.wav": "the file is empty",
    "text.wav": "this is no sound file",
    "header.wav": "no sound in it",
    "cut.wav": "cut short",
    "folder.wav": "this is a folder",
}


@pytest.fixture(scope="module")
def sounds(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of files that are no good, and of good ones without speech."""
    folder = tmp_path_factory.mktemp("sounds")
    (folder / "empty.wav").write_bytes(b"")
    (folder / "text.wav").write_text("This is not sound at all.\n" * 40)
    (folder / "folder.wav").mkdir()
    soundfile.write(folder / "header.wav", np.zeros(0, np.int16), 16_000)
    soundfile.write(folder / "whole.wav", np.zeros(16_000, np.int16), 16_000)
    whole = (folder / "whole.wav").read_bytes()
    (folder / "cut.wav").write_bytes(whole[: len(whole) // 2])
    soundfile.write(folder / "silence.wav", np.zeros(48_000, np.int16), 16_000)
    noise: npt.NDArray[np.float64] = np.random.default_rng(3).normal(0, 0.05, 48_000)
    soundfile.write(folder / "noise.wav", noise, 16_000)
    return folder


@pytest.mark.parametrize(("name", "told"), sorted(BAD_SOUNDS.items()))
def test_a_bad_sound_file_is_3_for_work_before_a_job_is_begun(
    name: str, told: str, sounds: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "jobs.sqlite3"
    assert main(["work", "--wav", str(sounds / name), "--log", str(log)]) == 3
    line = one_line(capsys.readouterr().err)
    assert told in line
    assert name in line
    assert not log.exists()


@pytest.mark.sound
def test_bad_files_are_told_and_the_good_ones_heard_all_the_same(
    sounds: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    names = [*sorted(BAD_SOUNDS), "silence.wav", "noise.wav"]
    assert main(["hear", "--json", *(str(sounds / name) for name in names)]) == 3
    out, err = capsys.readouterr()
    errors = err.splitlines()
    assert len(errors) == len(BAD_SOUNDS)
    for line, (name, told) in zip(errors, sorted(BAD_SOUNDS.items()), strict=True):
        assert line.startswith("companion: ")
        assert name in line
        assert told in line
    heard = [json.loads(line) for line in out.splitlines()]
    assert [Path(each["file"]).name for each in heard] == ["silence.wav", "noise.wav"]
    for each in heard:
        assert not [u for u in each["utterances"] if u["judged"] not in ("not for me", "too long")]


@pytest.mark.sound
def test_silence_and_noise_are_no_speech_on_the_screen_too(
    sounds: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["hear", str(sounds / "silence.wav"), "--scope", "readings"]) == 0
    assert "(no speech)" in capsys.readouterr().out


@pytest.fixture(scope="module")
def recordings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same sentence as 16 kHz mono, 8-bit 8 kHz, 48 kHz stereo wav and as flac."""
    folder = tmp_path_factory.mktemp("recordings")
    try:
        said = speaker().say("nothing there") / 32_768
    except CompanionError as missing:
        pytest.skip(f"no synthetic technician: {missing}")
    room = np.random.default_rng(1).normal(0, 0.0003, len(said) + 16_000)
    room[8_000 : 8_000 + len(said)] += said
    wide = resampled(room.astype(np.float32), 16_000, 48_000)
    narrow = resampled(room.astype(np.float32), 16_000, 11_025)
    soundfile.write(folder / "plain.wav", room, 16_000)
    soundfile.write(folder / "stereo.wav", np.stack([wide, wide], axis=1), 48_000)
    soundfile.write(folder / "eight.wav", narrow, 11_025, subtype="PCM_U8")
    soundfile.write(folder / "plain.flac", room, 16_000)
    return folder


@pytest.mark.sound
def test_work_hears_recordings_of_any_kind(
    recordings: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("plain.wav", "stereo.wav", "plain.flac", "eight.wav"):
        log = tmp_path / f"{name}.sqlite3"
        assert main(["work", "--wav", str(recordings / name), "--log", str(log)]) == 0
        assert "s: nothing there  [match " in capsys.readouterr().out, name
        assert "choice" in kinds(log)


@pytest.mark.sound
def test_hear_tells_the_sentence_its_meaning_and_its_match(
    recordings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["hear", str(recordings / "stereo.wav"), "--json", "--scope", "everything"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told.keys() == {"file", "scope", "utterances"}
    assert len(told["utterances"]) == 1
    keys = {"sentence", "meaning", "match", "alternatives", "start_s", "end_s", "judged", "freely"}
    assert told["utterances"][0].keys() >= keys


# ---------------------------------------------------------------- models and voices


def altered(folder: Path) -> dict[str, str]:
    """Copy the packaged models beside themselves, one of them altered; return the environment."""
    model = next(folder.glob("*.ort"), None) or next(folder.glob("*.onnx"))
    content = bytearray(model.read_bytes())
    content[len(content) // 2] ^= 1
    model.write_bytes(content)
    return {"XDG_CACHE_HOME": str(folder / "cache")}


@pytest.mark.parametrize("harm", ["altered", "missing", "catalogue"])
def test_model_files_that_are_not_right_are_4_and_name_the_remedy(
    harm: str,
    sounds: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    folder = tmp_path / "models"
    shutil.copytree(packaged_folder("models"), folder)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setattr(model_files, "packaged_folder", lambda _: folder)
    if harm == "altered":
        altered(folder)
    elif harm == "missing":
        for path in folder.glob("*.o*"):
            path.unlink()
    else:
        (folder / "catalogue.toml").write_text("[file")
    log = tmp_path / "jobs.sqlite3"
    wav = str(sounds / "silence.wav")
    for command in (["hear", wav], ["work", "--wav", wav, "--log", str(log)]):
        assert main(command) == 4
        assert "pip install" in one_line(capsys.readouterr().err)


def test_a_voice_that_is_not_there_is_4_and_lists_those_that_are(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["rehearse", "--voice", "nosuch", "--out", str(tmp_path / "r")]) == 4
    assert "There is no speaker 'nosuch'" in one_line(capsys.readouterr().err)


def test_voices_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rehearse", "--voice", "list"]) == 0
    assert len(capsys.readouterr().out.splitlines()) >= 5


def test_a_folder_that_is_a_file_is_3(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    taken = tmp_path / "taken"
    taken.write_text("")
    assert main(["rehearse", "--out", str(taken)]) == 3
    assert "Choose another folder with --out." in one_line(capsys.readouterr().err)


def test_nobody_reads_what_is_printed(worked: Path) -> None:
    reader, writer = os.pipe()
    os.close(reader)
    run = subprocess.run(
        [sys.executable, "-m", "companion", "jobs", "show", "--log", str(worked)],
        stdout=writer,
        stderr=subprocess.PIPE,
        check=False,
    )
    os.close(writer)
    assert (run.returncode, run.stderr) == (0, b"")


def test_it_starts_fast_enough_to_ask() -> None:
    began = time.perf_counter()
    assert companion("--version").returncode == 0
    assert time.perf_counter() - began < 20
