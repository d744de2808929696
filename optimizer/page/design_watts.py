"""The group "Where the watts go"."""

from __future__ import annotations

from typing import Any

from dash import html

from optimizer.page import design_figures as figures
from optimizer.page.design_bits import Shown, chart, more, sections, table
from optimizer.quantities import quantity
from optimizer.sheet_data import SECTIONS, detail_data

NAME, TITLE = "watts", "Where the watts go"


def drawn(shown: Shown) -> list[Any]:
    """Return the group."""
    item = shown.item
    losses = SECTIONS["losses"](item)
    detail = detail_data(item)
    frequency = float(item.case.spec.grid[0].frequency_hz)
    return sections(
        html.Div(
            [
                chart("loss", figures.loss_by_load(losses), shown, 380),
                chart("parts", figures.sorted_losses(losses), shown, 380),
                chart("efficiency", figures.efficiency(SECTIONS["efficiency"](item)), shown, 340),
                chart("spectra", figures.spectra(detail["spectra"], frequency), shown, 340)
                if detail["spectra"] else None,
            ],
            className="design-pair",
        ),
        chart("waves", figures.waves(detail["waves"], frequency), shown, 520)
        if detail["waves"] else None,
        _ripple(SECTIONS["ripple"](item)),
        more("Every loss at every weighted load", _losses(losses)),
        more("Every spectral line", _lines(detail["spectra"], frequency)),
    )  # fmt: skip


def _losses(losses: dict[str, Any]) -> Any:
    """Return the table behind the first two figures."""
    points = losses["points"]
    rows = [[r["path"], *(f"{w:.3f}" for w in r["watts"])] for r in losses["rows"]]
    rows.append(["sum", *(f"{t:.2f}" for t in losses["total_w"])])
    rows.append(["weight", *(f"{w:.3f}" for w in losses["weight"])])
    return table(["loss [W]", *points], rows, range(1, 1 + len(points)), "losses in watts")


def _ripple(rows: list[dict[str, Any]]) -> Any:
    """Return the ripple at the module, load by load."""
    if not rows:
        return None
    cells = [
        [
            r["at"],
            f"{r['power_w']:.0f} W",
            quantity(r["share"] * r["module_v"], "V"),
            f"{100 * r['share']:.3f} %",
            f"{100 * r['mppt_efficiency']:.3f} %",
        ]
        for r in rows
    ]
    heads = ["load", "power", "ripple, amplitude", "of the module voltage", "power kept"]
    return html.Div(
        [
            html.H3("Ripple at the module, twice line frequency"),
            table(heads, cells, range(1, 5), "ripple at the module at the weighted loads"),
            html.P(
                "Power kept: the share of the module's power that the ripple around the maximum "
                "power point leaves.",
                className="soft",
            ),
        ]
    )


def _lines(spectra: list[dict[str, Any]], frequency: float) -> Any:
    count = max((len(s["amplitudes"]) for s in spectra), default=0)
    heads = ["voltage", *(f"{2 * k * frequency:.0f} Hz" for k in range(1, count + 1))]
    rows = [
        [s["name"], *(quantity(a, s["unit"]) if a >= figures.LEAST_LINE else "< 1 mV"
                      for a in s["amplitudes"])]
        for s in spectra
    ]  # fmt: skip
    return table(heads, rows, range(1, count + 1), "amplitudes of the spectral lines")
