"""The group "What limits it"."""

from __future__ import annotations

from typing import Any

import numpy as np
from dash import html

from models.errors import RipplefrontError
from optimizer.active import ActiveBound, ActiveLimit
from optimizer.archive import StoredDesign
from optimizer.binding import RULE, DesignBindings, bound_words, design_bindings
from optimizer.page import design_limit_figures as figures
from optimizer.page.design_bits import Shown, chart, live, more, table
from optimizer.quantities import quantity, significant
from optimizer.sheet_data import SECTIONS

NAME, TITLE = "limits", "What limits it"
FIRST = 12  # limits shown before the rest is unfolded
SIGNS = {"<=": "≤", ">=": "≥"}


def drawn(shown: Shown) -> list[Any]:
    """Return the group."""
    item = shown.item
    limits = SECTIONS["limits"](item)
    chain = SECTIONS["heat_chain"](item)
    height = 110 + 26 * min(len(chain), 16)
    return [
        live("binds", *_binds(shown)),
        html.H3("Margins, worst first"),
        _margins(limits[:FIRST], "the tightest limits"),
        more(f"The other {len(limits) - FIRST} limits", _margins(limits[FIRST:], "other limits"))
        if len(limits) > FIRST
        else None,
        html.Div(
            [
                chart("margins", figures.margins(limits), shown, max(420, height)),
                chart("chain", figures.temperature_chain(chain), shown, max(420, height)),
            ],
            className="design-pair",
        ),
        more("Temperatures of every part", _temperatures(chain)),
        html.H3("Stress and derating"),
        _stress(SECTIONS["bill"](item)),
    ]


def words(margin: float) -> str:
    """Return a margin as a reader wants it: what is left, or what is missing."""
    share = 100.0 * abs(margin)
    text = f"{share:.1f} %" if share < 100.0 else f"{share:.0f} %"
    return f"not met by {text}" if margin > 0.0 else f"{text} left"


def _margins(limits: list[dict[str, Any]], caption: str) -> Any:
    rows = [
        [
            r["path"],
            r["meaning"],
            "" if r["actual"] is None else quantity(r["actual"], _unit(r["unit"])),
            SIGNS.get(r["sense"], ""),
            "" if r["bound"] is None else quantity(r["bound"], _unit(r["unit"])),
            words(r["margin"]) if r["met"] else {"text": words(r["margin"]), "look": "bad"},
            r["at"],
        ]
        for r in limits
    ]
    heads = ["which", "what", "value", "", "limit", "margin", "tightest at"]
    return table(heads, rows, (2, 4, 5), caption)


def _unit(unit: str) -> str:
    return "" if unit == "1" else unit


def bindings(shown: Shown) -> DesignBindings:
    """Return what binds the design as it is now.

    Its values are held against the run's ranges, so one outside a pin counts at its end.
    """
    stored = shown.run.design(shown.stored)
    if shown.changed:
        genes = stored.candidate.genes
        values = np.array([[shown.item.values[g.variable.field] for g in genes.genes]])
        stored = StoredDesign(
            stored.id, stored.candidate, genes.encoded(values)[0], shown.item.evaluation.columns[0]
        )
    return design_bindings(shown.run, shown.case, stored)


def _binds(shown: Shown) -> list[Any]:
    try:
        found = bindings(shown)
    except RipplefrontError as error:
        return [html.P(str(error).splitlines()[0], className="soft")]
    lines = [_limit_line(x) for x in found.limits]
    ends = [_bound_line(b) for b in found.bounds if not b.natural]
    fewest = [_bound_line(b) for b in found.bounds if b.natural]
    nothing = html.P("No limit is used up to its last two per cent.")
    return [
        html.H3("What binds"),
        html.Ul(lines, className="design-list") if lines else nothing,
        html.P("Variables at an end of what the search allowed:") if ends else None,
        html.Ul(ends, className="design-list") if ends else None,
        more(f"{len(fewest)} at one piece, fewer than which cannot be",
             html.Ul(fewest, className="design-list")) if fewest else None,
        html.P(RULE, className="soft"),
    ]  # fmt: skip


def _limit_line(limit: ActiveLimit) -> html.Li:
    met = limit.margin <= 0.0
    value = ""
    if limit.actual is not None and limit.bound is not None:
        unit = _unit(limit.unit)
        value = (
            f": {quantity(limit.actual, unit)} {SIGNS.get(limit.sense, '')} "
            f"{quantity(limit.bound, unit)}"
        )
    return html.Li(
        [
            html.Strong("pin " + limit.path if limit.kind == "pin" else limit.path),
            f" – {limit.meaning}{value}, " if limit.meaning else f"{value} ",
            html.Span(words(limit.margin), className="" if met else "bad"),
            f", at {limit.at}",
        ]
    )


def _bound_line(bound: ActiveBound) -> html.Li:
    told = bound.value if isinstance(bound.value, str) else significant(float(bound.value), 4)
    return html.Li(
        [
            html.Strong(bound.path),
            f" = {told} {bound.unit}".rstrip() + f" – {bound.meaning}; {bound_words(bound)}",
        ]
    )


def _temperatures(chain: list[dict[str, Any]]) -> Any:
    rows = [
        [
            r["path"],
            f"{r['air_c']:.0f}",
            f"{r['wall_c']:.0f}",
            "on the wall" if r["inside_c"] is None else f"{r['inside_c']:.0f}",
            f"{r['part_c']:.0f}",
            "" if r["limit_c"] is None else f"{r['limit_c']:.0f}",
            r["at"],
        ]
        for r in chain
    ]
    heads = ["temperature [°C]", "air", "wall", "inside", "part", "limit", "hottest at"]
    return table(heads, rows, range(1, 6), "temperatures in degrees Celsius")


def _stress(bill: list[dict[str, Any]]) -> Any:
    """Return what every part bears against what it may, most used first inside a part."""
    rows = []
    for item in sorted(bill, key=lambda i: -max(map(used, i["stress"]), default=0.0)):
        facts = sorted(item["stress"], key=lambda f: -used(f))
        for k, fact in enumerate(facts):
            share = used(fact)
            rows.append(
                [
                    item["path"] if k == 0 else {"text": item["path"], "look": "soft"},
                    item["what"] if k == 0 else "",
                    fact["name"],
                    quantity(fact["value"], fact["unit"]),
                    "" if fact["bound"] is None else quantity(fact["bound"], fact["unit"]),
                    {"text": f"{100.0 * share:.0f} %", "share": share} if share > 0.0 else "",
                ]
            )
    heads = ["part", "what", "stress", "worst", "allowed", "used"]
    return table(heads, rows, (3, 4, 5), "stress and derating of every part")


def used(fact: dict[str, Any]) -> float:
    """Return how much of its bound a stress uses [1]; 0 where it has none."""
    bound, value = fact["bound"], fact["value"]
    if not bound or isinstance(value, str):
        return 0.0
    return float(value) / float(bound)
