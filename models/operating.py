"""From the specification to operating points, and with the catalogue to a case.

Every combination of a module and a grid brings

- the weighted loads as a laboratory measures them: 25 °C around the box, nominal grid,
  unity power factor, nominal module voltage (or lowest, nominal and highest);
- full power at the edges of the module's and of the grid's window, the hottest roof
  with derated power;
- idle at the record-cold open-circuit voltage under the transient grid voltage, and the
  loss of the grid at full power, both without temperature limits.

Weights are shared equally among combinations.  The year (climate rows) is lived by the
hardest combination alone, that of the least module voltage times grid voltage, whose
currents are the largest.  Its bins are gathered into six by power and warmth; the night
is a seventh, at nominal voltages without power, so that every formula stays finite.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np

from models.axes import points
from models.case import Case
from models.catalogues import catalogue
from models.climate import climate
from models.errors import Mistake, SpecError
from models.module_view import module_views
from models.points import OperatingPoints
from models.site import Row, Site
from models.spec import ComplaintError, Grid, Specification
from models.spec_rules import complaints
from models.year import SHARE_AC

SAFE_COLD_V = 60.0  # [V], usual bound of protective extra-low voltage, IEC 61140 (from memory)
USUAL_WINDOW_V = (16.0, 60.0)  # [V], within which the models were checked
# Usual nominal voltages between the terminals, by kind of grid [V].
USUAL_GRIDS = {
    "line_neutral": (95.0, 280.0),
    "split_phase": (190.0, 245.0),
    "line_line_wye": (190.0, 225.0),
}


def make_case(spec: Specification, base_folder: Path) -> Case:
    """Return a specification made ready for evaluation.

    Parameters
    ----------
    spec : Specification
        What is asked for.
    base_folder : Path
        Where relative paths in it start.

    Raises
    ------
    SpecError
        If it contradicts itself or names what does not exist.
    CatalogueError
        If a table, a climate or a weather file cannot be used.
    """
    found = complaints(spec)
    if not found:
        try:
            return Case(
                spec, operating_points(spec, base_folder), catalogue(spec.parts, base_folder)
            )
        except ComplaintError as complaint:
            found = [complaint]
    raise SpecError(
        [Mistake("specification", 1, 1, f"{c.key}: {c.message}", c.remedy) for c in found]
    )


def operating_points(spec: Specification, base_folder: Path) -> OperatingPoints:
    """Return all rows at which every design is evaluated.

    Parameters
    ----------
    spec : Specification
        What is asked for, without contradictions.
    base_folder : Path
        Where relative paths in it start.

    Raises
    ------
    ComplaintError
        If a module or a climate profile does not exist or fit.
    CatalogueError
        If a climate or weather file cannot be used.
    """
    sites = _sites(spec)
    hardest = min(sites, key=lambda site: site.view.v_nominal * site.grid.voltage_v)
    rows: list[Row] = []
    for site in sites:
        rows += [*site.weighted(1.0 / len(sites)), *site.corners(), *site.unpowered()]
    rows += hardest.year(climate(spec.climate, base_folder))
    return _table(rows)


def oddities(spec: Specification, base_folder: Path) -> tuple[str, ...]:
    """Return what is physically odd about a specification, though it may be meant.

    Parameters
    ----------
    spec : Specification
        What is asked for, without contradictions.
    base_folder : Path
        Where relative paths in it start.
    """
    found = [*_odd_modules(spec), *(text for grid in spec.grid for text in _odd_grid(grid))]
    life, roof = spec.life, spec.roof
    if life.use_cap and life.wanted_years > life.electrolytic_cap_years:
        found.append(
            f"life.use_cap holds electrolytics to {life.electrolytic_cap_years:g} years and "
            f"life.wanted_years = {life.wanted_years:g}: no design with them can take part"
        )
    hottest = float(climate(spec.climate, base_folder).ambient.max())
    if hottest > roof.hot_ambient_c:
        found.append(
            f"the climate reaches {hottest:.0f} °C, roof.hot_ambient_c is "
            f"{roof.hot_ambient_c:g} °C: limits are not checked in the hottest hours"
        )
    return tuple(found)


def _odd_modules(spec: Specification) -> list[str]:
    found, rated = [], spec.output.rated_power_w
    for view in module_views(spec):
        if view.v_cold > SAFE_COLD_V:
            found.append(
                f"{view.label}: open-circuit voltage when cold is {view.v_cold:.0f} V at "
                f"roof.record_cold_c = {spec.roof.record_cold_c:g} °C, above "
                f"{SAFE_COLD_V:g} V"
            )
        if view.v_low < USUAL_WINDOW_V[0] or view.v_high > USUAL_WINDOW_V[1]:
            found.append(
                f"{view.label}: maximum-power voltage from {view.v_low:.1f} to "
                f"{view.v_high:.1f} V leaves the usual {USUAL_WINDOW_V[0]:g} to "
                f"{USUAL_WINDOW_V[1]:g} V"
            )
        available = SHARE_AC * view.p_nominal
        if not 0.75 * available <= rated <= available:
            found.append(
                f"{view.label}: its {view.p_nominal:.0f} W give about {available:.0f} W at the "
                f"grid, output.rated_power_w = {rated:g}: "
                + ("never reached" if rated > available else "much is cut off")
            )
    return found


def _odd_grid(grid: Grid) -> list[str]:
    low, high = USUAL_GRIDS[grid.kind]
    if low <= grid.voltage_v <= high:
        return []
    return [
        f"grid.kind = {grid.kind!r} with grid.voltage_v = {grid.voltage_v:g}: "
        f"{low:g} to {high:g} V is usual"
    ]


def _sites(spec: Specification) -> list[Site]:
    pairs = [(view, grid) for view in module_views(spec) for grid in spec.grid]
    if len(pairs) == 1:
        return [Site(spec, *pairs[0], "")]
    return [
        Site(spec, view, grid, f" ({view.label}, {grid.voltage_v:g} V)") for view, grid in pairs
    ]


def _table(rows: list[Row]) -> OperatingPoints:
    """Return the rows as columns of shape (1, rows, 1)."""
    names = [field.name for field in dataclasses.fields(Row)]
    columns = {name: [getattr(row, name) for row in rows] for name in names}
    return OperatingPoints(
        label=tuple(columns.pop("label")),
        purpose=tuple(columns.pop("purpose")),
        **{name: points(np.array(column, dtype=float)) for name, column in columns.items()},
    )
