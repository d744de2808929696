"""The area "Design": one open design, its groups, and every value of it to vary by hand."""

from __future__ import annotations

from typing import Any

import dash
from dash import Input, Output, State, dcc, html

from models.errors import ModelError, RipplefrontError
from optimizer.page import design_saved, design_watts, frame, pins_panel
from optimizer.page.areas import Area, Query
from optimizer.page.design_address import changes_in
from optimizer.page.design_head import Open, changes_box, head
from optimizer.page.design_inputs import described, sorted_changes
from optimizer.page.design_vary import GROUPS, drawing, opened, varied
from optimizer.page.library import Library

FIRST = design_watts.NAME


def layout(library: Library, query: Query) -> Any:
    """Return the area: an open design, or the list of those kept under a name."""
    if not query.get("run") or not query.get("id"):
        return _without(library)
    base = opened(library, query["run"], query["id"], {})
    good, bad = sorted_changes(base.base, changes_in(query.get("set")))
    try:
        now = opened(library, query["run"], query["id"], good) if good else base
    except (ModelError, ArithmeticError):
        now, bad = base, {"": "the changes in the address cannot be worked out together"}
    left_out = [html.P(f"{k}: {v}".removeprefix(": ")) for k, v in bad.items()]
    groups = query["group"] if query.get("group") in GROUPS else FIRST
    return html.Div(
        [
            *_stores(now, groups),
            html.Div(head(now), id="design-head"),
            html.Div([html.Strong("Left out of the address:"), *left_out], className="mistake",
                     role="alert") if left_out else None,
            html.Div(
                [
                    html.Div(
                        [
                            html.Section(changes_box(now), id="design-changes",
                                         **{"aria-label": "what changed"}),
                            _jumps(),
                            *[_section(name, name == groups) for name in GROUPS],
                        ],
                        className="design-main",
                    ),
                    _side(now),
                ],
                className="design-body",
            ),
        ],
        className="design",
    )  # fmt: skip


def _stores(now: Open, group: str) -> list[Any]:
    same = {"run": now.run.name, "id": now.stored}
    return [
        dcc.Store(id="design-opened", data=same),
        dcc.Store(id="design-fields", data={**same, **described(now.base, now.changes)}),
        dcc.Store(id="design-asked"),
        dcc.Store(id="design-answer"),
        dcc.Store(id="design-now", data={"changes": dict(now.changes), "n": 0}),
        dcc.Store(id="design-unfolded", data={"open": [group], "last": group}),
        dcc.Store(id="design-there", data={}),
        dcc.Store(id="design-moved"),
        dcc.Store(id="design-query"),
        dcc.Store(id="design-done"),
    ]


def _jumps() -> html.Nav:
    """Return the wrapping row of groups to jump to."""
    return html.Nav(
        [
            html.A(title, href=f"#design-{name}", className="design-jump", **{"data-group": name})
            for name, (title, _) in GROUPS.items()
        ],
        className="design-jumps",
        **{"aria-label": "groups of this design"},
    )


def _section(name: str, unfolded: bool) -> html.Section:
    """Return a group as a section that folds; its content is drawn when it is opened."""
    return html.Section(
        [
            html.H2(
                html.Button(
                    GROUPS[name][0], className="design-fold",
                    **{"aria-expanded": str(unfolded).lower(),
                       "aria-controls": f"design-{name}-body", "data-group": name},
                )
            ),
            html.Div(
                html.Div(id={"type": "design-body", "name": name}),
                id=f"design-{name}-body", hidden=not unfolded,
            ),
        ],
        id=f"design-{name}",
        className="design-group",
    )  # fmt: skip


def _side(now: Open) -> html.Aside:
    """Return what stands beside the groups: the fields to vary, keeping, pins."""
    return html.Aside(
        [
            html.H2("Vary by hand"),
            html.P(id="design-status", role="status", className="soft"),
            html.Div(
                id="design-offer",
                role="group",
                hidden=True,
                **{"aria-label": "pins that suit this value"},
            ),
            html.Div(id="design-vary"),
            design_saved.keeper(),
            pins_panel.panel(now.run),
        ],
        className="design-side",
        **{"aria-label": "vary by hand, keep, pins"},
    )


def _without(library: Library) -> html.Div:
    return html.Div(
        [
            html.H1("Design"),
            html.P(
                [
                    "No design is open. Choose one from ",
                    dcc.Link("the fronts", href="/fronts"),
                    ", or one that was kept under a name.",
                ]
            ),
            html.Div(design_saved.listed(library), id="design-named"),
        ]
    )


SAME = dash.no_update
BODIES = [{"type": "design-body", "name": n} for n in GROUPS]


def answered(
    library: Library, asked: Any, *, now: Any, unfolded: Any, theme: str | None, there: Any
) -> list[Any]:
    """Return everything that a change of fields brings up to date, in the order of outputs.

    Head, what changed, state, answer to the fields, query, status, new data by id, ids
    that groups show, and the groups that have to be drawn anew.
    """
    if not asked:
        return [SAME] * (8 + len(GROUPS))
    try:
        answer = varied(library, asked, now)
        after = answer.after
        if after is None:
            return [SAME, SAME, SAME, answer.fields, SAME, answer.told, SAME, SAME,
                    *[SAME] * len(GROUPS)]  # fmt: skip
        drawn = drawing(
            library, asked, after.changes,
            theme=theme or "light", names=unfolded["open"], there=there,
        )  # fmt: skip
    except RipplefrontError as error:
        return [*[SAME] * 5, frame.message(error), *[SAME] * (2 + len(GROUPS))]
    state = {"changes": dict(after.changes), "n": asked["n"]}
    return [head(after), changes_box(after), state, answer.fields, after.query, answer.told,
            drawn.moved, drawn.ids, *drawn.contents]  # fmt: skip


def redrawn(
    library: Library, place: Any, now: Any, *, theme: str | None, names: list[str], there: Any
) -> list[Any]:
    """Return the ids that groups show, figures to draw later, and the groups, drawn anew."""
    try:
        drawn = drawing(
            library, place, now["changes"], theme=theme or "light", names=names, there={}
        )
    except RipplefrontError as error:
        return [SAME, SAME, *[frame.message(error) if n in names else SAME for n in GROUPS]]
    return [{**there, **drawn.ids}, drawn.moved, *drawn.contents]


def register(app: dash.Dash, library: Library) -> None:
    """Add its callbacks."""
    design_saved.register(app, library)
    _register_browser(app)

    @app.callback(
        Output("design-head", "children"), Output("design-changes", "children"),
        Output("design-now", "data"), Output("design-answer", "data"),
        Output("design-query", "data"), Output("design-status", "children"),
        Output("design-moved", "data"),
        Output("design-there", "data", allow_duplicate=True),
        *[Output(b, "children", allow_duplicate=True) for b in BODIES],
        Input("design-asked", "data"), State("design-now", "data"),
        State("design-unfolded", "data"), State("theme", "data"), State("design-there", "data"),
        prevent_initial_call=True,
    )  # fmt: skip
    def vary(asked: Any, now: Any, unfolded: Any, theme: str | None, there: Any) -> list[Any]:
        return answered(library, asked, now=now, unfolded=unfolded, theme=theme, there=there)

    @app.callback(
        Output("design-there", "data"), Output("design-moved", "data", allow_duplicate=True),
        *[Output(b, "children") for b in BODIES],
        Input("design-unfolded", "data"), Input("theme", "data"),
        State("design-now", "data"), State("design-opened", "data"),
        State("design-there", "data"), prevent_initial_call="initial_duplicate",
    )  # fmt: skip
    def draw(unfolded: Any, theme: str | None, now: Any, place: Any, there: Any) -> list[Any]:
        names = unfolded["open"]
        if dash.ctx.triggered_id == "design-unfolded":
            # Of two questions at once the page takes the last answer only: whatever an
            # earlier one was to draw and is not there yet is drawn now.
            names = [n for n in names if n == unfolded["last"] or n not in there]
        return redrawn(library, place, now, theme=theme, names=names, there=there)


def _register_browser(app: dash.Dash) -> None:
    """Add what the browser does by itself."""
    for space, function, source in (
        ("design", "build", "design-fields"), ("design", "answered", "design-answer"),
        ("design", "move", "design-moved"), ("page", "keep_address", "design-query"),
    ):  # fmt: skip
        app.clientside_callback(
            dash.ClientsideFunction(space, function),
            Output("design-done", "data", allow_duplicate=True), Input(source, "data"),
            prevent_initial_call="initial_duplicate",
        )  # fmt: skip


AREA = Area("/design", "Design", layout, register)
