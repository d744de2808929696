"""The price of a pin on the page: what one run gives up against another, level by level."""

from __future__ import annotations

import dataclasses
import html as markup
from typing import Any

from dash import dcc, html

from optimizer.compare import Comparison, Pair
from optimizer.comparison_figures import panels, price_figure
from optimizer.page import theme
from optimizer.page.areas import address
from optimizer.page.compare_bits import FEW, folding, plain_table
from optimizer.price import Price, Row, Table


def priced(found: Comparison, pair: Pair, n: int, scheme: str | None) -> list[Any]:
    """Return what one run gives up against another: in words, drawn and as tables.

    Parameters
    ----------
    found : Comparison
        All runs that are compared.
    pair : Pair
        The two runs.
    n : int
        Number of the pair, from 0.
    scheme : str, optional
        The theme.
    """
    return [
        html.H2(f"From {pair.before} to {pair.after}"),
        html.P([html.Strong("Pins added: "), "; ".join(pair.added) or "none"]),
        html.P([html.Strong("Pins dropped: "), "; ".join(pair.dropped)]) if pair.dropped else None,
        *[html.P(remark, className="compare-remark") for remark in pair.remarks],
        *means(found, pair),
        html.Div(_prices(found, pair, n, scheme), id=f"compare-price-{n}"),
    ]


def means(found: Comparison, pair: Pair) -> list[Any]:
    """Return the mean losses of a pair: in one sentence, of many topologies as a list."""
    told = spoken(found, pair)
    if not told:
        return []
    if len(told) <= FEW:
        return [html.P(f"On average along the front: {'; '.join(told)}.")]
    return [
        html.P("On average along the front:"),
        html.Ul([html.Li(t) for t in told], className="compare-means"),
    ]


def spoken(found: Comparison, pair: Pair) -> list[str]:
    """Return the mean losses of a pair in words, a piece for each topology."""
    told = []
    for price in pair.prices[1:]:
        losses = [
            f"{t.of.difference(-t.mean)} {t.of.difference_unit} of {t.of.title} "
            f"at equal {t.at.title}{_noisy(t)}"
            for t in price.tables
            if t.mean is not None
        ]
        if losses:
            told.append(f"{_title(found, price)}: {', '.join(losses)}")
    return told


def _noisy(table: Table) -> str:
    if table.mean is None or table.noise is None or abs(table.mean) >= table.noise:
        return ""
    return " (within the noise)"


def _title(found: Comparison, price: Price) -> str:
    if not price.topology:
        return "All topologies together"
    return markup.unescape(found.titles.get(price.topology, price.topology))


def _prices(found: Comparison, pair: Pair, n: int, scheme: str | None) -> list[Any]:
    """Return the price for each topology, and for all together first where there are many."""
    together, *single = pair.prices
    ahead = {p.topology for p in (*together.before, *together.after)}
    parts: list[Any] = []
    unfolded = 0
    for k, price in enumerate(single):
        first = len(single) <= FEW or (price.topology in ahead and unfolded < FEW)
        unfolded += first
        content = [
            *_drawn(found, pair, price, f"compare-price-{n}-{k}", scheme),
            *_price(found, pair, price),
        ]
        parts.append(folding(_title(found, price), content, unfolded=first))
    if len(single) < 2:
        return parts
    same = [p for p in single if (p.before, p.after) == (together.before, together.after)]
    if same:
        told = f"All topologies together: as {_title(found, same[0])}, which dominates the others."
        return [html.P(told), *parts]
    every = [html.H3(_title(found, together)), *_price(found, pair, together)]
    return [*every, *parts] if len(single) > FEW else [*parts, *every]


def _drawn(
    found: Comparison, pair: Pair, price: Price, name: str, scheme: str | None
) -> list[Any]:
    """Return both fronts of a topology as a figure, where there is a design on one."""
    alone = dataclasses.replace(pair, prices=(price,))
    if not panels(alone):
        return []
    # Its name is the heading above the figure.
    unnamed = dataclasses.replace(found, titles={price.topology: ""})
    figure = price_figure(unnamed, alone)
    height = int(figure.layout.height or 500)
    figure.update_layout(title=None, margin={"t": 30})
    return [theme.graph(name, figure, scheme, height)]


def _price(found: Comparison, pair: Pair, price: Price) -> list[Any]:
    tables = [_table(found, pair, price, t) for t in price.tables]
    return [
        *[html.P(remark) for remark in price.remarks],
        html.Div(tables, className="compare-pair compare-prices") if tables else None,
    ]


def _table(found: Comparison, pair: Pair, price: Price, table: Table) -> html.Div:
    at, of = table.at, table.of
    unit = f" [{of.difference_unit}]" if of.difference_unit else ""
    heads = [f"{at.axis}, at {'least' if at.sign > 0 else 'most'}", f"{of.axis} before", "after",
             f"loss{unit}", "cost [€] before", "after", "designs", ""]  # fmt: skip
    lines = [
        [
            at.text(row.level),
            *[of.text(s.value) if s else "–" for s in (row.before, row.after)],
            "–" if row.loss is None else of.difference(row.loss),
            *[f"{s.cost:.1f}" if s and s.cost is not None else "–"
              for s in (row.before, row.after)],
            _designs(pair, row),
            row.note,
        ]
        for row in table.rows
    ]  # fmt: skip
    title = f"Loss of {of.title} at equal {at.title}"
    caption = f"{title}, {_title(found, price)}, from {pair.before} to {pair.after}"
    noise = (
        html.P(f"Noise: {of.text(table.noise)} {of.difference_unit}".rstrip(), className="soft")
        if table.noise is not None
        else None
    )
    return html.Div([html.H4(title), plain_table(heads, lines, caption, texts=0), noise])


def _designs(pair: Pair, row: Row) -> list[Any]:
    """Return links to the designs of a level, and to both of them side by side."""
    links: list[Any] = []
    entries = []
    for run, side in ((pair.before, row.before), (pair.after, row.after)):
        if side:
            links += [dcc.Link(side.design, href=address("/design", run=run, id=side.design)), " "]
            entries.append(f"{run}/{side.design}")
    if len(entries) == 2:
        both = address("/compare", designs=",".join(entries), runs=f"{pair.before},{pair.after}")
        links.append(dcc.Link("both", href=both, title="set both designs side by side"))
    return links
