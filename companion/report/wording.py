"""How the report writes times, values, limits and the names of things."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from decimal import Context, Decimal, InvalidOperation
from fractions import Fraction
from typing import TYPE_CHECKING

from companion.chain import canonical, utc_text
from companion.errors import UnitError
from companion.quantities import written
from companion.report.markup import element

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.ports import Exact, Json
    from companion.report.markup import Element

_DIGITS = 5
_MOST_DIGITS = 30  # before or behind the point: no meter shows more, and writing it out may hang
_SPECIAL = {"OL": "OL (over range)", "open": "open"}
_LEFT = {"power": "power off", "lock": "locked", "openings": "openings closed"}
_HAZARDS = {
    "gas": "Smell of gas",
    "shock": "Electric shock",
    "co": "CO alarm",
    "fire": "Fire",
    "hurt": "Injury",
}


@dataclass(frozen=True, slots=True)
class Clock:
    """Writes times in one zone; the date is left out on the day that the job began.

    No zone is the machine's own, which knows what the time was there on that date.
    """

    zone: tzinfo | None = UTC
    day: datetime | None = None

    def time(self, at: datetime | None) -> Element | None:
        """Return '10:42', or '5 Mar 10:42' on another day than the first."""
        if at is None:
            return None
        local = at.astimezone(self.zone)
        first = self.day.astimezone(self.zone).date() if self.day else local.date()
        text = f"{local:%H:%M}"
        if local.date() != first:
            text = f"{local.day} {local:%b} {text}"
        return element("time", text, datetime=utc_text(at))

    def date_time(self, at: datetime) -> Element:
        """Return '4 March 2026, 10:42'."""
        local = at.astimezone(self.zone)
        return element("time", f"{local.day} {local:%B %Y, %H:%M}", datetime=utc_text(at))

    def date(self, at: datetime) -> Element:
        """Return '4 March 2026'."""
        local = at.astimezone(self.zone)
        return element("time", f"{local.day} {local:%B %Y}", datetime=utc_text(at))

    def zone_name(self, at: datetime) -> str:
        """Return 'UTC', or how far the zone was from it at a time: 'UTC\N{MINUS SIGN}07:00'."""
        offset = at.astimezone(self.zone).utcoffset() or timedelta(0)
        minutes = int(offset.total_seconds()) // 60
        if not minutes:
            return "UTC"
        sign = "\N{MINUS SIGN}" if minutes < 0 else "+"
        return f"UTC{sign}{abs(minutes) // 60:02}:{abs(minutes) % 60:02}"


def lasting(begun: datetime, ended: datetime) -> str:
    """Return a duration: '2 h 05 min'."""
    minutes = max(0, int((ended - begun).total_seconds()) // 60)
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest:02} min" if hours else f"{rest} min"


def exact(text: str) -> Exact | None:
    """Return the number that a payload holds as text, or None."""
    try:
        value = Decimal(text)
    except InvalidOperation:
        try:
            return Fraction(text)
        except (ValueError, ZeroDivisionError):
            return None
    return value if value.is_finite() and abs(value.adjusted()) <= _MOST_DIGITS else None


def measured(value: str, unit: str) -> str:
    """Return a logged value with its unit: '0.45 in. w.c.'; a meter's word in words."""
    number = exact(value)
    if number is None:
        return _SPECIAL.get(value, value)
    try:
        return written(number, unit)
    except UnitError:
        return f"{value} {unit}".strip()


def shortened(value: str) -> str:
    """Return a result with no more digits than anyone reads: five that count.

    >>> shortened("33.33333333333333333333333333"), shortened("1/0"), shortened("0.4662")
    ('33.333', '1/0', '0.4662')
    """
    try:
        number = Decimal(value)
    except InvalidOperation:
        return value
    if not number.is_finite() or len(number.as_tuple().digits) <= _DIGITS:
        return value
    return format(Context(prec=_DIGITS).plus(number), "f")


def limit(low: str, high: str, unit: str) -> str:
    """Return a limit: '114 to 126 V', 'at most 0.50 in. w.c.', '' for none."""
    if low and high:
        return f"{low} to {measured(high, unit)}"
    if high:
        return f"at most {measured(high, unit)}"
    return f"at least {measured(low, unit)}" if low else ""


def named(slug: str) -> str:
    """Return a slug as words that begin a line: 'Wire primary'."""
    words = slug.replace("-", " ").replace("_", " ").strip()
    return words[:1].upper() + words[1:]


def hazard(slug: str) -> str:
    """Return what an emergency was about."""
    return _HAZARDS.get(slug, named(slug))


def left_as(check: str) -> str:
    """Return what was affirmed when a job was left safe."""
    return _LEFT.get(check, named(check).lower())


def plural(count: int, one: str, many: str = "") -> str:
    """Return '1 entry', '12 entries'."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def lines(value: Json) -> list[str]:
    """Return what a payload has as lines: a list's items, one text, or nothing."""
    items = value if isinstance(value, list) else [value]
    return [text for text in map(plain, items) if text]


def plain(value: Json) -> str:
    """Return any value of a payload as text a person can read."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(map(plain, value))
    if isinstance(value, dict):
        return _pairs(value)
    return str(value)


def _pairs(value: Mapping[str, Json]) -> str:
    if set(value) == {"value", "unit"}:
        return measured(str(value["value"]), str(value["unit"] or ""))
    if not all(isinstance(v, (str, int)) for v in value.values()):
        return canonical(dict(value))
    return ", ".join(f"{named(key).lower()} {plain(item)}" for key, item in value.items())
