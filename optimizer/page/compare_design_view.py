"""The designs that are compared, as components of the page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from dash import html

from optimizer.compare import differing
from optimizer.figures import GROUPS
from optimizer.page import compare_designs as rows
from optimizer.page import compare_figures as figures
from optimizer.page import frame, theme
from optimizer.page.compare_address import MOST
from optimizer.page.compare_bits import LETTERS, Head, Row, head, plain_table, row_table
from optimizer.page.compare_designs import Column, Wrong
from optimizer.page.design_figures import Figure
from optimizer.page.library import Library

CURVES = 330  # [px]


def view(library: Library, entries: Sequence[str], scheme: str | None) -> list[Any]:
    """Return the designs side by side, and what is wrong with entries that cannot be shown."""
    found, wrong = rows.columns(library, entries)
    told: list[Any] = [_told(w) for w in wrong]
    if len(entries) > MOST:
        told.append(html.P(f"Only the first {MOST} are shown: more do not fit side by side."))
    if len(found) < 2:
        return [*told, html.P(_missing(len(found)), className="soft")]
    return [*told, *_compared(found, scheme)]


def _told(wrong: Wrong) -> html.Div:
    return html.Div([html.Code(wrong.entry[:80]), frame.message(wrong.error)])


def _missing(count: int) -> str:
    more = "another" if count else "two or more"
    return f"Add {more} to set designs side by side: choose a run, then a design."


def _compared(found: Sequence[Column], scheme: str | None) -> list[Any]:
    heads = [head(c.label, c.number) for c in found]
    volume, cost = rows.by_part(found, rows.volumes), rows.by_part(found, rows.costs)
    return [
        _exports(found),
        *_warning(found),
        _pair(
            found,
            [row_table([_head(c, found[0]) for c in found], rows.headline(found),
                       "headline figures", fold=False)],
            [
                chart("curves", figures.efficiency_curves(found), scheme, CURVES),
                chart("losses", figures.loss_bars(found), scheme, 110 + 34 * len(found)),
            ],
        ),
        _pair(
            found,
            _titled("Limits that are nearest", heads, rows.limit_rows(found), fold=False),
            _losses_and_life(found, heads),
        ),
        _pair(
            found,
            [_parts(found, volume, "Volume by part", "cm³", scheme, heads), _rest(found)],
            [_parts(found, cost, "Cost by part, invented prices", "€", scheme, heads)],
        ),
        _pair(
            found,
            _shared("Variables that differ", "Variables", heads, rows.variable_rows(found)),
            _shared("Bill of materials: what differs", "Parts, and how they are built,", heads,
                    rows.bill_rows(found)),
        ),
    ]  # fmt: skip


def _pair(found: Sequence[Column], left: list[Any], right: list[Any]) -> html.Div:
    """Return two columns, one below the other where there is no room for their tables."""
    return html.Div(
        [html.Div(left), html.Div(right)], className="compare-pair",
        style={"--compare-least": f"{max(520, 250 + 120 * len(found))}px"},
    )  # fmt: skip


def _titled(
    title: str, heads: Sequence[Head], lines: Sequence[Row], *, fold: bool = True
) -> list[Any]:
    return [html.H3(title), row_table(heads, lines, title, fold=fold)]


def _shared(title: str, what: str, heads: Sequence[Head], lines: Sequence[Row]) -> list[Any]:
    """Return rows as a table; those that not all of the designs have open on demand."""
    common = [r for r in lines if r.shared]
    others = [r for r in lines if not r.shared]
    if not others:
        return _titled(title, heads, common)
    rest = f"{what} that not all of them have ({len(others)})"
    return [*_titled(title, heads, common), _more(rest, row_table(heads, others, rest))]


def _losses_and_life(found: Sequence[Column], heads: Sequence[Head]) -> list[Any]:
    groups = {key: title for key, (title, _, _) in GROUPS.items()}
    every = rows.part_rows(rows.by_part(found, rows.losses), "W", less=True)
    title = "Losses at full power by group"
    return [
        *_titled(title, heads, rows.loss_rows(found, groups)),
        _more("Every loss at full power", row_table(heads, every, "every loss at full power")),
        *_titled("Life by part", heads, rows.life_rows(found)),
        _more("Other results", row_table(heads, rows.other_results(found), "other results")),
    ]


def _rest(found: Sequence[Column]) -> html.P:
    """Return what no part takes of each box; as bars it would dwarf the parts."""
    left = [f"{c.label} {rows.volumes(c)[rows.REST]:.0f} cm³" for c in found]
    return html.P(f"Besides the parts, {rows.REST}: {', '.join(left)}.", className="soft")


def _head(column: Column, first: Column) -> Head:
    changed = len(column.changes)
    more = [column.item.topology.tag, column.run.name]
    if changed:
        more.append(f"{changed} value{'s' if changed > 1 else ''} changed by hand")
    said = "the first" if column is first else f"differences to {LETTERS[first.number]}"
    return head(column.label, column.number, [*more, said])


def chart(name: str, drawn: Figure, scheme: str | None, height: int) -> html.Div:
    """Return a figure as a part of the page, its title as a heading above it."""
    layout = dict(drawn["layout"])
    title = layout.pop("title")["text"]
    graph = theme.graph(f"compare-{name}", {**drawn, "layout": layout}, scheme, height)
    return html.Div([html.H3(title), graph], className="compare-chart")


def _parts(
    found: Sequence[Column],
    parts: Mapping[str, Sequence[float | None]],
    title: str,
    unit: str,
    scheme: str | None,
    heads: Sequence[Head],
) -> html.Div:
    name = title.split()[0].lower()
    drawn = {p: v for p, v in parts.items() if p != rows.REST}
    height = figures.bars_height(len(drawn), len(found))
    table = row_table(heads, rows.part_rows(parts, unit, less=True), f"{name} of every part")
    return html.Div(
        [
            chart(name, figures.part_bars(found, drawn, title, unit), scheme, height),
            _more(f"{name.capitalize()} of every part", table),
        ]
    )


def _more(title: str, content: Any) -> html.Details:
    return html.Details([html.Summary(title), content], className="compare-more")


def _warning(found: Sequence[Column]) -> list[Any]:
    """Return in what the specifications differ, since designs then answer different questions."""
    runs = list({c.run.name: c.run for c in found}.values())
    rows_ = differing(runs) if len(runs) > 1 else ()
    if not rows_:
        return []
    cells = [[d.field, *d.values] for d in rows_]
    return [
        html.Div(
            [
                html.Strong("These designs answer different questions: "),
                "their runs differ in specification, catalogue or version.",
                plain_table(["entry", *(r.name for r in runs)], cells,
                            "entries in which the runs of these designs differ", texts=99),
            ],
            className="mistake",
        )
    ]  # fmt: skip


def _exports(found: Sequence[Column]) -> html.P:
    asked = urlencode({"designs": ",".join(c.entry for c in found)})
    return html.P(
        html.A("All of it as CSV", href=f"/export/comparison-designs?{asked}", download=True),
        className="compare-exports",
    )
