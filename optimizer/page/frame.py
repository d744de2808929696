"""The frame around the areas: navigation, cautions, theme, and which area is shown."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash
from dash import Input, Output, State, dcc, html

from models.errors import RipplefrontError
from optimizer.cautions import CAUTIONS
from optimizer.page.areas import Area, parsed
from optimizer.page.library import Library
from optimizer.version import VERSION

THEMES = ("light", "dark")


def frame(areas: Sequence[Area]) -> html.Div:
    """Return what stands around every area.

    ``theme`` is "light" or "dark"; ``pins`` holds the pins being gathered, in their
    written form; ``address`` is the address bar.
    """
    links = [
        dcc.Link(a.title, href=a.path, id={"type": "go", "area": a.path}, className="go")
        for a in areas
    ]
    return html.Div(
        [
            dcc.Location(id="address", refresh="callback-nav"),
            dcc.Store(id="theme", storage_type="local", data="light"),
            dcc.Store(id="pins", storage_type="session", data=[]),
            html.A("Skip to content", href="#content", className="skip"),
            html.Header(
                [
                    html.Strong("ripplefront", className="name"),
                    html.Nav(links, **{"aria-label": "areas"}),
                    html.Button("Dark", id="theme-switch", className="quiet"),
                ]
            ),
            html.Details(
                [html.Summary(_summary()), *[html.P(text) for text in CAUTIONS]],
                className="cautions",
            ),
            dcc.Loading(
                html.Main(id="content", tabIndex="-1"), delay_show=400, type="dot",
                overlay_style={"visibility": "visible", "opacity": 0.6},
            ),
            html.Footer(f"version {VERSION} · analytic estimates for early design"),
        ]
    )  # fmt: skip


def _summary() -> str:
    return (
        "Analytic estimates for early design. Lethal mains and stored energy: verification and "
        "certification belong to qualified people. Read the cautions."
    )


def message(error: RipplefrontError) -> html.Div:
    """Return an error as a person should read it."""
    first, *rest = str(error).splitlines()
    return html.Div(
        [html.Strong(first), *[html.P(line.strip()) for line in rest]],
        className="mistake",
        role="alert",
    )


def register(app: dash.Dash, library: Library, areas: Sequence[Area]) -> None:
    """Add the callbacks of the frame and of all areas."""
    by_path = {a.path: a for a in areas}

    @app.callback(
        Output("content", "children"), Input("address", "pathname"), Input("address", "search")
    )
    def show(path: str | None, search: str | None) -> Any:
        area = by_path.get((path or "/").rstrip("/") or "/")
        if area is None:
            return html.P("There is no such page. Choose an area above.", role="alert")
        try:
            return area.layout(library, parsed(search))
        except RipplefrontError as error:
            return message(error)

    app.clientside_callback(
        dash.ClientsideFunction("page", "switch_theme"),
        Output("theme", "data"), Input("theme-switch", "n_clicks"), State("theme", "data"),
    )  # fmt: skip
    app.clientside_callback(
        dash.ClientsideFunction("page", "apply_theme"),
        Output("theme-switch", "children"), Input("theme", "data"),
    )  # fmt: skip
    for area in areas:
        area.register(app, library)
