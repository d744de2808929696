"""The figure of the fronts, as plain data: lines over a shaded picture of all designs."""

from __future__ import annotations

import base64
import dataclasses
import html
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.axes import Array
from optimizer.figures import COLOURS, SYMBOLS, symbol_of
from optimizer.objectives import Objective
from optimizer.page.design_figures import INK, Figure, axis, figure
from optimizer.page.fronts_guides import Frame
from optimizer.page.theme import DARK_COLOURS
from optimizer.page.theme import INK as DARK_INK

# Runs are told apart by their line and by hollow symbols; the first is solid and filled.
RUN_DASHES = ("solid", "dash", "dashdot", "longdash", "longdashdot", "5px,2px,1px,2px")
PARENT = "dot"
CROWDED = 80  # designs of a front from which on their marks are small
# Of a quantity: rising brightness, each end clear of its ground.
SCALES = {
    "light": [[0.0, COLOURS[0]], [0.5, COLOURS[3]], [1.0, COLOURS[1]]],
    "dark": [[0.0, DARK_COLOURS[3]], [0.5, DARK_COLOURS[1]], [1.0, DARK_INK]],
}
# Grey that shades white and dark ground alike, and never hides a line.
SHADES = [[0.0, "rgba(128,134,142,0.10)"], [1.0, "rgba(128,134,142,0.5)"]]


@dataclasses.dataclass(frozen=True)
class Line:
    """A front as it is drawn.

    Parameters
    ----------
    run, topology : str
        Names of its run and topology.
    title : str
        What the legend says.
    kind, order : int
        Number of the topology, and of the run among those shown.
    parent : bool
        Whether its run is the parent of another shown one.
    x, y : Array
        Values (designs,) of both axes.
    colour : Array
        Values of the quantity that colours; empty where the topology does.
    ids, hover : list of str
        Name of every design, and what a pointer over it says.
    """

    run: str
    topology: str
    title: str
    kind: int
    order: int
    parent: bool
    x: Array
    y: Array
    colour: Array
    ids: list[str]
    hover: list[str]


@dataclasses.dataclass(frozen=True)
class Plane:
    """Everything in the figure of the fronts.

    Parameters
    ----------
    axes : tuple of Objective
        Across, up.
    frame : Sequence of float
        Across from, across to, up from, up to.
    lines : Sequence of Line
        The fronts.
    cells : Array, optional
        The picture behind them (up, across).
    points : Mapping, optional
        Designs behind them as points: ``x``, ``y``, ``colour``, ``names`` as (run, id).
    guides, faint : Sequence
        Guide lines, and fronts of all designs where brushes leave out some.
    colour : Objective, optional
        The quantity that colours, with ``ends`` of its scale.
    marked : Mapping
        Word to be written at a design, by (run, id).
    picked : Sequence
        Designs to be ringed, as (run, id).
    """

    axes: tuple[Objective, Objective]
    frame: Frame
    lines: Sequence[Line]
    cells: Array | None = None
    points: Mapping[str, Any] | None = None
    guides: Sequence[Figure] = ()
    faint: Sequence[tuple[Array, Array]] = ()
    colour: Objective | None = None
    ends: tuple[float, float] = (0.0, 1.0)
    marked: Mapping[tuple[str, str], str] = dataclasses.field(default_factory=dict)
    picked: Sequence[tuple[str, str]] = ()


def plane_figure(plane: Plane, theme: str | None) -> Figure:
    """Return the figure; its axes reach over the frame, however far the designs go."""
    data: list[Any] = []
    if plane.cells is not None:
        data.append(_picture(plane, plane.cells))
    if plane.points is not None:
        data.append(_points(plane, plane.points))
    data += [_faint(x, y) for x, y in plane.faint]
    data += plane.guides
    data += [_front(plane, line) for line in plane.lines]
    data += _notes(plane)
    across, up = plane.axes
    more: dict[str, Any] = {
        "hovermode": "closest", "dragmode": "zoom", "autosize": True, "selections": [],
        "meta": list(plane.frame),
        "hoverlabel": {"align": "left"}, "margin": {"l": 56, "r": 14, "t": 8, "b": 44},
    }  # fmt: skip
    if plane.colour is not None:
        more["coloraxis"] = _scale(plane.colour, plane.ends, theme)
    return figure(
        data, "",
        x=axis(across.axis, range=list(plane.frame[:2])),
        y=axis(up.axis, range=list(plane.frame[2:])),
        more=more,
    )  # fmt: skip


def _scale(colour: Objective, ends: tuple[float, float], theme: str | None) -> dict[str, Any]:
    bar = {"title": {"text": html.escape(colour.axis), "side": "right"}, "thickness": 12,
           "outlinewidth": 0, "tickcolor": INK}  # fmt: skip
    return {"colorscale": SCALES["dark" if theme == "dark" else "light"],
            "cmin": ends[0], "cmax": ends[1], "colorbar": bar}  # fmt: skip


def packed(values: Array) -> dict[str, str]:
    """Return numbers as the drawing code reads them fastest: single precision, in base 64."""
    small: NDArray[np.float32] = np.ascontiguousarray(values, dtype="<f4")
    found = {"dtype": "f4", "bdata": base64.b64encode(small.tobytes()).decode()}
    return found | ({"shape": ", ".join(map(str, small.shape))} if small.ndim > 1 else {})


def _picture(plane: Plane, cells: Array) -> Figure:
    """Return all designs as a shaded picture; counts on a logarithmic scale."""
    high, wide = cells.shape
    x0, x1, y0, y1 = plane.frame
    dx, dy = (x1 - x0) / wide, (y1 - y0) / high
    trace = {
        "type": "heatmap", "x0": x0 + dx / 2, "dx": dx, "y0": y0 + dy / 2, "dy": dy,
        "hoverinfo": "skip", "showlegend": False, "name": "all designs",
    }  # fmt: skip
    if plane.colour is not None:
        return {**trace, "z": packed(cells), "coloraxis": "coloraxis", "opacity": 0.3}
    shade = np.log1p(cells)
    return {**trace, "z": packed(shade), "zmin": 0.0, "zmax": _most(shade), "colorscale": SHADES,
            "showscale": False}  # fmt: skip


def _most(shade: Array) -> float:
    finite = shade[np.isfinite(shade)]
    return float(finite.max()) if finite.size else 1.0


def _points(plane: Plane, points: Mapping[str, Any]) -> Figure:
    marker: dict[str, Any] = {"size": 4, "color": "#999999", "opacity": 0.7}
    if plane.colour is not None:
        marker |= {"color": packed(points["colour"]), "coloraxis": "coloraxis"}
    return {
        "type": "scatter", "mode": "markers", "name": "designs behind (some)", "marker": marker,
        "x": packed(points["x"]), "y": packed(points["y"]),
        "customdata": [list(n) for n in points["names"]],
        "hovertemplate": "%{customdata[1]}<extra></extra>",
    }  # fmt: skip


def _faint(x: Array, y: Array) -> Figure:
    return {
        "type": "scatter", "mode": "lines", "x": x.tolist(), "y": y.tolist(),
        "line": {"color": "#999999", "width": 1.2}, "hoverinfo": "skip",
        "name": "without the brushes", "showlegend": False,
    }  # fmt: skip


def _front(plane: Plane, line: Line) -> Figure:
    """Return one front: shape and colour of its topology, dash and filling of its run."""
    k = line.kind % len(COLOURS)
    hollow = "-open" if line.order or line.parent else ""
    marker: dict[str, Any] = {
        "symbol": SYMBOLS[symbol_of(line.kind)] + hollow,
        "size": 7 if len(line.ids) < CROWDED else 5,
        "color": COLOURS[k],
        "line": {"width": 1.2 if hollow else 0.6, "color": COLOURS[k] if hollow else "#ffffff"},
    }  # fmt: skip
    if plane.colour is not None:
        marker |= {"color": packed(line.colour), "coloraxis": "coloraxis"}
        marker["line"] = {} if hollow else {"width": 0.6, "color": INK}
    dash = PARENT if line.parent else RUN_DASHES[line.order % len(RUN_DASHES)]
    return {
        "type": "scatter", "mode": "lines+markers", "name": html.escape(line.title),
        "x": line.x.tolist(), "y": line.y.tolist(), "marker": marker,
        "line": {"color": COLOURS[k], "width": 1.5, "dash": dash},
        "customdata": [[line.run, name] for name in line.ids],
        "text": line.hover, "hovertemplate": "%{text}<extra></extra>",
    }  # fmt: skip


def _notes(plane: Plane) -> list[Figure]:
    """Return the words at designs of the shortlist, and the rings around picked ones."""
    places = {
        (line.run, name): (float(x), float(y), k)
        for k, line in enumerate(plane.lines)
        for name, x, y in zip(line.ids, line.x, line.y, strict=True)
    }
    marked = [(places[k], word) for k, word in plane.marked.items() if k in places]
    rings = [(places[k], "") for k in plane.picked if k in places]
    middle = 0.5 * (plane.frame[0] + plane.frame[1])
    return [_at(found, size, middle) for found, size in ((marked, 13), (rings, 18)) if found]


def _at(found: Sequence[tuple[tuple[float, float, int], str]], size: int, middle: float) -> Figure:
    """Return rings with words, which lean towards the middle so that none is cut off.

    Words of the first front stand above it, those of the others below: fronts often end
    close together.
    """
    return {
        "type": "scatter", "mode": "markers+text", "hoverinfo": "skip", "showlegend": False,
        "x": [x for (x, _, _), _ in found], "y": [y for (_, y, _), _ in found],
        "text": [word for _, word in found], "cliponaxis": False,
        "textposition": [f"{'bottom' if k else 'top'} {'right' if x < middle else 'left'}"
                         for (x, _, k), _ in found],
        "textfont": {"size": 11, "color": INK},
        "marker": {"symbol": "circle-open", "size": size, "color": INK, "line": {"width": 1.5}},
    }  # fmt: skip
