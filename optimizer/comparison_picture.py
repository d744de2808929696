"""The price of a pin as PNG or SVG, drawn without a browser."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from pathlib import Path

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optimizer.compare import Comparison, Pair
from optimizer.comparison_figures import panels, worst_end
from optimizer.figures import COLOURS, place_of, symbol_of
from optimizer.fronts import FrontPoint
from optimizer.objectives import Objective
from optimizer.picture import MARKERS
from optimizer.price import Price, Row

SIZE = (9.0, 4.2)  # of a panel [inch]


def draw_prices(comparison: Comparison, note: str, path: Path) -> None:
    """Write the fronts of every pair of runs, one panel a topology, and the price between.

    Parameters
    ----------
    comparison : Comparison
        The runs side by side.
    note : str
        Printed small below the panels: how to read them, cautions.
    path : Path
        Ends in .png or .svg.
    """
    wanted = [(pair, price) for pair in comparison.pairs for price in panels(pair)]
    rows = max(len(wanted), 1)
    with mpl.rc_context({"svg.fonttype": "none", "font.size": 10, "text.parse_math": False}):
        figure = Figure(figsize=(SIZE[0], SIZE[1] * rows + 0.5), dpi=130, layout="constrained")
        axes = figure.subplots(rows, 1, squeeze=False)[:, 0]
        for panel, (pair, price) in zip(axes, wanted, strict=False):
            _panel(panel, comparison, pair, price)
        if not wanted:
            axes[0].set_axis_off()
            axes[0].text(0.5, 0.5, "no feasible design in any of the runs", ha="center")
        figure.supxlabel(note, fontsize=6.5, color="#555555")
        figure.savefig(path)


def _panel(axes: Axes, comparison: Comparison, pair: Pair, price: Price) -> None:
    k = place_of(price.topology)
    at, of = comparison.objectives[:2]
    worst = worst_end(price, at)
    _stair(axes, price.before, at, of, k, name=f"before: {pair.before}", worst=worst)
    _stair(axes, price.after, at, of, k, name=f"after: {pair.after}", worst=worst)
    table = next((t for t in price.tables if (t.at, t.of) == (at, of)), None)
    for row in table.rows if table else ():
        _distance(axes, row, of)
    for remark in price.remarks:
        axes.text(0.5, 0.5, remark, transform=axes.transAxes, ha="center", fontsize=9)
    pins = "; ".join(pair.added) or "no pin added"
    title = comparison.titles.get(price.topology, price.topology)
    axes.set_title("\n".join([*textwrap.wrap(title, 95), *textwrap.wrap(pins, 95)]), fontsize=9)
    axes.set_xlabel(at.axis)
    axes.set_ylabel(of.axis)
    axes.margins(x=0.05, y=0.12)
    axes.grid(visible=True, color="#e6e6e6", linewidth=0.7)
    axes.legend(loc="best", frameon=True, fontsize=8)


def _stair(
    axes: Axes, points: Sequence[FrontPoint], at: Objective, of: Objective, k: int, *, name: str,
    worst: float,
) -> None:  # fmt: skip
    """Draw a front as the staircase that it is, level from ``worst`` to its first design."""
    ordered = sorted(points, key=lambda p: p.results[at.name])
    old = name.startswith("before")
    xs = [p.results[at.name] for p in ordered]
    ys = [p.results[of.name] for p in ordered]
    axes.plot(
        xs,
        ys,
        color=COLOURS[k % 6],
        marker=MARKERS[symbol_of(k)],
        markerfacecolor="white" if old else COLOURS[k % 6],
        drawstyle="steps-pre" if at.sign > 0.0 else "steps-post",
        linestyle="--" if old else "-",
        markersize=4.5,
        linewidth=1.2,
        label=f"{name} ({len(points)} designs)",
    )
    if points:
        first = 0 if at.sign > 0.0 else -1
        axes.plot(
            [worst, xs[first]], [ys[first]] * 2, color=COLOURS[k % 6], linewidth=0.8,
            linestyle="--" if old else "-",
        )  # fmt: skip


def _distance(axes: Axes, row: Row, of: Objective) -> None:
    """Draw the price at a level as a vertical stroke; dotted within the noise."""
    if row.before is None or row.after is None:
        return
    lost, left = row.before.value, row.after.value
    axes.plot(
        [row.level] * 2, [lost, left], color="#444444", linewidth=1.0, zorder=0,
        linestyle=":" if row.in_noise else "-",
    )  # fmt: skip
    axes.annotate(
        of.difference(left - lost), (row.level, left), fontsize=7.5, color="#222222",
        ha="center", va="top" if left < lost else "bottom",
        xytext=(0, -5 if left < lost else 5), textcoords="offset points",
        bbox={"boxstyle": "square,pad=0.1", "facecolor": "white", "edgecolor": "none"},
    )  # fmt: skip
