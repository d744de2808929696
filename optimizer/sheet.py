"""The design sheet as HTML, JSON or CSV, from one document."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import jinja2

from optimizer import figures
from optimizer.cautions import CAUTIONS
from optimizer.quantities import quantity
from optimizer.version import VERSION

HEADS = (
    ("weighted_efficiency_pct", "weighted efficiency", "%"),
    ("power_density_kw_l", "power density", "kW/l"),
    ("cost", "cost (invented prices)", "€"),
    ("life_years", "shortest life", "years"),
    ("loss_full_w", "loss at full power", "W"),
    ("box_surface_max_c", "hottest wall", "°C"),
    ("height_mm", "height", "mm"),
    ("mass_kg", "mass", "kg"),
)


def sheet_html(data: dict[str, Any], origin: str = "") -> str:
    """Return the sheet as one self-contained page: no file and no network needed."""
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("optimizer", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
    )
    results = {r["name"]: r["value"] for r in data["results"]}
    return environment.get_template("sheet.html").render(
        s=data,
        version=VERSION,
        origin=origin,
        q=quantity,
        used=used,
        heads=[{"name": n, "value": quantity(results[key], u)} for key, n, u in HEADS],
        loops=[loop_row(loop) for loop in data["loops"]],
        fig=_figures(data, results["volume_l"]),
    )


def _figures(data: dict[str, Any], outer_l: float) -> dict[str, Any]:
    frequency = float(data["specification"]["grid"][0]["frequency_hz"])
    units = list(dict.fromkeys(w["unit"] for w in data["waves"]))
    return {
        "loss": figures.html(figures.loss_figure(data["losses"]), library=True),
        "efficiency": figures.html(figures.efficiency_figure(data["efficiency"]), library=False),
        "parts": figures.html(figures.part_loss_figure(data["losses"]), library=False),
        "volume": figures.html(figures.volume_figure(data["volume"], outer_l), library=False),
        "margins": figures.html(figures.margin_figure(data["limits"]), library=False),
        "waves": [
            figures.html(figures.wave_figure(data["waves"], frequency, unit), library=False)
            for unit in units
        ],
    }


def used(fact: dict[str, Any]) -> str:
    """Return how much of a rating a stress uses."""
    if fact["bound"] is None or isinstance(fact["value"], str) or fact["bound"] == 0:
        return ""
    return f"{100 * fact['value'] / fact['bound']:.0f} %"


def loop_row(loop: dict[str, Any]) -> tuple[str, ...]:
    """Return a control loop as table cells."""

    def number(key: str, unit: str) -> str:
        value = loop.get(key)
        return "–" if value is None else f"{value:.4g} {unit}".rstrip()

    return (
        loop["name"],
        loop["plant"],
        number("kp", loop["unit"].removesuffix("1")),
        number("ki", f"{loop['unit']}/s".removeprefix("1")),
        number("crossover", "Hz"),
        number("phase_margin", "°"),
        number("gain_margin", "dB"),
        loop["note"],
    )


def sheet_json(data: dict[str, Any]) -> str:
    """Return the sheet as JSON."""
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False, default=str)


def sheet_csv(data: dict[str, Any]) -> str:
    """Return the bill of materials with builds and stresses as CSV; cautions come first."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    for caution in CAUTIONS:
        writer.writerow([f"# {caution}"])
    writer.writerow(["section", "path", "what", "quantity", "name", "value", "unit", "rating"])
    for item in data["bill"]:
        for section in ("build", "stress"):
            for fact in item[section]:
                row = [item["path"], item["what"], item["quantity"], fact["name"], fact["value"]]
                writer.writerow([section, *map(safe_cell, row), fact["unit"], fact["bound"]])
    for name, unit_key in (("results", "name"), ("variables", "path")):
        for row in data[name]:
            cells = [row[unit_key], row["meaning"], "", "", row["value"], row["unit"], ""]
            writer.writerow([name, *map(safe_cell, cells)])
    for row in data["limits"]:
        cells = [row["path"], row["meaning"], "", row["at"], row["actual"], row["unit"]]
        writer.writerow(["limits", *map(safe_cell, cells), row["bound"]])
    return out.getvalue()


def safe_cell(cell: Any) -> Any:
    """Return a cell that no spreadsheet takes for a formula."""
    if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + cell
    return cell
