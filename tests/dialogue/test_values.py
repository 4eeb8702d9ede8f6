"""A reading's value read back, the largest too: a meter on ohms shows millions."""

from __future__ import annotations

import pytest

from companion.dialogue.values import spoken_value
from companion.procedures import procedure

OHMS = procedure("fresh-air-damper").points["primary-to-case"]


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ("999999", "nine nine nine nine nine nine ohms"),
        ("1000000", "one point zero zero million ohms"),
        ("2200000", "two point two zero million ohms"),
        ("-1010000.00", "minus one point zero one million ohms"),
        ("9" * 15, "nine nine nine nine nine nine point zero zero million ohms"),
    ],
)
def test_a_value_beyond_what_is_said_in_full_is_said_in_millions(value: str, said: str) -> None:
    assert spoken_value(OHMS, value) == said
