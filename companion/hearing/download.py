"""Fetch an archive of the catalogue, over a network that may fail and from a server that may lie.

What came so far is kept in a `.part` file beside the place where the archive will be; a later try,
or a later run, goes on where it ended (HTTP Range; RFC 9110, section 14). The server's mark of the
file (an ETag, else its date) is kept too and sent along (If-Range, section 13.1.5), so that a file
that changed meanwhile starts over. What the catalogue does not know is never taken: no byte more
than its size, and nothing whose sha256 is another. A redirect leads to https
alone, or to this machine.
"""

from __future__ import annotations

import http.client
import re
import shutil
import time
import urllib.error
import urllib.request
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from companion import __version__
from companion.errors import FetchError, ModelError
from companion.hearing.archives import checked_url
from companion.hearing.part_file import PartFile, is_ours

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from email.message import Message
    from pathlib import Path
    from typing import IO

    from companion.hearing.archives import Archive

_BLOCK = 1 << 16
_PARTIAL, _TOO_LONG = 206, 416
_AGAIN = {408, 425, 429, 500, 502, 503, 504}  # RFC 9110, 6585, 8470: may be better a moment later
# RFC 9110, section 14.4; 18 digits are more than any file has.
_CONTENT_RANGE = re.compile(r"bytes ([0-9]{1,18})-[0-9]{1,18}/([0-9]{1,18}|\*)")
_THIS_MACHINE = {"127.0.0.1", "::1", "localhost"}
_STEP = 100  # a try that brought a hundredth of the file was not in vain and is not counted
OFFLINE = (
    "Everything else works without. Fetch it on another machine, then: companion models use FILE"
)
_ELSEWHERE = "Try a mirror: companion models get --url URL"


@dataclass(frozen=True, slots=True)
class Manner:
    """How to go about it.

    Attributes:
        timeout_s: a server that is silent for longer is given up for this try.
        tries: so many tries without progress, then it ends.
        pause_s: before the second try; twice as long before each further one.
        told: called with the number of bytes that are there, now and then.
    """

    timeout_s: float = 20.0
    tries: int = 4
    pause_s: float = 1.0
    told: Callable[[int], None] = lambda _bytes: None


class _Cut(Exception):  # noqa: N818 - no error yet: another try may do
    """A try ended early; `reached` is whether a server answered."""

    def __init__(self, why: str, *, reached: bool) -> None:
        super().__init__(why)
        self.why, self.reached = why, reached


def fetch(archive: Archive, folder: Path, url: str = "", manner: Manner | None = None) -> Path:
    """Return where the archive is, fetched and checked; one that is there is only checked.

    Args:
        archive: what is wanted.
        folder: where it is kept; made where it is missing.
        url: a mirror, in place of the catalogue's address.
        manner: timeouts and tries.

    Raises:
        InputError: the address is none.
        FetchError: no network, a server that fails, or a file that is not the one we know.
        ModelError: the disk has no room, or another fetch of it is under way.
    """
    url, manner = checked_url(url or archive.url), manner or Manner()
    done = folder / archive.file
    with _in_our_words(folder), PartFile(archive, folder) as part:
        if is_ours(archive, done):  # an earlier run could not unpack it
            return done
        _check_room(archive, folder, part.size)
        for last in (False, True):
            begun = part.size > 0
            in_pieces = _completed(part, url, manner) > 1 or begun
            if part.digest() == archive.sha256:
                part.path.replace(done)
                part.forget_mark()
                return done
            part.start_over()
            if last or not in_pieces:  # pieces may have been of two files: then once more
                break
        raise _not_ours(url, "its sha256 is another; it was deleted")


@contextmanager
def _in_our_words(folder: Path) -> Iterator[None]:
    """Translate what the disk raises; the network's troubles never get here."""
    try:
        yield
    except OSError as problem:
        raise ModelError(
            f"The models' folder cannot be used: {problem.strerror or problem}",
            "Make it writable.",
            where=str(folder),
        ) from problem


def _check_room(archive: Archive, folder: Path, there_bytes: int) -> None:
    wanted = archive.size_bytes - there_bytes + archive.most_bytes
    free = shutil.disk_usage(folder).free
    if free < wanted:
        raise ModelError(
            f"{archive.file} needs up to {wanted / 1e6:.0f} MB, {free / 1e6:.0f} MB are free",
            "Free some room, then do it again.",
            where=str(folder),
        )


def _completed(part: PartFile, url: str, manner: Manner) -> int:
    """Try until the part has its full size; return how many tries it took.

    Raises:
        FetchError: enough tries brought nothing.
    """
    tries, failed, best, reached = 0, 0, part.size, False
    manner.told(part.size)
    while part.left:
        tries += 1
        try:
            _receive(part, url, manner)
        except _Cut as cut:
            reached = reached or cut.reached
            gained, best = part.size - best, max(best, part.size)
            failed = 0 if gained * _STEP > part.archive.size_bytes else failed + 1
            if failed >= manner.tries or not reached:
                raise _given_up(part, url, cut) from cut
            time.sleep(manner.pause_s * 2.0 ** (failed - 1))
    return tries


def _given_up(part: PartFile, url: str, cut: _Cut) -> FetchError:
    """The last try failed: say what is kept, or how to do without."""
    what = "does not give the whole file" if cut.reached else "cannot be reached"
    problem = f"{urlsplit(url).netloc} {what} ({cut.why})"
    if not part.size:
        return FetchError(problem, OFFLINE)
    return FetchError(
        f"{problem}; {part.size} of {part.archive.size_bytes} bytes are kept",
        f"Go on later with: companion models get. {OFFLINE}",
    )


def _receive(part: PartFile, url: str, manner: Manner) -> None:
    """One try: ask for what is left, and append what comes."""
    with _asked(part, url, manner) as answer:
        begin_at = _begins_at(part, url, answer)
        if begin_at != part.size:
            part.start_over()
        part.keep_mark(url, _mark(answer))
        while part.left:
            block = _block(answer, min(_BLOCK, part.left))
            if not block:
                raise _Cut("the connection was cut", reached=True)
            part.add(block)
            manner.told(part.size)
        if answer.length is None and _block(answer, 1):
            part.start_over()
            raise _not_ours(url, f"it goes on after {part.archive.size_bytes} bytes")


@contextmanager
def _asked(part: PartFile, url: str, manner: Manner) -> Iterator[http.client.HTTPResponse]:
    """Send the request; give the answer where it is a file, raise where it is not."""
    try:
        answer = _opener().open(_request(part, url), timeout=manner.timeout_s)
    except urllib.error.HTTPError as problem:
        problem.close()
        raise _refusal(part, url, problem.code) from problem
    except urllib.error.URLError as problem:
        raise _Cut(_reason(problem.reason), reached=_was_silent(problem.reason)) from problem
    except (OSError, http.client.HTTPException, ValueError) as problem:
        raise _Cut(_reason(problem), reached=True) from problem
    with answer:
        yield answer


def _request(part: PartFile, url: str) -> urllib.request.Request:
    headers = {"User-Agent": f"companion/{__version__}", "Accept-Encoding": "identity"}
    if part.size:
        headers["Range"] = f"bytes={part.size}-"
        if mark := part.mark_for(url):
            headers["If-Range"] = mark
    return urllib.request.Request(url, headers=headers)  # noqa: S310 - checked_url has looked


class _NoDowngrade(urllib.request.HTTPRedirectHandler):
    """Follows to https alone: on the way there, nobody else can put his own answer."""

    def redirect_request(
        self,
        req: urllib.request.Request,
        fp: IO[bytes],
        code: int,
        msg: str,
        headers: Message,
        newurl: str,
    ) -> urllib.request.Request | None:
        """Return the request to follow with, where the address may be followed to."""
        to = urlsplit(newurl)
        here = to.scheme == "http" and to.hostname in _THIS_MACHINE
        if to.scheme != "https" and not here:
            fp.close()
            raise FetchError(
                f"{urlsplit(req.full_url).netloc} leads on to an address without https", _ELSEWHERE
            )
        return super().redirect_request(req, fp, code, msg, headers, newurl)  # type: ignore[arg-type]


def _opener() -> urllib.request.OpenerDirector:
    """Return what opens http and https alone."""
    opener = urllib.request.OpenerDirector()
    for handler in (
        urllib.request.ProxyHandler(),
        urllib.request.UnknownHandler(),
        urllib.request.HTTPHandler(),
        urllib.request.HTTPSHandler(),
        urllib.request.HTTPDefaultErrorHandler(),
        _NoDowngrade(),
        urllib.request.HTTPErrorProcessor(),
    ):
        opener.add_handler(handler)
    return opener


def _refusal(part: PartFile, url: str, code: int) -> Exception:
    """What an answer that is no file means: another try, or the end."""
    if code == _TOO_LONG:
        if part.size:
            part.start_over()
        return _Cut("it has no such part of the file", reached=True)
    if code in _AGAIN:
        return _Cut(f"it answers {code}", reached=True)
    said = http.client.responses.get(code, "")
    return FetchError(f"{urlsplit(url).netloc} answers {code} {said}".rstrip(), _ELSEWHERE)


def _begins_at(part: PartFile, url: str, answer: http.client.HTTPResponse) -> int:
    """Return where in the file the answer begins; refuse one that can't be our file.

    A page in place of the file comes from networks that want a sign-in first.
    """
    if answer.headers.get_content_type() in {"text/html", "application/xhtml+xml"}:
        raise _not_ours(url, "a web page came; a network that wants a sign-in first does that")
    begin, total = 0, answer.length
    if answer.status == _PARTIAL:
        begin, total = _content_range(answer)
        if begin not in {0, part.size}:
            raise _Cut("it sent another part than was asked for", reached=True)
    if total is not None and total != part.archive.size_bytes:
        raise _not_ours(url, f"it has {total} bytes, not {part.archive.size_bytes}")
    return begin


def _content_range(answer: http.client.HTTPResponse) -> tuple[int, int | None]:
    """Return where a partial answer begins and the whole file's size, None where it is untold."""
    told = _CONTENT_RANGE.fullmatch(answer.headers.get("Content-Range", "").strip())
    if not told:
        raise _Cut("it does not say which part it sent", reached=True)
    begin, total = told.groups()
    return int(begin), None if total == "*" else int(total)


def _mark(answer: http.client.HTTPResponse) -> str:
    """Return the server's mark of the file; a weak ETag is none (RFC 9110, section 13.1.5)."""
    tag = answer.headers.get("ETag", "")
    if tag.startswith('"'):
        return str(tag)
    return "" if tag else str(answer.headers.get("Last-Modified", ""))


def _block(answer: http.client.HTTPResponse, most_bytes: int) -> bytes:
    """Return what has come, at least a byte; nothing at the end."""
    try:
        return answer.read1(most_bytes)
    except (OSError, http.client.HTTPException, ValueError) as problem:
        raise _Cut(_reason(problem), reached=True) from problem


def _was_silent(reason: Any) -> bool:  # noqa: ANN401 - urllib gives a text or an exception
    """Tell whether the server was reached and then failed, so that another try may do."""
    return isinstance(reason, TimeoutError | ConnectionResetError | BrokenPipeError)


def _reason(problem: Any) -> str:  # noqa: ANN401 - as above
    if isinstance(problem, TimeoutError):
        return "it is silent"
    told = getattr(problem, "strerror", None) or str(problem) or type(problem).__name__
    plain = "".join(sign if sign.isprintable() else " " for sign in str(told))
    return " ".join(plain.split())[:120]  # it may be the server's own words


def _not_ours(url: str, why: str) -> FetchError:
    return FetchError(
        f"What {urlsplit(url).netloc} sends is not the file that we know: {why}", _ELSEWHERE
    )
