"""Cases for curves: the same design at a grid of loads and module voltages."""

from __future__ import annotations

import dataclasses

import numpy as np

from models.axes import points
from models.case import Case
from models.points import OperatingPoints, Purpose
from models.results import full_row


def load_case(case: Case, loads: tuple[float, ...], voltages: tuple[float, ...]) -> Case:
    """Return a case with one row for each load and module voltage.

    Parameters
    ----------
    case : Case
        Its full-power row gives everything that does not vary.
    loads : tuple of float
        Shares of rated power [1].
    voltages : tuple of float
        Module voltages [V].
    """
    base, row = case.points, full_row(case)
    pairs = [(v, load) for v in voltages for load in loads]
    same = {
        f.name: points(np.full(len(pairs), getattr(base, f.name)[0, row, 0]))
        for f in dataclasses.fields(OperatingPoints)
        if f.name not in ("label", "purpose")
    }
    same |= {
        "v_pv": points([v for v, _ in pairs]),
        "p_ac": points([load * case.spec.output.rated_power_w for _, load in pairs]),
        "weight": points(np.full(len(pairs), 1.0 / len(pairs))),
        "hours": points(np.full(len(pairs), 8760.0 / len(pairs))),
    }
    rows = OperatingPoints(
        label=tuple(f"{100 * load:.0f} % at {v:.1f} V" for v, load in pairs),
        purpose=(Purpose.WEIGHTED,) * len(pairs),
        **same,
    )
    return dataclasses.replace(case, points=rows)


def module_voltages(case: Case) -> tuple[float, float, float]:
    """Return the lowest, nominal and highest module voltage at which full power is asked."""
    row = full_row(case)
    power, voltage = case.points.p_ac[0, :, 0], case.points.v_pv[0, :, 0]
    full = voltage[power >= power[row] - 1e-6]
    return float(full.min()), float(voltage[row]), float(full.max())
