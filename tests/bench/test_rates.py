from __future__ import annotations

import pytest

from companion.bench.rates import per_hour, wilson


@pytest.mark.parametrize(
    ("hits", "of", "low", "high"),
    [
        # R. G. Newcombe, 1998, Statistics in Medicine 17:857, table I, method 3 (from memory)
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_bounds_agree_with_the_published_ones(hits: int, of: int, low: float, high: float) -> None:
    rate = wilson(hits, of)
    assert rate.low == pytest.approx(low, abs=0.00005)
    assert rate.high == pytest.approx(high, abs=0.00005)
    assert rate.as_json()["share"] == round(hits / of, 4)


def test_all_of_a_few_is_bounded_by_one() -> None:
    assert wilson(20, 20).high == 1.0
    assert wilson(20, 20).low == pytest.approx(1 - wilson(0, 20).high)


@pytest.mark.parametrize(("hits", "of"), [(0, 0), (3, 2), (-1, 2)])
def test_what_is_no_share_is_refused(hits: int, of: int) -> None:
    with pytest.raises(ValueError, match="is no share"):
        wilson(hits, of)


@pytest.mark.parametrize(
    ("count", "low", "high"),
    # source: the exact Poisson interval of Garwood 1936, from memory of its table
    [(0, 0.0, 3.689), (1, 0.0253, 5.572), (5, 1.623, 11.668), (10, 4.795, 18.390)],
)
def test_rare_events_have_their_exact_interval(count: int, low: float, high: float) -> None:
    rate, lower, upper = per_hour(count, 1.0)
    assert rate == count
    assert lower == pytest.approx(low, abs=0.001)
    assert upper == pytest.approx(high, abs=0.001)


def test_a_rate_is_by_the_hour() -> None:
    assert per_hour(5, 2.0) == pytest.approx([each / 2 for each in per_hour(5, 1.0)])
    with pytest.raises(ValueError, match="no rate"):
        per_hour(1, 0.0)
