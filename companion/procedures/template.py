"""What a procedure of one's own begins as: short, whole, and keeping every rule."""

from __future__ import annotations

from importlib.resources import files

from companion.errors import InputError
from companion.procedures.tables import SLUG, TITLE


def begun(slug: str, title: str) -> str:
    """Return the text of a procedure that passes the check, for its author to change.

    Args:
        slug: lower-case words joined by hyphens.
        title: as it is said: letters and spaces.

    Raises:
        InputError: the slug or the title is none.
    """
    if not SLUG.fullmatch(slug):
        raise InputError(f"'{slug}' is no name", "Use lower-case words joined by hyphens.")
    if not TITLE.fullmatch(title):
        raise InputError(f"'{title}' is no title", "Use words as they are said, no figures.")
    text = files("companion.procedures").joinpath("data", "template", "procedure.toml")
    return (
        text.read_text("utf-8")
        .replace("SLUG", slug)
        .replace("TITLE", title)
        .replace("NAMES", title.lower())
    )
