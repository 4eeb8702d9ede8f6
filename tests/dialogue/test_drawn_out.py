"""What takes far longer than its words is no reading, but a careful speaker's is one."""

from __future__ import annotations

from decimal import Decimal

import pytest

from companion.dialogue.drawn_out import is_drawn_out
from companion.language.meanings import Candidate, Command, Measure, Reading
from companion.ports import Hearing

READING = Reading("", Measure(Decimal(60), None))


@pytest.mark.parametrize(
    ("words", "took_s", "is_one"),
    [
        ("sixty", 0.5, False),
        ("sixty", 0.9, False),  # slowly
        ("sixty", 1.3, True),  # as long as "sit, stay, good boy" takes
        ("one nineteen", 1.6, False),
        ("one nineteen", 2.4, True),
        ("one one nine", 3.0, False),  # digit by digit, with pauses
        ("supply static point four five", 6.0, False),
    ],
)
def test_a_number_by_itself_is_held_to_the_time_that_it_takes(
    words: str, took_s: float, *, is_one: bool
) -> None:
    candidate = Candidate(READING, tuple(words.split()), 0.97, 0.0)
    assert is_drawn_out(Hearing((), start_s=3.0, end_s=3.0 + took_s), candidate) is is_one


def test_what_logs_no_value_may_take_its_time() -> None:
    done = Candidate(Command("done"), ("done",), 0.97, 0.0)
    assert not is_drawn_out(Hearing((), start_s=0.0, end_s=3.0), done)
