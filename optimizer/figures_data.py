"""Fronts out of run folders, ready for tables and pictures."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jinja2

from models.errors import RipplefrontError
from models.topologies import TOPOLOGIES
from optimizer import figures, picture
from optimizer.archive import Run, StoredDesign
from optimizer.cautions import CAUTIONS
from optimizer.fronts import FrontPoint, corners, table_columns
from optimizer.quantities import quantity
from optimizer.version import VERSION

PICTURES, PAGES = (".png", ".svg", ".pdf"), (".html",)


def front_points(run: Run, topology: str) -> list[FrontPoint]:
    """Return the front of a topology of a run."""
    return [point(run, design) for design in run.front_of(topology)]


def point(run: Run, design: StoredDesign) -> FrontPoint:
    """Return one stored design with its results by name."""
    names = [c.name for c in run.columns]
    values = dict(zip(names, map(float, design.columns), strict=True))
    return FrontPoint(design.id, design.candidate.topology, values)


def all_fronts(run: Run) -> dict[str, list[FrontPoint]]:
    """Return the front of every topology of a run, in the order of the candidates."""
    return {
        name: front_points(run, name) for name in dict.fromkeys(c.topology for c in run.candidates)
    }


def titles(run: Run) -> dict[str, str]:
    """Return the long names of the topologies of a run."""
    found = {}
    for name in dict.fromkeys(c.topology for c in run.candidates):
        found[name] = TOPOLOGIES[name].title if name in TOPOLOGIES else name
    return found


def run_corners(run: Run) -> dict[str, float]:
    """Return the best efficiency [%] and density [kW/l] of a run."""
    points = [p for front in all_fronts(run).values() for p in front]
    if (
        not points
        or not {"weighted_efficiency_pct", "power_density_kw_l"} <= points[0].results.keys()
    ):
        return {}
    return {
        "efficiency": max(p.efficiency for p in points),
        "density": max(p.density for p in points),
    }


def check_outputs(picture: Path | None, page: Path | None) -> None:
    """Refuse names that could not be written, before a long sweep and not after it.

    Raises
    ------
    RipplefrontError
        For an unknown suffix or a folder that does not exist.
    """
    for path, suffixes in ((picture, PICTURES), (page, PAGES)):
        if path is None:
            continue
        if path.suffix.lower() not in suffixes:
            raise RipplefrontError(
                f"{path} has no known form.\n  End the name in {' or '.join(suffixes)}."
            )
        if not path.parent.is_dir():
            raise RipplefrontError(
                f"the folder of {path} does not exist.\n  Make it, or choose another."
            )


def write_picture(run: Run, path: Path) -> None:
    """Write the fronts as PNG, SVG or PDF.

    Raises
    ------
    RipplefrontError
        If the file has another suffix or cannot be written.
    """
    check_outputs(path, None)
    note = (
        f"{run.name} · ripplefront {VERSION} · analytic estimates for early design, losses "
        "±15–20 %, invented prices and catalogue parts;\nlethal voltages; verification and "
        "certification belong to qualified people under local codes · dotted: equal loss per litre"
    )
    try:
        picture.draw(all_fronts(run), titles(run), note, path)
    except OSError as error:
        raise unwritable(path, error) from None


def write_page(run: Run, path: Path) -> None:
    """Write the fronts as one self-contained interactive page."""
    check_outputs(None, path)
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("optimizer", "templates"), autoescape=True
    )
    fronts = all_fronts(run)
    text = environment.get_template("fronts.html").render(
        run=run.name,
        version=VERSION,
        cautions=CAUTIONS,
        figure=figures.html(figures.fronts_figure(fronts, titles(run)), library=True),
        q=quantity,
        columns=[c for c in run.columns if c.name in table_columns()],
        fronts=[
            {
                "title": titles(run)[name],
                "points": sorted(points, key=lambda p: p.density),
                "corners": corners(points),
            }
            for name, points in fronts.items()
        ],
    )
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise unwritable(path, error) from None


def unwritable(path: Path, error: OSError) -> RipplefrontError:
    """Return the error for a file that cannot be written, with the way out."""
    return RipplefrontError(
        f"{path} cannot be written: {error.strerror}.\n  Choose a folder you may write to."
    )


def front_json(run: Run, points: list[FrontPoint]) -> dict[str, Any]:
    """Return a front as a JSON-ready document."""
    return {
        "run": run.name,
        "columns": [{"name": c.name, "unit": c.unit, "meaning": c.meaning} for c in run.columns],
        "designs": [
            {"design": p.label, "topology": p.topology, **json.loads(json.dumps(p.results))}
            for p in points
        ],
        "cautions": list(CAUTIONS),
    }
