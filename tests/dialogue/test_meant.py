"""What a procedure listens for means one thing where it is said."""

from __future__ import annotations

import pytest

from companion.dialogue.meant import unclear
from companion.procedures import load, procedures
from companion.procedures.template import begun

TEXT = begun("attic-fan", "Attic fan")
POINT = """
[points.lamp]
names = ["NAME"]
unit = "V"
low = 0
high = 30
decimals = 1
"""


def found(text: str) -> list[tuple[str, str]]:
    made = load(text, "attic-fan.toml")
    return [(".".join(map(str, each.path)), each.found) for each in unclear(made)]


@pytest.mark.parametrize("slug", sorted(procedures()))
def test_what_a_packaged_procedure_listens_for_means_one_thing(slug: str) -> None:
    assert list(unclear(procedures()[slug])) == []


@pytest.mark.parametrize("name", ["repeat", "gas leak", "skip it", "call it off", "stand by"])
def test_an_option_called_as_what_is_said_anyway(name: str) -> None:
    text = TEXT.replace('"it may stop"', f'"{name}"')
    assert text != TEXT
    ((path, told),) = found(text)
    assert path == "steps.2.choice.options.0.names.0"
    assert told.startswith(f"'{name}' also means ")


@pytest.mark.parametrize(
    ("name", "also"),
    [
        ("make it", "'make it eight' is also one of the corrections"),
        ("what about", "'what about eight' is also one of the follow-ups"),
        ("gas leak", "'gas leak' by itself is one of the emergency"),
        ("fire", "'fire' by itself is one of the emergency"),
        ("call it off", "'call it off' by itself is one of the commands"),
    ],
)
def test_a_test_point_called_as_what_is_said_anyway(name: str, also: str) -> None:
    ((path, told),) = found(TEXT + POINT.replace("NAME", name))
    assert path.startswith("points.lamp.names")
    assert told == also


def test_two_test_points_that_one_sentence_names() -> None:
    other = POINT.replace("NAME", "lamp one").replace("points.lamp", "points.other")
    told = dict(found(TEXT + POINT.replace("NAME", "lamp") + other))
    assert told["points.other.names"].startswith("'lamp one ")
    assert told["points.other.names"].endswith(" also names 'lamp'")
    assert told["points.lamp.names"].endswith(" also names 'other'")
