"""From a quantity to the figure that the trade says: steps, sixteenths, standard sizes."""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from companion import quantities
from companion.sizing.model import exact

if TYPE_CHECKING:
    from collections.abc import Iterable

    from companion.ports import Exact
    from companion.quantities import Quantity

_GOOD_DIGITS = 12  # a float formula is good to that; beyond it is noise
_VALUE_DIGITS = 6  # what an answer's unrounded value carries


def magnitude(found: Quantity, unit: str) -> Decimal:
    """Return a quantity's figure in a trade unit, without the noise of float arithmetic.

    Raises:
        UnitError: the slug is unknown.
    """
    known = quantities.trade_unit(unit)
    figure = found.to(quantities.registry().Unit(known.pint_name)).magnitude
    return Decimal(f"{Decimal(f'{figure:.{_GOOD_DIGITS}g}'):f}")


def plain(value: Exact) -> str:
    """Return a figure as an answer's value: six significant digits, no exponent, no closing zeros.

    >>> plain(Decimal("0.46620000")), plain(Decimal(600)), plain(Fraction(2, 3))
    ('0.4662', '600', '0.666667')
    """
    figure = f"{Decimal(f'{exact(value):.{_VALUE_DIGITS}g}'):f}"
    return figure.rstrip("0").rstrip(".") if "." in figure else figure


def to_step(value: Exact, step: str) -> Decimal:
    """Return the value in whole steps, half away from zero; what would vanish gets finer steps.

    >>> to_step(Decimal("859.4"), "5"), to_step(Decimal("0.466"), "0.1")
    (Decimal('860'), Decimal('0.5'))
    >>> to_step(Decimal("0.04"), "0.1")
    Decimal('0.04')
    """
    figure, size = exact(value), Decimal(step)
    steps = (figure / size).quantize(Decimal(1), ROUND_HALF_UP)
    if not steps and figure:
        return to_step(figure, str(size / 10))
    return steps * size


def up_to_step(value: Exact, step: str) -> Decimal:
    """Return the value in whole steps, never less.

    >>> up_to_step(Decimal("9.69"), "1"), up_to_step(Decimal("0.225"), "0.01")
    (Decimal('10'), Decimal('0.23'))
    """
    size = Decimal(step)
    return (exact(value) / size).quantize(Decimal(1), ROUND_CEILING) * size


def to_tape(value: Exact, parts: int = 16) -> Fraction:
    """Return inches as the nearest mark of a tape, half away from zero.

    >>> to_tape(Decimal("0.437")), to_tape(Decimal("7.244"), 8)
    (Fraction(7, 16), Fraction(29, 4))
    """
    marks = exact(value) * parts
    return Fraction(int(marks.quantize(Decimal(1), ROUND_HALF_UP)), parts)


def next_up(sizes: Iterable[Exact], least: Exact) -> Exact | None:
    """Return the smallest size that is not below `least`, None where there is none.

    >>> next_up([Decimal(20), Decimal(40)], Decimal("33.75"))
    Decimal('40')
    """
    return min((size for size in sizes if size >= least), default=None)
