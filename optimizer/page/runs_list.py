"""The list of runs: a row each, those that belong together under one another.

The browser builds it from plain data, see ``plain``.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from models.topologies import TOPOLOGIES
from optimizer.page.areas import address
from optimizer.page.runs_facts import Corner, Entry
from optimizer.page.runs_families import families
from optimizer.page.runs_words import age, size_words, when
from optimizer.progress import duration

HEADS = ("run", "state", "designs", "on the front", "densest", "most efficient", "knee",
         "on disk", "age")  # fmt: skip
NUMBERS = ("designs", "on the front", "on disk", "age")
WHERE = ("densest", "most efficient", "knee")
TONES = {"failed": "bad", "broken": "bad", "interrupted": "bad", "running": "good"}
DEEPEST = 4  # re-runs of re-runs further in than this stand below one another
NAMES = {"className": "class", "colSpan": "colspan"}
STARTED = "ripplefront sweep FILE"


def listed(entries: Sequence[Entry], picks: Collection[str]) -> Any:
    """Return the list of runs.

    Parameters
    ----------
    entries : Sequence of Entry
        All runs.
    picks : Collection of str
        Names of those that are picked for a comparison.
    """
    if not entries:
        return html.P(
            ["There is no run here yet. Start one in a terminal: ", html.Code(STARTED), "."]
        )
    heads = [html.Th(html.Span("pick", className="unseen"), scope="col")]
    heads += [html.Th(h, scope="col", className="n" if h in NUMBERS else "") for h in HEADS]
    bodies = [_family(family, picks) for family in families(entries)]
    caption = html.Caption("all runs, the newest first", className="unseen")
    return html.Table([caption, html.Thead(html.Tr(heads)), *bodies], className="runs-table")


def plain(part: Any) -> Any:
    """Return components as plain data, [tag, attributes, children], texts as they are.

    Links are written as such; the browser follows them without loading the page anew.
    """
    if not isinstance(part, Component):
        return str(part)
    props = part.to_plotly_json()["props"]
    children = props.pop("children", None)
    several = children if isinstance(children, list) else [children]
    tag = "a" if isinstance(part, dcc.Link) else type(part).__name__.lower()
    attributes = {NAMES.get(key, key): str(value) for key, value in props.items()}
    return [tag, attributes, [plain(child) for child in several if child is not None]]


def _family(family: Sequence[tuple[int, Entry]], picks: Collection[str]) -> html.Tbody:
    rows = [row(entry, depth, entry.name in picks) for depth, entry in family]
    if len(family) < 2:
        return html.Tbody(rows)
    head = html.Th(_family_words([e for _, e in family]), colSpan=len(HEADS) + 1,
                   scope="rowgroup", className="runs-family")  # fmt: skip
    return html.Tbody([html.Tr(head), *rows], className="runs-group")


def _family_words(entries: Sequence[Entry]) -> str:
    variants = [e for e in entries if e.variant]
    again = sum(bool(e.parent) for e in entries)
    told = [f"one sweep of {len(variants)} variants"] if len(variants) > 1 else []
    told += [f"{again} re-run{'s' if again > 1 else ''}"] if again else []
    return " and ".join(told) or f"{len(entries)} runs of one sweep"


def row(entry: Entry, depth: int, picked: bool) -> html.Tr:
    """Return the row of a run.

    Parameters
    ----------
    entry : Entry
        The run.
    depth : int
        How many re-runs lie between it and the first of its family.
    picked : bool
        Whether it is picked for a comparison.
    """
    return html.Tr(
        _cells(entry, depth, picked),
        className=f"runs-row runs-{entry.state}",
        **{"data-run": entry.name},
    )


def _pick(name: str, picked: bool) -> html.Button:
    """Return the box that picks a run for a comparison; the browser minds the click."""
    return html.Button(
        className="runs-pick", role="checkbox",
        **{"aria-checked": str(picked).lower(), "aria-label": f"compare {name}",
           "data-pick": name},
    )  # fmt: skip


def _named(entry: Entry, depth: int) -> Any:
    """Return the name of a run and what was asked for."""
    told: list[Any] = [html.Span("↳ ", title="re-run")] if depth else []
    told.append(dcc.Link(entry.name, href=address("/", run=entry.name)))
    under = [f"variant {entry.variant}"] if entry.variant else []
    under += [entry.asked] if entry.asked and not depth else []
    under += [f"re-run of {entry.parent}"] if entry.parent and not depth else []
    under += [f"pinned: {'; '.join(entry.pins)}"] if entry.pins else []
    lines = [html.Div(line, className="soft") for line in under]
    return html.Div([html.Div(told), *lines], className=f"runs-depth-{min(depth, DEEPEST)}")


def _cells(entry: Entry, depth: int, picked: bool) -> list[Any]:
    known = entry.state != "broken"
    first = [
        html.Td(_pick(entry.name, picked) if known else None),
        html.Th(_named(entry, depth), scope="row"),
    ]
    made = html.Td(age(entry.created), title=when(entry.created), className="n")
    if not known:
        return [*first, html.Td(state(entry), colSpan=len(HEADS) - 2), made]
    corners = {c.where: c for c in entry.corners}
    return [
        *first,
        html.Td(state(entry)),
        html.Td(_designs(entry), className="n"),
        html.Td(_count(entry.front), className="n"),
        *(html.Td(_corner(entry, corners.get(where))) for where in WHERE),
        html.Td(size_words(entry.size), className="n"),
        made,
    ]


def state(entry: Entry) -> list[Any]:
    """Return the state of a run in words, and why."""
    told: list[Any] = [html.Span(entry.state, className=f"runs-state {tone(entry)}")]
    if entry.progress and entry.state == "running":
        share = 100 * entry.progress.designs / max(entry.progress.planned, 1)
        left = duration(entry.progress.left)
        told.append(html.Div(f"{share:.0f} %, about {left} left", className="soft"))
    if entry.state == "waiting":
        told.append(html.Div("for its turn in its sweep", className="soft"))
    if entry.why:
        told.append(html.Div(entry.why, className="soft runs-why"))
    return told


def tone(entry: Entry) -> str:
    """Return how a state looks; the word itself says it as well."""
    return TONES.get(entry.state, "")


def _designs(entry: Entry) -> list[Any]:
    told: list[Any] = [f"{entry.designs:,}"]
    if entry.designs < entry.planned:
        told.append(html.Div(f"of {entry.planned:,}", className="soft"))
    return told


def _count(number: int | None) -> str:
    return "–" if number is None else f"{number:,}"


def _corner(entry: Entry, corner: Corner | None) -> Any:
    """Return a design to look at first, as a link that opens it."""
    if corner is None:
        return "–"
    values = {
        "densest": f"{corner.density:.2f} kW/l",
        "most efficient": f"{corner.efficiency:.2f} %",
        "knee": f"{corner.density:.2f} kW/l, {corner.efficiency:.2f} %",
    }
    topology = tag(corner.topology)
    return [
        dcc.Link(
            values[corner.where],
            href=address("/design", run=entry.name, id=corner.design),
            title=f"open {corner.design}: {corner.density:.2f} kW/l, {corner.efficiency:.2f} %",
        ),
        html.Div(topology, className="soft"),
    ]


def tag(topology: str) -> str:
    """Return the short name of a topology."""
    return TOPOLOGIES[topology].tag if topology in TOPOLOGIES else topology


def picked(picks: Sequence[str]) -> list[Any]:
    """Return where picked runs can be compared."""
    if not picks:
        return [html.Span("Pick two to six runs to compare them.", className="soft")]
    told: list[Any] = [f"Picked: {', '.join(picks)}. "]
    if len(picks) < 2:
        return [*told, html.Span("Pick another one to compare them.", className="soft")]
    both = ",".join(picks)
    told += [dcc.Link("Compare them", href=address("/compare", runs=both)), " · "]
    told += [dcc.Link("Their fronts together", href=address("/fronts", runs=both)), " · "]
    return [*told, html.Button("Pick none", **{"data-pick": ""})]
