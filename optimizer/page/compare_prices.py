"""The price of a pin on the page: what one run gives up against another, level by level."""

from __future__ import annotations

import html as markup
from typing import Any

from dash import dcc, html

from optimizer.compare import Comparison, Pair
from optimizer.comparison_figures import price_figure
from optimizer.page import theme
from optimizer.page.areas import address
from optimizer.page.compare_bits import plain_table
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
    drawn = price_figure(found, pair)
    height = int(drawn.layout.height or 500)
    drawn.update_layout(title=None, margin={"t": 30})
    return [
        html.H2(f"From {pair.before} to {pair.after}"),
        html.P([html.Strong("Pins added: "), "; ".join(pair.added) or "none"]),
        html.P([html.Strong("Pins dropped: "), "; ".join(pair.dropped)]) if pair.dropped else None,
        *[html.P(remark, className="compare-remark") for remark in pair.remarks],
        html.P(summary) if (summary := spoken(found, pair)) else None,
        theme.graph(f"compare-price-{n}", drawn, scheme, height),
        *_prices(found, pair),
    ]


def spoken(found: Comparison, pair: Pair) -> str:
    """Return the mean losses of a pair in one sentence, for a quick reader and for speech."""
    told = []
    for price in pair.prices[1:]:
        means = [
            f"{t.of.difference(-t.mean)} {t.of.difference_unit} of {t.of.title} "
            f"at equal {t.at.title}{_noisy(t)}"
            for t in price.tables
            if t.mean is not None
        ]
        if means:
            told.append(f"{_title(found, price)}: {', '.join(means)}")
    return f"On average along the front: {'; '.join(told)}." if told else ""


def _noisy(table: Table) -> str:
    if table.mean is None or table.noise is None or abs(table.mean) >= table.noise:
        return ""
    return " (within the noise)"


def _title(found: Comparison, price: Price) -> str:
    if not price.topology:
        return "All topologies together"
    return markup.unescape(found.titles.get(price.topology, price.topology))


def _prices(found: Comparison, pair: Pair) -> list[Any]:
    together, *single = pair.prices
    same = [p for p in single if (p.before, p.after) == (together.before, together.after)]
    parts = [part for price in single for part in _price(found, pair, price)]
    if same:
        said = f"All topologies together: as {_title(found, same[0])}, which dominates the others."
        return [*parts, html.P(said)] if len(single) > 1 else parts
    return parts + (_price(found, pair, together) if len(single) > 1 else [])


def _price(found: Comparison, pair: Pair, price: Price) -> list[Any]:
    tables = [_table(found, pair, price, t) for t in price.tables]
    return [
        html.H3(_title(found, price)),
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
