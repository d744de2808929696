"""What is compared, as a list to remove from, and fields to add to it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import dcc, html

from models.errors import RipplefrontError, RunError
from optimizer import named
from optimizer.archive import Run
from optimizer.compare import parent_of
from optimizer.figures_data import front_points
from optimizer.fronts import FrontPoint
from optimizer.objectives import Objective, landmarks, objectives_of
from optimizer.page import compare_address, frame
from optimizer.page.areas import address
from optimizer.page.compare_bits import LETTERS
from optimizer.page.compare_designs import column
from optimizer.page.design_address import written
from optimizer.page.library import Library

KEPT = "designs kept under a name"
OFFERED = 150  # designs of a topology
FORWARD, DROP, FIRST = "compare-add", "compare-drop", "compare-first"


def chips(what: str, entries: Sequence[str]) -> list[html.Li]:
    """Return what is compared, each with a button that removes it."""
    found = []
    for k, entry in enumerate(entries):
        text: list[Any] = [_link(what, entry)]
        if what == "designs":
            text = [html.B(LETTERS[k] if k < len(LETTERS) else "–"), " ", *text]
            if k:
                text += [" ", _button(FIRST, what, entry, "first", f"compare with {entry}")]
        found.append(html.Li([*text, " ", _button(DROP, what, entry, "×", f"remove {entry}")]))
    return found


def _link(what: str, entry: str) -> Any:
    """Return a link to where the entry is open by itself; plain text where it has no place."""
    if what == "runs":
        return dcc.Link(entry, href=address("/fronts", runs=entry))
    try:
        run, design, changes = compare_address.key(entry)
    except RipplefrontError:
        return entry
    if run == compare_address.NAMED:
        return entry
    href = address("/design", run=run, id=design, set=written(changes))
    title = "; ".join(f"{k} = {v}" for k, v in changes.items())
    changed = f", {len(changes)} changed by hand" if changes else ""
    return dcc.Link(f"{run}/{design}{changed}", href=href, title=title)


def _button(kind: str, what: str, entry: str, text: str, title: str) -> html.Button:
    return html.Button(
        text, id={"type": kind, "what": what, "entry": entry}, className="quiet", title=title,
        **{"aria-label": title},
    )  # fmt: skip


def run_field(name: str, label: str, options: Sequence[str], value: str | None) -> html.Label:
    """Return a field that a run is chosen in."""
    return html.Label(
        [
            label,
            dcc.Dropdown(
                id=name,
                options=list(options),
                value=value,
                clearable=False,
                className="compare-run",
            ),
        ],
        htmlFor=name,
    )


def chooser(library: Library, what: str, entries: Sequence[str]) -> html.Div:
    """Return the list of what is compared, and the fields to add to it."""
    known = library.names()
    fields: list[Any] = []
    if what == "designs":
        kept = [KEPT] if named.all(library.root) else []
        options = [*known, *kept]
        chosen = [e.split("/")[0] for e in entries if e.split("/")[0] in known]
        usual = chosen[-1] if chosen else next(iter(options), None)
        fields = [
            run_field("compare-from", "run ", options, usual),
            html.Label(
                [
                    "design ",
                    dcc.Input(
                        id="compare-design", type="text", value="", maxLength=120,
                        list="compare-offered", autoComplete="off",
                        placeholder="choose, or write its number",
                    ),
                ]
            ),
            html.Datalist(id="compare-offered"),
        ]  # fmt: skip
    else:
        fields = [run_field("compare-run", "run ", known, next_run(library, entries))]
    return html.Div(
        [
            html.Ul(
                chips(what, entries),
                id=f"compare-{what}-chips",
                className="items",
                tabIndex=-1,
                **{"aria-label": f"{what} that are compared"},
            ),
            html.Div(
                [
                    *fields,
                    html.Button("Add", id={"type": FORWARD, "what": what}, className="main"),
                ],
                className="compare-fields",
            ),
            html.Div(id=f"compare-{what}-said", role="status"),
        ],
        className="compare-chooser",
    )


def next_run(library: Library, entries: Sequence[str]) -> str | None:
    """Return the run to offer first: the parent of one that is compared, else the newest."""
    known = library.names()
    for entry in entries:
        try:
            parent = parent_of(library.run(entry))
        except RipplefrontError:
            continue
        if parent in known and parent not in entries:
            return parent
    return next((n for n in known if n not in entries), None)


def offered(library: Library, source: str | None) -> list[html.Option]:
    """Return the designs of a run, or those kept under a name, to choose from.

    Of a run these are the designs on its fronts; any other can be written by its number.
    """
    if source == KEPT:
        return [html.Option(value=n.name, label=n.note or n.run) for n in named.all(library.root)]
    try:
        run = library.run(source or "")
        return [o for t in dict.fromkeys(c.topology for c in run.candidates)
                for o in _options(run, t)]  # fmt: skip
    except RipplefrontError:
        return []


def _options(run: Run, topology: str) -> list[html.Option]:
    points, objectives = front_points(run, topology), objectives_of(run)
    if not points:
        return []
    marks = landmarks(points, objectives)
    first = [html.Option(value=points[i].label, label=f"{where}: {_said(points[i], objectives)}")
             for where, i in marks]  # fmt: skip
    step = max(1, -(-len(points) // OFFERED))
    taken = {points[i].label for _, i in marks}
    others = [p for p in points[::step] if p.label not in taken]
    return [*first, *[html.Option(value=p.label, label=_said(p, objectives)) for p in others]]


def _said(point: FrontPoint, objectives: Sequence[Objective]) -> str:
    values = [f"{o.text(point.results[o.name])} {o.unit}" for o in objectives]
    return f"{', '.join(values)}, {point.topology}"


def wanted(library: Library, what: str, source: str | None, text: str | None) -> str:
    """Return the entry that the fields ask for; a design by its whole number.

    Raises
    ------
    RipplefrontError
        If nothing is chosen, or it cannot be opened.
    """
    if what == "runs":
        if not source:
            raise RunError("no run is chosen.\n  Choose one in the field beside the button.")
        return library.run(source).name
    design = (text or "").strip()
    if not design or not source:
        raise RunError("no design is chosen.\n  Choose one in the field, or write its number.")
    entry = f"{compare_address.NAMED if source == KEPT else source}/{design}"
    found = column(library, entry)
    return entry if found.name else f"{found.run.name}/{found.design}"


def chosen(
    library: Library, asked: dict[str, str], entries: Sequence[str],
    source: str | None, text: str | None,
) -> tuple[list[str] | None, Any, str]:  # fmt: skip
    """Return the entries after a click, a message, and what to announce.

    Parameters
    ----------
    library : Library
        The runs.
    asked : dict
        Id of the button that was used.
    entries : Sequence of str
        What was compared before.
    source, text : str, optional
        What the fields hold.
    """
    what, entry = asked["what"], asked.get("entry", "")
    if asked["type"] == DROP:
        return [e for e in entries if e != entry], None, f"removed {entry}"
    if asked["type"] == FIRST:
        return compare_address.first(entries, entry), None, f"compared with {entry}"
    try:
        fresh = wanted(library, what, source, text)
        return compare_address.added(entries, fresh, what), None, f"added {fresh}"
    except RipplefrontError as error:
        return None, frame.message(error), ""
