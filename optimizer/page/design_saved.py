"""Named designs on the page: keep one, list them, remove one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import dash
from dash import ALL, Input, Output, State, dcc, html

from models.errors import RipplefrontError
from optimizer import named
from optimizer.page.areas import address
from optimizer.page.design_address import written
from optimizer.page.design_bits import rich_table
from optimizer.page.library import Library


def keeper() -> html.Details:
    """Return the form that keeps the open design under a name."""
    return html.Details(
        [
            html.Summary("Keep under a name"),
            html.Div(
                [
                    html.Label("name", htmlFor="design-name"),
                    dcc.Input(id="design-name", type="text", maxLength=60, autoComplete="off"),
                    html.Label("note", htmlFor="design-note"),
                    dcc.Input(id="design-note", type="text", maxLength=named.LONGEST_NOTE,
                              autoComplete="off"),
                    html.Button("Keep", id="design-keep", className="main"),
                ],
                className="design-keeper",
            ),
            html.Div(id="design-kept", role="status"),
        ],
        className="design-more",
    )  # fmt: skip


def listed(library: Library) -> Any:
    """Return all named designs, each with a link that opens it and a button that removes it."""
    rows, broken = [], []
    for one in named.every(library.root):
        if isinstance(one, named.Unread):
            broken.append(html.Li(f"{one.name}: {one.reason.splitlines()[0]}"))
            continue
        rows.append(
            [
                dcc.Link(one.name, href=place_of(one)),
                one.run,
                one.design,
                "; ".join(f"{k} = {v}" for k, v in one.changes.items()) or "none",
                one.note,
                one.made.replace("T", " ").removesuffix("+00:00"),
                html.Button("remove", id={"type": "design-remove", "name": one.name},
                            className="quiet", **{"aria-label": f"remove {one.name}"}),
            ]
        )  # fmt: skip
    heads = ["named design", "run", "design", "changes", "note", "kept (UTC)", ""]
    return html.Div(
        [
            rich_table(heads, rows, "named designs")
            if rows else html.P("No design is kept under a name yet.", className="soft"),
            html.Ul(broken, className="bad") if broken else None,
        ]
    )  # fmt: skip


def place_of(one: named.Named) -> str:
    """Return the address that opens a named design."""
    return address("/design", run=one.run, id=one.design, set=written(one.changes))


def keep(
    library: Library, name: str | None, note: str | None, opened: Mapping[str, Any],
    changes: Mapping[str, str],
) -> Any:  # fmt: skip
    """Write the open design under a name, and return what to say."""
    if not (name or "").strip():
        return html.Span("Give it a name first.", className="bad")
    try:
        library.folder(opened["run"])
        one = named.Named(
            str(name).strip(), opened["run"], opened["id"], dict(changes), (note or "").strip()
        )
        named.save(library.root, one)
    except RipplefrontError as error:
        return html.Span(" ".join(str(error).split()), className="bad")
    return [f"Kept as {one.name}. ", dcc.Link("All named designs", href="/design")]


def register(app: dash.Dash, library: Library) -> None:
    """Add the callbacks."""

    @app.callback(
        Output("design-kept", "children"), Input("design-keep", "n_clicks"),
        State("design-name", "value"), State("design-note", "value"),
        State("design-opened", "data"), State("design-now", "data"),
        prevent_initial_call=True,
    )  # fmt: skip
    def keep_it(
        clicks: int | None, name: str | None, note: str | None, opened: Any, now: Any
    ) -> Any:
        if not clicks:
            return dash.no_update
        return keep(library, name, note, opened, now["changes"])

    @app.callback(
        Output("design-named", "children"),
        Input({"type": "design-remove", "name": ALL}, "n_clicks"),
        prevent_initial_call=True,
    )
    def remove(clicks: list[int | None]) -> Any:
        asked = dash.ctx.triggered_id
        if not any(clicks) or not asked:
            return dash.no_update
        named.remove(library.root, asked["name"])
        return listed(library)
