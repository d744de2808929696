"""The area "Runs": every run with its state, those being searched, and one of them opened."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from typing import Any

import dash
from dash import MATCH, ClientsideFunction, Input, Output, State, dcc, html

from models.errors import RunError
from optimizer.page import frame, runs_actions, runs_limits, runs_list
from optimizer.page.areas import Area, Query, address
from optimizer.page.library import Library
from optimizer.page.runs_facts import Facts
from optimizer.page.runs_live import Trends
from optimizer.page.runs_view import Content, Opened, Overview, changed, marks, merged

EVERY = 2000  # [ms] between two looks
MOST_PICKS = 6  # runs compared at once


def layout(library: Library, query: Query) -> Any:
    """Return the area: all runs, or the one that the address names."""
    name, picks = query.get("run", ""), _picks(library, query.get("picks", ""))
    if name:
        library.folder(name)
    view = _view(library, name, picks)
    # Before the content: what changes while it is drawn is drawn anew at the next look.
    shown = marks(view.pieces())
    head = [] if name else [html.H1("Runs")]
    return html.Div(
        [
            dcc.Interval(id="runs-tick", interval=EVERY),
            dcc.Store(id="runs-open", data=name),
            dcc.Store(id="runs-picks", data=picks),
            dcc.Store(id="runs-chosen"),
            dcc.Store(id="runs-shown", data=shown),
            dcc.Store(id="runs-query"),
            dcc.Store(id="runs-done"),
            *head,
            html.Div(view.body(), id="runs-body"),
        ],
        className="runs",
    )


def _view(library: Library, name: str, picks: Sequence[str]) -> Overview | Opened:
    facts, trends = _kept(library)
    entries = facts.every()
    if name:
        return Opened(facts, trends, entries, name)
    return Overview(facts, trends, entries, picks)


@functools.lru_cache(maxsize=8)
def _kept(library: Library) -> tuple[Facts, Trends]:
    """Return what is known of the runs from earlier looks."""
    return Facts(library), Trends()


def _picks(library: Library, text: str) -> list[str]:
    known = set(library.names())
    return list(dict.fromkeys(n for n in text.split(",") if n in known))[:MOST_PICKS]


def looked(
    library: Library, name: str, picks: Sequence[str], shown: Mapping[str, str]
) -> tuple[Content, dict[str, str]]:
    """Return what to set at places of the page, by id, and the marks of what it then shows.

    Parameters
    ----------
    library : Library
        The runs.
    name : str
        The run that is open; empty for the list.
    picks : Sequence of str
        Runs picked for a comparison.
    shown : Mapping
        Marks of what the page shows.
    """
    pieces = _view(library, name, picks).pieces()
    return merged(piece.content() for piece in changed(pieces, shown)), marks(pieces)


def picked(picks: Sequence[str], name: str) -> list[str]:
    """Return the picks after one was taken or given back; all are given back by no name.

    Raises
    ------
    RunError
        If there are as many as can be compared already.
    """
    if not name:
        return []
    if name in picks:
        return [p for p in picks if p != name]
    if len(picks) >= MOST_PICKS:
        raise RunError(
            f"{len(picks)} runs are picked, and no more than {MOST_PICKS} can be compared.\n"
            "  Give one back first."
        )
    return [*picks, name]


def register(app: dash.Dash, library: Library) -> None:
    """Add its callbacks."""
    runs_actions.register(app, library)

    @app.callback(
        Output("runs-shown", "data"), Input("runs-tick", "n_intervals"),
        State("runs-open", "data"), State("runs-picks", "data"), State("runs-shown", "data"),
        prevent_initial_call=True,
    )  # fmt: skip
    def look(ticks: int | None, name: str, picks: list[str], shown: dict[str, str]) -> Any:
        fresh, now = looked(library, name, picks, shown)
        for place, properties in fresh:
            dash.set_props(place, properties)
        return now if now != shown else dash.no_update

    @app.callback(
        Output("runs-picks", "data"), Output("runs-picked", "children"),
        Output("runs-query", "data"),
        Input("runs-chosen", "data"), State("runs-picks", "data"), prevent_initial_call=True,
    )  # fmt: skip
    def choose(chosen: dict[str, Any] | None, picks: list[str]) -> Any:
        if not chosen:
            return dash.no_update, dash.no_update, dash.no_update
        try:
            after = picked(picks, chosen["run"])
        except RunError as error:
            return picks, [*runs_list.picked(picks), frame.message(error)], dash.no_update
        return after, runs_list.picked(after), address("", picks=",".join(after)) or "?"

    @app.callback(
        Output({"type": "runs-limits", "run": MATCH}, "children"),
        Input({"type": "runs-limits", "run": MATCH}, "id"),
    )  # fmt: skip
    def limit(place: dict[str, str]) -> Any:
        return runs_limits.limits(library, place["run"])

    for space, function, source in (
        ("page", "keep_address", "runs-query"), ("runs", "mark", "runs-picks"),
        ("runs", "draw", "runs-rows"), ("runs", "patch", "runs-fresh"),
    ):  # fmt: skip
        app.clientside_callback(
            ClientsideFunction(space, function),
            Output("runs-done", "data", allow_duplicate=True), Input(source, "data"),
            prevent_initial_call="initial_duplicate",
        )  # fmt: skip


AREA = Area("/", "Runs", layout, register)
