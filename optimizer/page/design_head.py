"""The head of an open design: what it is, its eight figures, where it stands."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from dash import dcc, html

from models.results import RESULTS
from optimizer.archive import Run
from optimizer.opened import Opened
from optimizer.page import design_differences as differences
from optimizer.page.areas import address
from optimizer.page.compare_address import entry
from optimizer.page.design_address import written
from optimizer.page.design_bits import pin_button, table
from optimizer.page.design_standing import pins_left, results_of, standings
from optimizer.quantities import significant
from optimizer.sheet import HEADS

FORMS = ("html", "pdf", "json", "csv")
UNITS = {r.name: r.unit for r in RESULTS}
# Results of which less is better; of the other headline figures more is.
LESS = frozenset({"cost", "loss_full_w", "box_surface_max_c", "height_mm", "mass_kg"})

FAR = 10.0  # times a limit; beyond, how far off it is means nothing


@dataclasses.dataclass(frozen=True)
class Open:
    """The open design: as stored, and as changed by hand."""

    run: Run
    stored: str
    base: Opened
    item: Opened
    changes: Mapping[str, str]

    @property
    def query(self) -> str:
        """The query of the address that restores it."""
        return address(
            "", run=self.run.name, id=self.stored, set=written(self.changes)
        )  # fmt: skip


def head(opened: Open) -> list[Any]:
    """Return the head."""
    item = opened.item
    static = " · ".join(f"{k} {v}" for k, v in item.static.items())
    kind = ("isolated" if item.topology.isolated else "not isolated", static)
    return [
        html.H1(item.topology.title),
        html.P(
            [
                " · ".join(filter(None, kind)),
                " · run ",
                dcc.Link(opened.run.name, href=address("/fronts", runs=opened.run.name)),
                " · design ",
                html.Code(opened.stored),
                " " if opened.changes else "",
                html.Strong(_changed(len(opened.changes))) if opened.changes else None,
            ],
            className="soft",
        ),
        html.Div([_figure(opened, name, title) for name, title, _ in HEADS],
                 className="design-heads"),
        html.P([*_verdict(opened), " ", _standing(opened), *_pins(opened)],
               className="design-verdict"),
        _exports(opened),
    ]  # fmt: skip


def _changed(count: int) -> str:
    return f"changed by hand: {count} value{'s' if count > 1 else ''}"


def _figure(opened: Open, name: str, title: str) -> html.Div:
    """Return one headline figure with its difference to the original."""
    before, now = results_of(opened.base)[name], results_of(opened.item)[name]
    unit = UNITS[name]
    told = differences.difference(before, now, unit) if opened.changes else ""
    better = (now < before) == (name in LESS)
    return html.Div(
        [
            html.Span(title.replace(" (invented prices)", ", invented"), className="design-name"),
            html.B(differences.shown(now, unit)),
            html.Span(
                told or ("no change" if opened.changes else "\u00a0"),
                className="design-step" + ((" better" if better else " worse") if told else ""),
            ),
            pin_button(name, significant(now, 5), "number"),
        ],
        className="design-figure",
    )


def _verdict(opened: Open) -> list[Any]:
    """Return whether every limit is met, or which are not."""
    item = opened.item
    if item.feasible:
        return [html.Strong("All limits are met."), ""]
    rows = zip(item.evaluation.margin_names, item.evaluation.margins[0], strict=True)
    broken = sorted(((m, n) for n, m in rows if m > 0.0), reverse=True)
    named = ", ".join(f"{n} ({_missed(m)})" for m, n in broken[:3])
    more = f" and {len(broken) - 3} more" if len(broken) > 3 else ""
    return [html.Strong(f"Not met: {named}{more}.", className="bad"), " It stands on no front."]


def _missed(margin: float) -> str:
    """Return by how much a limit is not met, given the part of it."""
    return f"by {100 * margin:.1f} %" if margin < FAR else "by far"


def _standing(opened: Open) -> str:
    """Return where the design stands, against its topology and against all."""
    if not opened.item.feasible:
        return ""
    own, common = standings(opened.run, opened.item, "" if opened.changes else opened.stored)
    if own.place == "ahead" and common.place == "ahead":
        return "It would extend the front of its topology and of all topologies."
    if own.place == common.place == "on":
        return "It stands on the front of its topology and of all topologies."
    return f"It {_is(own.place)}{own.words}; {_is(common.place)}{common.words}."


def _is(place: str) -> str:
    return {"on": "stands ", "behind": "lies "}.get(place, "")


def _pins(opened: Open) -> list[Any]:
    broken = pins_left(opened.run, opened.item)
    if not broken:
        return []
    told = "; ".join(broken)
    return [" ", html.Span(f"It leaves the pins of its run: {told}.", className="bad")]


def _exports(opened: Open) -> html.P:
    """Return the links to the sheet of the design as it is now."""
    links: list[Any] = ["Design sheet: "]
    for form in FORMS:
        asked = {"run": opened.run.name, "design": opened.stored, "as": form}
        if opened.changes:
            asked["set"] = written(opened.changes)
        href = f"/export/sheet?{urlencode(asked)}"
        links += [html.A(form.upper(), href=href, download=True), " "]
    both = [entry(opened.run.name, opened.stored, {})]
    if opened.changes:
        both.append(entry(opened.run.name, opened.stored, opened.changes))
    title = "Compare with the original and others" if opened.changes else "Compare with others"
    href = address("/compare", designs=",".join(both))
    return html.P(
        [*links, "· ", dcc.Link(title, href=href)],
        className="design-exports",
    )


def changes_box(opened: Open) -> list[Any]:
    """Return what changed against the original; nothing where nothing did."""
    if not opened.changes:
        return []
    base, item = opened.base, opened.item
    results = differences.result_changes(base, item)
    newly, again = differences.limit_changes(base, item)
    losses = differences.loss_changes(base, item)
    heads = ["", "original", "now", "difference"]
    return [
        html.H2("What changed"),
        html.P([html.Strong("Newly not met: "), "; ".join(newly)], className="bad")
        if newly else None,
        html.P([html.Strong("Newly met: "), "; ".join(again)]) if again else None,
        html.Div(
            [
                _differences("results", results, heads),
                _differences("losses at full power", losses, heads),
            ],
            className="design-pair",
        ) if results or losses else html.P("No result changes by what can be shown."),
    ]  # fmt: skip


def _differences(title: str, rows: list[differences.Change], heads: list[str]) -> html.Div | None:
    if not rows:
        return None
    cells = [[r.name, r.before, r.after, r.difference] for r in rows]
    return table([title, *heads[1:]], cells, (1, 2, 3), f"{title}, before and after")


def spoken(opened: Open) -> str:
    """Return what is announced after a change."""
    results, before = results_of(opened.item), results_of(opened.base)
    told = []
    for name, title, _ in HEADS[:2]:
        step = differences.difference(before[name], results[name], UNITS[name])
        value = differences.shown(results[name], UNITS[name])
        told.append(f"{title} {value}" + (f" ({step})" if step else ""))
    count = int((opened.item.evaluation.margins[0] > 0.0).sum())
    limits = "all limits met" if count == 0 else f"{count} limit{'s' * (count > 1)} not met"
    return f"{', '.join(told)}, {limits}"
