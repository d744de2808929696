"""One run: what it is, how it goes, what it found, what happened, what it was asked."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import dcc, html

from models.errors import RipplefrontError
from optimizer.archive import Run
from optimizer.figures_data import front_points
from optimizer.files import checked
from optimizer.fronts import FrontPoint, corners
from optimizer.page import frame, runs_course
from optimizer.page.areas import address
from optimizer.page.library import Library
from optimizer.page.run_files import run_files
from optimizer.page.runs_evidence import evidence, table
from optimizer.page.runs_facts import Entry
from optimizer.page.runs_list import state, tag
from optimizer.page.runs_words import age, short, size_words, when
from optimizer.progress import duration
from optimizer.quantities import quantity


def head(entry: Entry, others: Sequence[Entry]) -> list[Any]:
    """Return what a run is, in a few lines, and where else to look at it."""
    children = [e.name for e in others if e.parent == entry.name]
    sweep = [e.name for e in others if entry.sweep and e.sweep == entry.sweep and e is not entry]
    facts: list[tuple[str, Any]] = [
        ("state", state(entry)),
        ("asked for", entry.asked),
        ("variant", entry.variant),
        ("pins", html.Ul([html.Li(p) for p in entry.pins]) if entry.pins else "none"),
        ("re-run of", _link(entry.parent) if entry.parent in {e.name for e in others}
         else entry.parent),
        ("re-runs of it", _links(children)),
        ("same sweep", _links(sweep)),
        ("designs", f"{entry.designs:,} evaluated, {entry.planned:,} planned"),
        ("common front", "" if entry.front is None else f"{entry.front:,} designs"),
        ("made", f"{when(entry.created)}, {age(entry.created)}"
         f"{'' if age(entry.created) == 'just now' else ' ago'}"),
        ("on disk", size_words(entry.size)),
    ]  # fmt: skip
    return [
        _facts(facts),
        html.P(_ways(entry, others), className="runs-ways"),
        run_files(entry.name),
    ]


def _facts(rows: Sequence[tuple[str, Any]]) -> html.Dl:
    """Return pairs of name and content; those without content are left out."""
    shown = [html.Div([html.Dt(name), html.Dd(value)]) for name, value in rows if value]
    return html.Dl(shown, className="runs-facts")


def _link(name: str) -> dcc.Link:
    return dcc.Link(name, href=address("/", run=name))


def _links(names: Sequence[str]) -> list[Any]:
    return [html.Div(_link(n)) for n in names]


def _ways(entry: Entry, others: Sequence[Entry]) -> list[Any]:
    found: list[Any] = [dcc.Link("Its fronts", href=address("/fronts", runs=entry.name))]
    if entry.parent in {e.name for e in others}:
        both = f"{entry.parent},{entry.name}"
        found += [
            " · ",
            dcc.Link("The price of its pins", href=address("/compare", runs=both)),
            " (beside its parent) · ",
            dcc.Link("Both fronts", href=address("/fronts", runs=both)),
        ]
    return found


def found(library: Library, name: str) -> list[Any]:
    """Return what a run found so far: corners of every front, and what speaks for them."""
    try:
        run = library.run(name)
        with checked(run.folder / "status.json"):
            return [html.H2("Designs to open first"), _corners(run), *evidence(run)]
    except RipplefrontError as error:
        return [html.H2("Designs to open first"), frame.message(error)]


def _corners(run: Run) -> Any:
    """Return the corners of every front, a group of rows a topology."""
    groups = [
        _group(run, topology, found)
        for topology in dict.fromkeys(c.topology for c in run.candidates)
        if (found := corners(front_points(run, topology)))
    ]
    if not groups:
        return html.P("No feasible design has been found.")
    heads = ("topology", "corner", "design", "density", "efficiency", "cost (invented prices)",
             "life")  # fmt: skip
    return table("corners of every front", heads, groups, 3)


def _group(run: Run, topology: str, found: Sequence[tuple[str, FrontPoint]]) -> html.Tbody:
    rows = [
        [
            html.Td(where),
            html.Td(dcc.Link(p.label, href=address("/design", run=run.name, id=p.label))),
            html.Td(f"{p.density:.2f} kW/l", className="n"),
            html.Td(f"{p.efficiency:.2f} %", className="n"),
            html.Td(quantity(p.results["cost"], "€"), className="n"),
            html.Td(quantity(p.results["life_years"], "years"), className="n"),
        ]
        for where, p in found
    ]
    title = html.Th(tag(topology), scope="rowgroup", rowSpan=len(rows))
    return html.Tbody([html.Tr([title, *rows[0]]), *map(html.Tr, rows[1:])])


def course(library: Library, name: str) -> list[Any]:
    """Return what happened to a run: structures given up, the last events."""
    try:
        run = library.run(name)
        events, damaged = run.events()
        with checked(run.folder / "journal.jsonl"):
            gone, last = runs_course.shed(run, events), runs_course.told(events)
    except RipplefrontError as error:
        return [html.H2("What happened"), frame.message(error)]
    lost = f" {damaged} damaged lines are left out." if damaged else ""
    return [
        *_given_up(gone),
        html.H2("What happened"),
        html.P(f"The last events, the newest first.{lost}", className="soft"),
        html.Ul(
            [html.Li([html.Span(at, className="soft"), " ", text]) for at, text in last],
            className="runs-events",
        ),
    ]


def _given_up(rows: Sequence[tuple[str, str]]) -> list[Any]:
    if not rows:
        return []
    drawn = [html.Tr([html.Th(name, scope="row"), html.Td(why)]) for name, why in rows]
    heads = ("structure", "why")
    return [
        html.H2(f"Given up on the way: {len(rows)} structure{'s' if len(rows) > 1 else ''}"),
        table("structures given up", heads, drawn, len(heads)),
    ]


def asked_for(library: Library, name: str) -> list[Any]:
    """Return the specification as it was, and what the run was made with."""
    try:
        run = library.run(name)
        with checked(run.folder / "manifest.json"):
            made = _made_with(run)
        text = run.specification
    except RipplefrontError as error:
        return [frame.message(error)]
    return [
        html.Details(
            [
                html.Summary("Specification as it was used"),
                html.Pre(text, tabIndex=0, className="runs-text"),
            ]
        ),
        html.Details([html.Summary("Versions, seed, settings"), _facts(made)]),
    ]


def _made_with(run: Run) -> list[tuple[str, Any]]:
    manifest, settings = run.manifest, run.settings
    around = manifest.get("environment") or {}
    versions = ", ".join(f"{k} {v}" for k, v in (around.get("packages") or {}).items())
    limit = settings.time_limit
    left_out = [
        html.Div(short(f"{k}: {'; '.join(map(str, v))}", 400))
        for k, v in (manifest.get("excluded") or {}).items()
    ]
    return [
        ("program", f"ripplefront {manifest.get('version', 'of an unknown version')}"),
        ("run folder", f"schema {manifest['schema']}"),
        ("seed", str(settings.seed)),
        ("designs planned", f"{settings.evaluations:,}"),
        ("time limit", "none" if limit is None else duration(float(limit))),
        ("Python", str(manifest.get("python", ""))),
        ("libraries", versions),
        ("machine", " ".join(str(around.get(k, "")) for k in ("system", "machine")).strip()),
        ("topologies left out", left_out),
        ("specification", html.Code(f"sha256 {str(manifest.get('specification_sha256'))[:16]}…")),
    ]
