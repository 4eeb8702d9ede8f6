"""`companion models`: from the words typed to what is on disk, in the settings, on the screen."""

from __future__ import annotations

import argparse
import fcntl
import hashlib
import json
import os
import pty
import signal
import struct
import subprocess
import sys
import termios
import threading
import zipfile
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import pytest

from companion.commands import models
from companion.errors import CompanionError, FetchError, InputError, ModelError
from companion.settings import Settings, load_settings, save_settings

if TYPE_CHECKING:
    from collections.abc import Iterator

# What makes a folder a model: companion/hearing/vosk.py and shelf.py.
FILES = ("am/final.mdl", "conf/mfcc.conf", "conf/model.conf", "graph/HCLr.fst", "graph/Gr.fst")
TOP = "small-english-1"
SHELF = Path("data", "companion", "models")
CATALOGUE = """
[archive.small-english]
file = "{top}.zip"
url = "{url}"
size_bytes = {size_bytes}
sha256 = "{sha256}"
licence = "Apache-2.0"
source = "this test"
folder = "{top}"
most_bytes = 1_000_000
most_entries = 20
"""


class Server(ThreadingHTTPServer):
    """Serves `content`; `hold` stops it in the middle until the server closes."""

    daemon_threads = False

    def __init__(self, content: bytes) -> None:
        super().__init__(("127.0.0.1", 0), _Handler)
        self.content, self.hold, self.closing = content, False, threading.Event()
        self.sent_half = threading.Event()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_port}/model.zip"


class _Handler(BaseHTTPRequestHandler):
    server: Server

    def do_GET(self) -> None:
        content = self.server.content
        begin = int((self.headers["Range"] or "bytes=0-")[6:-1])
        self.send_response(206 if begin else 200)
        if begin:
            size = len(content)
            self.send_header("Content-Range", f"bytes {begin}-{size - 1}/{size}")
        self.send_header("Content-Length", str(len(content) - begin))
        self.end_headers()
        if self.server.hold:
            self.wfile.write(content[begin : len(content) // 2])
            self.server.sent_half.set()
            self.server.closing.wait(60)
        else:
            self.wfile.write(content[begin:])

    def log_message(self, *_: object) -> None:
        """Keep the tests' output free of it."""


@contextmanager
def serving(content: bytes) -> Iterator[Server]:
    server = Server(content)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,))
    thread.start()
    try:
        yield server
    finally:
        server.closing.set()
        server.shutdown()
        thread.join()
        server.server_close()


class Home(NamedTuple):
    """A user's folders, a catalogue with one archive, and that archive."""

    root: Path
    catalogue: Path
    archive: Path

    @property
    def shelf(self) -> Path:
        return self.root / SHELF

    def on_shelf(self) -> list[str]:
        return sorted(path.name for path in self.shelf.iterdir()) if self.shelf.exists() else []

    def altered(self) -> Path:
        """The catalogue's archive as brought from elsewhere, with a byte more."""
        path = self.root / f"{TOP}.zip"
        path.write_bytes(self.archive.read_bytes() + b"x")
        return path

    def run(self, *typed: object) -> int:
        command = argparse.ArgumentParser(prog="companion models")
        models.add(command)
        words = [*map(str, typed), "--catalogue", str(self.catalogue)]
        return models.run(command.parse_args(words))


def make_zip(path: Path, top: str = TOP) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_STORED) as archive:
        for name in FILES:
            archive.writestr(f"{top}/{name}", b"model" * 10_000)
    return path


def make_model(folder: Path) -> Path:
    for name in FILES:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(b"model")
    return folder


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Home:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("no_proxy", "*")
    archive = make_zip(tmp_path / "served.zip")
    content = archive.read_bytes()
    catalogue = tmp_path / "catalogue.toml"
    catalogue.write_text(
        CATALOGUE.format(
            top=TOP,
            url="http://127.0.0.1:9/model.zip",
            size_bytes=len(content),
            sha256=hashlib.sha256(content).hexdigest(),
        )
    )
    return Home(tmp_path, catalogue, archive)


Captured = pytest.CaptureFixture[str]


# ---------------------------------------------------------------- get


def test_get_fetches_unpacks_and_takes_into_use(home: Home, capsys: Captured) -> None:
    save_settings(Settings(microphone="USB"))
    with serving(home.archive.read_bytes()) as server:
        assert home.run("get", "--url", server.url) == 0
    folder = home.shelf / TOP
    out, err = capsys.readouterr()
    assert out == (
        f"Fetched, checked and unpacked: {folder}\n"
        f"In use now: vosk with {TOP}. Try it with: companion selftest\n"
        "Go back with: companion models use bundled\n"
    )
    assert err == ""  # no bar where nobody watches
    assert load_settings() == Settings("vosk", str(folder), microphone="USB")
    assert home.on_shelf() == [TOP]


def test_get_again_fetches_nothing(home: Home, capsys: Captured) -> None:
    make_model(home.shelf / TOP)
    assert home.run("get", "small-english") == 0  # nobody listens at the catalogue's address
    assert f"{TOP} is there already: {home.shelf / TOP}\n" in capsys.readouterr().out
    assert load_settings().vosk_model == str(home.shelf / TOP)


def test_get_offline_says_how_to_do_without(home: Home) -> None:
    with pytest.raises(FetchError) as caught:
        home.run("get")
    assert str(caught.value) == (
        "127.0.0.1:9 cannot be reached (Connection refused). Everything else works without. "
        "Fetch it on another machine, then: companion models use FILE"
    )
    assert caught.value.exit_code == 4  # README: a model is missing
    assert load_settings() == Settings()
    assert home.on_shelf() == []


def test_get_of_a_wrong_file_changes_nothing(home: Home) -> None:
    content = bytearray(home.archive.read_bytes())
    content[1_000] ^= 1
    with serving(bytes(content)) as server, pytest.raises(FetchError, match="sha256 is another"):
        home.run("get", "--url", server.url)
    assert load_settings() == Settings()
    assert home.on_shelf() == []


def test_get_of_an_unknown_model_names_those_there_are(home: Home) -> None:
    with pytest.raises(InputError, match=r"no model 'large' to fetch\. It has: small-english\."):
        home.run("get", "large")


def test_a_stopped_get_keeps_its_part_and_goes_on(home: Home, capsys: Captured) -> None:
    content = home.archive.read_bytes()
    begun = home.shelf / f"{TOP}.zip.part"
    with serving(content) as server:
        server.hold = True
        process = subprocess.Popen(
            [sys.executable, "-c", STOPPABLE, "get", "--url", server.url, "--catalogue",
             str(home.catalogue)],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            preexec_fn=_heed_ctrl_c,  # noqa: PLW1509 - no thread of ours holds a lock here
        )  # fmt: skip
        assert server.sent_half.wait(30)
        _wait_for_size(begun, len(content) // 2)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=30)
        server.hold = False
        assert process.returncode == models.INTERRUPTED
        assert out == ""
        half, size = len(content) // 2, len(content)
        assert err == (
            f"\ncompanion: stopped; {half} of {size} bytes are kept. "
            "Go on with: companion models get\n"
        )
        assert home.run("list") == 0
        assert "MB of it here)" in capsys.readouterr().out
        assert home.run("get", "--url", server.url) == 0
    assert home.on_shelf() == [TOP]


def test_get_shows_a_bar_at_a_terminal(home: Home) -> None:
    ours, terminal = pty.openpty()
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 25, 80, 0, 0))
    with serving(home.archive.read_bytes()) as server:
        done = subprocess.run(
            [sys.executable, "-c", STOPPABLE, "get", "--url", server.url, "--catalogue",
             str(home.catalogue)],
            stdout=subprocess.DEVNULL, stderr=terminal, timeout=60, check=False,
        )  # fmt: skip
    os.close(terminal)
    shown = os.read(ours, 10_000).decode()
    os.close(ours)
    assert done.returncode == 0
    assert shown.rstrip().splitlines()[-1].startswith(f"{TOP}: 100%|")


STOPPABLE = """
import argparse, sys
from companion.commands import models
command = argparse.ArgumentParser()
models.add(command)
sys.exit(models.run(command.parse_args()))
"""


def _heed_ctrl_c() -> None:
    """A job in the background ignores it otherwise."""
    signal.signal(signal.SIGINT, signal.default_int_handler)


def _wait_for_size(path: Path, size_bytes: int) -> None:
    """Look until what was sent is on disk, 10 s at most."""
    look = threading.Event()
    for _ in range(1_000):
        if path.exists() and path.stat().st_size >= size_bytes:
            return
        look.wait(0.01)
    pytest.fail(f"{path.name} did not grow to {size_bytes} bytes")


# ---------------------------------------------------------------- use


def test_use_of_what_comes_with_us(home: Home, capsys: Captured) -> None:
    save_settings(Settings("vosk", "/somewhere", "USB"))
    assert home.run("use", "bundled-original") == 0
    assert capsys.readouterr().out == (
        "In use now: bundled-original. Try it with: companion selftest\n"
    )
    assert load_settings() == Settings("bundled-original", "/somewhere", "USB")
    assert home.run("use", "bundled") == 0
    assert load_settings().recogniser == "bundled"


@pytest.mark.parametrize("name", ["vosk", TOP, "small-english"])
def test_use_of_one_on_the_shelf(name: str, home: Home, capsys: Captured) -> None:
    make_model(home.shelf / TOP)
    assert home.run("use", name) == 0
    assert f"In use now: vosk with {TOP}." in capsys.readouterr().out
    assert load_settings() == Settings("vosk", str(home.shelf / TOP))


def test_use_of_a_folder_keeps_it_where_it_is(
    home: Home, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = make_model(home.root / "mine")
    monkeypatch.chdir(home.root)
    assert home.run("use", "mine") == 0
    assert f"In use now: vosk with {folder}." in capsys.readouterr().out
    assert load_settings().vosk_model == str(folder)  # whole: the next run begins elsewhere
    assert home.on_shelf() == []


def test_use_of_a_zip_puts_it_on_the_shelf(home: Home, capsys: Captured) -> None:
    path = make_zip(home.root / "brought.zip", "brought-2")
    assert home.run("use", path) == 0
    folder = home.shelf / "brought-2"
    assert capsys.readouterr().out.splitlines()[:2] == [
        f"Unpacked: {folder}",
        "In use now: vosk with brought-2. Try it with: companion selftest",
    ]
    assert load_settings() == Settings("vosk", str(folder))


def test_what_cannot_be_used_changes_nothing(home: Home) -> None:
    (home.root / "photos").mkdir()
    (home.root / "notes.txt").write_text("no zip")
    cases: list[tuple[object, type[CompanionError], str]] = [
        ("nowhere", InputError, "no recogniser, folder or zip file 'nowhere'"),
        (home.root / "photos", ModelError, "is no Vosk model: it lacks am/final.mdl"),
        (home.root / "notes.txt", ModelError, "it is no whole zip file"),
        (home.altered(), ModelError, "It is not the file of that name that we know"),
        ("vosk", ModelError, "no model 'vosk' on the shelf. Fetch one: companion models get"),
        ("small-english", ModelError, f"no model '{TOP}' on the shelf"),
    ]
    for what, error, says in cases:
        with pytest.raises(error, match=says):
            home.run("use", what)
    assert load_settings() == Settings()
    assert home.on_shelf() == []


# ---------------------------------------------------------------- list


def listed(home: Home, capsys: Captured) -> dict[str, list[dict[str, object]]]:
    assert home.run("list", "--json") == 0
    found: dict[str, list[dict[str, object]]] = json.loads(capsys.readouterr().out)
    return found


def test_list_of_a_bare_machine(home: Home, capsys: Captured) -> None:
    found = listed(home, capsys)
    rows = {row["name"]: row for row in found["recognisers"]}
    assert list(rows) == ["bundled", "bundled-original"]
    assert rows["bundled"]["in_use"]
    assert not rows["bundled-original"]["in_use"]
    # models/catalogue.toml: hardened encoder, decoder, tokenizer, speller.
    assert rows["bundled"]["size_bytes"] == 13_015_004 + 30_412_256 + 249_974 + 1_912_905
    assert rows["bundled"]["complete"]
    assert rows["bundled"]["licence"] == "MIT"
    assert found["to_fetch"] == [
        {
            "name": "small-english",
            "size_bytes": home.archive.stat().st_size,
            "licence": "Apache-2.0",
            "url": "http://127.0.0.1:9/model.zip",
            "begun_bytes": 0,
        }
    ]


def test_list_marks_the_one_in_use_and_what_is_broken(home: Home, capsys: Captured) -> None:
    make_model(home.shelf / TOP)
    (home.shelf / "broken").mkdir()
    save_settings(Settings("vosk", str(home.shelf / TOP)))
    found = listed(home, capsys)
    rows = {row["name"]: row for row in found["recognisers"]}
    assert [name for name, row in rows.items() if row["in_use"]] == [TOP]
    assert rows[TOP]["licence"] == "Apache-2.0"
    assert rows[TOP]["where"] == str(home.shelf / TOP)
    assert rows[TOP]["size_bytes"] == 5 * len(FILES)
    assert not rows["broken"]["complete"]
    assert found["to_fetch"] == []
    assert home.run("list") == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[1] for line in lines if line.startswith("* ")] == [TOP]
    assert any("not usable: " in line and "broken" in line for line in lines)
    assert f"{home.shelf / TOP}" in [line.strip() for line in lines]


def test_list_tells_of_a_model_elsewhere_and_of_one_that_is_gone(
    home: Home, capsys: Captured
) -> None:
    folder = make_model(home.root / "mine")
    save_settings(Settings("vosk", str(folder)))
    row = listed(home, capsys)["recognisers"][-1]
    assert (row["name"], row["in_use"], row["complete"]) == (str(folder), True, True)
    assert row["licence"] == "not known"
    save_settings(Settings("vosk", str(home.root / "gone")))
    row = listed(home, capsys)["recognisers"][-1]
    assert (row["in_use"], row["complete"], row["size_bytes"]) == (True, False, 0)


# ---------------------------------------------------------------- remove


def test_remove_of_the_one_in_use_goes_back_to_ours(home: Home, capsys: Captured) -> None:
    make_model(home.shelf / TOP)
    (home.shelf / f"{TOP}.zip.part").write_bytes(b"half")
    save_settings(Settings("vosk", str(home.shelf / TOP), "USB"))
    assert home.run("remove", "small-english") == 0
    assert capsys.readouterr().out == (
        "It was in use. In use now: bundled\n"
        f"Removed: {home.shelf / TOP}\n"
        f"Removed: {home.shelf / TOP}.zip.part\n"
    )
    assert load_settings() == Settings("bundled", "", "USB")
    assert home.on_shelf() == []


def test_remove_of_another_leaves_the_choice(home: Home, capsys: Captured) -> None:
    make_model(home.shelf / TOP)
    make_model(home.shelf / "other")
    mine = Settings("vosk", str(home.shelf / "other"))
    save_settings(mine)
    assert home.run("remove", TOP) == 0
    assert capsys.readouterr().out == f"Removed: {home.shelf / TOP}\n"
    assert load_settings() == mine
    assert home.on_shelf() == ["other"]


def test_remove_refuses_what_is_not_ours_to_remove(home: Home) -> None:
    mine = make_model(home.root / "mine")
    save_settings(Settings("vosk", str(mine)))
    cases = [
        (str(mine), "lies outside our own models' folder"),
        ("../../../mine", "lies outside our own models' folder"),
        ("bundled", "'bundled' comes with this program and stays"),
        ("nothing", "There is no model 'nothing' on the shelf"),
    ]
    for name, says in cases:
        with pytest.raises(InputError, match=says):
            home.run("remove", name)
    assert sorted(each.name for each in mine.iterdir()) == ["am", "conf", "graph"]
    assert load_settings() == Settings("vosk", str(mine))
