"""Text from outside on one line of a drawing, and as a part of a file's name."""

from __future__ import annotations

import re
import unicodedata

# Control and format characters (among them those that turn the direction of writing), halves of
# surrogate pairs and code points without a character: none of them may stand in XML or steer a
# reader's eye.
_UNWANTED = frozenset({"Cc", "Cf", "Cs", "Cn"})
_NAME_LENGTH = 60
_DEVICES = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)", re.IGNORECASE)


def one_line(text: str) -> str:
    r"""Return text as one line: white space single, what cannot be shown taken out.

    >>> one_line("attic\tunit\x00 \u202e2")
    'attic unit 2'
    """
    spaced = " ".join(text.split())
    shown = "".join(each for each in spaced if unicodedata.category(each) not in _UNWANTED)
    return " ".join(shown.split())


def file_part(text: str) -> str:
    """Return text as a part of a file's name: letters, figures, points and hyphens, at most 60.

    Safe on every common file system: no separator, no leading point, no device's name; 'drawing'
    where nothing is left.

    >>> file_part("../../etc/passwd"), file_part("Attic <b>unit</b>"), file_part("日本"), file_part("CON")
    ('etc-passwd', 'Attic-b-unit-b', 'drawing', 'drawing-CON')
    """  # noqa: E501 - the examples side by side
    plain = unicodedata.normalize("NFKD", one_line(text)).encode("ascii", "ignore").decode()
    name = re.sub(r"[^A-Za-z0-9.]+", "-", plain)
    name = re.sub(r"\.{2,}", ".", name).strip("-.")[:_NAME_LENGTH].strip("-.")
    if not name:
        return "drawing"
    return f"drawing-{name}" if _DEVICES.fullmatch(name.partition(".")[0]) else name
