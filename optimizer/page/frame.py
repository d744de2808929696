"""The frame around the areas: navigation, cautions, theme, and which area is shown.

What the areas may use: ``message`` for an error, the store ``theme`` ("light" or "dark"),
the store ``pins`` (written forms), the region ``status`` for a result to be announced, and
the region ``notice`` for what went wrong outside any area.
"""

from __future__ import annotations

import sys
import traceback
from collections.abc import Mapping, Sequence
from typing import Any

import dash
from dash import ClientsideFunction, Input, Output, State, dcc, html

from models.errors import RipplefrontError
from optimizer.cautions import CAUTIONS
from optimizer.page.areas import Area, parsed
from optimizer.page.library import Library
from optimizer.version import VERSION

FAULT = "This did not work: an error of the program. The terminal that serves the page has more."


def frame(areas: Sequence[Area]) -> html.Div:
    """Return what stands around every area."""
    return html.Div(
        [
            *_stores(),
            html.A("Skip to content", href="#content", className="skip"),
            html.Div(id="busy", **{"aria-hidden": "true"}),
            html.Header(
                [
                    html.Strong("ripplefront", className="name"),
                    html.Nav([_link(a) for a in areas], **{"aria-label": "areas"}),
                    html.Button("Dark theme", id="theme-switch", className="quiet"),
                ]
            ),
            html.Details(
                [html.Summary(_summary()), *[html.P(text) for text in CAUTIONS]],
                className="cautions",
            ),
            html.Div(
                [html.Div(id="notice"), html.Button("Close", id="notice-close")],
                className="notice",
            ),
            html.Div(id="status", role="status", className="unseen"),
            html.Main(id="content", tabIndex="-1"),
            html.Footer(f"version {VERSION} · analytic estimates for early design"),
        ]
    )


def _stores() -> list[Any]:
    return [
        dcc.Location(id="address", refresh="callback-nav"),
        dcc.Store(id="view"),
        dcc.Store(id="theme-choice", storage_type="local"),
        dcc.Store(id="theme"),
        dcc.Store(id="pins", storage_type="session", data=[]),
        dcc.Store(id="frame-done"),
    ]


def _link(area: Area) -> dcc.Link:
    return dcc.Link(
        area.title, href=area.path, id={"type": "go", "area": area.path}, className="go"
    )


def _summary() -> str:
    return (
        "Analytic estimates for early design. Lethal mains and stored energy: verification and "
        "certification belong to qualified people. Read the cautions."
    )


def message(error: RipplefrontError) -> html.Div:
    """Return an error as a person should read it."""
    first, *rest = str(error).splitlines() or [""]
    return html.Div(
        [html.Strong(first), *[html.P(line.strip()) for line in rest]],
        className="mistake",
        role="alert",
    )


def told(error: Exception) -> html.Div:
    """Return an error to be read; a fault of the program goes to the terminal as well."""
    if isinstance(error, RipplefrontError):
        return message(error)
    sys.stderr.write("".join(traceback.format_exception(error)))
    return html.Div(html.Strong(FAULT), className="mistake", role="alert")


def noticed(error: Exception) -> None:
    """Show the error of a callback above the area, which stays as it is."""
    dash.set_props("notice", {"children": told(error)})


def shown(library: Library, areas: Sequence[Area], path: str, search: str) -> Any:
    """Return the content of the area that an address names."""
    by_path = {a.path: a for a in areas}
    area = by_path.get(path.rstrip("/") or "/")
    if area is None:
        return html.P("There is no such page. Choose an area above.", role="alert")
    try:
        return area.layout(library, parsed(search))
    except Exception as error:  # noqa: BLE001 - a fault of one area must not take the others
        return [
            html.H1(area.title),
            told(error),
            html.P(dcc.Link(f"{area.title} without these choices", href=area.path)),
        ]


def register(app: dash.Dash, library: Library, areas: Sequence[Area]) -> None:
    """Add the callbacks of the frame and of all areas."""

    @app.callback(Output("content", "children"), Input("view", "data"), prevent_initial_call=True)
    def show(view: Mapping[str, str] | None) -> Any:
        if not view:
            return dash.no_update
        return shown(library, areas, view["path"], view["search"])

    for name, *places in _IN_THE_BROWSER:
        app.clientside_callback(ClientsideFunction("page", name), *places)
    for area in areas:
        area.register(app, library)


_IN_THE_BROWSER = (
    ("arrived", Output("view", "data"), Input("address", "pathname"), Input("address", "search")),
    ("drawn", Output("frame-done", "data"), Input("content", "children"), State("view", "data")),
    ("wanted_theme", Output("theme", "data"), Input("theme-choice", "data")),
    ("switch_theme", Output("theme-choice", "data"), Input("theme-switch", "n_clicks"),
     State("theme", "data")),
    ("apply_theme", Output("theme-switch", "children"), Input("theme", "data")),
    ("close_notice", Output("notice", "children"), Input("notice-close", "n_clicks")),
)  # fmt: skip
