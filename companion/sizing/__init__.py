"""The trade's arithmetic, with working and sources.

Ask `missing` what a question still lacks, then `answer` it; `change` asks again with one thing
different. Each sizing is declared in the module of its group, or one that begins like it.
"""

from __future__ import annotations

from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING

from companion.sizing import (
    air_cleaning,
    air_faces,
    air_fan,
    air_measuring,
    air_pressure,
    air_switch,
    airflow,
    boxes,
    capacitors,
    coil_water,
    conduit,
    conversions,
    duct_fittings,
    duct_shapes,
    duct_sizes,
    heat,
    heat_moved,
    line_voltage,
    line_voltage_circuits,
    line_voltage_runs,
    line_voltage_supply,
    line_voltage_wire,
    low_voltage,
    low_voltage_checks,
    low_voltage_runs,
    mixed_humidity,
    moist_air,
    motors,
    sheet_metal,
    sheet_metal_layout,
    sheet_metal_openings,
    sheet_metal_stock,
    transformer,
    transformer_checks,
    transformer_primary,
    ventilation,
    winter_humidity,
)
from companion.sizing.answering import answered, changed, missing_input
from companion.sizing.model import Answer, Input, MeasureLike, Sizing
from companion.sizing.refusals import refusal

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.sizing.model import Inputs, Said

__all__ = [
    "DEFERRAL",
    "Answer",
    "Input",
    "MeasureLike",
    "Sizing",
    "answer",
    "change",
    "metric",
    "missing",
    "sizings",
]

DEFERRAL = "Your local code and a licensed electrician have the last word."
_NO_LOG: Mapping[str, MeasureLike] = MappingProxyType({})


@cache
def sizings() -> Mapping[str, Sizing]:
    """Return every sizing by slug, group by group.

    >>> sizings()["voltage-drop"].input("length").ask
    'How many feet, one way?'
    """
    groups = (
        low_voltage.SIZINGS,
        low_voltage_runs.SIZINGS,
        low_voltage_checks.SIZINGS,
        transformer.SIZINGS,
        transformer_checks.SIZINGS,
        transformer_primary.SIZINGS,
        line_voltage.SIZINGS,
        line_voltage_runs.SIZINGS,
        line_voltage_wire.SIZINGS,
        line_voltage_circuits.SIZINGS,
        line_voltage_supply.SIZINGS,
        conduit.SIZINGS,
        boxes.SIZINGS,
        sheet_metal.SIZINGS,
        sheet_metal_layout.SIZINGS,
        sheet_metal_openings.SIZINGS,
        sheet_metal_stock.SIZINGS,
        airflow.SIZINGS,
        air_pressure.SIZINGS,
        air_fan.SIZINGS,
        air_measuring.SIZINGS,
        air_switch.SIZINGS,
        air_faces.SIZINGS,
        duct_sizes.SIZINGS,
        duct_shapes.SIZINGS,
        duct_fittings.SIZINGS,
        ventilation.SIZINGS,
        heat.SIZINGS,
        heat_moved.SIZINGS,
        moist_air.SIZINGS,
        mixed_humidity.SIZINGS,
        winter_humidity.SIZINGS,
        coil_water.SIZINGS,
        air_cleaning.SIZINGS,
        motors.SIZINGS,
        capacitors.SIZINGS,
        conversions.SIZINGS,
    )
    return MappingProxyType({sizing.slug: sizing for group in groups for sizing in group})


def missing(slug: str, given: Inputs, log: Mapping[str, MeasureLike] = _NO_LOG) -> Input | None:
    """Return the first input that the question still lacks, or None; its `ask` is spoken.

    Args:
        slug: the sizing.
        given: inputs as said, by name: a measure, a word, or several measures.
        log: the latest reading at each test point, by test point; used where nothing was said.

    Raises:
        SizingError: there is no such sizing.
    """
    return missing_input(_sizing(slug), given, log)


def answer(
    slug: str, given: Inputs, log: Mapping[str, MeasureLike] = _NO_LOG, region: str = ""
) -> Answer:
    """Return the answer to a question.

    Args:
        slug: the sizing.
        given: inputs as said, by name; a measure without a unit takes its input's.
        log: the latest reading at each test point; used where nothing was said, and then told.
        region: state or province, by name or letter code; '' where unknown.

    Raises:
        MissingInputError: an input is missing; nothing is guessed.
        OutOfRangeError: an input lies outside what the sizing holds for.
        SizingError: it cannot be answered as put. Every one carries short words in `spoken`.
    """
    return answered(_sizing(slug), given, log, region)


def change(slug: str, given: Inputs, measure: MeasureLike) -> dict[str, Said]:
    """Return the inputs with one replaced: 'what about ninety feet'.

    Args:
        slug: the sizing asked before.
        given: its inputs as said then.
        measure: the new one; the input of its dimension is replaced.

    Raises:
        SizingError: no input has that dimension, or more than one was said.
    """
    return changed(_sizing(slug), given, measure)


def metric(found: Answer) -> str:
    """Return an answer's result in metric, as spoken."""
    return found.in_metric


def _sizing(slug: str) -> Sizing:
    known = sizings()
    if slug not in known:
        raise refusal(
            f"There is no sizing '{slug}'",
            f"There are: {', '.join(known)}.",
            "I can't work that out.",
        )
    return known[slug]
