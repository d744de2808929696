"""Small pieces that the groups of the design area share: tables, charts, pin buttons."""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Sequence
from typing import Any, TypeAlias

from dash import dcc, html

from models.case import Case
from optimizer.archive import Run
from optimizer.opened import Opened
from optimizer.page import theme as themes
from optimizer.page.design_figures import Figure

# Text, or text with a look: "bad" in words, a share drawn as a meter, a pin beside it.
Cell: TypeAlias = str | dict[str, Any]


AT_FIRST = 2  # figures of a group that are drawn with it
GROUNDS = ("paper_bgcolor", "plot_bgcolor")


@dataclasses.dataclass(frozen=True)
class Shown:
    """What a group is drawn from: the design as it is now, and how to draw it."""

    run: Run
    case: Case
    stored: str  # name of the design in the run that it is, or started as
    item: Opened
    changed: bool
    theme: str


def chart(name: str, figure: Figure, shown: Shown, height: int) -> html.Div:
    """Return a figure as a part of the page, its title as a heading above it."""
    layout = dict(figure["layout"])
    title = layout.pop("title")["text"]
    drawn = themes.graph(
        f"design-{name}", {"data": figure["data"], "layout": layout}, shown.theme, height
    )
    heading = html.H3(title, id=f"design-{name}-title")
    return html.Div([heading, drawn], className="design-chart")


def table(
    heads: Sequence[str], rows: Sequence[Sequence[Cell]], numbers: Sequence[int], caption: str
) -> html.Div:  # fmt: skip
    """Return a table of plain cells, which scrolls by itself where it is too wide.

    The browser makes the cells from one attribute: as components of the page, hundreds of
    them would take longer to draw than a design takes to evaluate.

    Parameters
    ----------
    heads : Sequence of str
        Heads of the columns.
    rows : Sequence
        Cells, row by row; the first cell is the head of its row.
    numbers : Sequence of int
        Columns that hold numbers: right-aligned, digits of equal width.
    caption : str
        What a screen reader announces first; no two tables of the page share one.
    """
    content = {"heads": list(heads), "rows": [list(r) for r in rows], "numbers": list(numbers),
               "caption": caption}  # fmt: skip
    return html.Div(
        id="design-table-" + re.sub(r"\W+", "-", caption),
        className="design-table", tabIndex=0, role="region",
        **{"aria-label": caption,
           "data-table": json.dumps(content, ensure_ascii=False, allow_nan=False)},
    )  # fmt: skip


def rich_table(heads: Sequence[str], rows: Sequence[Sequence[Any]], caption: str) -> html.Div:
    """Return a small table whose cells are components: links, buttons."""
    head = html.Tr([html.Th(h, scope="col") for h in heads])
    body = [html.Tr([html.Td(c) for c in cells]) for cells in rows]
    return html.Div(
        html.Table([html.Caption(caption), html.Thead(head), html.Tbody(body)]),
        className="design-table",
    )


def more(title: str, content: Any) -> html.Details:
    """Return something that opens on demand, its content there already."""
    return html.Details([html.Summary(title), content], className="design-more")


def pin_button(path: str, value: str, kind: str) -> html.Button:
    """Return a button that offers the pins which suit a value.

    Parameters
    ----------
    path : str
        What the pin would hold: a variable, a result.
    value : str
        The value it has now, as a pin writes it.
    kind : str
        "number" offers =, ≤ and ≥; "name" offers in and not in.
    """
    return html.Button(
        "pin", className="design-pin", title=f"pin {path}",
        **{"aria-label": f"pin {path}", "aria-haspopup": "true", "data-pin": path,
           "data-value": value, "data-kind": kind},
    )  # fmt: skip


def live(name: str, *content: Any) -> html.Div:
    """Return text that differs from design to design, so that it can be replaced alone."""
    return html.Div(list(content), id=f"design-live-{name}", className="design-live")


def sections(*parts: Any) -> list[Any]:
    """Return the parts that are there."""
    return [p for p in parts if p is not None]


def movable(parts: Any) -> dict[str, dict[str, Any]]:
    """Return what differs from design to design in components, as properties by id.

    Replacing whole components would make the browser build every figure anew, which takes
    ten times as long as giving new data to those that are there.
    """
    if isinstance(parts, list | tuple):
        return {k: v for part in parts for k, v in movable(part).items()}
    name = getattr(parts, "id", None)
    if not name:
        return movable(getattr(parts, "children", None) or ())
    if isinstance(parts, dcc.Graph):
        return {name: {"figure": parts.figure}}
    if hasattr(parts, "data-table"):
        return {name: {"data-table": getattr(parts, "data-table")}}
    return {name: {"children": parts.children}}


def postponed(parts: Any) -> dict[str, dict[str, Any]]:
    """Empty all figures in components but the first ones, and return what belongs in them.

    A figure takes the browser longer to draw than a design takes to evaluate; those that
    are in sight at first need not wait for the others.
    """
    later = {}
    for graph in _graphs(parts)[AT_FIRST:]:
        later[graph.id] = {"figure": graph.figure}
        kept = {k: graph.figure["layout"][k] for k in ("height", *GROUNDS)
                if k in graph.figure["layout"]}  # fmt: skip
        hidden = {"visible": False}
        graph.figure = {"data": [], "layout": {**kept, "xaxis": hidden, "yaxis": hidden}}
    return later


def _graphs(parts: Any) -> list[dcc.Graph]:
    if isinstance(parts, list | tuple):
        return [graph for part in parts for graph in _graphs(part)]
    if isinstance(parts, dcc.Graph):
        return [parts]
    return _graphs(getattr(parts, "children", None) or ())
