"""Figures in light and in dark, and the one graph component with the house settings."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go
from dash import dcc

from optimizer.figures import COLOURS, CONFIG

THEMES = ("light", "dark")
# Own palette for dark ground, in the order of the light one: at least 3:1 on it.
DARK_COLOURS = ("#33DDFF", "#DDBB00", "#BBDD99", "#BB3377", "#9955DD", "#337700")
GROUND, INK, GRID = "#15191e", "#e8e9ea", "#3a4048"
# Every colour that a figure may use on light ground, and what it becomes on dark.
SWAPS = {
    **{light.lower(): dark for light, dark in zip(COLOURS, DARK_COLOURS, strict=True)},
    "#ffffff": GROUND, "#e6e6e6": GRID, "#bbbbbb": "#6b727a", "#999999": "#8d959d",
    "#888888": "#9aa1a9", "#555555": "#b6bbc1", "#444444": "#c8ccd0", "#222222": INK,
    "#2e7dbd": "#2e7dbd",  # the trend of a search: 3:1 on either ground
}  # fmt: skip
COLOUR_KEYS = ("color", "colors", "colorscale", "colorway")
_SHORT = {"white": "#ffffff", "#fff": "#ffffff", "#222": "#222222", "#444": "#444444",
          "#555": "#555555", "#888": "#888888", "#999": "#999999", "#bbb": "#bbbbbb"}  # fmt: skip


def themed(figure: go.Figure | Mapping[str, Any], theme: str | None) -> dict[str, Any]:
    """Return a figure, or one as plain data, as plain data in the colours of a theme.

    Only what stands under a key of colours is changed, never a text.
    """
    plain: dict[str, Any] = (
        json.loads(figure.to_json()) if isinstance(figure, go.Figure) else dict(figure)
    )
    if theme != "dark":
        return plain
    plain = {key: _swapped(value, colour=False) for key, value in plain.items()}
    layout = {"xaxis": {}, "yaxis": {}, **plain.get("layout", {})}
    layout |= {"paper_bgcolor": GROUND, "plot_bgcolor": GROUND}
    layout["font"] = {**layout.get("font", {}), "color": INK}
    layout["hoverlabel"] = {"bgcolor": GRID, "bordercolor": INK, "font": {"color": INK}}
    for key, axis in layout.items():
        if key.startswith(("xaxis", "yaxis")):
            layout[key] = {"gridcolor": GRID, **axis, "linecolor": INK, "tickcolor": INK}
    return {**plain, "layout": layout}


def _swapped(value: Any, *, colour: bool) -> Any:
    """Return a value of a figure with its colours for dark ground."""
    if isinstance(value, dict):
        return {
            k: v if k == "template" else _swapped(v, colour=k.endswith(COLOUR_KEYS))
            for k, v in value.items()
        }
    if isinstance(value, list) and (colour or any(isinstance(v, dict) for v in value)):
        return [_swapped(v, colour=colour) for v in value]
    if colour and isinstance(value, str):
        plain = value.lower()
        return SWAPS.get(_SHORT.get(plain, plain), value)
    return value


def graph(
    name: Any, figure: go.Figure | Mapping[str, Any], theme: str | None, height: int
) -> dcc.Graph:
    """Return a figure as a component of fixed height [px].

    The browser makes it reachable by Tab and names it by its title, or by the heading
    before it.
    """
    plain = themed(figure, theme)
    layout = {**plain.get("layout", {}), "height": height}
    return dcc.Graph(
        id=name, figure={**plain, "layout": layout}, config=CONFIG, style={"height": f"{height}px"}
    )
