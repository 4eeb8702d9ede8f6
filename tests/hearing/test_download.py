"""An archive is fetched whole and right, or not at all, whatever the server does.

What a server may answer to a Range and to If-Range is from RFC 9110, sections 13.1.5, 14 and 15.
"""

from __future__ import annotations

import fcntl
import hashlib
import random
import shutil
import socket
from http.client import HTTPMessage
from io import BytesIO
from typing import TYPE_CHECKING, NamedTuple
from urllib.request import Request

import pytest
from bad_server import (
    BadServer,
    goes_on,
    nonsense,
    other_part,
    resets_at,
    screen_signs,
    serves,
    silence,
    status,
)

from companion.errors import FetchError, InputError, ModelError
from companion.hearing.archives import Archive, archives
from companion.hearing.download import Manner, _NoDowngrade, fetch
from companion.hearing.part_file import MARK, PART, part_bytes

if TYPE_CHECKING:
    from pathlib import Path

    from bad_server import Answer

SIZE = 300_000
CHANCE = random.Random(3)  # noqa: S311 - bytes that do not repeat, the same in each run
CONTENT = CHANCE.randbytes(SIZE)
OTHER = CHANCE.randbytes(SIZE)
HALF = SIZE // 2
QUICK = Manner(timeout_s=0.3, tries=3, pause_s=0.0)
ARCHIVE = Archive(
    name="small",
    file="small.zip",
    url="http://127.0.0.1:9/small.zip",
    size_bytes=SIZE,
    sha256=hashlib.sha256(CONTENT).hexdigest(),
    licence="ours",
    source="this test",
    folder="small",
    most_bytes=1_000_000,
    most_entries=10,
)


@pytest.fixture(autouse=True)
def _no_proxy(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("no_proxy", "*")


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def fetched(server: BadServer, folder: Path, manner: Manner = QUICK) -> bytes:
    path = fetch(ARCHIVE, folder, server.url, manner)
    assert names(folder) == ["small.zip"]  # neither part nor mark stays
    return path.read_bytes()


# ---------------------------------------------------------------- in the end it is right


def test_a_file_is_fetched_and_its_progress_told(tmp_path: Path) -> None:
    told: list[int] = []
    with BadServer(serves(CONTENT)) as server:
        assert fetched(server, tmp_path / "new", Manner(told=told.append)) == CONTENT
        assert server.ranges == [None]
    assert told[0] == 0
    assert told[-1] == SIZE
    assert told == sorted(told)


class Case(NamedTuple):
    answers: tuple[Answer, ...]
    ranges: list[str | None]
    sent_bytes: int


REST = f"bytes={HALF}-"
RIGHT = {
    "cut in the middle": Case((serves(CONTENT, cut_at=HALF), serves(CONTENT)), [None, REST], SIZE),
    "reset before anything": Case((resets_at(CONTENT, 0), serves(CONTENT)), [None, None], SIZE),
    "silent in the middle": Case((silence(CONTENT, HALF), serves(CONTENT)), [None, REST], SIZE),
    "a busy server": Case((status(503), status(500), serves(CONTENT)), [None, None, None], SIZE),
    "no such part": Case(
        (serves(CONTENT, cut_at=HALF), status(416), serves(CONTENT)),
        [None, REST, None],
        HALF + SIZE,
    ),
    "Range ignored": Case(
        (serves(CONTENT, cut_at=HALF), serves(CONTENT, knows_ranges=False)),
        [None, REST],
        HALF + SIZE,
    ),
    "the file changed, into ours": Case(
        (serves(OTHER, tag='"old"', cut_at=HALF), serves(CONTENT, tag='"new"')),
        [None, REST],
        HALF + SIZE,
    ),
    "the file changed, and nobody tells": Case(
        (serves(OTHER, cut_at=HALF), serves(CONTENT)),
        [None, REST, None],
        SIZE + SIZE,
    ),
    "says more than it sends": Case(
        (serves(CONTENT, cut_at=HALF), serves(CONTENT, says_bytes=SIZE)),
        [None, REST],
        SIZE,
    ),
    "length untold": Case((goes_on(CONTENT),), [None], SIZE),
    "length untold and cut": Case((goes_on(CONTENT[:HALF]), serves(CONTENT)), [None, REST], SIZE),
    "sends more than it says": Case(
        (serves(CONTENT + b"more", says_bytes=SIZE),), [None], SIZE + 4
    ),
    "no HTTP at first": Case((nonsense, serves(CONTENT)), [None, None], SIZE),
    "another part": Case(
        (serves(CONTENT, cut_at=HALF), other_part(SIZE, 1), serves(CONTENT)),
        [None, REST, REST],
        SIZE,
    ),
}


@pytest.mark.parametrize("case", RIGHT.values(), ids=RIGHT.keys())
def test_in_the_end_the_file_is_right(case: Case, tmp_path: Path) -> None:
    with BadServer(*case.answers) as server:
        assert fetched(server, tmp_path) == CONTENT
        assert server.ranges == case.ranges
    assert server.sent_bytes == case.sent_bytes


def test_a_reset_in_the_middle_loses_at_most_what_was_under_way(tmp_path: Path) -> None:
    with BadServer(resets_at(CONTENT, HALF), serves(CONTENT)) as server:
        assert fetched(server, tmp_path) == CONTENT
        assert len(server.ranges) == 2


def test_the_mark_of_the_file_is_sent_along_also_in_a_later_run(tmp_path: Path) -> None:
    once = Manner(timeout_s=0.3, tries=1)
    cut = serves(CONTENT, tag='"a"', cut_at=HALF)
    with BadServer(cut, status(500), serves(CONTENT, tag='"a"')) as server:
        with pytest.raises(FetchError, match=rf"{HALF} of {SIZE} bytes are kept.*models get"):
            fetch(ARCHIVE, tmp_path, server.url, once)
        assert part_bytes(ARCHIVE, tmp_path) == HALF
        assert fetched(server, tmp_path) == CONTENT
        assert server.ranges == [None, REST, REST]
        assert server.asked[2]["If-Range"] == '"a"'
    assert server.sent_bytes == SIZE


def test_a_weak_mark_is_not_sent(tmp_path: Path) -> None:
    answers = serves(CONTENT, tag='W/"a"', cut_at=HALF), serves(CONTENT, tag='W/"a"')
    with BadServer(*answers) as server:
        assert fetched(server, tmp_path) == CONTENT
        assert server.asked[1]["If-Range"] is None


def test_a_mark_that_cannot_be_sent_back_is_dropped(tmp_path: Path) -> None:
    folded = '"a\r\n b"'  # a header over two lines: obs-fold, RFC 9112, section 5.2
    with BadServer(serves(CONTENT, tag=folded, cut_at=HALF), serves(CONTENT)) as server:
        assert fetched(server, tmp_path) == CONTENT
        assert server.ranges == [None, REST]
        assert server.asked[1]["If-Range"] is None


def test_a_mirror_goes_on_with_what_another_server_gave(tmp_path: Path) -> None:
    cut = serves(CONTENT, tag='"a"', cut_at=HALF)
    with BadServer(cut, status(500)) as first, pytest.raises(FetchError):
        fetch(ARCHIVE, tmp_path, first.url, QUICK)
    with BadServer(serves(CONTENT, tag='"b"')) as mirror:
        assert fetched(mirror, tmp_path) == CONTENT
        assert mirror.ranges == [REST]
        assert mirror.asked[0]["If-Range"] is None


def test_many_cuts_end_well_while_each_try_brings_something(tmp_path: Path) -> None:
    cuts = [serves(CONTENT, cut_at=at) for at in range(40_000, SIZE, 40_000)]
    with BadServer(*cuts, serves(CONTENT)) as server:
        assert fetched(server, tmp_path) == CONTENT
    assert server.sent_bytes == SIZE


def test_a_whole_part_is_checked_without_asking(tmp_path: Path) -> None:
    (tmp_path / f"small.zip{PART}").write_bytes(CONTENT)
    with BadServer(status(500)) as server:
        assert fetched(server, tmp_path) == CONTENT
        assert server.asked == []


def test_an_archive_that_was_not_unpacked_is_taken_without_asking(tmp_path: Path) -> None:
    (tmp_path / "small.zip").write_bytes(CONTENT)
    assert part_bytes(ARCHIVE, tmp_path) == SIZE
    with BadServer(status(500)) as server:
        assert fetched(server, tmp_path) == CONTENT
        assert server.asked == []


@pytest.mark.parametrize("there", [OTHER, CONTENT[:-1]], ids=["another", "short"])
def test_an_archive_that_is_another_is_fetched_again(there: bytes, tmp_path: Path) -> None:
    (tmp_path / "small.zip").write_bytes(there)
    with BadServer(serves(CONTENT)) as server:
        assert fetched(server, tmp_path) == CONTENT


@pytest.mark.parametrize(
    "target", ["https://elsewhere.example/x", "http://127.0.0.1:9/x", "http://[::1]:9/x"]
)
def test_a_redirect_may_lead_to_https_or_to_this_machine(target: str) -> None:
    handler, asked = _NoDowngrade(), Request("https://models.example/small.zip")
    led = handler.redirect_request(asked, BytesIO(), 302, "Found", HTTPMessage(), target)
    assert led
    assert led.full_url == target


@pytest.mark.parametrize(
    "target", ["http://models.example/x", "http://127.0.0.1.example/x", "ftp://models.example/x"]
)
def test_a_redirect_never_leads_from_https_to_less(target: str) -> None:
    handler, asked = _NoDowngrade(), Request("https://models.example/small.zip")
    with pytest.raises(FetchError, match="without https"):
        handler.redirect_request(asked, BytesIO(), 302, "Found", HTTPMessage(), target)


def test_a_part_that_is_too_long_is_dropped(tmp_path: Path) -> None:
    (tmp_path / f"small.zip{PART}").write_bytes(CONTENT + b"more")
    with BadServer(serves(CONTENT)) as server:
        assert fetched(server, tmp_path) == CONTENT
        assert server.ranges == [None]


def test_a_redirect_is_followed(tmp_path: Path) -> None:
    server = BadServer(serves(CONTENT))
    with server, BadServer(status(302, Location=server.url)) as first:
        assert fetched(first, tmp_path) == CONTENT


# ---------------------------------------------------------------- or it is refused


REFUSED = {
    "another file of that size": ((serves(OTHER),), r"sha256 is another; it was deleted"),
    "says less than it has": (
        (serves(CONTENT, says_bytes=SIZE - 5),),
        r"it has 299995 bytes, not 300000",
    ),
    "says more than it has": (
        (serves(CONTENT, says_bytes=SIZE + 5),),
        r"it has 300005 bytes, not 300000",
    ),
    "goes on after the end": ((goes_on(CONTENT + b"more"),), r"goes on after 300000 bytes"),
    "another size in the range": (
        (serves(CONTENT, cut_at=HALF), serves(CONTENT + b"more")),
        r"it has 300004 bytes, not 300000",
    ),
    "a web page": (
        (serves(b"<html>Sign in</html>", kind="text/html; charset=utf-8"),),
        r"a web page came; a network that wants a sign-in",
    ),
    "404": ((status(404),), r"answers 404 Not Found\. Try a mirror: companion models get --url"),
    "403": ((status(403),), r"answers 403 Forbidden"),
    "500 for ever": ((status(500),), r"does not give the whole file \(it answers 500\)"),
    "416 for ever": ((status(416),), r"it has no such part of the file"),
    "silence": ((silence(),), r"\(it is silent\)\. Everything else works without"),
    "no HTTP": ((nonsense,), r"does not give the whole file \("),
    "a redirect to a file": ((status(302, Location="file:///etc/hostname"),), r"answers 302"),
    "a redirect to ftp": ((status(302, Location="ftp://127.0.0.1:9/x"),), r"without https"),
    "a redirect to plain http": (
        (status(302, Location="http://elsewhere.invalid/model.zip"),),
        r"leads on to an address without https\. Try a mirror",
    ),
    "a part without end": (
        (status(206, Content_Range=f"bytes 0-{'9' * 5_000}/{'9' * 5_000}"),),
        r"does not say which part it sent",
    ),
    "a part from nowhere": (
        (status(206, Content_Range=f"bytes {'9' * 5_000}-5/6"),),
        r"does not say which part it sent",
    ),
    "signs that move the screen": ((screen_signs,), r"does not give the whole file \(HTTP/1\.0 "),
    "a redirect in a circle": ((status(302, Location="/model.zip"),), r"answers 302"),
}


@pytest.mark.parametrize(("answers", "says"), REFUSED.values(), ids=REFUSED.keys())
def test_what_is_not_ours_is_refused_in_one_line(
    answers: tuple[Answer, ...], says: str, tmp_path: Path
) -> None:
    with BadServer(*answers) as server, pytest.raises(FetchError, match=says) as caught:
        fetch(ARCHIVE, tmp_path, server.url, QUICK)
    assert str(caught.value).isprintable()  # one line, and nothing that the screen would obey
    assert not (tmp_path / "small.zip").exists()
    left = sum(path.stat().st_size for path in tmp_path.glob(f"*{PART}"))
    assert left in {0, HALF}  # what is known to be wrong is gone; what may be right is kept


def test_a_server_that_has_nothing_new_is_given_up_after_the_tries(tmp_path: Path) -> None:
    with BadServer(serves(CONTENT, cut_at=HALF, knows_ranges=False)) as server:
        with pytest.raises(FetchError, match="the connection was cut"):
            fetch(ARCHIVE, tmp_path, server.url, QUICK)
        assert len(server.asked) == 1 + QUICK.tries  # the first brought something
    assert part_bytes(ARCHIVE, tmp_path) == HALF


def test_no_more_than_the_catalogue_says_is_ever_kept(tmp_path: Path) -> None:
    told: list[int] = []
    with BadServer(goes_on(CONTENT * 20)) as server, pytest.raises(FetchError, match="goes on"):
        fetch(ARCHIVE, tmp_path, server.url, Manner(told=told.append))
    assert max(told) == SIZE
    assert names(tmp_path) == []


def test_pieces_of_two_files_are_tried_once_more_and_no_further(tmp_path: Path) -> None:
    with BadServer(serves(OTHER, cut_at=HALF), serves(OTHER)) as server:
        with pytest.raises(FetchError, match="sha256 is another"):
            fetch(ARCHIVE, tmp_path, server.url, QUICK)
        assert server.ranges == [None, REST, None]
    assert names(tmp_path) == []


def test_offline_is_told_at_once_with_what_to_do(tmp_path: Path) -> None:
    with socket.socket() as taken:  # bound and not listening: nobody else can take the port
        taken.bind(("127.0.0.1", 0))
        url = f"http://127.0.0.1:{taken.getsockname()[1]}/small.zip"
        with pytest.raises(FetchError) as caught:
            fetch(ARCHIVE, tmp_path, url, Manner(pause_s=60.0))
    host = url.split("/")[2]
    assert str(caught.value) == (
        f"{host} cannot be reached (Connection refused). Everything else works without. "
        "Fetch it on another machine, then: companion models use FILE"
    )
    assert names(tmp_path) == []


def test_a_name_that_nobody_knows_is_offline_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def unknown(*_: object, **__: object) -> None:
        raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

    monkeypatch.setattr(socket, "getaddrinfo", unknown)
    says = r"nowhere\.invalid cannot be reached \(Name or service not known\)"
    with pytest.raises(FetchError, match=says):
        fetch(ARCHIVE, tmp_path, "http://nowhere.invalid/small.zip", Manner(pause_s=60.0))


@pytest.mark.parametrize(
    "url", ["file:///etc/hostname", "ftp://127.0.0.1/x", "small.zip", "http://", "http://a b/",
            "http://127.0.0.1:port/", "https://[::1/x"],
)  # fmt: skip
def test_an_address_that_is_none_is_refused(url: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no address to fetch from"):
        fetch(ARCHIVE, tmp_path, url)


# ---------------------------------------------------------------- the disk


def test_a_disk_without_room_is_told_before_anything_is_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda _: shutil._ntuple_diskusage(9, 8, 1_200_000))
    with BadServer(serves(CONTENT)) as server:
        with pytest.raises(ModelError, match=r"needs up to 1 MB, 1 MB are free"):
            fetch(ARCHIVE, tmp_path, server.url, QUICK)
        assert server.asked == []


def test_two_at_once_do_not_mix(tmp_path: Path) -> None:
    path = tmp_path / f"small.zip{PART}"
    path.write_bytes(b"of the other one")
    with path.open("rb") as held, BadServer(serves(CONTENT)) as server:
        fcntl.flock(held, fcntl.LOCK_EX)
        with pytest.raises(ModelError, match="being fetched by another"):
            fetch(ARCHIVE, tmp_path, server.url, QUICK)
        assert server.asked == []
    assert path.read_bytes() == b"of the other one"


def test_a_folder_that_is_a_file_is_told(tmp_path: Path) -> None:
    (tmp_path / "models").write_text("")
    with pytest.raises(ModelError, match="models' folder cannot be used"):
        fetch(ARCHIVE, tmp_path / "models", ARCHIVE.url)


def test_being_stopped_keeps_the_part(tmp_path: Path) -> None:
    def stop(there_bytes: int) -> None:
        if there_bytes >= HALF:
            raise KeyboardInterrupt

    with BadServer(serves(CONTENT, tag='"a"')) as server:
        with pytest.raises(KeyboardInterrupt):
            fetch(ARCHIVE, tmp_path, server.url, Manner(told=stop))
        assert HALF <= part_bytes(ARCHIVE, tmp_path) < SIZE
        assert names(tmp_path) == [f"small.zip{PART}", f"small.zip{MARK}"]
        assert fetched(server, tmp_path) == CONTENT


# ---------------------------------------------------------------- the catalogue's archives


def test_the_catalogue_knows_the_small_english_model() -> None:
    # Size, digest and licence: DESIGN.md, section 7.
    archive = archives()["vosk-small-en-us"]
    assert archive.size_bytes == 41_205_931
    assert archive.sha256 == "30f26242c4eb449f948e42cb302dd7a686cb29a3423a8367f99ff41780942498"
    assert archive.licence == "Apache-2.0"
    assert archive.url.startswith("https://")
    assert archive.url.endswith(f"/{archive.file}")
    assert archive.file == f"{archive.folder}.zip"


GOOD = f"""
[archive.small]
file = "small.zip"
url = "https://models.example/small.zip"
size_bytes = 5
sha256 = "{"0" * 64}"
licence = "ours"
source = "this test"
folder = "small"
most_bytes = 10
most_entries = 2
"""


def test_a_catalogue_of_ones_own_is_read(tmp_path: Path) -> None:
    path = tmp_path / "catalogue.toml"
    path.write_text(GOOD)
    assert archives(path)["small"].url == "https://models.example/small.zip"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("small.zip", "../small.zip", "no plain name"),
        ('folder = "small"', 'folder = ".."', "no plain name"),
        ('folder = "small"', 'folder = "/small"', "no plain name"),
        ("https", "file", "no address"),
        ("size_bytes = 5", "size_bytes = 0", "no number above 0"),
        ("most_bytes = 10", "most_bytes = true", "no number above 0"),
        ('"000', '"xyz', "no digest"),
        ("licence", "license", "license"),
        ("most_entries = 2", "", "most_entries"),
        ("[archive.small]", "[archive", "cannot be read"),
    ],
)
def test_a_catalogue_that_is_wrong_is_refused_with_its_place(
    old: str, new: str, says: str, tmp_path: Path
) -> None:
    path = tmp_path / "catalogue.toml"
    path.write_text(GOOD.replace(old, new))
    with pytest.raises(ModelError, match=says) as caught:
        archives(path)
    assert caught.value.where == str(path)
