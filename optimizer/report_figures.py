"""The figures of a report as plain data, from the same functions that the page draws with."""

from __future__ import annotations

import html
import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import plotly.graph_objects as go

from optimizer import figures
from optimizer.fronts import FrontPoint
from optimizer.page import design_figures as watts
from optimizer.page import design_limit_figures as limits
from optimizer.quantities import quantity

Document = Mapping[str, Any]
Figure = dict[str, Any]
MOST_VOLUMES = 16


def sheet_figures(data: Document) -> dict[str, Figure]:
    """Return every figure of a sheet by the name that its blocks call it."""
    return {name: make(data) for name, make in _MAKE.items()}


def plain(figure: go.Figure) -> Figure:
    """Return a figure as plain data."""
    found: Figure = json.loads(figure.to_json())
    return found


def fronts(
    found: Mapping[str, Sequence[FrontPoint]], titles: Mapping[str, str], *,
    chosen: Sequence[str], prices: bool,
) -> Figure:  # fmt: skip
    """Return the fronts, the designs with a sheet ringed; every point carries its design."""
    named = {name: html.escape(title) for name, title in titles.items()}
    drawn = plain(figures.fronts_figure(found, named))
    points = {p.label: p for front in found.values() for p in front}
    # The guides are drawn first and carry no text.
    for trace, front in zip(
        [t for t in drawn["data"] if "text" in t], found.values(), strict=False
    ):
        ordered = sorted(front, key=lambda p: p.density)
        trace["customdata"] = [p.label for p in ordered]
        trace["text"] = [_hover(p, prices=prices) for p in ordered]
    ringed = [points[name] for name in chosen if name in points]
    drawn["data"].append(
        {"type": "scatter", "mode": "markers", "name": "with a sheet below",
         "x": [p.density for p in ringed], "y": [p.efficiency for p in ringed],
         "marker": {"symbol": "circle-open", "size": 14, "color": "#222222"},
         "hoverinfo": "skip"}
    )  # fmt: skip
    return drawn


def _hover(point: FrontPoint, *, prices: bool) -> str:
    if prices:
        return point.hover
    r = point.results
    return (
        f"{point.label}<br>{point.efficiency:.2f} %, {point.density:.2f} kW/l<br>"
        f"life {quantity(r['life_years'], 'years')}, height {r['height_mm']:.0f} mm"
    )


def _frequency(data: Document) -> float:
    return float(data["specification"]["grid"][0]["frequency_hz"])


def _wanted_years(data: Document) -> float:
    return float(data["specification"]["life"]["wanted_years"])


def _volume(data: Document) -> Figure:
    """Return boxed volumes and what is left of the box, the largest on top."""
    outer = next(r["value"] for r in data["results"] if r["name"] == "volume_l")
    parts = [(v["path"], 1e6 * v["value"]) for v in data["volume"] if v["value"] > 0.0]
    rest = max(1e3 * outer - sum(v for _, v in parts), 0.0)
    rows = sorted([*parts, ("wall, board, gaps, potting", rest)], key=lambda r: r[1])
    rows = rows[-MOST_VOLUMES:]
    fills = [figures.COLOURS[0] if "." in name else "#888888" for name, _ in rows]
    bars = watts.lying(
        rows, [f"{v:.0f} cm³" for _, v in rows], watts.marker(fills, [""] * len(rows)),
        "%{y}: %{x:.1f} cm³<extra></extra>",
    )  # fmt: skip
    longest = max(v for _, v in rows)
    return watts.figure(
        [bars], f"Volume, {outer:.3f} l outside",
        x=watts.axis("boxed volume [cm³]", range=[0.0, 1.3 * longest]),
        y=watts.axis("", showgrid=False), more={"bargap": 0.3, "showlegend": False},
    )  # fmt: skip


_MAKE: dict[str, Callable[[Document], Figure]] = {
    "losses": lambda data: watts.loss_by_load(data["losses"]),
    "efficiency": lambda data: watts.efficiency(data["efficiency"]),
    "parts": lambda data: watts.sorted_losses(data["losses"]),
    "volume": _volume,
    "waves": lambda data: watts.waves(data["waves"], _frequency(data)),
    "margins": lambda data: limits.margins(data["limits"]),
    "temperatures": lambda data: limits.temperature_chain(data["heat_chain"]),
    "life": lambda data: limits.life_bars(data["life"], _wanted_years(data)),
    "wear": lambda data: limits.damage_by_bin(data["wear"]),
}
