"""A cut-out: the opening, the flange that covers its edge, and the pilot holes of its screws.

Plain values, in inches, exact; nothing here draws. The middle of the opening is the origin, x to
the right, y upwards.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, TypeAlias

from companion.errors import InputError
from companion.report.drawings.lengths import shown

Airflow: TypeAlias = Literal["", "up", "down", "left", "right"]

LEAST_IN, MOST_IN = Fraction(1), Fraction(72)  # as the sizings of openings take them
_FLANGE_IN, _PILOT_IN = Fraction(6), Fraction(1, 2)
_MOST_SCREWS = 60
_ROUND_SCREWS = 3  # in a round joint at least: IRC M1601.4.1
_CORNERS = 4


@dataclass(frozen=True, slots=True)
class Cutout:
    """What is cut, and what is drilled around it.

    Attributes:
        width_in: the opening's width, or its diameter; 1 to 72 in.
        height_in: the opening's height; None for a round one.
        flange_in: how far the flange reaches beyond the opening's edge; 0 where none is drawn.
        setback_in: from the opening's edge to the middles of the pilot holes.
        screws: how many pilot holes; 0 for none.
        pilot_in: their diameter.
        airflow: which way the air goes on the sheet; '' where nobody said.
        flows: the same in words ('away from the blower'), '' for none.
        label: what it is for, in the user's words.
        job: the job's id, '' for none.
        date: as it is written.
        sources: where the figures are from, a line each.
    """

    width_in: Fraction
    height_in: Fraction | None = None
    flange_in: Fraction = Fraction(0)
    setback_in: Fraction = Fraction(0)
    screws: int = 0
    pilot_in: Fraction = Fraction(1, 8)
    airflow: Airflow = ""
    flows: str = ""
    label: str = ""
    job: str = ""
    date: str = ""
    sources: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what cannot be cut or drilled.

        Raises:
            InputError: a size is out of range, or holes and edges meet.
        """
        for side in (self.width_in, self.high_in):
            _within("opening", side, LEAST_IN, MOST_IN)
        _within("flange", self.flange_in, Fraction(0), _FLANGE_IN)
        if self.screws:
            self._check_screws()

    @property
    def is_round(self) -> bool:
        """Whether the opening is a circle."""
        return self.height_in is None

    @property
    def high_in(self) -> Fraction:
        """The opening's height; a round one's diameter."""
        return self.width_in if self.height_in is None else self.height_in

    @property
    def size(self) -> str:
        """The opening's size in words: '14 1/2 × 6 1/4 in', '8 in round'."""
        if self.height_in is None:
            return f"{shown(self.width_in)} in round"
        return f"{shown(self.width_in)} × {shown(self.height_in)} in"

    def _check_screws(self) -> None:
        _within("pilot hole", self.pilot_in, Fraction(1, 32), _PILOT_IN)
        least = _ROUND_SCREWS if self.is_round else _CORNERS
        if not least <= self.screws <= _MOST_SCREWS or not (self.is_round or _is_even(self.screws)):
            even = "" if self.is_round else "an even number, "
            raise InputError(
                f"{self.screws} screws do not go round this opening",
                f"Give {even}from {least} to {_MOST_SCREWS}.",
            )
        radius, edge = self.pilot_in / 2, self.flange_in or None
        if self.setback_in <= radius or (edge and self.setback_in >= edge - radius):
            raise InputError(
                f"Pilot holes {shown(self.setback_in)} in from the edge are not whole",
                "Set them back by more than half a hole, and less than the flange allows.",
            )


def _is_even(number: int) -> bool:
    return number % 2 == 0


def _within(what: str, value: Fraction, low: Fraction, high: Fraction) -> None:
    if not low <= value <= high:
        raise InputError(
            f"The {what} of {shown(value)} in is outside {shown(low)} to {shown(high)} in",
            "Check the figure.",
        )


# ---------------------------------------------------------------- holes


def holes(cutout: Cutout) -> tuple[tuple[float, float], ...]:
    """Return the middles of the pilot holes, in inches from the middle of the opening.

    Round: equal steps on a circle, the first one on top. Rectangular: one at each corner, the
    rest in equal steps along the sides, shared so that the widest step is as small as can be.
    """
    if not cutout.screws:
        return ()
    if cutout.is_round:
        radius = float(cutout.width_in / 2 + cutout.setback_in)
        turns = [2 * math.pi * each / cutout.screws for each in range(cutout.screws)]
        return tuple((radius * math.sin(turn), radius * math.cos(turn)) for turn in turns)
    wide, high = (side + 2 * cutout.setback_in for side in (cutout.width_in, cutout.high_in))
    across = min(
        range(1, cutout.screws // 2),
        key=lambda gaps: (max(wide / gaps, high / (cutout.screws // 2 - gaps)), gaps),
    )
    up = cutout.screws // 2 - across
    xs = [float(wide * each / across - wide / 2) for each in range(across + 1)]
    ys = [float(high * each / up - high / 2) for each in range(up + 1)]
    rows = [(x, y) for y in (ys[-1], ys[0]) for x in xs]
    return (*rows, *((x, y) for x in (xs[0], xs[-1]) for y in ys[1:-1]))


def screws_at(
    width_in: Fraction, height_in: Fraction | None, setback_in: Fraction, most_in: Fraction
) -> int:
    """Return how many screws keep every step at or under `most_in`.

    Args:
        width_in: the opening's width, or its diameter.
        height_in: its height, None for a round one.
        setback_in: from its edge to the screws.
        most_in: the widest step, along the line that the screws stand on; above 0.

    Raises:
        InputError: the step is none.

    >>> screws_at(Fraction(14), Fraction(6), Fraction(1, 2), Fraction(4))
    12
    """
    if most_in <= 0:
        raise InputError(f"A spacing of {shown(most_in)} in is none", "Give one above zero.")
    if height_in is None:
        around = math.pi * float(width_in + 2 * setback_in)
        return max(_ROUND_SCREWS, math.ceil(round(around / float(most_in), 9)))
    return 2 * sum(math.ceil((side + 2 * setback_in) / most_in) for side in (width_in, height_in))
