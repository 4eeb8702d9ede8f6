"""The compiled sizing questions, kept between runs in the user's cache folder.

To compile them takes over two seconds, to read them a tenth of one. They are kept by a digest of
all grammar files; whatever is missing, of another grammar or damaged is compiled anew, and a folder
that cannot be written costs time, nothing else.
"""

from __future__ import annotations

import hashlib
import json
import os
import zlib
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from companion.language import pieces
from companion.packaged import cache_folder, packaged_folder
from companion.ports import Automaton

if TYPE_CHECKING:
    from pathlib import Path

_FORM = 1  # rises when the file's form, or what compiling gives, changes


def use_kept_questions(folder: Path | None = None) -> bool:
    """Take the compiled questions from the cache, or compile and keep them.

    Args:
        folder: where they are kept; the user's cache folder unless given.

    Returns:
        Whether they were there.
    """
    try:
        place = (folder or cache_folder()) / f"questions-{_digest()[:16]}.json.z"
    except RuntimeError:  # nobody's home
        return False
    kept = _read(place)
    if kept is not None:
        pieces.questions().adopt(kept)
        return True
    _write(place, pieces.questions().automaton)
    return False


def _digest() -> str:
    ink = hashlib.sha256(str(_FORM).encode())
    for path in sorted(packaged_folder("grammars").glob("*.jsgf")):
        ink.update(path.read_bytes())
    return ink.hexdigest()


def _read(place: Path) -> Automaton | None:
    """Return what was kept; None where it is not whole."""
    try:
        table = json.loads(zlib.decompress(place.read_bytes()))
        return _automaton(table)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, zlib.error):
        return None


def _automaton(table: Any) -> Automaton:  # noqa: ANN401 - whatever the file holds
    arcs = tuple({str(word): int(end) for word, end in state.items()} for state in table["arcs"])
    accepting = frozenset(int(state) for state in table["accepting"])
    states = range(len(arcs))
    if not arcs or not all(end in states for state in arcs for end in state.values()):
        raise ValueError("an arc leads nowhere")
    return Automaton(arcs, accepting)


def _write(place: Path, automaton: Automaton) -> None:
    table = {"arcs": list(automaton.arcs), "accepting": sorted(automaton.accepting)}
    with suppress(OSError):
        place.parent.mkdir(parents=True, exist_ok=True)
        for old in place.parent.glob("questions-*.json.z"):
            old.unlink()
        fresh = place.with_name(f"{place.name}.{os.getpid()}")
        fresh.write_bytes(zlib.compress(json.dumps(table).encode(), level=1))
        fresh.replace(place)
