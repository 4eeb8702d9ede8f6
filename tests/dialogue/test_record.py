"""The history of readings: nothing is dropped, and it agrees with the job as folded."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from hypothesis import given
from hypothesis import strategies as st

from companion.chain import chain
from companion.dialogue.record import logged_readings
from companion.dialogue.state import fold
from companion.ports import Draft

if TYPE_CHECKING:
    from companion.ports import Entry, Json

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)


def entries(*said: tuple[str, dict[str, Json]]) -> tuple[Entry, ...]:
    drafts = [
        Draft(kind, payload, NOON + timedelta(minutes=place))
        for place, (kind, payload) in enumerate(said, start=1)
    ]
    return chain(None, "job", drafts, [bytes(16)] * len(drafts))


def reading(number: int, value: str = "119") -> tuple[str, dict[str, Json]]:
    return "reading", {
        "id": number,
        "step": "supply",
        "point": "primary",
        "name": "Primary",
        "value": value,
        "unit": "V",
        "low": "110",
        "high": "126",
        "source": "label",
        "verdict": "within",
        "phase": "as found",
        "words": "primary one nineteen",
        "match": "0.97",
        "confirmed": False,
    }


def correction(of: int, value: str) -> tuple[str, dict[str, Json]]:
    return "correction", {"of": of, "id": of, "value": value, "unit": "V", "verdict": "outside"}


def told(*said: tuple[str, dict[str, Json]]) -> list[tuple[int, str, str, int | None]]:
    return [
        (version.number, version.value, version.status, version.changed_by)
        for version in logged_readings(entries(*said))
    ]


def test_a_reading_stands() -> None:
    assert told(reading(1)) == [(1, "119", "stands", None)]


def test_a_corrected_reading_stays_and_its_correction_keeps_what_it_did_not_say() -> None:
    assert told(reading(1), correction(1, "190")) == [
        (1, "119", "corrected", 2),
        (2, "190", "stands", None),
    ]
    old, new = logged_readings(entries(reading(1), correction(1, "190")))
    assert (new.step, new.point, new.name, new.phase, new.low) == (
        old.step,
        old.point,
        old.name,
        old.phase,
        old.low,
    )
    assert (new.verdict, new.replaces, new.confirmed) == ("outside", 1, False)
    assert old.changed_at == NOON + timedelta(minutes=2)


def test_striking_a_corrected_reading_strikes_what_stood() -> None:
    assert told(reading(1), correction(1, "190"), ("struck", {"of": 1})) == [
        (1, "119", "corrected", 2),
        (2, "190", "struck", 3),
    ]


def test_a_correction_with_an_id_of_its_own_is_found_by_either() -> None:
    renamed = ("correction", {"of": 1, "id": 2, "value": "120", "unit": "V"})
    for of in (1, 2):
        assert told(reading(1), renamed, correction(of, "121"))[-2:] == [
            (2, "120", "corrected", 3),
            (3, "121", "stands", None),
        ]


def test_a_confirmation_is_for_the_version_that_stands() -> None:
    history = logged_readings(
        entries(reading(1), correction(1, "118"), ("reading-confirmed", {"of": 1}))
    )
    assert [version.confirmed for version in history] == [False, True]


def test_a_removed_reading_leaves_its_place() -> None:
    assert told(("reading", {}), reading(2)) == [
        (1, "", "removed", None),
        (2, "119", "stands", None),
    ]


def test_what_concerns_no_reading_changes_nothing() -> None:
    assert told(reading(1), ("struck", {"of": 9}), ("reading-confirmed", {}), ("x", {})) == [
        (1, "119", "stands", None)
    ]


_moves = st.lists(
    st.tuples(st.sampled_from(["reading", "correct", "strike", "confirm"]), st.integers(1, 4)),
    max_size=14,
)


@given(_moves)
def test_the_standing_readings_are_those_of_the_folded_job(moves: list[tuple[str, int]]) -> None:
    said: list[tuple[str, dict[str, Json]]] = []
    taken = 0
    for place, (move, number) in enumerate(moves):
        if move == "reading":
            taken += 1
            said.append(reading(taken, str(100 + place)))
        elif number <= taken:
            said.append(
                {
                    "correct": (
                        "correction",
                        {**reading(number, str(200 + place))[1], "of": number},
                    ),
                    "strike": ("struck", {"of": number}),
                    "confirm": ("reading-confirmed", {"of": number}),
                }[move]
            )
    logged = entries(*said)
    job = [(r.id, r.value, r.confirmed) for r in fold(logged).standing()]
    history = [
        (int(v.id), v.value, v.confirmed) for v in logged_readings(logged) if v.status == "stands"
    ]
    assert sorted(history) == sorted(job)
