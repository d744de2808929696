"""What the area "Fronts" holds before anything is drawn: choices, places, stores."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html

from optimizer.archive import Run
from optimizer.figures import CONFIG
from optimizer.page import pins_panel
from optimizer.page.fronts_data import variable_units
from optimizer.page.fronts_draw import parent_of
from optimizer.page.fronts_table import tag
from optimizer.page.fronts_view import CLOUDS, FRAMES, GUIDES, MOST_RUNS, View, axis_of
from optimizer.page.run_files import run_files

SHORT = {"0": "whole fronts", "5": "5 of each", "9": "9 of each", "15": "15 of each"}
TALL = "clamp(380px, 58vh, 900px)"
PERIOD = 3000  # [ms] between two looks at a run that is being written
PLANE = {
    **CONFIG,
    "doubleClick": "autosize",
    "modeBarButtonsToRemove": ["lasso2d", "autoScale2d", "resetScale2d"],
}


def choices(run: Run) -> dict[str, str]:
    """Return the reported quantities of a run with their titles, by name."""
    return {c.name: axis_of(c.name, c.unit).axis for c in run.columns}


def measured(run: Run) -> dict[str, str]:
    """Return quantities and variables of a run with their titles, by name."""
    found = {n: axis_of(n, u).axis for n, u in sorted(variable_units(run).items())}
    return {**choices(run), **found}


def area(view: View, runs: Sequence[Run], subject: Run, names: Sequence[str]) -> html.Div:
    """Return the area around what is drawn later.

    Parameters
    ----------
    view : View
        What is asked for.
    runs : Sequence of Run
        The runs shown; ``subject`` is the one looked at.
    names : Sequence of str
        All runs there are, newest first.
    """
    return html.Div(
        [
            *_stores(view),
            html.Div([html.H1("Fronts"), _runs(runs, subject, names)], className="fronts-head"),
            html.P(id="fronts-standing", className="soft"),
            html.Div(id="fronts-told", role="status"),
            _choices(view, subject),
            html.Div([_main(), _side(subject)], className="fronts-body"),
            run_files(subject.name),
        ],
        className="fronts",
    )


def _stores(view: View) -> list[Any]:
    names = ("asked", "there", "query", "table-data", "fields-data", "stamp", "done")
    return [
        dcc.Store(id="fronts-view", data=view.full()),
        dcc.Store(id="fronts-runs", data=list(view.runs)),
        *[dcc.Store(id=f"fronts-{name}") for name in names],
        dcc.Interval(id="fronts-tick", interval=PERIOD),
    ]


def _runs(runs: Sequence[Run], subject: Run, names: Sequence[str]) -> html.Details:
    """Return which runs are shown, and all others to be laid over or shown alone."""
    shown = [run.name for run in runs]
    parent = parent_of(subject)
    rows = [_run(name, shown, parent) for name in dict.fromkeys([*shown, *names])]
    return html.Details(
        [
            html.Summary(["run ", html.Strong(subject.name),
                          *[f" · over it {n}" for n in shown if n != subject.name]]),
            html.P(f"Up to {MOST_RUNS} runs are drawn over each other, a parent dotted.",
                   className="soft"),
            html.Ul(rows, className="fronts-runs"),
        ],
        className="fronts-choose",
    )  # fmt: skip


def _run(name: str, shown: Sequence[str], parent: str) -> html.Li:
    buttons = []
    if list(shown) != [name]:
        buttons.append(_go("show alone", [name], name))
    if name in shown and len(shown) > 1:
        buttons.append(_go("take away", [n for n in shown if n != name], name))
    if name not in shown and len(shown) < MOST_RUNS:
        buttons.append(_go("lay over", [*shown, name], name))
    text = html.Strong(name) if name in shown else name
    return html.Li([text, " (parent)" if name == parent else "", *buttons])


def _go(text: str, runs: Sequence[str], name: str) -> html.Button:
    return html.Button(
        text, className="quiet",
        **{"data-runs": ",".join(runs), "aria-label": f"{text}: {name}"},
    )  # fmt: skip


def _choices(view: View, run: Run) -> html.Div:
    axes = choices(run)
    kinds = dict.fromkeys(c.topology for c in run.candidates)
    return html.Div(
        [
            _select("across", "x", axes, view.x),
            _select("up", "y", axes, view.y),
            _select("colour", "colour", {"": "topology", **axes}, view.colour),
            _select("behind the fronts", "cloud", CLOUDS, view.cloud),
            _select("axes reach over", "frame", FRAMES, view.frame),
            _select("table and marks", "short", SHORT, str(view.short)),
            _toggles("guides", "guides", GUIDES, view.guides, shown=True),
            _toggles("topologies", "hidden", {k: tag(k) for k in kinds}, view.hidden, shown=False)
            if len(kinds) > 1 else None,
            html.Button("Whole fronts again", className="quiet", id="fronts-whole",
                        **{"data-clear": "window"}),
        ],
        className="fronts-choices",
    )  # fmt: skip


def _select(text: str, key: str, options: Mapping[str, str], value: str) -> html.Label:
    return html.Label(
        [
            html.Span(text),
            html.Select(
                [html.Option(t, value=k, selected=k == value) for k, t in options.items()],
                **{"data-view": key},
            ),
        ]
    )


def _toggles(
    text: str, key: str, options: Mapping[str, str], held: Sequence[str], *, shown: bool
) -> html.Div:
    """Return buttons that put a value on a list of the view; pressed where it is shown."""
    return html.Div(
        [
            html.Span(text),
            html.Div(
                [
                    html.Button(
                        t,
                        **{"data-toggle": key, "data-value": k,
                           "data-means": "shown" if shown else "hidden",
                           "aria-pressed": str((k in held) == shown).lower()},
                    )
                    for k, t in options.items()
                ]
            ),
        ],
        role="group",
        className="fronts-toggles",
        **{"aria-label": text},
    )  # fmt: skip


def _main() -> html.Div:
    return html.Div(
        [
            html.Div(
                [html.H2(id="fronts-title"), html.P(id="fronts-count", role="status")],
                className="fronts-line",
            ),
            dcc.Graph(id="fronts-plane", config=PLANE, style={"height": TALL}),
            html.Div(id="fronts-caption", className="fronts-caption soft"),
            html.Div(
                [
                    html.H2("The fronts as a table"),
                    html.A("Compare", id="fronts-compare", className="fronts-button"),
                    html.Span(id="fronts-picked", className="soft"),
                ],
                className="fronts-line",
            ),
            html.P("Arrows move, Enter opens the design, Space picks it for a comparison.",
                   className="soft fronts-keys"),
            html.Div(id="fronts-table", className="fronts-table"),
        ],
        className="fronts-main",
    )  # fmt: skip


def _side(run: Run) -> html.Aside:
    return html.Aside(
        [
            html.Div(_brushes(run), className="fronts-brushes"),
            pins_panel.panel(run),
        ],
        className="fronts-side",
        **{"aria-label": "brushes and pins"},
    )


def _brushes(run: Run) -> list[Any]:
    return [
        html.H2("Brushes"),
        html.P("Drag across a histogram, or type the ends. Figure and table follow.",
               className="soft"),
        dcc.Graph(id="fronts-bars", config={**CONFIG, "displayModeBar": False}),
        html.Div(id="fronts-fields"),
        _adder("a histogram more, or less", "bars", measured(run)),
        _adder("a column of the table more, or less", "columns", choices(run)),
        html.Div(id="fronts-pins", className="fronts-pins"),
    ]  # fmt: skip


def _adder(text: str, key: str, options: Mapping[str, str]) -> html.Label:
    """Return a choice that puts a quantity on a list of the view, or takes it off."""
    return html.Label(
        [
            html.Span(text),
            html.Select(
                [html.Option("choose …", value=""),
                 *[html.Option(t, value=k) for k, t in options.items()]],
                **{"data-add": key},
            ),
        ],
        className="fronts-adder",
    )  # fmt: skip
