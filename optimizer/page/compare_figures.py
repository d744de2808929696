"""Figures of designs and of runs set side by side, as pure functions of plain data."""

from __future__ import annotations

import html
import math
from collections.abc import Mapping, Sequence
from typing import Any

from optimizer.compare import Comparison, Facts
from optimizer.figures import COLOURS, DASHES, GROUPS, SYMBOLS, place_of, symbol_of
from optimizer.fronts import FrontPoint
from optimizer.page.compare_bits import LETTERS
from optimizer.page.compare_designs import Column, group_loss
from optimizer.page.design_figures import PATTERNS, Figure, axis, figure, marker
from optimizer.page.runs_list import tag

MOST_PARTS = 10  # told apart in a figure; the table below it has all
BAR, AROUND = 13, 78  # [px] of a bar, and of what stands around all bars
OLDER = ("dot", "dashdot", "longdashdot", "dash", "longdash")  # lines of runs but the last
LEGEND_ROW = 20  # [px]
LEGEND_MARK, LETTER = 50, 6  # widths of a line with its symbol, and of a letter [px]
LEGEND_WIDTH = 1200  # of a window as it is usual [px]
FRONTS = 460  # height without the names of the fronts [px]


def names(found: Sequence[Column]) -> list[str]:
    """Return what designs are called in legends and on axes."""
    return [html.escape(f"{LETTERS[c.number]} {c.label}") for c in found]


def loss_bars(found: Sequence[Column]) -> Figure:
    """Return the losses at full power by group of parts, a bar for each design."""
    labels = names(found)
    data: list[dict[str, Any]] = [
        {"type": "bar", "orientation": "h", "y": labels, "name": title,
         "x": [round(group_loss(c, key), 4) for c in found], "marker": marker(colour, pattern),
         "hovertemplate": f"{title}: %{{x:.2f}} W<extra>%{{y}}</extra>"}
        for key, (title, colour, pattern) in GROUPS.items()
    ]  # fmt: skip
    totals = [c.sheet["losses"]["total_w"][-1] for c in found]
    data.append(
        {"type": "scatter", "mode": "text", "x": totals, "y": labels,
         "text": [f" {t:.2f} W" for t in totals], "textposition": "middle right",
         "showlegend": False, "hoverinfo": "skip", "cliponaxis": False}
    )  # fmt: skip
    return figure(
        data, "Losses at full power by group of parts",
        x=axis("loss [W]", range=[0.0, 1.16 * max(totals)]),
        y=axis("", autorange="reversed", showgrid=False),
        more={"barmode": "stack", "bargap": 0.35, "legend": _legend("normal")},
    )  # fmt: skip


def part_bars(
    found: Sequence[Column], parts: Mapping[str, Sequence[float | None]], title: str, unit: str
) -> Figure:
    """Return a quantity of the largest parts, a bar for each design, on one scale.

    Parameters
    ----------
    found : Sequence of Column
        The designs.
    parts : Mapping
        The quantity of each design by part, the largest part first.
    title, unit : str
        What it is.
    """
    rows = _largest(parts)
    labels = [html.escape(p) for p in rows]
    data = [
        {"type": "bar", "orientation": "h", "name": name, "y": labels,
         "x": [None if v[n] is None else float(f"{v[n]:.5g}") for v in rows.values()],
         "marker": marker(COLOURS[column.number], PATTERNS[column.number]),
         "hovertemplate": f"%{{y}}: %{{x:.4g}} {unit}<extra>%{{fullData.name}}</extra>"}
        for n, (column, name) in enumerate(zip(found, names(found), strict=True))
    ]  # fmt: skip
    return figure(
        data, title, x=axis(f"[{unit}]", rangemode="tozero"),
        y=axis("", autorange="reversed", showgrid=False),
        more={"barmode": "group", "bargap": 0.25, "legend": _legend("normal")},
    )  # fmt: skip


def _largest(
    parts: Mapping[str, Sequence[float | None]],
) -> dict[str, list[float | None]]:
    """Return the largest parts, and the rest as one."""
    every = {p: list(v) for p, v in parts.items()}
    kept, rest = list(every)[:MOST_PARTS], list(every)[MOST_PARTS:]
    if len(rest) < 2:
        return every
    sums = [
        sum(v or 0.0 for v in column) for column in zip(*(every[p] for p in rest), strict=True)
    ]
    return {p: every[p] for p in kept} | {f"{len(rest)} others": list(sums)}


def bars_height(parts: int, designs: int) -> int:
    """Return the height of bars by part [px]."""
    return AROUND + min(parts, MOST_PARTS + 1) * (BAR * designs + 8) + LEGEND_ROW


def _legend(order: str) -> dict[str, Any]:
    return {"orientation": "h", "x": 0.0, "y": 1.0, "yanchor": "bottom", "font": {"size": 11},
            "traceorder": order}  # fmt: skip


def efficiency_curves(found: Sequence[Column]) -> Figure:
    """Return conversion efficiency against load of every design at nominal module voltage."""
    data, values = [], []
    for column, name in zip(found, names(found), strict=True):
        k = column.number
        curve = column.sheet["efficiency"]
        middle = len(curve["voltages"]) // 2
        row = [100.0 * v for v in curve["values"][middle]]
        values += row
        data.append(
            {"type": "scatter", "mode": "lines+markers",
             "name": f"{name}, {curve['voltages'][middle]:.1f} V",
             "x": [100.0 * load for load in curve["loads"]], "y": row,
             "line": {"color": COLOURS[k], "dash": DASHES[k]},
             "marker": {"symbol": SYMBOLS[k], "size": 7, "color": COLOURS[k]},
             "hovertemplate": "%{y:.2f} % at %{x:.0f} % load<extra>%{fullData.name}</extra>"}
        )  # fmt: skip
    floor = max(0.0, math.floor(min(values) - 0.5))
    top = min(100.0, math.ceil(max(values) + 0.3))
    return figure(
        data, f"Conversion efficiency against load, nominal module voltage (from {floor:.0f} %)",
        x=axis("load [% of rated]", range=[0.0, 104.0]),
        y=axis("efficiency [%]", range=[floor, top]),
    )  # fmt: skip


def fronts_picture(found: Comparison) -> Figure:
    """Return the fronts of all runs in one plane; a topology keeps colour and symbol.

    The run given last is drawn solid with filled symbols, the others dotted and hollow.
    """
    at, of = found.objectives[:2]
    data = []
    broken = [*OLDER[: len(found.runs) - 1], "solid"]
    for facts, dash in zip(found.runs, broken, strict=True):
        for topology in found.topologies:
            front = facts.sides[topology].front
            if front:
                data.append(
                    {**_line(facts, front, (at, of), place_of(topology), dash=dash),
                     "name": html.escape(f"{tag(topology)}, {facts.name}")}
                )  # fmt: skip
    return figure(
        data, "The fronts of all runs", x=axis(at.axis), y=axis(of.axis),
        more={"legend": {"orientation": "h", "x": 0.0, "y": -0.16, "yanchor": "top",
                         "font": {"size": 11}}},
    )  # fmt: skip


def fronts_height(drawn: Figure) -> int:
    """Return the height of the fronts with as many rows below as their names take [px]."""
    widths = [LEGEND_MARK + LETTER * len(trace["name"]) for trace in drawn["data"]]
    rows = math.ceil(len(widths) / max(LEGEND_WIDTH // max(widths, default=1), 1))
    return FRONTS + LEGEND_ROW * rows


def _line(
    facts: Facts, front: Sequence[FrontPoint], axes: Sequence[Any], k: int, *, dash: str
) -> Figure:
    at, of = axes
    ordered = sorted(front, key=lambda p: p.results[at.name])
    texts = [
        html.escape(p.label)
        + "".join(f"<br>{o.text(p.results[o.name])} {o.unit}" for o in (of, at))
        for p in ordered
    ]
    return {
        "type": "scatter", "mode": "lines+markers",
        "x": [p.results[at.name] for p in ordered], "y": [p.results[of.name] for p in ordered],
        "line": {"color": COLOURS[k % 6], "dash": dash, "width": 1.5,
                 "shape": "vh" if at.sign > 0.0 else "hv"},
        "marker": {"symbol": SYMBOLS[symbol_of(k)] + ("" if dash == "solid" else "-open"),
                   "size": 7, "color": COLOURS[k % 6]},
        "text": texts,
        "hovertemplate": f"%{{text}}<extra>{html.escape(facts.name)}</extra>",
    }  # fmt: skip
