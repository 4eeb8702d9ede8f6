from __future__ import annotations

import pytest

from companion.bench.rates import wilson


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
