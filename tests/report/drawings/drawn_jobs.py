"""Jobs as the log has them, made for these tests; names and places are invented."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from companion.chain import chain
from companion.ports import Draft, Entry
from companion.procedures import procedure

OPENED = datetime(2026, 3, 4, 15, 0, tzinfo=UTC)

HOSTILE = (
    "<script>alert(1)</script>",
    "</text></svg><b>",
    "&amp;&lt;&#0;]]>",
    '"\' onload="x" $a^2$ \\frac',
    "a\x00b\x07c\x1bd\x7fe\x85f\ufffe\ud800",
    "two\nlines\r\nand\ttabs",
    "\u202egnp.exe\u2066",
    "日本語 العربية עברית Ελληνικά Кириллица 🔥",
    "(unbalanced \\) %PDF-1.4 endobj",
    "../../etc/passwd",
    "CON",
    "long " * 900,
    "unbroken" * 500,
    "",
)


def job(slug: str, *more: tuple[str, dict[str, Any]], name: str = "2026-03-04-1") -> list[Entry]:
    """A job that follows a packaged procedure, with these entries after its opening."""
    made = procedure(slug)
    opened = {
        "procedure": slug,
        "title": made.title,
        "version": made.version,
        "digest": made.digest,
        "text": made.text,
    }
    drafts = [
        Draft(kind, payload, OPENED + timedelta(seconds=number))
        for number, (kind, payload) in enumerate((("job-opened", opened), *more))
    ]
    return list(chain(None, name, drafts, [bytes(16)] * len(drafts)))


def answer(choice: str, option: str) -> tuple[str, dict[str, Any]]:
    return "choice", {"step": choice, "choice": choice, "option": option}


def done(step: str) -> tuple[str, dict[str, Any]]:
    return "step-done", {"step": step}


def note(words: str, step: str, *, typed: bool = True) -> tuple[str, dict[str, Any]]:
    return "note", {
        "id": "n",
        "step": step,
        "words": words,
        "words_are": "typed" if typed else "unverified",
        "ended": "typed",
        "gaps": 0,
    }


def asked(
    sizing: str, value: str = "1", unit: str = "in", **inputs: str
) -> tuple[str, dict[str, Any]]:
    return "question", {
        "sizing": sizing,
        "step": "mark",
        "title": sizing,
        "inputs": {key.replace("_", " "): given for key, given in inputs.items()},
        "value": value,
        "unit": unit,
    }
