"""The area "Fronts": the fronts of up to six runs, brushed, pinned, opened, compared."""

from __future__ import annotations

import contextlib
import dataclasses
import threading
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import dash
from dash import Input, Output, State, html

from models.errors import RipplefrontError
from optimizer.archive import Run
from optimizer.page import frame, pins_panel
from optimizer.page.areas import Area, Query, address
from optimizer.page.fronts_controls import area
from optimizer.page.fronts_data import Boards, variable_units
from optimizer.page.fronts_draw import counted, drawn, seen_of, subject_of
from optimizer.page.fronts_view import View, checked, view_of
from optimizer.page.library import Library

SAME = dash.no_update
DRAWN = (
    ("fronts-plane", "figure"), ("fronts-bars", "figure"), ("fronts-title", "children"),
    ("fronts-caption", "children"), ("fronts-table-data", "data"), ("fronts-there", "data"),
    ("fronts-told", "children"),
)  # fmt: skip
COUNTED = (
    ("fronts-count", "children"), ("fronts-fields-data", "data"), ("fronts-pins", "children"),
    ("fronts-query", "data"), ("fronts-asked", "data"),
)  # fmt: skip
GOING_ON = ("running", "waiting")


def layout(library: Library, query: Query) -> Any:
    """Return the area, or where runs come from if there are none."""
    names = library.names()
    if not names:
        return html.Div(
            [
                html.H1("Fronts"),
                html.P("There is no run yet. Start one in a terminal: ripplefront sweep FILE"),
            ]
        )
    view, runs = asked(library, query)
    # The browser takes a second to read its drawing code: designs are read meanwhile.
    threading.Thread(target=_read_ahead, args=(library, runs), daemon=True).start()
    return area(view, runs, runs[subject_of(runs)], names)


def _read_ahead(library: Library, runs: Sequence[Run]) -> None:
    with contextlib.suppress(RipplefrontError, OSError):  # told when they are drawn
        for run in runs:
            library.listing(run)


def asked(library: Library, query: Query) -> tuple[View, list[Run]]:
    """Return the view of an address, and its runs; without a name the newest run.

    Raises
    ------
    RipplefrontError
        If the address is malformed, or a run is not there or damaged.
    """
    view = view_of({key: str(value) for key, value in query.items()})
    names = view.runs or tuple(library.names()[:1])
    runs = [library.run(name) for name in names]
    subject = runs[subject_of(runs)] if runs else None
    if subject is not None:
        known = [c.name for c in subject.columns]
        view = checked(view, known, list(variable_units(subject)))
    return dataclasses.replace(view, runs=names), runs


def shown(
    library: Library,
    boards: Boards,
    query: Query,
    theme: str | None,
    there: Mapping[str, Any] | None = None,
) -> list[Any]:
    """Return what is drawn of a view, in the order of the outputs; figures only if changed."""
    try:
        view, runs = asked(library, query)
        found = drawn(library, seen_of(library, boards, view), view, theme)
    except RipplefrontError as error:
        return [*[SAME] * (len(DRAWN) - 1), frame.message(error)]
    now, before = _depends(view, runs, theme), there or {}
    return [
        found.plane if now["plane"] != before.get("plane") else SAME,
        found.bars if now["bars"] != before.get("bars") else SAME,
        found.title, found.caption, found.table, now, found.told,
    ]  # fmt: skip


def _depends(view: View, runs: Sequence[Run], theme: str | None) -> dict[str, list[str]]:
    """Return all that each figure follows from: a browser takes long to draw one anew."""
    entries = view.full()
    written = [_written(run.folder / "archive.npz") for run in runs]
    bars = [entries[key] for key in ("runs", "bars", "brushes", "hidden")]
    plane = [value for key, value in entries.items() if key not in ("bars", "sort")]
    return {"plane": [str(theme), *written, *plane], "bars": [str(theme), *written, *bars]}


def number(library: Library, boards: Boards, query: Query) -> list[Any]:
    """Return how many designs a view selects and what goes with it, in the order of outputs."""
    try:
        view, _ = asked(library, query)
        found = counted(seen_of(library, boards, view), view)
    except RipplefrontError:
        return [*[SAME] * (len(COUNTED) - 1), query]  # the drawing tells it
    return [found.count, found.fields, found.pins, address("", **view.query()), query]


def standing(library: Library, names: Sequence[str]) -> tuple[list[Any], str, bool]:
    """Return what changes when runs have new designs, how far they are, whether all ended."""
    stamps, told, ended = [], [], True
    for name in names:
        run = library.run(name)
        status = run.status
        stamps.append([name, _written(run.folder / "archive.npz")])
        if status["state"] in GOING_ON:
            ended = False
            told.append(_progress(name, status))
        elif status["state"] == "interrupted":
            told.append(f"{name} was interrupted.")
    return stamps, " ".join(told), ended


def _written(path: Path) -> str:
    """Return what changes whenever a file is written anew; as text, exact in the browser."""
    try:
        return str(path.stat().st_mtime_ns)
    except OSError:
        return ""


def _progress(name: str, status: Mapping[str, Any]) -> str:
    if status["state"] == "waiting":
        return f"{name} waits for its turn."
    done, planned = status.get("designs", 0), status.get("planned", 0)
    return f"{name} is being searched: {done:,} of {planned:,} designs; the front follows."


def register(app: dash.Dash, library: Library) -> None:
    """Add its callbacks."""
    boards = Boards(library)
    pins_panel.register(app, library)
    _register_browser(app)

    # Two answers to one change, one after the other: figures keep the browser busy, and the
    # number must not wait for them.
    @app.callback(
        *[Output(*place) for place in COUNTED],
        Input("fronts-view", "data"), Input("fronts-stamp", "data"),
    )  # fmt: skip
    def count(view: Mapping[str, str] | None, _: Any) -> list[Any]:
        return number(library, boards, view) if isinstance(view, dict) else [SAME] * len(COUNTED)

    @app.callback(
        *[Output(*place) for place in DRAWN],
        Input("fronts-asked", "data"), Input("theme", "data"), State("fronts-there", "data"),
    )  # fmt: skip
    def draw(view: Mapping[str, str] | None, theme: str | None, there: Any) -> list[Any]:
        if not isinstance(view, dict):
            return [SAME] * len(DRAWN)
        return shown(library, boards, view, theme, there)

    @app.callback(
        Output("fronts-stamp", "data"), Output("fronts-standing", "children"),
        Output("fronts-tick", "disabled"),
        Input("fronts-tick", "n_intervals"), State("fronts-stamp", "data"),
        State("fronts-runs", "data"),
    )  # fmt: skip
    def tick(_: Any, before: Any, names: list[str] | None) -> Any:
        stamps, told, ended = standing(library, names or [])
        if before is None or stamps == before:
            return (stamps if before is None and not ended else SAME), told, ended
        return stamps, told, ended


def _register_browser(app: dash.Dash) -> None:
    """Add what the browser does by itself."""
    for space, function, source in (
        ("fronts", "viewed", ("fronts-view", "data")),
        ("fronts", "tabled", ("fronts-table-data", "data")),
        ("fronts", "fielded", ("fronts-fields-data", "data")),
        ("fronts", "brushed", ("fronts-bars", "selectedData")),
        ("fronts", "boxed", ("fronts-plane", "selectedData")),
        ("fronts", "clicked", ("fronts-plane", "clickData")),
        ("fronts", "zoomed", ("fronts-plane", "relayoutData")),
        ("page", "keep_address", ("fronts-query", "data")),
    ):  # fmt: skip
        app.clientside_callback(
            dash.ClientsideFunction(space, function),
            Output("fronts-done", "data", allow_duplicate=True), Input(*source),
            prevent_initial_call="initial_duplicate",
        )  # fmt: skip


AREA = Area("/fronts", "Fronts", layout, register)
