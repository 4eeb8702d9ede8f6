"""Trade units, the one pint registry, and how a quantity is written, said and read back.

Units go by slug ('inH2O', 'V', 'cfm'); units.toml, beside this file, says how each is written,
said and heard. Values are exact (`Decimal` or `Fraction`) until a formula needs a pint quantity.

pint takes most of a second to import and build on a small machine, so nothing here touches it
before `registry` is called; what it parsed is kept in the user's cache folder where that can be
written. Quantities are built from a number and a slug, never from spoken words: pint reads 'Nm'
as a textile unit, 'ton' as a mass, and does not know 'gpm'.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from decimal import Decimal
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from companion.errors import UnitError
from companion.numbers import exact_decimal, say, say_digits

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pint

    from companion.ports import Exact

    Registry = pint.UnitRegistry[Any]
    Quantity = pint.Quantity[Any]

_CONVERTED_DIGITS = 12  # what a converted figure is good for; a float carries 15 to 17
_FINEST_TAPE = 16  # a tape is read to the sixteenth of an inch


@dataclass(frozen=True, slots=True)
class TradeUnit:
    """A unit as the trade writes, says and hears it.

    `one` and `many` follow a spoken number ('volt', 'volts'); `heard` holds every way it is said,
    as words; units convert into one another where `dimension` is the same.
    """

    slug: str
    symbol: str
    one: str
    many: str
    heard: tuple[tuple[str, ...], ...]
    pint_name: str
    dimension: str


class _Units(Mapping[str, TradeUnit]):
    """The units by slug, read from units.toml when first asked for."""

    def __getitem__(self, slug: str) -> TradeUnit:
        return _units()[slug]

    def __iter__(self) -> Iterator[str]:
        return iter(_units())

    def __len__(self) -> int:
        return len(_units())


UNITS: Mapping[str, TradeUnit] = _Units()


@cache
def _units() -> Mapping[str, TradeUnit]:
    return units_from(files("companion").joinpath("units.toml").read_text(encoding="utf-8"))


def units_from(text: str) -> dict[str, TradeUnit]:
    """Return the units of a TOML text laid out as units.toml.

    Raises:
        UnitError: a key is missing or unknown; names the unit.
    """
    wanted = {field.name for field in fields(TradeUnit)} - {"slug", "pint_name"} | {"pint"}
    units: dict[str, TradeUnit] = {}
    for slug, table in tomllib.loads(text).items():
        if table.keys() != wanted:
            keys = ", ".join(sorted(table.keys() ^ wanted))
            raise UnitError(
                f"keys missing or unknown: {keys}",
                f"Give each unit {', '.join(sorted(wanted))}.",
                where=f"units.toml, [{slug}]",
            )
        heard = tuple(tuple(phrase.split()) for phrase in table.pop("heard"))
        units[slug] = TradeUnit(slug=slug, pint_name=table.pop("pint"), heard=heard, **table)
    return units


def trade_unit(slug: str) -> TradeUnit:
    """Return the unit of that slug.

    Raises:
        UnitError: there is none.

    >>> trade_unit("inH2O").symbol
    'in. w.c.'
    """
    try:
        return UNITS[slug]
    except KeyError:
        raise UnitError(f"Unit '{slug}' is unknown", f"Use one of: {', '.join(UNITS)}.") from None


# ---------------------------------------------------------------- calculating


@cache
def registry() -> Registry:
    """Return the one pint registry; the first call imports pint and builds it."""
    import pint  # noqa: PLC0415 - most of a second, and most commands never need it

    try:
        return pint.UnitRegistry(cache_folder=":auto:")
    except Exception:  # noqa: BLE001 - a cache that is read-only or torn by a power cut raises anything
        return pint.UnitRegistry()


def quantity(value: Exact, unit: str) -> Quantity:
    """Return a pint quantity of the one registry.

    Args:
        value: exact; the quantity holds it as a float.
        unit: a unit slug; 'degF' makes a temperature, 'delta_degF' a difference.

    Raises:
        UnitError: the slug is unknown.
    """
    known = trade_unit(unit)
    built = registry()
    return built.Quantity(float(value), built.Unit(known.pint_name))


def convert(value: Exact, unit: str, to: str) -> Decimal:
    """Return the value in another unit, good to 12 digits.

    Args:
        value: exact, in `unit`.
        unit: the slug that it is in.
        to: the slug that it shall be in, of the same dimension.

    Raises:
        UnitError: a slug is unknown, or the two measure different things.

    >>> convert(Decimal(1), "ft", "in")
    Decimal('12')
    """
    source, target = trade_unit(unit), trade_unit(to)
    if source.dimension != target.dimension:
        raise UnitError(
            f"'{unit}' is a {source.dimension}, '{to}' a {target.dimension}",
            f"Give a unit of {source.dimension}: {', '.join(_of_dimension(source.dimension))}.",
        )
    if source is target and isinstance(value, Decimal):
        return value
    converted = quantity(value, unit).to(registry().Unit(target.pint_name))
    return Decimal(f"{converted.magnitude:.{_CONVERTED_DIGITS}g}")


def _of_dimension(dimension: str) -> list[str]:
    return [slug for slug, unit in UNITS.items() if unit.dimension == dimension]


# ---------------------------------------------------------------- writing and saying


def written(value: Exact, unit: str, decimals: int | None = None) -> str:
    """Return the quantity as it is written: '0.45 in. w.c.', '5 5/16 in'.

    Args:
        value: exact, in `unit`.
        unit: a unit slug.
        decimals: places to round to, half away from zero; None writes the value as it is, and
            inches as on a tape where they are whole sixteenths.

    Raises:
        UnitError: the slug is unknown.

    >>> written(Decimal("0.45"), "inH2O"), written(Decimal("26.249"), "V", 1)
    ('0.45 in. w.c.', '26.2 V')
    >>> written(Fraction(85, 16), "in"), written(Decimal(12), "percent")
    ('5 5/16 in', '12%')
    """
    symbol = trade_unit(unit).symbol
    figure = _rounded(value, decimals) if decimals is not None else _figure(_on_tape(value, unit))
    return f"{figure}{symbol}" if symbol == "%" else f"{figure} {symbol}".rstrip()


def _rounded(value: Exact, decimals: int) -> str:
    """Return the figure with so many places, rounded half away from zero."""
    tenths = Fraction(value) * 10**decimals
    whole = int(abs(tenths) + Fraction(1, 2))
    return f"{Decimal(-whole if tenths < 0 else whole).scaleb(-decimals):f}"


def _figure(value: Exact) -> str:
    """Return the figure exactly: a decimal, or a whole and a fraction."""
    if isinstance(value, Decimal):
        return f"{value:f}"
    minus, size = ("-", -value) if value < 0 else ("", value)
    whole, over = divmod(size.numerator, size.denominator)
    part = f"{over}/{size.denominator}" if over else ""
    return minus + (" ".join(filter(None, (str(whole) if whole else "", part))) or "0")


def _on_tape(value: Exact, unit: str) -> Exact:
    """Return inches as a fraction where they are whole sixteenths, the rest as a decimal."""
    if unit == "in":
        tape = Fraction(value)
        return tape if isinstance(value, Fraction) or tape.denominator <= _FINEST_TAPE else value
    try:
        return exact_decimal(value)
    except ValueError:
        return value


def spoken(value: Exact, unit: str) -> str:
    """Return the quantity as a colleague would say it, ready for a voice.

    Args:
        value: exact, in `unit`; inches that are whole sixteenths are said as on a tape.
        unit: a unit slug.

    Raises:
        UnitError: the slug is unknown.
        ValueError: the value has no exact words.

    >>> spoken(Decimal(1), "V"), spoken(Decimal("0.5"), "A"), spoken(Fraction(1, 2), "A")
    ('one volt', 'point five amps', 'half an amp')
    >>> spoken(Decimal("5.3125"), "in"), spoken(Decimal(1200), "cfm")
    ('five and five sixteenths inches', 'twelve hundred C F M')
    """
    on_tape = _on_tape(value, unit) if unit == "in" else value
    return _with_unit(say(on_tape), trade_unit(unit), share=_is_share(on_tape))


def readback(value: Exact, unit: str, decimals: int | None = None) -> str:
    """Return the quantity read back digit by digit, as radio operators do.

    Args:
        value: exact, in `unit`, as it was understood.
        unit: a unit slug.
        decimals: at least so many places are said; what was said is never rounded away.

    Raises:
        UnitError: the slug is unknown.
        ValueError: the value has no exact words.

    >>> readback(Decimal(119), "V"), readback(Decimal("-0.2"), "inH2O", 2)
    ('one one nine volts', 'minus zero point two zero inches of water')
    """
    in_parts = decimals is None and _is_share(value)
    return _with_unit(say_digits(value, decimals), trade_unit(unit), share=in_parts)


def _is_share(value: Exact) -> bool:
    """Return whether it is a part of one unit, said with 'of a': 'three eighths of an inch'."""
    return isinstance(value, Fraction) and 0 < abs(value) < 1


def _with_unit(number: str, unit: TradeUnit, *, share: bool) -> str:
    """Put the unit behind the number: 'one volt', 'two volts', 'half a volt'."""
    if not share or not unit.one:
        is_one = number.removeprefix("minus ") == "one"
        return f"{number} {unit.one if is_one else unit.many}".rstrip()
    article = "an" if unit.one[0] in "aeiou" else "a"
    whole = number.replace("one half", "half") if number.endswith("one half") else f"{number} of"
    return f"{whole} {article} {unit.one}"
