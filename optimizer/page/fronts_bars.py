"""Histograms to brush, one below the other in one figure, as plain data."""

from __future__ import annotations

import html
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from optimizer.figures import COLOURS
from optimizer.objectives import Objective
from optimizer.page.design_figures import Figure, axis, figure
from optimizer.page.fronts_data import Bins
from optimizer.page.fronts_view import Brush

HEIGHT, TITLE = 92, 28  # [px] of a histogram, of which above its bars
ALL = "#bbbbbb"


def bars_figure(found: Sequence[tuple[Objective, Bins]], brushes: Mapping[str, Brush]) -> Figure:
    """Return histograms of all designs in grey and the selected ones before them.

    Heights follow the square root of the number, so that few selected designs of many
    stay visible.  Every histogram takes a range by dragging across it; the ranges held are
    drawn as boxes.
    """
    rows = max(len(found), 1)
    layout: dict[str, Any] = {
        "height": HEIGHT * rows + 24, "barmode": "overlay", "bargap": 0.08, "showlegend": False,
        "dragmode": "select", "selectdirection": "h", "selections": [], "hovermode": "closest",
        "margin": {"l": 8, "r": 8, "t": 4, "b": 22}, "annotations": [], "shapes": [],
        "modebar": {"remove": ["zoom2d", "pan2d", "lasso2d", "zoomIn2d", "zoomOut2d",
                               "autoScale2d", "resetScale2d", "select2d", "toImage"]},
    }  # fmt: skip
    data: list[Figure] = []
    for k, (quantity, binned) in enumerate(found):
        n = "" if k == 0 else str(k + 1)
        top = 1.0 - k / rows
        data += _pair(binned, f"x{n}", f"y{n}")
        layout[f"xaxis{n}"] = axis("", range=_ends(binned), anchor=f"y{n}", showgrid=False,
                                   nticks=5, tickfont={"size": 10})  # fmt: skip
        layout[f"yaxis{n}"] = {
            "domain": [top - (HEIGHT - TITLE) / HEIGHT / rows, top - 0.2 / rows],
            "anchor": f"x{n}", "visible": False, "fixedrange": True, "rangemode": "tozero",
        }  # fmt: skip
        layout["annotations"].append(_title(quantity, top))
        if quantity.name in brushes:
            layout["shapes"].append(_box(brushes[quantity.name], binned, f"x{n}", f"y{n}"))
    x, y = layout.pop("xaxis", {}), layout.pop("yaxis", {})
    return figure(data, "", x=x, y=y, more=layout)


def _ends(binned: Bins) -> list[float]:
    lo, hi = float(binned.edges[0]), float(binned.edges[-1])
    return [lo - 0.01 * (hi - lo), hi + 0.01 * (hi - lo)]


def _pair(binned: Bins, x: str, y: str) -> list[Figure]:
    middle = (0.5 * (binned.edges[:-1] + binned.edges[1:])).tolist()
    return [
        {
            "type": "bar", "x": middle, "y": np.sqrt(counts).tolist(), "xaxis": x, "yaxis": y,
            "name": name, "customdata": counts.tolist(), "marker": {"color": colour},
            "hovertemplate": "%{customdata} " + name + " about %{x:.4~g}<extra></extra>",
        }
        for counts, colour, name in (
            (binned.every, ALL, "designs"), (binned.selected, COLOURS[0], "selected"),
        )
    ]  # fmt: skip


def _title(quantity: Objective, top: float) -> dict[str, Any]:
    return {
        "text": html.escape(quantity.axis), "x": 0.0, "xref": "paper", "xanchor": "left",
        "y": top, "yref": "paper", "yanchor": "top", "yshift": 4, "showarrow": False,
        "font": {"size": 12},
    }  # fmt: skip


def _box(brush: Brush, binned: Bins, x: str, y: str) -> dict[str, Any]:
    lo, hi = _ends(binned)
    return {
        "type": "rect", "xref": x, "yref": f"{y} domain", "y0": 0, "y1": 1,
        "x0": lo if math.isinf(brush.lo) else max(brush.lo, lo),
        "x1": hi if math.isinf(brush.hi) else min(brush.hi, hi),
        "line": {"color": "#222222", "width": 1}, "fillcolor": "rgba(128,134,142,0.14)",
        "layer": "below",
    }  # fmt: skip
