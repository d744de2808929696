"""The area "Compare": designs side by side, and runs with the price of what was pinned."""

from __future__ import annotations

from typing import Any

import dash
from dash import ALL, Input, Output, State, dcc, html

from optimizer.page import compare_choosers as choosers
from optimizer.page import compare_design_view, compare_exports, compare_limits, compare_runs
from optimizer.page.areas import Area, Query
from optimizer.page.compare_address import Asked, asked
from optimizer.page.library import Library

PERIOD = 2000  # [ms] between looks at a run that goes on
KINDS = ("designs", "runs")
LATER = "What limits each is being worked out …"
SAME = dash.no_update


def layout(library: Library, query: Query) -> Any:
    """Return the area; what is compared is drawn by its callbacks."""
    now = asked(query)
    parts = {"designs": _designs(library, now), "runs": _runs(library, now)}
    order = KINDS if now.designs or not now.runs else KINDS[::-1]
    return html.Div(
        [
            dcc.Store(id="compare-designs-asked", data=list(now.designs)),
            dcc.Store(id="compare-runs-asked", data=list(now.runs)),
            dcc.Store(id="compare-stamp", data=compare_runs.stamp(library, now.runs)),
            dcc.Store(id="compare-query"),
            dcc.Store(id="compare-drawn"),
            dcc.Store(id="compare-done"),
            html.H1("Compare"),
            *[parts[kind] for kind in order],
        ],
        id="compare",
        className="compare" if now.everything else "compare folded",
    )


def _designs(library: Library, now: Asked) -> html.Section:
    return html.Section(
        [
            html.H2("Designs"),
            choosers.chooser(library, "designs", now.designs),
            dcc.Checklist(
                id="compare-rows", options=[{"label": "show rows that are alike", "value": "all"}],
                value=["all"] if now.everything else [],
            ),
            html.Div(id="compare-designs"),
        ],
        **{"aria-label": "designs side by side"},
    )  # fmt: skip


def _runs(library: Library, now: Asked) -> html.Section:
    return html.Section(
        [
            html.H2("Runs"),
            choosers.chooser(library, "runs", now.runs),
            html.Ul(id="compare-states", className="compare-states soft"),
            html.Div(id="compare-runs"),
            html.Div(id="compare-limits"),
            dcc.Interval(id="compare-tick", interval=PERIOD, disabled=True),
        ],
        **{"aria-label": "runs side by side"},
    )


def register(app: dash.Dash, library: Library) -> None:
    """Add its callbacks and files."""
    compare_exports.register(app, library)
    _register_choosers(app, library)
    _register_views(app, library)
    _register_browser(app)

    @app.callback(
        Output("compare-query", "data"),
        Input("compare-designs-asked", "data"), Input("compare-runs-asked", "data"),
        Input("compare-rows", "value"), prevent_initial_call=True,
    )  # fmt: skip
    def query(designs: list[str], runs: list[str], rows: list[str] | None) -> str:
        return Asked(tuple(designs), tuple(runs), "all" in (rows or ())).query or "?"

    @app.callback(
        Output("compare-states", "children"), Output("compare-stamp", "data"),
        Output("compare-tick", "disabled"),
        Input("compare-tick", "n_intervals"), Input("compare-runs-asked", "data"),
        State("compare-stamp", "data"),
    )  # fmt: skip
    def look(_: int | None, names: list[str], before: Any) -> Any:
        marks = compare_runs.stamp(library, names)
        told = compare_runs.states(compare_runs.opened(library, names)[0])
        same = before == marks
        return told, SAME if same else marks, compare_runs.settled(marks)


def _register_choosers(app: dash.Dash, library: Library) -> None:
    @app.callback(Output("compare-offered", "children"), Input("compare-from", "value"))
    def offer(source: str | None) -> Any:
        return choosers.offered(library, source)

    for kind, source in (("designs", "compare-from"), ("runs", "compare-run")):
        fields = [State(source, "value")]
        used = [
            Input({"type": choosers.FORWARD, "what": kind}, "n_clicks"),
            Input({"type": choosers.DROP, "what": kind, "entry": ALL}, "n_clicks"),
            Input({"type": choosers.FIRST, "what": kind, "entry": ALL}, "n_clicks"),
        ]
        if kind == "designs":
            fields.append(State("compare-design", "value"))
            used.append(Input("compare-design", "n_submit"))
        _register_chooser(app, library, kind, used, fields)


def _register_chooser(
    app: dash.Dash, library: Library, kind: str, used: list[Input], fields: list[State]
) -> None:
    place = f"compare-{kind}"
    field = "compare-design" if kind == "designs" else "compare-run"

    @app.callback(
        Output(f"{place}-asked", "data"), Output(f"{place}-chips", "children"),
        Output(f"{place}-said", "children"), Output("status", "children", allow_duplicate=True),
        Output(field, "value"), *used, State(f"{place}-asked", "data"), *fields,
        prevent_initial_call=True,
    )  # fmt: skip
    def choose(*given: Any) -> Any:
        entries, source, *text = given[len(used) :]
        button = dash.ctx.triggered_id
        if not button or not dash.ctx.triggered[0]["value"]:
            return [SAME] * 5
        if isinstance(button, str):  # Enter in the field
            button = {"type": choosers.FORWARD, "what": kind}
        found, told, spoken = choosers.chosen(
            library, button, entries, source, text[0] if text else None
        )
        if found is None:
            return SAME, SAME, told, SAME, SAME
        following = "" if kind == "designs" else choosers.next_run(library, found)
        return found, choosers.chips(kind, found), told, spoken, following


def _register_views(app: dash.Dash, library: Library) -> None:
    @app.callback(
        Output("compare-designs", "children"),
        Input("compare-designs-asked", "data"), Input("theme", "data"),
    )  # fmt: skip
    def designs(entries: list[str], theme: str | None) -> Any:
        return compare_design_view.view(library, entries, theme)

    @app.callback(
        Output("compare-runs", "children"), Output("compare-drawn", "data"),
        Output("compare-limits", "children", allow_duplicate=True),
        Input("compare-runs-asked", "data"), Input("theme", "data"),
        Input("compare-stamp", "data"), prevent_initial_call="initial_duplicate",
    )  # fmt: skip
    def runs(names: list[str], theme: str | None, _: Any) -> Any:
        waiting = html.P(LATER, className="soft") if len(names) > 1 else None
        return compare_runs.view(library, names, theme), names, waiting

    @app.callback(
        Output("compare-limits", "children"), Input("compare-drawn", "data"),
        prevent_initial_call=True,
    )  # fmt: skip
    def limits(names: list[str]) -> Any:
        found, _ = compare_runs.opened(library, names)
        return compare_limits.limits(library, found) if len(found) > 1 else None


def _register_browser(app: dash.Dash) -> None:
    """Add what the browser does by itself."""
    app.clientside_callback(
        dash.ClientsideFunction("page", "keep_address"),
        Output("compare-done", "data"), Input("compare-query", "data"),
        prevent_initial_call=True,
    )  # fmt: skip
    for kind in KINDS:
        app.clientside_callback(
            dash.ClientsideFunction("compare", "keep_focus"),
            Output("compare-done", "data", allow_duplicate=True),
            Input(f"compare-{kind}-chips", "children"), State(f"compare-{kind}-chips", "id"),
            prevent_initial_call=True,
        )  # fmt: skip
    app.clientside_callback(
        dash.ClientsideFunction("compare", "fold"),
        Output("compare", "className"), Input("compare-rows", "value"),
        prevent_initial_call=True,
    )  # fmt: skip


AREA = Area("/compare", "Compare", layout, register)
