"""The pins being gathered."""

from __future__ import annotations

from dash import html

from optimizer.archive import Run


def panel(run: Run) -> html.Div:
    """Return the panel of the pins."""
    return html.Div([html.H2("Pins"), html.P("none yet", className="soft")])
