"""Lines that are filled in by hand: what the log does not hold."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.report.markup import element

if TYPE_CHECKING:
    from companion.report.markup import Element


def blanks(*labels: str) -> Element:
    """Return a line for each label, to be written on."""
    return element(
        "div", [element("p", label, class_="blank") for label in labels], class_="blanks"
    )
