"""The results as a picture: three panels against the noise, a line for each engine.

The held-out voices are dashed, people dotted.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from companion.bench.hearing.noise import CLEAN, loudness
from companion.bench.hearing.table import HELD_OUT, PEOPLE, TUNED
from companion.errors import EngineError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from companion.bench.hearing.table import Row
    from companion.bench.rates import Rate

# Colours that stay apart for the colour-blind: M. Okabe and K. Ito, 'Color Universal Design', 2008.
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9")
MARKS = ("o", "s", "^", "D", "v", "P")
PANELS = (  # the rate, its title, and how far its axis goes at least, %
    ("accuracy", "understood at once, %", 100),
    ("silent_errors", "values taken wrong in silence, %", 40),
    ("asked", "asked again or between, %", 100),
)
STYLES = {TUNED: "-", HELD_OUT: "--", PEOPLE: ":"}
_WIDTH_IN, _PANEL_IN, _MARGINS_IN = 15.0, 3.3, 1.6
_APART = 0.13  # of a cell, between the engines, so that their bars do not cover one another
_BELOW = (
    "Across: signal-to-noise ratio. Bars: 95 % bounds (Wilson); "
    "few sentences give long ones, and they may go on beyond the edge."
)


def draw(table: Sequence[Row], folder: Path) -> list[Path]:
    """Draw the table.

    Args:
        table: its rows.
        folder: where 'hearing.png' and 'hearing.svg' go.

    Returns:
        The files written.

    Raises:
        EngineError: matplotlib is not installed.
    """
    try:
        import matplotlib as mpl  # noqa: PLC0415 - an extra

        mpl.use("Agg")
        from matplotlib import pyplot as plt  # noqa: PLC0415
    except ImportError as problem:
        raise EngineError(
            "The picture needs matplotlib, which is not installed",
            "Install it: pip install '.[bench]'",
        ) from problem
    groups = [group for group in STYLES if any(row.group == group for row in table)]
    engines = list(dict.fromkeys(row.engine for row in table))
    cells = sorted({row.cell for row in table}, key=loudness)
    height = _MARGINS_IN + _PANEL_IN * len(groups)
    figure, axes = plt.subplots(
        len(groups), len(PANELS), figsize=(_WIDTH_IN, height), squeeze=False, sharex=True
    )
    for group, line in zip(groups, axes, strict=True):
        here = [row for row in table if row.group == group]
        for (name, title, least), axis in zip(PANELS, line, strict=True):
            top = reach(table, name, least)
            _panel(axis, here, name, (engines, cells))
            axis.set_title(title if group == groups[0] else "", fontsize=15, loc="left", pad=12)
            axis.set_ylim(-0.04 * top, 1.03 * top)
        line[0].set_ylabel(f"{group}\n{_counted(here)}", fontsize=13)
    handles, labels = axes[0][0].get_legend_handles_labels()
    edge = 1 / height  # an inch, as a share of the height
    figure.legend(
        handles, labels, loc="upper left", bbox_to_anchor=(0.05, 1 - 0.1 * edge),
        ncols=len(engines), frameon=False, fontsize=14,
    )  # fmt: skip
    figure.text(0.06, 0.12 * edge, _BELOW, fontsize=12)
    figure.tight_layout(rect=(0, 0.35 * edge, 1, 1 - 0.5 * edge))
    written = [folder / "hearing.png", folder / "hearing.svg"]
    for path in written:
        figure.savefig(path, dpi=110)
    plt.close(figure)
    return written


def reach(table: Sequence[Row], name: str, least: float) -> float:
    """Return how far a rate's axis must go, %: no point lies beyond it, though a bound may."""
    rates: list[Rate | None] = [getattr(row, name) for row in table]
    return max([least, *(100 * rate.share for rate in rates if rate)])


def _counted(here: Sequence[Row]) -> str:
    """Return how many sentences stand behind a line of panels, per engine and cell."""
    counts = [row.accuracy.of for row in here if row.accuracy]
    low, high = min(counts, default=0), max(counts, default=0)
    return f"{high} sentences" if low == high else f"{low} to {high} sentences"


def _panel(
    axis: Any,  # noqa: ANN401 - matplotlib
    here: Sequence[Row],
    name: str,
    order: tuple[list[str], list[str]],
) -> None:
    """Draw one rate of one group of voices, with its 95 % bound."""
    engines, cells = order
    for number, engine in enumerate(engines):
        found = {
            row.cell: rate for row in here if row.engine == engine and (rate := getattr(row, name))
        }
        places = [at for at, cell in enumerate(cells) if cell in found]
        rates = [found[cells[at]] for at in places]
        shifted = [at + _APART * (number - (len(engines) - 1) / 2) for at in places]
        axis.errorbar(
            shifted,
            [100 * rate.share for rate in rates],
            yerr=[
                [max(0.0, 100 * (rate.share - rate.low)) for rate in rates],  # rounding: never
                [max(0.0, 100 * (rate.high - rate.share)) for rate in rates],  # below none
            ],
            label=engine,
            color=COLOURS[number % len(COLOURS)],
            marker=MARKS[number % len(MARKS)],
            linestyle=STYLES[here[0].group],
            markersize=8,
            linewidth=2.2,
            elinewidth=1.3,
            capsize=3,
        )
    names = [cell if cell == CLEAN else f"{cell} dB" for cell in cells]
    axis.set_xticks(range(len(cells)), names)
    axis.tick_params(labelsize=13, labelbottom=True)
    axis.grid(axis="y", alpha=0.3)
    axis.spines[["top", "right"]].set_visible(False)
