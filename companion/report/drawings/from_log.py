"""The cut-out that a job's log tells of: the sizing of an opening that was answered last.

A figure that the log does not hold is not made up: the drawing says that it is not recorded, and
without the opening's own size there is no drawing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

from companion.errors import InputError
from companion.report.drawings.cutout import Cutout, screws_at
from companion.report.drawings.lengths import inches
from companion.report.drawings.writing import one_line

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from companion.ports import Entry
    from companion.report.drawings.cutout import Airflow

# Sizings that hold an opening, the likeliest first: what its width, height and diameter are called
# among their inputs. The answer to a later kind counts only where none of an earlier one was given.
_OPENINGS = (
    ("centre-cutout", ("hole", "hole height", "")),
    ("square-check", ("width", "height", "")),
    ("gasket-length", ("width", "height", "diameter")),
)
_SCREWS = "screw-spacing"
_TYPE = "Give its size yourself: companion template --opening 14-1/2x6-1/4"
# The choice that says on which side of the blower the opening is, and what that says of the air.
_SIDES = ("side", "mount-side")
_FLOWS = {"supply": "away from the blower", "return": "toward the blower"}


@dataclass(frozen=True, slots=True)
class ByHand:
    """What a person adds to the log's figures; None and '' leave the log's."""

    flange_in: Fraction = Fraction(0)
    setback_in: Fraction | None = None
    screws: int | None = None
    spacing_in: Fraction | None = None
    pilot_in: Fraction = Fraction(1, 8)
    airflow: Airflow = ""
    label: str = ""


def cutout_of(entries: Sequence[Entry], by_hand: ByHand | None = None) -> Cutout:
    """Return the cut-out of a job.

    Args:
        entries: a job's entries, in order.
        by_hand: what a person adds.

    Raises:
        InputError: the log holds no opening with all its sides, or it cannot be cut as told.
    """
    added = by_hand or ByHand()
    entry, width_in, height_in = _opening(entries)
    title = one_line(str(entry.payload.get("title", "")))
    sources = [f"Opening: log entry {entry.number}, {title}.".replace(", .", ".")]
    setback_in = added.setback_in
    if setback_in is None:
        setback_in = added.flange_in / 2 or Fraction(1, 2)
    screws, spacing_in = added.screws, added.spacing_in
    if screws is None and spacing_in is None:
        logged = _screws(entries, width_in, height_in)
        if logged:
            of, screws, spacing_in = logged
            sources.append(f"Screws: log entry {of.number}.")
    if screws is None:
        screws = screws_at(width_in, height_in, setback_in, spacing_in) if spacing_in else 0
    return Cutout(
        width_in=width_in,
        height_in=height_in,
        flange_in=added.flange_in,
        setback_in=setback_in,
        screws=screws,
        pilot_in=added.pilot_in,
        airflow=added.airflow,
        flows=_flows(entries),
        label=added.label or _title(entries),
        job=entry.job,
        date=entry.at.astimezone().strftime("%Y-%m-%d"),
        sources=tuple(sources),
    )


def by_hand(size: tuple[Fraction, Fraction | None], added: ByHand, date: str) -> Cutout:
    """Return a cut-out whose figures are all a person's.

    Args:
        size: width and height, or diameter and None, in inches.
        added: the rest.
        date: as it is to be written.

    Raises:
        InputError: it cannot be cut so.
    """
    setback_in = added.setback_in
    if setback_in is None:
        setback_in = added.flange_in / 2 or Fraction(1, 2)
    made = Cutout(*size, flange_in=added.flange_in, label=added.label, date=date)
    screws = added.screws or 0
    if added.spacing_in is not None and added.screws is None:
        screws = screws_at(*size, setback_in, added.spacing_in)
    return replace(
        made,
        setback_in=setback_in,
        screws=screws,
        pilot_in=added.pilot_in,
        airflow=added.airflow,
        sources=("All figures as typed.",),
    )


def _opening(entries: Sequence[Entry]) -> tuple[Entry, Fraction, Fraction | None]:
    """The last answer of the likeliest kind; an older one is never taken in its place."""
    for sizing, (wide, high, across) in _OPENINGS:
        asked = [each for each in entries if _is_answer(each, sizing)]
        if not asked:
            continue
        inputs = _inputs(asked[-1], sizing)
        if across and across in inputs:
            return asked[-1], inputs[across], None
        if wide in inputs and high in inputs:
            return asked[-1], inputs[wide], inputs[high]
        raise InputError(
            f"Log entry {asked[-1].number} does not hold both sides of the opening in inches", _TYPE
        )
    raise InputError("This job's log holds no opening", _TYPE)


def _is_answer(entry: Entry, sizing: str) -> bool:
    return entry.kind == "question" and entry.payload.get("sizing") == sizing


def _screws(
    entries: Sequence[Entry], width_in: Fraction, height_in: Fraction | None
) -> tuple[Entry, int | None, Fraction | None] | None:
    """The last answer on screws round an opening of this very size: count, or widest step."""
    for entry in reversed(entries):
        inputs = _inputs(entry, _SCREWS)
        sizes = (inputs.get("width"), inputs.get("height"))
        same = (
            inputs.get("diameter") == width_in
            if height_in is None
            else sizes == (width_in, height_in)
        )
        if same and "spacing" in inputs:
            return entry, None, inputs["spacing"]
        if same and inputs.get("screws", Fraction(1, 2)).denominator == 1:
            return entry, int(inputs["screws"]), None
    return None


def _inputs(entry: Entry, sizing: str) -> Mapping[str, Fraction]:
    """The inputs of an answered sizing that are plain lengths or counts."""
    given = entry.payload.get("inputs")
    if not _is_answer(entry, sizing):
        return {}
    found: dict[str, Fraction] = {}
    for name, value in given.items() if isinstance(given, dict) else ():
        try:
            found[name] = inches(str(value))
        except InputError:  # another unit, or a word: no side of an opening
            continue
    return found


def _flows(entries: Sequence[Entry]) -> str:
    side = ""
    for entry in entries:
        if entry.kind == "choice" and entry.payload.get("choice") in _SIDES:
            side = str(entry.payload.get("option", ""))
        elif entry.kind == "choice-withdrawn" and entry.payload.get("choice") in _SIDES:
            side = ""
    return _FLOWS.get(side, "")


def _title(entries: Sequence[Entry]) -> str:
    opened = next((each for each in entries if each.kind == "job-opened"), None)
    return str(opened.payload.get("title", "")) if opened else ""
