"""Shares and rates with their 95 % bounds: every rate that a benchmark prints."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, sqrt

_Z_95 = 1.959964  # two-sided 95 % of the normal distribution
_TAIL = 0.025
_HALVINGS = 60


@dataclass(frozen=True, slots=True)
class Rate:
    """How many of how many; `low` and `high` bound the true share at 95 %."""

    hits: int
    of: int

    @property
    def share(self) -> float:
        """The observed share, 0 to 1."""
        return self.hits / self.of

    @property
    def low(self) -> float:
        """The lower end of the Wilson score interval."""
        return max(0.0, self._middle - self._half_width)

    @property
    def high(self) -> float:
        """The upper end of the Wilson score interval."""
        return min(1.0, self._middle + self._half_width)

    @property
    def _middle(self) -> float:
        return (self.hits + _Z_95**2 / 2) / (self.of + _Z_95**2)

    @property
    def _half_width(self) -> float:
        spread = self.share * (1 - self.share) * self.of + _Z_95**2 / 4
        return _Z_95 * sqrt(spread) / (self.of + _Z_95**2)

    def as_json(self) -> dict[str, float]:
        """Return hits, of, share and the bound, rounded to four places."""
        return {
            "hits": self.hits,
            "of": self.of,
            "share": round(self.share, 4),
            "low95": round(self.low, 4),
            "high95": round(self.high, 4),
        }


def wilson(hits: int, of: int) -> Rate:
    """Return a share with its Wilson score interval at 95 %, which holds for small samples too.

    Args:
        hits: how many, 0 to `of`.
        of: of how many, at least 1.

    Raises:
        ValueError: the counts are no share.

    Source: E. B. Wilson, 1927, J. Am. Stat. Assoc. 22:209; tests/bench/test_rates.py.
    """
    if not 0 <= hits <= of or of == 0:
        raise ValueError(f"{hits} of {of} is no share")
    return Rate(hits, of)


def per_hour(count: int, hours: float) -> tuple[float, float, float]:
    """Return a rate of rare events with its exact 95 % interval, events an hour.

    Args:
        count: how many happened, at least 0.
        hours: in how long, above 0.

    Returns:
        The observed rate, and the lower and upper bound.

    Raises:
        ValueError: the time is none.

    Source: F. Garwood, 1936, Biometrika 28:437: the bounds are the means at which so many or more,
    or so many or fewer, happen with 2.5 %; tests/bench/test_rates.py.
    """
    if count < 0 or hours <= 0:
        raise ValueError(f"{count} in {hours} hours is no rate")
    low = _poisson_mean(count - 1, 1 - _TAIL) if count else 0.0
    return count / hours, low / hours, _poisson_mean(count, _TAIL) / hours


def _poisson_mean(count: int, wanted: float) -> float:
    """Return the mean at which `count` or fewer happen with that probability, by bisection."""
    low, high = 0.0, 10.0 * (count + 1)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if _poisson_cdf(count, middle) > wanted:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _poisson_cdf(count: int, mean: float) -> float:
    term = total = exp(-mean)
    for number in range(1, count + 1):
        term *= mean / number
        total += term
    return total
