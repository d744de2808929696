"""The area "Fronts"."""

from __future__ import annotations

from typing import Any

import dash
from dash import html

from optimizer.page import pins_panel
from optimizer.page.areas import Area, Query
from optimizer.page.library import Library


def layout(library: Library, query: Query) -> Any:
    """Return the area."""
    return html.Div([html.H1("Fronts"), html.Ul([html.Li(n) for n in library.names()])])


def register(app: dash.Dash, library: Library) -> None:
    """Add its callbacks."""
    pins_panel.register(app, library)


AREA = Area("/fronts", "Fronts", layout, register)
