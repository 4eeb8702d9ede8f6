"""The text that is hashed, against RFC 8785 by another implementation (the library rfc8785)."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import TYPE_CHECKING

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from companion.chain import GENESIS, SCHEMA, canonical, header, header_digest
from companion.joblog import MemoryStore
from companion.joblog.summary import job_id
from companion.ports import Draft, Entry

if TYPE_CHECKING:
    from companion.ports import Json

SAFE = 2**53 - 1  # the largest whole number that RFC 8785 (3.2.2.3, by RFC 7493) writes for sure
printable = st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), max_size=40)
digest = st.text("0123456789abcdef", min_size=64, max_size=64)
times = st.datetimes(timezones=st.sampled_from([UTC, timezone(timedelta(hours=-7))]))


@given(
    schema=st.integers(1, SAFE),
    job=printable,
    number=st.integers(1, SAFE),
    kind=printable,
    at=times.filter(lambda at: 1 < at.year < 9999),
    ours=digest,
    previous=digest,
)
def test_a_headers_text_is_that_of_rfc_8785_byte_for_byte(  # noqa: PLR0913, PLR0917 -- its fields
    schema: int, job: str, number: int, kind: str, at: datetime, ours: str, previous: str
) -> None:
    entry = Entry(schema, job, number, kind, at, ours, previous)
    assert canonical(header(entry)).encode("ascii") == rfc8785.dumps(dict(header(entry)))


@given(at=times.filter(lambda at: 1 < at.year < 9999))
def test_what_our_headers_hold_is_what_that_is_shown_for(at: datetime) -> None:
    """Ids of our own making, kinds, times and digests are printable ASCII; numbers are small."""
    store = MemoryStore()
    (entry,) = store.append(job_id(at, ()), [Draft("reading-confirmed", {"of": 1}, at)])
    for value in header(entry).values():
        assert (
            value in range(SAFE) if isinstance(value, int) else all(" " <= c <= "~" for c in value)
        )
    assert (entry.schema, entry.previous) == (SCHEMA, GENESIS)
    assert len(header_digest(entry)) == 64


# Keys sort alike by code point and by UTF-16 unit up to U+FFFF; half a surrogate pair has no UTF-8.
basic = st.text(st.characters(max_codepoint=0xFFFF, exclude_categories=["Cs"]), max_size=12)
everywhere = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
plain = st.recursive(
    st.none() | st.booleans() | st.integers(-SAFE, SAFE) | everywhere,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(basic, inner, max_size=4),
    max_leaves=12,
)


def in_ascii(text: str) -> str:
    r"""Write what is not printable ASCII as \uXXXX, by UTF-16 units (RFC 8259, section 7)."""
    units = text.encode("utf-16-be")
    pairs = (int.from_bytes(units[i : i + 2]) for i in range(0, len(units), 2))
    return "".join(chr(unit) if 0x20 <= unit <= 0x7E else f"\\u{unit:04x}" for unit in pairs)


@given(payload=st.dictionaries(basic, plain, max_size=5))
def test_a_payloads_text_is_that_of_rfc_8785_with_the_rest_escaped(
    payload: dict[str, Json],
) -> None:
    assert canonical(payload) == in_ascii(rfc8785.dumps(payload).decode("utf-8"))


@pytest.mark.parametrize(
    ("payload", "ours"),
    [
        ({"x": 1e16}, '{"x":1e+16}'),
        ({"x": 1.0}, '{"x":1.0}'),
        ({"\U0001f600": 1, "\ufb33": 2}, '{"\\ufb33":2,"\\ud83d\\ude00":1}'),
    ],
)
def test_where_a_payloads_text_differs_is_as_documented(
    payload: dict[str, Json], ours: str
) -> None:
    assert canonical(payload) == ours
    assert in_ascii(rfc8785.dumps(payload).decode("utf-8")) != ours


@pytest.mark.parametrize("payload", [{"x": 2**53}, {"x": "\ud83d"}])
def test_what_rfc_8785_refuses_can_be_logged_all_the_same(payload: dict[str, Json]) -> None:
    with pytest.raises((rfc8785.CanonicalizationError, UnicodeEncodeError)):
        rfc8785.dumps(payload)
    assert canonical(payload).isascii()
