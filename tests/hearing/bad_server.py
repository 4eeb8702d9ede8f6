"""A server on this machine that misbehaves as told, one answer a request, and keeps the books."""

from __future__ import annotations

import re
import socket
import struct
import sys
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Self, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Callable
    from email.message import Message

FILE = "application/zip"
_BLOCK = 8_192


class BadServer(ThreadingHTTPServer):
    """Gives its answers in order, the last one again and again.

    `asked` holds each request's headers; once it is closed, `sent_bytes` is how much of files went
    out.
    """

    daemon_threads = False  # closing waits for every answer to end

    def __init__(self, *answers: Answer) -> None:
        super().__init__(("127.0.0.1", 0), _Handler)
        self.answers = list(answers)
        self.asked: list[Message] = []
        self.sent_bytes = 0
        self.closing = threading.Event()
        self._thread = threading.Thread(target=self.serve_forever, args=(0.02,), daemon=True)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_port}/model.zip"

    @property
    def ranges(self) -> list[str | None]:
        return [headers["Range"] for headers in self.asked]

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.closing.set()
        self.shutdown()
        self._thread.join()
        self.server_close()

    def handle_error(self, request: object, client_address: object) -> None:
        """Say nothing of a client that hung up: that is what these tests are about."""
        if not isinstance(sys.exception(), ConnectionError):
            super().handle_error(request, client_address)  # type: ignore[arg-type]


class _Handler(BaseHTTPRequestHandler):
    server: BadServer

    def do_GET(self) -> None:
        self.server.asked.append(self.headers)
        answers = self.server.answers
        (answers.pop(0) if len(answers) > 1 else answers[0])(self)
        self.close_connection = True

    def log_message(self, *_: object) -> None:
        """Keep the tests' output free of it."""

    def start(self, status: int, **headers: str) -> None:
        self.send_response(status)
        for name, value in headers.items():
            self.send_header(name.replace("_", "-"), value)
        self.end_headers()

    def send(self, body: bytes) -> None:
        for at in range(0, len(body), _BLOCK):
            self.wfile.write(body[at : at + _BLOCK])
            self.server.sent_bytes += len(body[at : at + _BLOCK])

    def reset(self) -> None:
        """End the connection so that the other side gets an error, not an end."""
        self.wfile.flush()
        self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))


Answer: TypeAlias = "Callable[[_Handler], None]"


def serves(
    content: bytes,
    *,
    tag: str = "",
    says_bytes: int | None = None,
    cut_at: int | None = None,
    kind: str = FILE,
    knows_ranges: bool = True,
) -> Answer:
    """A file, whole or from where it is asked for.

    Args:
        content: the file.
        tag: its ETag.
        says_bytes: what Content-Length says, in place of the truth.
        cut_at: the position in the file at which the connection ends.
        kind: its Content-Type.
        knows_ranges: whether a Range is heeded.
    """

    def answer(handler: _Handler) -> None:
        begin = _begin(handler.headers, tag) if knows_ranges else 0
        headers = {"Content_Type": kind} | ({"ETag": tag} if tag else {})
        if begin:
            headers["Content_Range"] = f"bytes {begin}-{len(content) - 1}/{len(content)}"
        length = len(content) - begin if says_bytes is None else says_bytes
        handler.start(206 if begin else 200, Content_Length=str(length), **headers)
        handler.send(content[begin:cut_at])

    return answer


def _begin(headers: Message, tag: str) -> int:
    """Where to begin: a Range counts only while the file is the one that If-Range names."""
    wanted = re.fullmatch(r"bytes=(\d+)-", headers["Range"] or "")
    if not wanted or headers["If-Range"] not in {None, tag}:
        return 0
    return int(wanted[1])


def resets_at(content: bytes, position: int) -> Answer:
    """The file up to a position, then an error on the connection."""

    def answer(handler: _Handler) -> None:
        handler.start(200, Content_Length=str(len(content)))
        handler.send(content[:position])
        handler.reset()

    return answer


def goes_on(content: bytes) -> Answer:
    """No Content-Length, and what comes ends with the connection."""

    def answer(handler: _Handler) -> None:
        handler.start(200, Content_Type=FILE)
        handler.send(content)

    return answer


def other_part(size_bytes: int, begin: int) -> Answer:
    """Another part than was asked for; its bytes never come."""

    def answer(handler: _Handler) -> None:
        span = f"bytes {begin}-{size_bytes - 1}/{size_bytes}"
        handler.start(206, Content_Range=span, Content_Length=str(size_bytes - begin))

    return answer


def status(code: int, **headers: str) -> Answer:
    """A status, and no file."""
    return lambda handler: handler.start(code, Content_Length="0", **headers)


def silence(content: bytes = b"", position: int = 0) -> Answer:
    """Nothing, or a file up to a position, and then nothing for as long as the test lasts."""

    def answer(handler: _Handler) -> None:
        if position:
            handler.start(200, Content_Length=str(len(content)))
            handler.send(content[:position])
        handler.server.closing.wait(30)

    return answer


def nonsense(handler: _Handler) -> None:
    """Bytes that are no HTTP."""
    handler.wfile.write(b"\x00\x01 hello\r\n\r\n")


def screen_signs(handler: _Handler) -> None:
    """A broken status line with what clears a terminal and names its window (ECMA-48)."""
    handler.wfile.write(b"HTTP/1.0 \x1b[2J\x1b]0;mine\x07 x\r\n\r\n")
