"""The results as a picture: three panels against the noise, a line for each engine."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from companion.bench.hearing.table import HELD_OUT, PEOPLE, TUNED, loudness
from companion.errors import EngineError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from companion.bench.hearing.table import Row

# Colours that stay apart for the colour-blind: M. Okabe and K. Ito, 'Color Universal Design', 2008.
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9")
MARKS = ("o", "s", "^", "D", "v", "P")
PANELS = (
    ("accuracy", "understood", "sentence accuracy, %"),
    ("silent_errors", "taken wrong in silence", "silent errors, %"),
    ("asked", "asked again or between", "ask-again rate, %"),
)
STYLES = {TUNED: "-", HELD_OUT: "--", PEOPLE: ":"}


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
    size = (13.0, 3.6 * len(groups) + 0.8)
    figure, axes = plt.subplots(len(groups), len(PANELS), figsize=size, squeeze=False)
    for group, line in zip(groups, axes, strict=True):
        for (name, title, unit), axis in zip(PANELS, line, strict=True):
            here = [row for row in table if row.group == group]
            _panel(axis, here, name, (engines, cells))
            axis.set_ylabel(unit)
            axis.set_title(f"{title}: {group}", fontsize=11, loc="left")
    handles, labels = axes[0][0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="lower center", ncols=len(engines), frameon=False)
    figure.supxlabel("signal-to-noise ratio", y=0.06, fontsize=10)
    figure.tight_layout(rect=(0, 0.08, 1, 1))
    written = [folder / "hearing.png", folder / "hearing.svg"]
    for path in written:
        figure.savefig(path, dpi=130)
    plt.close(figure)
    return written


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
        shifted = [at + 0.06 * (number - (len(engines) - 1) / 2) for at in places]
        axis.errorbar(
            shifted,
            [100 * rate.share for rate in rates],
            yerr=[
                [100 * (rate.share - rate.low) for rate in rates],
                [100 * (rate.high - rate.share) for rate in rates],
            ],
            label=engine,
            color=COLOURS[number % len(COLOURS)],
            marker=MARKS[number % len(MARKS)],
            capsize=3,
            linewidth=1.6,
        )
    axis.set_xticks(range(len(cells)), [c if c == "clean" else f"{c} dB" for c in cells])
    axis.set_ylim(0 if name != "accuracy" else None, 101 if name == "accuracy" else None)
    axis.grid(axis="y", alpha=0.3)
    axis.spines[["top", "right"]].set_visible(False)
