"""Interactive figures as pure functions of plain data; shared by sheets, reports and pages."""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping, Sequence
from typing import Any

import plotly.graph_objects as go
import plotly.io

from models.topologies import TOPOLOGIES
from optimizer.fronts import FrontPoint

# Own palette: at least 3:1 on white, told apart with any colour vision; a topology keeps
# its colour and symbol in every plot, and colour is never alone.
COLOURS = ("#003399", "#DD7700", "#559977", "#990000", "#9977BB", "#770055")
SYMBOLS = (
    "circle", "square", "diamond", "triangle-up", "x", "star",
    "cross", "triangle-down", "pentagon", "hexagram", "hourglass", "bowtie",
)  # fmt: skip
DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")
GROUPS = {
    "semiconductor": ("semiconductors", "#003399", ""),
    "magnetic": ("magnetics", "#DD7700", "/"),
    "capacitor": ("capacitors", "#559977", "x"),
    "other": ("supply, control, wiring", "#770055", "."),
}
CONFIG = {
    "displaylogo": False,
    "showSendToCloud": False,
    "plotlyServerURL": "",
    "responsive": True,
}


def place_of(topology: str) -> int:
    """Return the place of a topology in the registry, which colour, symbol and dash follow.

    One that is listed no more comes after all others, at a place that its name gives.
    """
    known = list(TOPOLOGIES)
    if topology in known:
        return known.index(topology)
    return len(known) + zlib.crc32(topology.encode()) % len(SYMBOLS)


def symbol_of(place: int) -> int:
    """Return which of twelve symbols a place has; places of one colour differ in it."""
    return (place + 3 * (place // len(SYMBOLS))) % len(SYMBOLS)


def html(figure: go.Figure, *, library: bool) -> str:
    """Return a figure as an HTML fragment; ``library`` embeds the drawing code once."""
    # A copy: plotly takes entries out of what it is given.
    return plotly.io.to_html(
        figure,
        full_html=False,
        include_plotlyjs=library,
        config=dict(CONFIG),
        default_height="420px",
    )


def styled(figure: go.Figure, title: str, x: str, y: str) -> go.Figure:
    """Return the figure with title, axes and the house settings of type and colour."""
    figure.update_layout(
        title={"text": title, "font": {"size": 15}},
        template="simple_white",
        font={"family": "system-ui, sans-serif", "size": 12, "color": "#222"},
        margin={"l": 60, "r": 20, "t": 48, "b": 90},
        legend={"orientation": "h", "y": -0.24, "x": 0.0},
    )
    figure.update_xaxes(title=x, showgrid=True, gridcolor="#e6e6e6")
    figure.update_yaxes(title=y, showgrid=True, gridcolor="#e6e6e6")
    return figure


def fronts_figure(
    fronts: Mapping[str, Sequence[FrontPoint]], titles: Mapping[str, str]
) -> go.Figure:
    """Return the fronts of all topologies: power density against weighted efficiency.

    Dotted guides join points of equal loss per outer litre, since a sealed box is
    limited by the heat it can shed.
    """
    figure = go.Figure()
    everything = [p for points in fronts.values() for p in points]
    for loss in (10.0, 20.0, 30.0, 40.0) if everything else ():
        figure.add_trace(_iso_loss(loss, everything))
    for name, points in fronts.items():
        k = place_of(name)
        ordered = sorted(points, key=lambda p: p.density)
        figure.add_trace(
            go.Scatter(
                x=[p.density for p in ordered],
                y=[p.efficiency for p in ordered],
                mode="lines+markers",
                name=titles.get(name, name),
                line={"color": COLOURS[k % 6], "dash": DASHES[k % 6], "width": 1.4},
                marker={"symbol": SYMBOLS[symbol_of(k)], "size": 7, "color": COLOURS[k % 6]},
                text=[p.hover for p in ordered],
                hovertemplate="%{text}<extra></extra>",
            )
        )
    return styled(figure, "Pareto fronts", "power density [kW/l]", "weighted efficiency [%]")


def _iso_loss(loss: float, points: Sequence[FrontPoint]) -> go.Scatter:
    """Return the curve of equal loss per outer litre [W/l] across the plane."""
    lo = min(p.density for p in points)
    hi = max(p.density for p in points)
    floor = min(p.efficiency for p in points) - 0.3
    xs = [lo + (hi - lo) * i / 60 for i in range(61)]
    ys = [100.0 / (1.0 + loss / (1e3 * x)) for x in xs]
    kept = [(x, y) for x, y in zip(xs, ys, strict=True) if y >= floor]
    return go.Scatter(
        x=[x for x, _ in kept],
        y=[y for _, y in kept],
        mode="lines",
        line={"color": "#bbbbbb", "dash": "dot", "width": 1},
        name=f"{loss:.0f} W/l",
        hoverinfo="skip",
        showlegend=bool(kept),
    )


def loss_figure(losses: dict[str, Any]) -> go.Figure:
    """Return losses by kind of part at the weighted loads, stacked."""
    figure = go.Figure()
    labels = [f"{p:.0f} W" for p in losses["power_w"]]
    for key, (name, colour, pattern) in GROUPS.items():
        rows = [r["watts"] for r in losses["rows"] if r["group"] == key]
        if rows:
            figure.add_trace(
                go.Bar(
                    x=labels,
                    y=[sum(w) for w in zip(*rows, strict=True)],
                    name=name,
                    marker={"color": colour, "pattern": {"shape": pattern}},
                )
            )
    figure.update_layout(barmode="stack")
    figure.add_trace(
        go.Scatter(
            x=labels,
            y=losses["total_w"],
            mode="text",
            text=[f"{t:.1f}" for t in losses["total_w"]],
            textposition="top center",
            showlegend=False,
            hoverinfo="skip",
        )
    )
    return styled(figure, "Where the watts go, by load", "power into the grid", "loss [W]")


def part_loss_figure(losses: dict[str, Any], count: int = 16) -> go.Figure:
    """Return the largest single losses at full power, biggest on top."""
    rows = losses["rows"][:count][::-1]
    figure = go.Figure(
        go.Bar(
            x=[r["watts"][-1] for r in rows],
            y=[r["path"] for r in rows],
            orientation="h",
            marker={
                "color": [GROUPS[r["group"]][1] for r in rows],
                "pattern": {"shape": [GROUPS[r["group"]][2] for r in rows]},
            },
        )
    )
    figure.update_yaxes(automargin=True)
    return styled(figure, "Largest losses at full power", "loss [W]", "")


def efficiency_figure(curve: dict[str, Any]) -> go.Figure:
    """Return conversion efficiency against load, one line for each module voltage."""
    figure = go.Figure()
    for k, (voltage, values) in enumerate(zip(curve["voltages"], curve["values"], strict=True)):
        figure.add_trace(
            go.Scatter(
                x=[100 * load for load in curve["loads"]],
                y=[100 * v for v in values],
                mode="lines+markers",
                name=f"{voltage:.1f} V module",
                line={"color": COLOURS[k], "dash": DASHES[k]},
                marker={"symbol": SYMBOLS[k]},
            )
        )
    figure = styled(
        figure, "Conversion efficiency against load", "load [% of rated]", "efficiency [%]"
    )
    figure.update_yaxes(range=[min(80.0, 100 * min(map(min, curve["values"]))), 100])
    return figure


def wave_figure(waves: Sequence[dict[str, Any]], f_grid: float, unit: str) -> go.Figure:
    """Return the waveforms of one unit over the line cycle."""
    figure = go.Figure()
    picked = [w for w in waves if w["unit"] == unit]
    for k, wave in enumerate(picked):
        figure.add_trace(
            go.Scatter(
                x=[1e3 * a / (2 * math.pi * f_grid) for a in wave["angle"]],
                y=wave["value"],
                mode="lines",
                name=wave["name"],
                line={"color": COLOURS[k % 6], "dash": DASHES[k % 6]},
            )
        )
    names = {"V": "Voltages", "A": "Currents", "W": "Powers"}
    title = f"{names.get(unit, unit)} over the line cycle, full power"
    return styled(figure, title, "time [ms]", f"[{unit}]")


def volume_figure(volume: Sequence[dict[str, Any]], outer_l: float) -> go.Figure:
    """Return boxed volumes of the parts and what is left of the box, biggest on top."""
    parts = [(v["path"], 1e6 * v["value"]) for v in volume if v["value"] > 0]
    rest = max(1e3 * outer_l - sum(v for _, v in parts), 0.0)
    rows = sorted([*parts, ("wall, board, gaps, potting", rest)], key=lambda r: r[1])[-18:]
    figure = go.Figure(
        go.Bar(
            x=[v for _, v in rows],
            y=[name for name, _ in rows],
            orientation="h",
            marker={"color": [COLOURS[0] if n.count(".") else "#888888" for n, _ in rows]},
        )
    )
    figure.update_yaxes(automargin=True)
    return styled(figure, f"Volume, {outer_l:.3f} l outside", "boxed volume [cm³]", "")


def margin_figure(limits: Sequence[dict[str, Any]], count: int = 20) -> go.Figure:
    """Return how far each limit is used, tightest on top; 100 % is the limit."""
    rows = list(limits)[:count][::-1]
    figure = go.Figure(
        go.Bar(
            x=[100 * (1 + max(r["margin"], -1.0)) for r in rows],
            y=[r["path"] for r in rows],
            orientation="h",
            marker={"color": ["#559977" if r["met"] else "#990000" for r in rows]},
            text=["" if r["met"] else "not met" for r in rows],
        )
    )
    figure.add_vline(x=100, line={"color": "#222", "dash": "dash"})
    figure.update_yaxes(automargin=True)
    return styled(figure, "What limits it: use of each limit", "[% of the limit]", "")
