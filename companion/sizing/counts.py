"""Counts as said: whole, or refused."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.sizing.model import exact
from companion.sizing.refusals import refusal

if TYPE_CHECKING:
    from companion.sizing.model import Given


def count_of(given: Given, name: str, things: str) -> int:
    """Return a counted input, nought where it was left out.

    Args:
        given: the settled inputs.
        name: the input, given as a count.
        things: what is counted, as spoken.

    Raises:
        SizingError: it is no whole number.
    """
    if not given.has(name):
        return 0
    counted = exact(given.amount(name).value)
    if counted != int(counted):
        raise refusal(
            f"{counted} {things} is no whole number",
            "Give a whole number.",
            f"Say a whole number of {things}.",
        )
    return int(counted)
