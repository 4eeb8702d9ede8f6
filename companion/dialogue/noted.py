"""A note as the log has it: its sound, and what was made out of its words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from companion.ports import KeptSound

if TYPE_CHECKING:
    from collections.abc import Mapping

TYPED, UNVERIFIED = "typed", "unverified"  # what a note's words are worth


@dataclass(frozen=True, slots=True)
class Noted:
    """A note on the log.

    `number` counts from 1 on this job. `words` are as typed, or `UNVERIFIED`, as the recogniser
    made them out. `sound` is None where there is none. `is_removed`: its content was removed.
    """

    number: int
    step: str = ""
    words: str = ""
    is_typed: bool = False
    sound: KeptSound | None = None
    gaps: int = 0
    is_removed: bool = False


def noted(number: int, said: Mapping[str, Any]) -> Noted:
    """Return the note that a payload tells of; an empty one was removed on request.

    Args:
        number: the note's.
        said: the payload of an entry of the kind 'note'.
    """
    if not said:
        return Noted(number, is_removed=True)
    return Noted(
        number,
        step=str(said.get("step", "")),
        words=str(said.get("words", "")),
        is_typed=said.get("words_are") == TYPED,
        sound=sound_of(said),
        gaps=int(said.get("gaps", 0)),
    )


def sound_of(said: Mapping[str, Any]) -> KeptSound | None:
    """Return the sound that a payload names, None where it names none.

    Args:
        said: the payload of any entry.
    """
    sound = said.get("sound")
    if not isinstance(sound, dict):
        return None
    return KeptSound(*(str(sound.get(key, "")) for key in ("file", "sha256", "length_s")))
