"""The fronts as PNG, SVG or PDF, drawn without a browser."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

from optimizer.figures import COLOURS, place_of, symbol_of
from optimizer.fronts import FrontPoint

MARKERS = ("o", "s", "D", "^", "X", "*", "P", "v", "p", "H", "d", "<")
STYLES = ("-", "--", ":", "-.", (0, (8, 3)), (0, (8, 3, 2, 3)))
# Text stays text, and nothing in a name is taken for a formula.
SETTINGS: dict[Any, Any] = {
    "svg.fonttype": "none", "pdf.fonttype": 42, "font.size": 10, "text.parse_math": False,
}  # fmt: skip
GUIDES = (10.0, 20.0, 30.0, 40.0, 60.0)  # [W/l]


def draw(
    fronts: Mapping[str, Sequence[FrontPoint]], titles: Mapping[str, str], note: str, path: Path
) -> None:
    """Write power density against weighted efficiency, one front for each topology.

    Parameters
    ----------
    fronts, titles : dict
        Points and long name of every topology.
    note : str
        Printed small above the axes: specification, weighting, run, cautions.
    path : Path
        Ends in .png, .svg or .pdf.
    """
    with mpl.rc_context(SETTINGS):
        # The legend stands below the plane, two names a line.
        tall = 5.4 + 0.17 * -(-len(fronts) // 2)
        figure = Figure(figsize=(9.0, tall), dpi=130, layout="constrained")
        axes = figure.add_subplot()
        everything = [p for points in fronts.values() for p in points]
        for name, points in fronts.items():
            k = place_of(name)
            ordered = sorted(points, key=lambda p: p.density)
            axes.plot(
                [p.density for p in ordered],
                [p.efficiency for p in ordered],
                color=COLOURS[k % 6],
                marker=MARKERS[symbol_of(k)],
                linestyle=STYLES[k % 6],
                markersize=4.5,
                linewidth=1.2,
                label=f"{titles.get(name, name)} ({len(points)})",
            )
        if everything:
            _guides(axes, everything)
        axes.set_xlabel("power density [kW/l]")
        axes.set_ylabel("weighted efficiency [%]")
        axes.grid(visible=True, color="#e6e6e6", linewidth=0.7)
        if everything:
            figure.legend(loc="outside lower center", ncols=2, frameon=False, fontsize=7)
        axes.set_title(note, fontsize=6.5, color="#555555", pad=16)
        figure.savefig(path)


def _guides(axes: mpl.axes.Axes, points: Sequence[FrontPoint]) -> None:
    """Draw lines of equal loss per litre, labelled where they leave the picture."""
    x_lo, x_hi = min(p.density for p in points), max(p.density for p in points)
    y_lo, y_hi = min(p.efficiency for p in points), max(p.efficiency for p in points)
    pad_x, pad_y = 0.06 * max(x_hi - x_lo, 0.05), 0.10 * max(y_hi - y_lo, 0.2)
    axes.set_xlim(x_lo - pad_x, x_hi + pad_x)
    axes.set_ylim(y_lo - pad_y, y_hi + pad_y)
    xs = np.linspace(max(x_lo - pad_x, 1e-3), x_hi + pad_x, 200)
    for loss in GUIDES:
        ys = 100.0 / (1.0 + loss / (1e3 * xs))
        inside = (ys > y_lo - pad_y) & (ys < y_hi + pad_y)
        if inside.sum() > 20:
            axes.plot(xs, ys, color="#aaaaaa", linewidth=0.7, linestyle=(0, (1, 3)), zorder=0)
            last = np.flatnonzero(inside)[-1]
            axes.annotate(
                f"{loss:.0f} W/l", (xs[last], ys[last]), fontsize=7, color="#777777",
                ha="right", va="bottom",
            )  # fmt: skip
