"""Clean air: changes and clearing of a room, cleaners and filters, fresh-air time, ozone."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Range, Result, Sizing, exact, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import down_to_step, magnitude, plain, to_step, up_to_step
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity

GROUP = "Air cleaning"
_HOUR_MIN = Decimal(60)

_FLOW = Input(
    name="air",
    spoken="airflow",
    ask="How many C F M?",
    ranges=(Range("10", "3000", "cfm"),),
)
_DUTY = Input(
    name="duty",
    spoken="share of the time",
    ranges=(Range("1", "100", "percent"),),
    heard="{} of the time",
    default="100",
    assumed="the blower on all the time",
)
_CEILING = Input(
    name="ceiling",
    spoken="ceiling",
    ranges=(Range("7", "14", "ft"),),
    heard="{number} foot ceiling",
    default=str(figure("room-cleaner-ceiling")),
    assumed="eight foot ceilings",
)


# ---------------------------------------------------------------- air changes


def air_changes(flow: Quantity, volume: Quantity) -> Quantity:
    """Return how often an hour a flow replaces a volume.

    Source: definition, as CDC and EPA print it. Checked by tests/golden/sizing/air-changes.toml.
    """
    changes: Quantity = (flow / volume).to("1 / hour")
    return changes


def _work_out_changes(given: Given) -> Result:
    area, ceiling = given.quantity("area"), given.quantity("ceiling")
    duty = given.quantity("duty").to("dimensionless")
    changes = air_changes(given.quantity("air") * duty, area * ceiling)
    per_h, volume = magnitude(changes, "per_h"), magnitude(area * ceiling, "ft3")
    said = spoken(to_step(per_h, "0.1"), "per_h")
    return Result(
        lead=said,
        value=plain(per_h),
        unit="per_h",
        working=(
            (
                f"Volume: {given.amount('area').written()} × {given.amount('ceiling').written()} = "
                f"{plain(volume)} ft³"
            ),
            (
                f"60 min × {given.amount('air').written()} × {given.amount('duty').written()} / "
                f"{plain(volume)} ft³ = {plain(per_h)} an hour"
            ),
        ),
        why="Sixty minutes of the flow, over area times ceiling.",
        metric=f"{said}, the same in metric.",
    )


AIR_CHANGES = Sizing(
    slug="air-changes",
    title="Air changes an hour",
    group=GROUP,
    example="how many air changes is twelve hundred c f m in a two thousand square foot house",
    formula="changes = 60 · flow · share of the time / (area · ceiling)",
    inputs=(
        _FLOW,
        Input(
            name="area",
            spoken="floor area",
            ask="How many square feet?",
            ranges=(Range("100", "8000", "ft2"),),
        ),
        _CEILING,
        _DUTY,
    ),
    work=_work_out_changes,
    sources=("definition, as CDC and EPA print it",),
    caution="Air that only goes round is no fresh air.",
)


# ---------------------------------------------------------------- clean air of a cleaner


def clean_air(flow: Quantity, single_pass: Quantity, duty: Quantity) -> Quantity:
    """Return the clean air that a cleaner in a flow delivers, averaged over its running time.

    Source: definition. Checked by tests/golden/sizing/clean-air-delivery.toml.
    """
    delivered: Quantity = (flow * single_pass.to("dimensionless") * duty.to("dimensionless")).to(
        "foot ** 3 / minute"
    )
    return delivered


def _work_out_delivery(given: Given) -> Result:
    delivered = clean_air(*(given.quantity(name) for name in ("air", "removed", "duty")))
    cfm = magnitude(delivered, "cfm")
    factors = (given.amount(name).written() for name in ("removed", "air", "duty"))
    return Result(
        lead=f"{spoken(to_step(cfm, '5'), 'cfm')} of clean air",
        value=plain(cfm),
        unit="cfm",
        working=(f"{' × '.join(factors)} = {plain(cfm)} cfm",),
        why="The share taken out in one pass, times the flow, times its share of the time.",
        metric=f"{in_metric(delivered, 'liter / second', '1')}.",
    )


CLEAN_AIR_DELIVERY = Sizing(
    slug="clean-air-delivery",
    title="Clean air that a cleaner in the duct delivers",
    group=GROUP,
    example="twenty percent single pass at twelve hundred, what's the c a d r",
    formula="clean air = single pass · flow · share of the time",
    inputs=(
        Input(
            name="removed",
            spoken="single pass",
            ask="What percent does it take out in one pass?",
            ranges=(Range("1", "99", "percent"),),
            heard="{} a pass",
        ),
        _FLOW,
        _DUTY,
    ),
    work=_work_out_delivery,
    sources=("definition",),
    assumption="that share for your particles at this flow",
    caution="Use test data at this airflow. It says nothing about health.",
)


# ---------------------------------------------------------------- clearing


def clearing_time(changes: Quantity, removed: Quantity) -> Quantity:
    """Return how long a well mixed room takes to lose a share of what floats in it.

    Args:
        changes: air changes.
        removed: the share, below one hundred percent.

    Source: exponential decay; CDC 2003 guideline table B.1 holds its values.
    Checked by tests/golden/sizing/clearing-time.toml.
    """
    time: Quantity = (-math.log(1 - removed.to("dimensionless").magnitude) / changes).to("minute")
    return time


def _work_out_clearing(given: Given) -> Result:
    time = clearing_time(given.quantity("changes"), given.quantity("removed"))
    minutes = magnitude(time, "min")
    said = spoken(to_step(minutes, "1"), "min")
    changes, removed = given.amount("changes"), given.amount("removed")
    return Result(
        lead=said,
        value=plain(minutes),
        unit="min",
        working=(
            (
                f"-ln(1 − {removed.written()}) / {plain(changes.to('per_h'))} an hour × 60 = "
                f"{plain(minutes)} min"
            ),
        ),
        why="Each air change leaves thirty seven percent behind.",
        metric=f"{said}, the same in metric.",
    )


CLEARING_TIME = Sizing(
    slug="clearing-time",
    title="Time to clear the air of a room",
    group=GROUP,
    example="four air changes, how long to ninety nine percent",
    formula="time = -ln(1 - removed) / changes",
    inputs=(
        Input(
            name="changes",
            spoken="air changes",
            ask="How many air changes an hour?",
            ranges=(Range("0.2", "50", "per_h"),),
        ),
        Input(
            name="removed",
            spoken="share removed",
            ask="Down by what percent?",
            ranges=(Range("50", "99.9", "percent"),),
            heard="{} removed",
        ),
    ),
    work=_work_out_clearing,
    sources=("exponential decay; CDC 2003 guideline, table B.1",),
    assumption="perfect mixing and nothing new in the air; real rooms take longer",
    caution="This is no infection control advice.",
)


# ---------------------------------------------------------------- room and its cleaner


def cleaner_for(area: Quantity, ceiling: Quantity) -> Quantity:
    """Return the clean air that a room calls for.

    Source: AHAM's two thirds rule at eight feet, scaled by the ceiling.
    Checked by tests/golden/sizing/room-cleaner-size.toml.
    """
    usual = quantity(figure("room-cleaner-ceiling"), "ft")
    needed: Quantity = (_share_of_area() * area * (ceiling / usual)).to("foot ** 3 / minute")
    return needed


def room_for(clean: Quantity, ceiling: Quantity) -> Quantity:
    """Return the largest room for so much clean air: the inverse of `cleaner_for`."""
    usual = quantity(figure("room-cleaner-ceiling"), "ft")
    area: Quantity = (clean / _share_of_area() * (usual / ceiling)).to("foot ** 2")
    return area


def _share_of_area() -> Quantity:
    one: Quantity = quantity(figure("room-cleaner-share"), "cfm") / quantity(Decimal(1), "ft2")
    return one


def _work_out_room(given: Given) -> Result:
    ceiling = given.quantity("ceiling")
    clean = given.quantity("clean") if given.has("clean") else None
    room = _room(given)
    if room is None:
        return _room_of(given, ceiling)
    needed = cleaner_for(room, ceiling)
    cfm = magnitude(needed, "cfm")
    area = plain(magnitude(room, "ft2"))
    said = f"{spoken(up_to_step(cfm, '1'), 'cfm')} of clean air"
    short = clean is not None and magnitude(clean, "cfm") < cfm
    verdict = "" if clean is None else "too small, it takes " if short else "enough, it takes "
    return Result(
        lead=f"{verdict}{said}",
        value=plain(cfm),
        unit="cfm",
        working=(
            f"2/3 × {area} ft² × {given.amount('ceiling').written()} / 8 ft = {plain(cfm)} cfm",
        ),
        why="Two thirds of the floor area, scaled by the ceiling over eight feet.",
        metric=f"{in_metric(needed, 'liter / second', '1')}.",
    )


def _room(given: Given) -> Quantity | None:
    """Return the floor area that was told, by itself or by its sides."""
    if given.has("area"):
        return given.quantity("area")
    if given.has("length") and given.has("width"):
        area: Quantity = given.quantity("length") * given.quantity("width")
        return _checked_area(area)
    return None


def _checked_area(area: Quantity) -> Quantity:
    feet2 = magnitude(area, "ft2")
    valid = _AREA
    if not Decimal(valid.low) <= feet2 <= Decimal(valid.high):
        raise refusal(
            f"The room has {plain(feet2)} ft², not {valid.low} to {valid.high} ft²",
            "Check length and width.",
            f"A room must be {say(Decimal(valid.low))} to "
            f"{spoken(Decimal(valid.high), valid.unit)}.",
        )
    return area


def _room_of(given: Given, ceiling: Quantity) -> Result:
    area = room_for(given.quantity("clean"), ceiling)
    feet2 = magnitude(area, "ft2")
    square_meters = say(to_step(Decimal(f"{area.to('meter ** 2').magnitude:.9g}"), "1"))
    return Result(
        lead=f"a room of {spoken(down_to_step(feet2, '1'), 'ft2')} at most",
        value=plain(feet2),
        unit="ft2",
        working=(
            (
                f"{given.amount('clean').written()} × 3/2 × 8 ft / "
                f"{given.amount('ceiling').written()} = {plain(feet2)} ft²"
            ),
        ),
        why="One and a half times the clean air, scaled by eight feet over the ceiling.",
        metric=f"{square_meters} square meters.",
    )


def _no_room_yet(given: Mapping[str, object]) -> bool:
    return not given.keys() & {"area", "length", "width"}


def _has_width(given: Mapping[str, object]) -> bool:
    return "width" in given and "area" not in given


def _has_length(given: Mapping[str, object]) -> bool:
    return "length" in given and "area" not in given


_AREA = Range("50", "3000", "ft2")
_SIDE = (Range("3", "100", "ft"),)

ROOM_CLEANER_SIZE = Sizing(
    slug="room-cleaner-size",
    title="Room for a cleaner, or cleaner for a room",
    group=GROUP,
    example="ten by twelve room, what c a d r",
    formula="clean air in cfm >= 2/3 · area in square feet · ceiling / 8 ft",
    inputs=(
        Input(
            name="clean",
            spoken="clean air",
            ask="How much clean air, in C F M?",
            ranges=(Range("20", "1000", "cfm"),),
            heard="{} of clean air",
            needed=_no_room_yet,
        ),
        Input(
            name="area",
            spoken="floor area",
            ranges=(_AREA,),
            needed=never,
        ),
        Input(
            name="length",
            spoken="room length",
            ask="How many feet long is the room?",
            ranges=_SIDE,
            heard="a room {number}",
            needed=_has_width,
        ),
        Input(
            name="width",
            spoken="room width",
            ask="How many feet wide is the room?",
            ranges=_SIDE,
            heard="~by {number}",
            needed=_has_length,
        ),
        _CEILING,
    ),
    work=_work_out_room,
    sources=("AHAM, two thirds rule for room air cleaners, 8 ft ceilings",),
    caution="That rule is for cleaners in a room, not in a duct.",
)


# ---------------------------------------------------------------- fresh-air time


def run_time(needed: Quantity, damper: Quantity) -> Quantity:
    """Return how much of an hour a damper must be open to average what is needed.

    Source: arithmetic; ASHRAE 62.2 counts long cycles for less.
    Checked by tests/golden/sizing/ventilation-run-time.toml.
    """
    minutes: Quantity = (needed / damper).to("dimensionless") * quantity(_HOUR_MIN, "min")
    return minutes


def _work_out_run_time(given: Given) -> Result:
    minutes = magnitude(run_time(given.quantity("needed"), given.quantity("open")), "min")
    short = minutes > _HOUR_MIN
    said = spoken(up_to_step(min(minutes, _HOUR_MIN), "1"), "min")
    return Result(
        lead=f"{said} of every hour",
        value=plain(minutes),
        unit="min",
        working=(
            (
                f"60 × {given.amount('needed').written()} / {given.amount('open').written()} = "
                f"{plain(minutes)} min an hour"
            ),
        ),
        why="Sixty minutes, times what it needs, over what the damper passes.",
        metric=f"{said} of every hour, the same in metric.",
        over="Open all hour, the damper still passes too little." if short else "",
    )


VENTILATION_RUN_TIME = Sizing(
    slug="ventilation-run-time",
    title="Minutes an hour that a fresh-air damper must be open",
    group=GROUP,
    example="damper passes one twenty, house needs sixty eight, minutes per hour",
    formula="minutes = 60 · needed / passed",
    inputs=(
        Input(
            name="needed",
            spoken="fresh air needed",
            ask="How many C F M does the house need?",
            ranges=(Range("10", "300", "cfm"),),
            heard="{} needed",
            from_log=("target-flow",),
        ),
        Input(
            name="open",
            spoken="damper flow",
            ask="How many C F M does the damper pass?",
            ranges=(Range("20", "400", "cfm"),),
            heard="{} with the damper open",
            from_log=("fresh-air-flow",),
        ),
    ),
    work=_work_out_run_time,
    sources=("arithmetic; ASHRAE 62.2 counts long cycles for less",),
    assumption="the average over each hour",
    caution="Short and frequent is best. Long pauses count for less in the standard.",
)


# ---------------------------------------------------------------- time past a lamp


def residence_time(path: Quantity, speed: Quantity) -> Quantity:
    """Return how long air takes along a path.

    Source: kinematics. Checked by tests/golden/sizing/residence-time.toml.
    """
    time: Quantity = (path / speed).to("second")
    return time


def residence_path(time: Quantity, speed: Quantity) -> Quantity:
    """Return the path that takes so long: the inverse of `residence_time`."""
    path: Quantity = (time * speed).to("foot")
    return path


def _work_out_residence(given: Given) -> Result:
    speed = given.quantity("speed")
    if not given.has("path"):
        return _path_of(given, residence_path(given.quantity("time"), speed))
    time = residence_time(given.quantity("path"), speed)
    seconds = magnitude(time, "s")
    said = _milliseconds(seconds)
    return Result(
        lead=f"{_long_enough(given, seconds)}{said}",
        value=plain(seconds),
        unit="s",
        working=(
            (
                f"{given.amount('path').written()} / {given.amount('speed').written()} = "
                f"{plain(seconds)} s"
            ),
        ),
        why="The length, over feet a second.",
        metric=f"{said}, the same in metric.",
    )


def _long_enough(given: Given, seconds: Decimal) -> str:
    """Say whether the time that was asked for is reached."""
    if not given.has("time"):
        return ""
    return "not long enough, " if seconds < exact(given.exact("time", "s")) else "long enough, "


def _milliseconds(seconds: Decimal) -> str:
    """Say a time, whole milliseconds below one second, always the shorter."""
    if seconds >= 1:
        return spoken(down_to_step(seconds, "0.1"), "s")
    thousandths = down_to_step(seconds * 1000, "1")
    return f"{say(thousandths)} millisecond{'' if thousandths == 1 else 's'}"


def _path_of(given: Given, path: Quantity) -> Result:
    feet = magnitude(path, "ft")
    return Result(
        lead=f"at least {spoken(up_to_step(feet, '0.1'), 'ft')} of straight run",
        value=plain(feet),
        unit="ft",
        working=(
            (
                f"{given.amount('time').written()} × {given.amount('speed').written()} = "
                f"{plain(feet)} ft"
            ),
        ),
        why="Feet a second, times the seconds.",
        metric=f"{in_metric(path, 'meter', '0.01')}.",
    )


def _no_time(given: Mapping[str, object]) -> bool:
    return "time" not in given


RESIDENCE_TIME = Sizing(
    slug="residence-time",
    title="How long air in a duct sees a lamp",
    group=GROUP,
    example="air moving six hundred through a twelve inch chamber, how long does it see the lamp",
    formula="time = length / speed",
    inputs=(
        Input(
            name="path",
            spoken="length",
            ask="How many feet long is it?",
            ranges=(Range("0.2", "20", "ft"),),
            heard="{} long",
            needed=_no_time,
        ),
        Input(
            name="time",
            spoken="time",
            ranges=(Range("0.01", "10", "s"),),
            needed=never,
        ),
        Input(
            name="speed",
            spoken="air speed",
            ask="How many feet a minute?",
            ranges=(Range("100", "1500", "fpm"),),
        ),
    ),
    work=_work_out_residence,
    sources=("kinematics",),
    assumption="the average speed, no mixing",
    caution="Never look at the lamp. It must go off with the panel open. It can eat duct liner.",
)


# ---------------------------------------------------------------- ozone


def steady_ozone(emission: Quantity, volume: Quantity, losses: Quantity) -> Quantity:
    """Return the mass concentration at which a source and the losses of a house balance.

    Args:
        emission: mass an hour.
        volume: of the house.
        losses: outside air changes and decay on surfaces together.

    Source: mass balance, perfectly mixed. Checked by tests/golden/sizing/ozone-build-up.toml.
    """
    concentration: Quantity = (emission / (volume * losses)).to("milligram / meter ** 3")
    return concentration


def ozone_share(concentration: Quantity) -> Quantity:
    """Return ozone in parts per billion of the air at 25 °C and one atmosphere.

    Source: NIOSH pocket guide, 24.45 L/mol; 48.00 g/mol.
    """
    grams = figure("ozone-molar-mass")
    liters = figure("molar-volume")
    milligrams = exact(Decimal(f"{concentration.magnitude:.12g}"))
    ppb = milligrams * exact(liters) / exact(grams) * 1000  # µg/m³ · L/mol / (g/mol)
    return quantity(ppb, "ppb")


def _work_out_ozone(given: Given) -> Result:
    losses = given.quantity("changes") + given.quantity("decay")
    mass = steady_ozone(given.quantity("emission"), given.quantity("volume"), losses)
    ppb = magnitude(ozone_share(mass), "ppb")
    limit = figure("ozone-limit")
    said = spoken(up_to_step(ppb, "1"), "ppb")
    per_h = plain(magnitude(losses, "per_h"))
    return Result(
        lead=f"about {said} of ozone added",
        value=plain(ppb),
        unit="ppb",
        working=(
            (
                f"{given.amount('emission').written()} / ({given.amount('volume').written()} × "
                f"{per_h} an hour) = {plain(Decimal(f'{mass.magnitude:.12g}'))} mg/m³"
            ),
            (
                f"× {figure('molar-volume')} / {figure('ozone-molar-mass')} × 1000 = "
                f"{plain(ppb)} ppb at 25 °C"
            ),
        ),
        why="Milligrams an hour over the volume, over air changes and decay together.",
        metric=f"{said}, the same in metric.",
        over=f"Over the limit of {spoken(limit, 'ppb')}." if ppb > limit else "",
        caution="Do not run it." if ppb > limit else "",
    )


OZONE_BUILD_UP = Sizing(
    slug="ozone-build-up",
    title="Ozone that a device adds to the air of a house",
    group=GROUP,
    example="five milligrams an hour, five thousand cubic feet, point three five air changes, "
    "how many parts per billion of ozone",
    formula="concentration = emission / (volume · (outside air changes + decay))",
    inputs=(
        Input(
            name="emission",
            spoken="ozone made",
            ask="How many milligrams an hour does it make?",
            ranges=(Range("0.1", "1000", "mg_h"),),
        ),
        Input(
            name="volume",
            spoken="volume",
            ask="How many cubic feet of air?",
            ranges=(Range("500", "100000", "ft3"),),
        ),
        Input(
            name="changes",
            spoken="fresh air",
            ask="How many air changes an hour of outside air?",
            ranges=(Range("0.1", "2", "per_h"),),
        ),
        Input(
            name="decay",
            spoken="decay",
            ranges=(Range("1", "7", "per_h"),),
            heard="decay {number} an hour",
            default=str(figure("ozone-decay")),
            assumed="a decay of three an hour, a guess",
        ),
    ),
    work=_work_out_ozone,
    sources=(
        "mass balance, perfectly mixed",
        "limit 50 ppb: 21 CFR 801.415",
        "decay: from memory",
    ),
    assumption="none of it from outside",
    caution="Ozone harms your lungs. If you smell it, switch off and air out. "
    "Your state may allow less or none.",
)


# ---------------------------------------------------------------- filters in a row


def in_series(shares: tuple[Quantity, ...]) -> Quantity:
    """Return what filters in a row take out together, each of what the one before let through.

    Source: product of what passes. Checked by tests/golden/sizing/filters-in-series.toml.
    """
    passing = 1.0
    for share in shares:
        passing *= 1 - share.to("dimensionless").magnitude
    return quantity(Decimal(f"{100 * (1 - passing):.12g}"), "percent")


_FILTERS = ("first", "second", "third", "fourth")
_NEARLY_ALL = Decimal(99)


def _work_out_filters(given: Given) -> Result:
    known = [name for name in _FILTERS if given.has(name)]
    percent = magnitude(in_series(tuple(given.quantity(name) for name in known)), "percent")
    said = down_to_step(percent, "0.01" if percent > _NEARLY_ALL else "1")
    passing = " × ".join(f"(1 − {given.amount(name).written()})" for name in known)
    return Result(
        lead=f"{spoken(said, 'percent')} together, {spoken(100 - said, 'percent')} gets through",
        value=plain(percent),
        unit="percent",
        working=(f"1 − {passing} = {plain(percent)} %",),
        why="Each one works on what the one before let through.",
        metric=f"{spoken(said, 'percent')}, the same in metric.",
    )


def _filter(name: str, *, asked: bool) -> Input:
    return Input(
        name=name,
        spoken=f"{name} filter",
        ask=f"What percent does the {name} take out?" if asked else "",
        ranges=(Range("0", "99.97", "percent"),),
        heard="{}" if name == "first" else "~and {}",
        needed=(lambda _given: asked),
    )


FILTERS_IN_SERIES = Sizing(
    slug="filters-in-series",
    title="What filters in a row take out together",
    group=GROUP,
    example="forty percent pre filter and seventy percent main, total",
    formula="together = 1 - (1 - first) · (1 - second)",
    inputs=tuple(_filter(name, asked=name in _FILTERS[:2]) for name in _FILTERS),
    work=_work_out_filters,
    sources=("product of what passes",),
    assumption="the same size of particle at each",
    caution="Each filter adds static. The plate's limit still rules.",
)

SIZINGS = (
    AIR_CHANGES,
    CLEAN_AIR_DELIVERY,
    CLEARING_TIME,
    ROOM_CLEANER_SIZE,
    VENTILATION_RUN_TIME,
    RESIDENCE_TIME,
    OZONE_BUILD_UP,
    FILTERS_IN_SERIES,
)
