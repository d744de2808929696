"""The pins being gathered: shown, checked, previewed among the stored designs, searched again.

Anything on the page offers a pin with a button whose id is ``{"type": "pin-add", "pin":
"box.height_mm <= 25"}``, once a place of the page has one of each; ``adder`` makes one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash
from dash import ALL, Input, Output, State, dcc, html

from models.errors import PinError, RipplefrontError
from models.topologies import TOPOLOGIES
from optimizer.archive import Run
from optimizer.child import child_pins
from optimizer.demands import demands
from optimizer.launch import parse_without_files
from optimizer.page import frame, jobs
from optimizer.page.areas import address
from optimizer.page.library import Library
from optimizer.pins import Scope, parse, resolved
from optimizer.quantities import quantity
from optimizer.warm import Preview, preview

MOST = 40  # pins gathered at once
LONGEST = 400  # characters of a pin
HINT = "for example  box.height_mm <= 25   or   electrolytics = none"
SAME = dash.no_update


def adder(pin: str, text: str = "pin") -> html.Button:
    """Return a button that adds a pin, given in its written form."""
    return html.Button(
        text, id={"type": "pin-add", "pin": pin}, className="pin-adder", title=f"add the pin {pin}"
    )


def panel(run: Run) -> html.Section:
    """Return the panel of the pins gathered for a re-run of ``run``; one on a page."""
    key = {"run": run.name}
    return html.Section(
        [
            html.H2("Pins"),
            html.P("What is decided. A search again keeps to it.", className="soft"),
            html.Div(id={"type": "pins-body", **key}),
            html.Div(
                [
                    html.Label(
                        [
                            "A pin to add ",
                            dcc.Input(
                                id={"type": "pins-text", **key}, type="text", value="",
                                placeholder="PATH OP VALUE", maxLength=LONGEST,
                                list="pins-names", autoComplete="off",
                            ),
                        ]
                    ),
                    html.Button("Add", id={"type": "pins-do", "what": "add"}),
                ],
                className="pins-entry",
            ),
            html.Datalist([html.Option(value=f"{n} ") for n in names(run)], id="pins-names"),
            html.Div(id={"type": "pins-said", **key}, className="pins-said"),
            html.Div(
                [
                    html.Button("Re-run with these pins", id="pins-rerun", className="main"),
                    html.Button("Remove all", id={"type": "pins-do", "what": "clear"}),
                ],
                className="pins-actions",
            ),
            html.Div(id={"type": "pins-started", **key}, role="status"),
        ],
        id="pins-panel",
        **{"aria-label": "pins"},
    )  # fmt: skip


def names(run: Run) -> list[str]:
    """Return everything of a run that can be pinned, results first."""
    paths = [v.variable.path for c in run.candidates for v in c.genes.genes]
    static = [path for c in run.candidates for path in c.structure]
    return list(dict.fromkeys([*(c.name for c in run.columns), "topology", *static, *paths]))


def check(run: Run, pins: Sequence[str]) -> tuple[str, ...]:
    """Return pins in their plain written form if a re-run of ``run`` could keep to them.

    Parameters
    ----------
    run : Run
        The parent; its own pins hold on.
    pins : Sequence of str
        Pins to add, as written.

    Raises
    ------
    PinError
        If one cannot be read or names nothing, or some contradict each other, the pins of
        the run or what its specification asks for; the text names them.
    """
    if len(pins) > MOST or any(len(text) > LONGEST for text in pins):
        raise PinError(
            f"there are more than {MOST} pins, or one has more than {LONGEST} characters.\n"
            "  Remove some."
        )
    written = tuple(dict.fromkeys(str(parse(text)) for text in pins))
    scopes = [
        Scope(c.topology, c.structure, tuple(g.variable for g in c.genes.genes))
        for c in run.candidates
    ]
    asked = demands(parse_without_files(run))
    resolved(child_pins(run, written, ()), scopes, [c.name for c in run.columns], asked)
    return written


def added(run: Run | None, pins: Sequence[str], text: str) -> list[str]:
    """Return the pins with one more; without a run nothing but its form is checked.

    Raises
    ------
    PinError
        If it cannot be read, or clashes with what holds.
    """
    fresh = str(parse(text[: LONGEST + 1]))
    if fresh in pins:
        return list(pins)
    if run is not None:
        check(run, [*pins, fresh])
    return [*pins, fresh]


def body(run: Run, pins: Sequence[str]) -> list[Any]:
    """Return the pins as removable items, and what they leave of the stored designs."""
    items: list[Any] = [_held(text) for text in run.pins] + [_item(text) for text in pins]
    if not items:
        return [html.P(f"None yet. Add one where you see it, or write it: {HINT}.")]
    told: list[Any] = [html.Ul(items, className="items pins-items")]
    if pins:
        try:
            told += _previewed(preview(run, [*run.pins, *pins]))
        except RipplefrontError as error:
            told.append(frame.message(error))
    return told


def _held(text: str) -> html.Li:
    return html.Li([text, html.Span(" of this run", className="soft")], className="pins-held")


def _item(text: str) -> html.Li:
    return html.Li(
        [
            text,
            html.Button(
                "×", id={"type": "pin-remove", "pin": text}, className="quiet",
                title=f"remove the pin {text}", **{"aria-label": f"remove the pin {text}"},
            ),
        ]
    )  # fmt: skip


def _previewed(found: Sequence[Preview]) -> list[Any]:
    stored, left = sum(p.stored for p in found), sum(p.left for p in found)
    rows = [
        html.Tr(
            [
                html.Th(_title(p.topology), scope="row"),
                html.Td(f"{p.left:,}", className="n"),
                html.Td(_best(p.efficiency, "%"), className="n"),
                html.Td(_best(p.density, "kW/l"), className="n"),
            ]
        )
        for p in found
    ]
    heads = ("topology", "left", "best efficiency", "best density")
    return [
        html.P(
            [
                html.Strong(f"Preview: {left:,} of {stored:,} stored designs are left. "),
                "A re-run can do better.",
            ],
            role="status",
        ),
        html.Div(
            html.Table(
                [
                    html.Thead(html.Tr([html.Th(h, scope="col", className="n" if k else "")
                                        for k, h in enumerate(heads)])),
                    html.Tbody(rows),
                ]
            ),
            className="wide",
        ),
    ]  # fmt: skip


def _title(topology: str) -> str:
    return TOPOLOGIES[topology].tag if topology in TOPOLOGIES else topology


def _best(value: float | None, unit: str) -> str:
    if value is None:
        return "–"
    return f"{value:.2f} %" if unit == "%" else quantity(value, unit)


def started(library: Library, run: Run, pins: Sequence[str]) -> list[Any]:
    """Start a re-run of ``run`` with more pins; return where to see it.

    Raises
    ------
    RipplefrontError
        For pins that clash, or where too many searches are running already.
    """
    written = list(check(run, pins))
    name = jobs.rerun(library, run.name, written)
    both = f"{run.name},{name}"
    return [
        html.P([html.Strong(name), " is being searched in the background."]),
        html.P(
            [
                dcc.Link("its front beside the old one", href=address("/fronts", runs=both)),
                " · ",
                dcc.Link("what the pins cost", href=address("/compare", runs=both)),
            ]
        ),
    ]


def register(app: dash.Dash, library: Library) -> None:
    """Add the callbacks of the panel, once."""
    text, said = {"type": "pins-text", "run": ALL}, {"type": "pins-said", "run": ALL}

    @app.callback(
        Output("pins", "data"), Output(said, "children"), Output(text, "value"),
        Output("status", "children", allow_duplicate=True),
        Input({"type": "pin-add", "pin": ALL}, "n_clicks"),
        Input({"type": "pin-remove", "pin": ALL}, "n_clicks"),
        Input({"type": "pins-do", "what": ALL}, "n_clicks"), Input(text, "n_submit"),
        State(text, "value"), State("pins", "data"), State(said, "id"),
        prevent_initial_call=True,
    )  # fmt: skip
    def gather(*given: Any) -> Any:
        written, pins, panels = given[-3:]
        if not panels and not dash.ctx.triggered[0]["value"]:
            return SAME, [], [], SAME
        run = library.run(panels[0]["run"]) if panels else None
        pins, told, left, spoken = gathered(
            run, dash.ctx.triggered_id, dash.ctx.triggered[0]["value"],
            text=(written or [""])[0] or "", pins=pins or [],
        )  # fmt: skip
        return pins, [told for _ in panels], [left for _ in panels], spoken

    @app.callback(
        Output({"type": "pins-body", "run": ALL}, "children"),
        Input("pins", "data"), State({"type": "pins-body", "run": ALL}, "id"),
    )  # fmt: skip
    def draw(pins: list[str] | None, panels: list[dict[str, str]]) -> list[Any]:
        return [body(library.run(key["run"]), pins or []) for key in panels]

    @app.callback(
        Output({"type": "pins-started", "run": ALL}, "children"),
        Input("pins-rerun", "n_clicks"),
        State("pins", "data"), State({"type": "pins-started", "run": ALL}, "id"),
        prevent_initial_call=True,
    )  # fmt: skip
    def rerun(clicks: int | None, pins: list[str] | None, panels: list[dict[str, str]]) -> Any:
        if not clicks:
            return [SAME for _ in panels]
        try:
            return [started(library, library.run(key["run"]), pins or []) for key in panels[:1]]
        except RipplefrontError as error:
            return [frame.message(error)]


def gathered(
    run: Run | None, source: Any, clicks: int | None, *, text: str, pins: Sequence[str]
) -> tuple[Any, Any, Any, Any]:
    """Return the pins, a message, the text field and what to announce, after a click or Enter.

    Parameters
    ----------
    run : Run, optional
        The run whose panel is shown, if any.
    source : Any
        Id of what was used.
    clicks : int, optional
        How often; nothing where a button was only drawn.
    text : str
        What the text field holds.
    pins : Sequence of str
        The pins so far.
    """
    if not clicks or not isinstance(source, dict):
        return SAME, SAME, SAME, SAME
    if source.get("what") == "clear":
        return [], None, SAME, "all pins removed"
    if source["type"] == "pin-remove":
        return [p for p in pins if p != source["pin"]], None, SAME, f"removed {source['pin']}"
    offered = source.get("pin", "")
    if not (offered or text).strip():
        return SAME, None, SAME, SAME
    try:
        found = added(run, pins, offered or text)
    except RipplefrontError as error:
        if run is None:  # no panel to say it in
            raise
        return SAME, frame.message(error), SAME, SAME
    return found, None, SAME if offered else "", f"pinned {offered or found[-1]}"
