"""The group "Will it last"."""

from __future__ import annotations

from typing import Any

from dash import html

from optimizer.page import design_limit_figures as figures
from optimizer.page.design_bits import Shown, chart, live, more, table
from optimizer.quantities import quantity
from optimizer.sheet_data import SECTIONS

NAME, TITLE = "life", "Will it last"
LAWS = (
    "Damage is added up over the bins of the climate (linear damage). The life of an "
    "electrolytic is uncertain by a factor of two, that of film by a factor of three; humidity "
    "is in neither law. Below 40 °C no longer life is claimed of an electrolytic, so that cool "
    "hours count by their number. Nothing here stands for vibration, surges or solder."
)


def drawn(shown: Shown) -> list[Any]:
    """Return the group."""
    life = SECTIONS["life"](shown.item)
    if not life:
        return [html.P("Nothing in this box wears out in the models used.")]
    wear = SECTIONS["wear"](shown.item)
    spec = shown.item.case.spec
    mortal = {r["path"] for r in life if r["years"] <= figures.ENDLESS}
    worn = {**wear, "parts": [p for p in wear["parts"] if p["path"] in mortal]}
    height = 110 + 34 * max(len(life), 3)
    return [
        live("verdict", *_verdict(life, float(spec.life.wanted_years))),
        html.Div(
            [
                chart("life", figures.life_bars(life, float(spec.life.wanted_years)), shown,
                      height),
                chart("damage", figures.damage_by_bin(worn), shown, max(height, 240))
                if worn["parts"] else _endless(),
            ],
            className="design-pair",
        ),
        html.H3("Each part in each bin of the climate"),
        _bins(worn if worn["parts"] else wear),
        more("Life of every part", table(
            ["part", "life"], [[r["path"], quantity(r["years"], "years")] for r in life], (1,),
            "computed life")),
        _cap(shown),
        html.P(LAWS, className="soft"),
    ]  # fmt: skip


def _verdict(life: list[dict[str, Any]], wanted: float) -> list[Any]:
    shortest = min(life, key=lambda r: float(r["years"]))
    told = quantity(shortest["years"], "years")
    met = shortest["years"] >= wanted
    return [
        html.Strong(shortest["path"]),
        f" wears out first, after {told}; {wanted:g} years are wanted",
        "." if met else html.Span(": not met.", className="bad"),
    ]


def _endless() -> html.P:
    return html.P(
        f"No part wears out within {figures.ENDLESS:.0f} years, so no weather matters.",
        className="soft design-chart",
    )


def _cap(shown: Shown) -> Any:
    life = shown.item.case.spec.life
    if not life.use_cap:
        return None
    return html.P(
        f"The specification holds electrolytics to {life.electrolytic_cap_years:g} years at most, "
        "for seals that age whatever the load; the shares above are of the computed damage.",
        className="soft",
    )


def _bins(wear: dict[str, Any]) -> Any:
    """Return the bins as rows: what weather, and of each part its damage and temperature."""
    heads = ["weather", "hours a year", *(p["path"] for p in wear["parts"])]
    rows = [
        [
            figures.bin_name(wear, i).rpartition(", ")[0],
            f"{wear['hours'][i]:.0f}",
            *(f"{100 * p['share'][i]:.0f} % at {p['celsius'][i]:.0f} °C" for p in wear["parts"]),
        ]
        for i in range(len(wear["bins"]))
    ]
    numbers = range(1, len(heads))
    return table(heads, rows, numbers, "share of the damage and hottest spot, by bin")
