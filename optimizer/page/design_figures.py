"""Figures of where the watts of one design go, as pure functions of the sheet's data.

They are plotly figures as plain data: checked figure objects take 20 ms each to make, and
the page draws five of them while a value is dragged.
"""

from __future__ import annotations

import html
import math
from collections.abc import Mapping, Sequence
from typing import Any, TypeAlias

from optimizer.figures import COLOURS, DASHES, GROUPS, SYMBOLS

Figure: TypeAlias = dict[str, Any]

MOST_PARTS = 4  # of one kind that a stack tells apart
LEAST_LINE = 1e-3  # [V]; a spectral line below is noise of the arithmetic
UNIT_NAMES = {"V": "voltage [V]", "A": "current [A]", "W": "power [W]"}
PATTERNS = ("", "/", "x", ".", "-", "+")
INK, GRID, PAPER = "#222222", "#e6e6e6", "#ffffff"


def axis(title: str, **more: Any) -> dict[str, Any]:
    """Return an axis in the house style."""
    return {
        "title": {"text": title, "standoff": 6}, "showline": True, "linecolor": INK,
        "ticks": "outside", "tickcolor": INK, "showgrid": True, "gridcolor": GRID,
        "zeroline": False, "automargin": True, **more,
    }  # fmt: skip


def figure(
    data: Sequence[Mapping[str, Any]], title: str, *,
    x: Mapping[str, Any], y: Mapping[str, Any], more: Mapping[str, Any] | None = None,
) -> Figure:  # fmt: skip
    """Return a figure in the house style, its legend above the plot and no room wasted.

    The page writes the title as a heading above it, where no legend can run into it.
    """
    layout = {
        "title": {"text": title},
        "font": {"family": "system-ui, sans-serif", "size": 12, "color": INK},
        "paper_bgcolor": PAPER, "plot_bgcolor": PAPER,
        "margin": {"l": 50, "r": 14, "t": 10, "b": 40},
        "legend": {"orientation": "h", "x": 0.0, "y": 1.0, "yanchor": "bottom",
                   "font": {"size": 11}},
        "xaxis": dict(x), "yaxis": dict(y),
    }  # fmt: skip
    return {"data": list(data), "layout": {**layout, **(more or {})}}


def marker(colour: str | Sequence[str], pattern: str | Sequence[str] = "") -> dict[str, Any]:
    """Return the filling of bars, patterned besides its colour, parted by a thin line."""
    paper = PAPER if isinstance(colour, str) else [PAPER] * len(colour)
    return {
        "color": colour,
        "pattern": {"shape": pattern, "size": 6, "solidity": 0.25, "bgcolor": colour,
                    "fgcolor": paper},
        "line": {"color": PAPER, "width": 0.7},
    }  # fmt: skip


def lying(
    rows: Sequence[tuple[str, float]], texts: Sequence[str], filling: Mapping[str, Any], hover: str
) -> dict[str, Any]:
    """Return lying bars from (name, length), each with a text behind it."""
    return {
        "type": "bar", "orientation": "h", "marker": dict(filling), "hovertemplate": hover,
        "x": [length for _, length in rows], "y": [html.escape(name) for name, _ in rows],
        "text": list(texts), "textposition": "outside", "cliponaxis": False, "textangle": 0,
    }  # fmt: skip


def part_of(path: str) -> str:
    """Return the part that a loss belongs to."""
    return path.rpartition(".")[0] or path


def loss_by_load(losses: Mapping[str, Any]) -> Figure:
    """Return the loss of every part at the weighted loads, stacked by kind of part.

    Parts of one kind share a colour and a pattern; a thin line parts them, and the
    pointer names them.  The small ones of a kind are drawn as one.
    """
    labels = [f"{p:.0f} W" for p in losses["power_w"]]
    data: list[dict[str, Any]] = []
    for key, (title, colour, pattern) in GROUPS.items():
        for k, (part, watts) in enumerate(_largest_parts(losses, key)):
            hover = f"{html.escape(part)}<br>%{{y:.2f}} W at %{{x}}<extra></extra>"
            data.append(
                {"type": "bar", "x": labels, "y": watts, "name": title, "legendgroup": key,
                 "showlegend": k == 0, "marker": marker(colour, pattern), "hovertemplate": hover}
            )  # fmt: skip
    data.append(
        {"type": "scatter", "mode": "text", "x": labels, "y": losses["total_w"],
         "text": [f"{t:.1f} W" for t in losses["total_w"]], "textposition": "top center",
         "showlegend": False, "hoverinfo": "skip"}
    )  # fmt: skip
    return figure(
        data, "Loss by part and load",
        x=axis("power into the grid", type="category", showgrid=False),
        y=axis("loss [W]", range=[0.0, 1.12 * max(losses["total_w"])]),
        more={"barmode": "stack", "bargap": 0.25},
    )  # fmt: skip


def _largest_parts(losses: Mapping[str, Any], key: str) -> list[tuple[str, list[float]]]:
    """Return the parts of a kind that lose most at full power, and the rest as one."""
    parts: dict[str, list[float]] = {}
    for row in (r for r in losses["rows"] if r["group"] == key):
        own = parts.get(part_of(row["path"]), [0.0] * len(row["watts"]))
        parts[part_of(row["path"])] = [a + b for a, b in zip(own, row["watts"], strict=True)]
    ordered = sorted(parts.items(), key=lambda p: -p[1][-1])
    kept, rest = ordered[:MOST_PARTS], ordered[MOST_PARTS:]
    if len(rest) < 2:
        return ordered
    together = [sum(column) for column in zip(*(w for _, w in rest), strict=True)]
    return [*kept, (f"{len(rest)} others", together)]


def sorted_losses(losses: Mapping[str, Any], count: int = 14) -> Figure:
    """Return the largest single losses at full power, the largest on top, with their cause."""
    total = losses["total_w"][-1]
    rows = losses["rows"][:count][::-1]
    rest = total - sum(r["watts"][-1] for r in rows)
    more = f" (others together {rest:.2f} W)" if rest >= 0.005 else ""
    data = []
    for key, (_, colour, pattern) in GROUPS.items():
        mine = [(r["path"], r["watts"][-1]) for r in rows if r["group"] == key]
        texts = [f"{w:.2f} W, {100 * w / total:.0f} %" for _, w in mine]
        data.append(lying(mine, texts, marker(colour, pattern), "%{y}: %{x:.3f} W<extra></extra>"))
    longest = max((r["watts"][-1] for r in rows), default=1.0)
    names = [html.escape(r["path"]) for r in rows]
    return figure(
        data, "Largest losses at full power" + more,
        x=axis("loss [W]", range=[0.0, 1.8 * longest]),
        y=axis("", showgrid=False, categoryorder="array", categoryarray=names),
        more={"bargap": 0.3, "barmode": "overlay", "showlegend": False},
    )  # fmt: skip


def efficiency(curve: Mapping[str, Any]) -> Figure:
    """Return conversion efficiency against load at three module voltages."""
    values = [100.0 * v for row in curve["values"] for v in row]
    floor = max(0.0, math.floor(min(values) - 0.5))
    top = min(100.0, math.ceil(max(values) + 0.3))
    data = [
        {"type": "scatter", "mode": "lines+markers", "name": f"module at {voltage:.1f} V",
         "x": [100.0 * load for load in curve["loads"]], "y": [100.0 * v for v in row],
         "line": {"color": COLOURS[k % 6], "dash": DASHES[k % 6]},
         "marker": {"symbol": SYMBOLS[k % 6], "size": 7, "color": COLOURS[k % 6]},
         "hovertemplate": "%{y:.2f} % at %{x:.0f} % load<extra>%{fullData.name}</extra>"}
        for k, (voltage, row) in enumerate(zip(curve["voltages"], curve["values"], strict=True))
    ]  # fmt: skip
    return figure(
        data, f"Conversion efficiency against load (axis from {floor:.0f} %)",
        x=axis("load [% of rated]", range=[0.0, 104.0]),
        y=axis("efficiency [%]", range=[floor, top]),
    )  # fmt: skip


def waves(found: Sequence[Mapping[str, Any]], f_grid: float) -> Figure:
    """Return the waveforms over one line cycle: a row for each unit, one time axis.

    A wave of half a cycle repeats.
    """
    units = list(dict.fromkeys(w["unit"] for w in found))
    data = []
    for k, wave in enumerate(found):
        row = units.index(wave["unit"])
        own = sum(w["unit"] == wave["unit"] for w in found[:k])
        angle, value = list(wave["angle"]), list(wave["value"])
        if angle and angle[-1] < math.pi * 1.001:
            angle, value = angle + [a + math.pi for a in angle], value * 2
        data.append(
            {"type": "scatter", "mode": "lines", "name": html.escape(wave["name"]),
             "x": [round(1e3 * a / (2.0 * math.pi * f_grid), 4) for a in angle],
             "y": [float(f"{v:.5g}") for v in value], "yaxis": numbered("y", row),
             "legend": numbered("legend", row),
             "line": {"color": COLOURS[own % 6], "dash": DASHES[own % 6], "width": 1.8},
             "hovertemplate": f"%{{y:.4g}} {wave['unit']}<extra>%{{fullData.name}}</extra>"}
        )  # fmt: skip
    last = numbered("y", max(len(units) - 1, 0))
    return figure(
        data, "Over the line cycle at full power",
        x=axis("time [ms]", range=[0.0, 1e3 / f_grid], anchor=last),
        y=axis(""), more=_stacked(units),
    )  # fmt: skip


def numbered(stem: str, row: int) -> str:
    """Return the name of an axis or legend, by its row from 0."""
    return f"{stem}{row + 1}" if row else stem


def _stacked(units: Sequence[str]) -> dict[str, Any]:
    """Return one axis above the other, each with its own legend beside it."""
    gap, n = 0.05, max(len(units), 1)
    height = (1.0 - gap * (n - 1)) / n
    layout: dict[str, Any] = {
        "hovermode": "x unified",
        "margin": {"l": 54, "r": 8, "t": 8, "b": 40},
    }
    for row, unit in enumerate(units):
        top = 1.0 - row * (height + gap)
        layout[numbered("yaxis", row)] = axis(
            UNIT_NAMES.get(unit, f"[{unit}]"), domain=[top - height, top], anchor="x"
        )
        layout[numbered("legend", row)] = {
            "x": 1.01, "y": top, "xanchor": "left", "yanchor": "top", "font": {"size": 11}
        }  # fmt: skip
    return layout


def spectra(found: Sequence[Mapping[str, Any]], f_grid: float) -> Figure:
    """Return the lines of every capacitor voltage at even multiples of the line frequency."""
    shown = [s for s in found if max(s["amplitudes"], default=0.0) >= LEAST_LINE]
    orders = range(2, 2 * max((len(s["amplitudes"]) for s in found), default=0) + 1, 2)
    data = [
        {"type": "bar", "name": html.escape(s["name"]),
         "x": [f"{n * f_grid:.0f} Hz" for n in orders],
         "y": [a if a >= LEAST_LINE else None for a in s["amplitudes"]],
         "marker": marker(COLOURS[k % 6], PATTERNS[k % 6]),
         "hovertemplate": "%{y:.3g} V at %{x}<extra>%{fullData.name}</extra>"}
        for k, s in enumerate(shown)
    ]  # fmt: skip
    return figure(
        data, "Line spectra of the capacitor voltages, amplitudes",
        x=axis("", type="category", showgrid=False),
        y=axis("amplitude [V]", type="log", tickformat="~g", dtick=1),
        more={"barmode": "group"},
    )  # fmt: skip
