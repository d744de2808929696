"""Stopping a run and going on with it, each confirmed where it is asked for."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash
from dash import ALL, MATCH, Input, Output, State, html

from models.errors import RipplefrontError
from optimizer.engine import CHECKPOINT_EVERY
from optimizer.page import frame, jobs
from optimizer.page.library import Library
from optimizer.page.runs_facts import Entry

STOP, NOW, RESUME = "stop", "now", "resume"


def actions(entry: Entry, others: Sequence[Entry]) -> list[Any]:
    """Return what can be done with a run as it stands.

    Parameters
    ----------
    entry : Entry
        The run.
    others : Sequence of Entry
        All runs; those of the same sweep are worked on by the same process.
    """
    mates = [e for e in others if entry.sweep and e.sweep == entry.sweep]
    if entry.held:
        return _stops(entry, sum(e.held for e in mates))
    if not entry.resumable:
        return []
    left = max(entry.planned - entry.designs, 0)
    more = sum(e.resumable for e in mates) - 1
    also = f" So do {more} other unfinished runs of its sweep, in turn." if more > 0 else ""
    words = f"It goes on where it was saved, with {left:,} designs left.{also}"
    return [_asked("Resume", words, "Resume it", entry.name, RESUME)]


def _stops(entry: Entry, held: int) -> list[Any]:
    whole = f" The {held} unfinished runs of its sweep stop with it." if held > 1 else ""
    lost = f"up to {CHECKPOINT_EVERY:.0f} seconds of search"
    return [
        _asked(
            "Stop",
            f"It finishes its generation, saves everything and ends.{whole} It can be resumed.",
            "Stop it",
            entry.name,
            STOP,
        ),
        _asked(
            "Stop now",
            f"It ends at once; {lost} since the last save are lost.{whole} It can be resumed.",
            "Stop it now",
            entry.name,
            NOW,
        ),
    ]


def _asked(title: str, words: str, button: str, name: str, what: str) -> html.Details:
    """Return an action that unfolds what it will do, and the button that does it."""
    return html.Details(
        [
            html.Summary(title),
            html.P(words),
            html.Button(
                button, id={"type": "runs-do", "run": name, "what": what},
                className="main" if what == RESUME else "",
            ),
        ],
        className="runs-action",
    )  # fmt: skip


def done(library: Library, name: str, what: str) -> Any:
    """Do it, and return what to say."""
    try:
        if what == RESUME:
            jobs.resume(library, name)
            return html.P("It goes on in the background, in a moment.")
        if jobs.stop(library, name, now=what == NOW):
            return html.P("It has stopped.")
        return html.P("It was asked to stop, and finishes its generation first.")
    except RipplefrontError as error:
        return frame.message(error)


def register(app: dash.Dash, library: Library) -> None:
    """Add the callbacks."""

    @app.callback(
        Output({"type": "runs-said", "run": MATCH}, "children"),
        Input({"type": "runs-do", "run": MATCH, "what": ALL}, "n_clicks"),
        State({"type": "runs-said", "run": MATCH}, "id"),
        prevent_initial_call=True,
    )  # fmt: skip
    def act(clicks: list[int | None], place: dict[str, str]) -> Any:
        source = dash.ctx.triggered_id
        if not source or not any(clicks) or not dash.ctx.triggered[0]["value"]:
            return dash.no_update
        return done(library, place["run"], source["what"])
