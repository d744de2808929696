"""The photovoltaic module as a single diode: voltage, power and curvature at its maximum.

Evaluated once per run, on one-dimensional arrays of irradiance and cell temperature.
"""

from __future__ import annotations

import dataclasses
import difflib
import functools
import math
import warnings
from typing import Any

import numpy as np
from pvlib import pvsystem
from scipy.optimize import brentq

from models.axes import Array
from models.spec import ComplaintError, Module

BOLTZMANN = 8.617333e-5  # [eV/K], k/e; CODATA 2018
KELVIN = 273.15  # [K] at 0 °C
STC_C, STC_W_M2 = 25.0, 1000.0  # IEC 61215 standard test conditions (from memory)

# Band gap [eV] at 25 °C and its relative slope [1/K]; De Soto et al. 2006 for silicon,
# O. Madelung, "Semiconductors: Data Handbook", 2004, for the others, both as quoted in
# the documentation of pvlib.
BAND_GAP = {
    "silicon": (1.121, -0.0002677),
    "cdte": (1.475, -0.0003),
    "cis": (1.010, -0.00011),
}

IDEALITY = (0.7, 2.0)  # [1], range searched for the diode's ideality factor
# Parallel resistance over V_oc/I_sc of a module worth installing; from the public list
# of modules, whose middle 98 % lie inside.
SHUNT = (8.0, 1000.0)  # [1]


@dataclasses.dataclass(frozen=True)
class SingleDiode:
    """Reference values of the single-diode model at 1000 W/m², 25 °C."""

    a: float  # modified ideality factor n·N_s·kT/q [V]
    i_light: float  # [A]
    i_saturation: float  # [A]
    r_series: float  # [Ω]
    r_shunt: float  # [Ω]
    alpha: float  # temperature coefficient of the light current [A/K]
    band_gap: float  # [eV]
    band_gap_slope: float  # [1/K]
    noct: float  # [°C]


@dataclasses.dataclass(frozen=True)
class PowerPoint:
    """The maximum-power point and the open circuit; arrays of one axis."""

    v_mp: Array  # [V]
    i_mp: Array  # [A]
    p_mp: Array  # [W]
    v_oc: Array  # [V]
    kappa: Array  # [1]


def cell_temperature(ambient: Array, irradiance: Array, noct: float) -> Array:
    """Return the cell temperature [°C]: T_a + G·(NOCT − 20)/800.

    Wind above 1 m/s makes the real cell cooler, a roof without a gap hotter.

    Parameters
    ----------
    ambient : Array
        Ambient temperature [°C].
    irradiance : Array
        In the plane of the module [W/m²].
    noct : float
        Cell temperature at 800 W/m² and 20 °C ambient [°C].

    Source
    ------
    IEC 61215, nominal operating cell temperature (from memory).
    """
    return ambient + irradiance * (noct - 20.0) / 800.0


def power_point(diode: SingleDiode, irradiance: Array, cell: Array) -> PowerPoint:
    """Return the maximum-power point, open circuit and curvature.

    κ = −P''(V)·V²/P = (2g − V·i₂)·V²/P at the maximum, with
    g_e = I₀·e^x/a, x = (V + I·R_s)/a, g_d = g_e + 1/R_sh, g = g_d/(1 + R_s·g_d),
    i₂ = −(g_e/a)·(1 − R_s·g)²/(1 + R_s·g_d).  A voltage ripple of relative amplitude r
    then costs κ·r²/4 of the power, at most 4 % of that loss low for r ≤ 4 %.

    Parameters
    ----------
    diode : SingleDiode
        The module.
    irradiance : Array
        In the plane of the module [W/m²]; below 1 W/m² counted as 1.
    cell : Array
        Cell temperature [°C].

    Source
    ------
    W. De Soto, S. A. Klein, W. A. Beckman, "Improvement and validation of a model for
    photovoltaic array performance", Solar Energy 80, 2006 (from memory); the solution
    of the implicit equation is pvlib's.
    """
    i_l, i_0, r_s, r_sh, a = _conditions(diode, np.maximum(irradiance, 1.0), cell)
    # The Lambert function of pvlib overflows on the way and recovers by itself.
    with np.errstate(all="ignore"):
        curve = pvsystem.singlediode(i_l, i_0, r_s, r_sh, a)
    v, i, v_oc = (np.reshape(curve[key], np.shape(i_l)) for key in ("v_mp", "i_mp", "v_oc"))
    g_e = i_0 * np.exp((v + i * r_s) / a) / a
    g_d = g_e + 1.0 / r_sh
    g = g_d / (1.0 + r_s * g_d)
    i_2 = -(g_e / a) * (1.0 - r_s * g) ** 2 / (1.0 + r_s * g_d)
    kappa = (2.0 * g - v * i_2) * v / i
    return PowerPoint(v, i, v * i, v_oc, kappa)


def single_diode(module: Module) -> SingleDiode:
    """Return the model of a module, from the public list or from its data sheet.

    Raises
    ------
    ComplaintError
        If the list has no such row, or no curve passes through the values.
    """
    return _from_list(module.listed) if module.listed is not None else _fitted(module)


@functools.cache
def listed_modules() -> Any:
    """Return the public CEC module list of pvlib: one column per module."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # pandas and pvlib deprecate inside each other
        return pvsystem.retrieve_sam("CECMod")


def _from_list(name: str) -> SingleDiode:
    table = listed_modules()
    if name not in table.columns:
        near = difflib.get_close_matches(name, list(table.columns), 1, 0.6)
        hint = f"did you mean {near[0]!r}?" if near else "give data-sheet values instead"
        raise ComplaintError("listed", f"the public module list has no row {name!r}", hint)
    row = table[name]
    gap, slope = BAND_GAP["silicon"]  # the list was fitted with silicon for every row
    return SingleDiode(
        a=float(row["a_ref"]),
        i_light=float(row["I_L_ref"]),
        i_saturation=float(row["I_o_ref"]),
        r_series=float(row["R_s"]),
        r_shunt=float(row["R_sh_ref"]),
        alpha=float(row["alpha_sc"]) * (1.0 - float(row["Adjust"]) / 100.0),
        band_gap=gap,
        band_gap_slope=slope,
        noct=float(row["T_NOCT"]),
    )


def _conditions(diode: SingleDiode, irradiance: Array, cell: Array) -> tuple[Array, ...]:
    """Return I_L, I_0, R_s, R_sh and a at operating conditions."""
    found = pvsystem.calcparams_desoto(
        irradiance,
        cell,
        diode.alpha,
        diode.a,
        diode.i_light,
        diode.i_saturation,
        diode.r_shunt,
        diode.r_series,
        EgRef=diode.band_gap,
        dEgdT=diode.band_gap_slope,
    )
    shape = np.broadcast_shapes(np.shape(irradiance), np.shape(cell))
    return tuple(np.broadcast_to(np.asarray(x, dtype=float), shape) for x in found)


def _fitted(module: Module) -> SingleDiode:
    """Return the single diode through the data-sheet values.

    For a given ideality factor the three points (short circuit, maximum, open circuit)
    are linear in I_L, I_0 and 1/R_sh, and the slope at the maximum fixes R_s.  The
    ideality factor follows from the temperature coefficient of V_oc among those with a
    sensible R_sh; the band gap, then only an effective one, carries what is left.  Where
    none has (I_mp too near I_sc for any diode), R_sh is held and I_sc gives way, which
    no converter notices.

    Source
    ------
    Equations of De Soto et al., Solar Energy 80, 2006 (from memory).  The usual root
    search in five unknowns ended without positive resistances for most rows of the
    public list; nested one-dimensional searches do not.
    """
    thermal = BOLTZMANN * (STC_C + KELVIN) * module.cells_in_series
    g_unit = float(module.i_sc_a or 0.0) / float(module.v_oc_v or 1.0)
    low, high = g_unit / SHUNT[1], g_unit / SHUNT[0]
    tried = [_through_points(module, n * thermal, None) for n in np.linspace(*IDEALITY, 131)]
    sensible = [d for d in tried if d is not None and low <= 1.0 / d.r_shunt <= high]
    if not sensible:
        held = _through_points(module, thermal, low)
        sensible = [held] if held is not None and _near_short_circuit(held, module) else []
    if not sensible:
        raise ComplaintError(
            "v_mp_v",
            f"no single-diode curve passes through v_mp_v = {module.v_mp_v:g} V, "
            f"i_mp_a = {module.i_mp_a:g} A, v_oc_v = {module.v_oc_v:g} V, "
            f"i_sc_a = {module.i_sc_a:g} A with {module.cells_in_series} cells in series",
            "check the values and cells_in_series (half-cells: those of one string)",
        )
    best = min(sensible, key=lambda diode: abs(_open_circuit_error(diode, module)))
    return _with_temperature_coefficient(best, module)


def _with_temperature_coefficient(diode: SingleDiode, module: Module) -> SingleDiode:
    """Return the model with the band gap that meets the coefficient of P_mp or of V_oc."""
    key, error = "v_oc_pct_per_c", _open_circuit_error
    if module.p_mp_pct_per_c is not None:
        key, error = "p_mp_pct_per_c", _power_error
    try:
        gap = brentq(
            lambda eg: error(dataclasses.replace(diode, band_gap=eg), module),
            0.3 * diode.band_gap,
            2.5 * diode.band_gap,
            xtol=1e-6,
        )
    except ValueError:
        raise ComplaintError(
            key,
            f"{key} = {getattr(module, key):g} %/°C does not fit the other values",
            "check its sign and size: about -0.3 (voltage) or -0.4 (power) for silicon",
        ) from None
    return dataclasses.replace(diode, band_gap=float(gap))


def _through_points(module: Module, a: float, g_shunt: float | None) -> SingleDiode | None:
    """Return the model for one ``a``, or None; a given 1/R_sh [S] replaces short circuit."""
    v, i = float(module.v_mp_v or 0.0), float(module.i_mp_a or 0.0)
    v_oc, i_sc = float(module.v_oc_v or 0.0), float(module.i_sc_a or 0.0)

    def linear(r_s: float) -> Array:
        rows = [[1.0, -math.expm1(x / a), -x] for x in (v + i * r_s, v_oc, i_sc * r_s)]
        right = [i, 0.0, i_sc]
        if g_shunt is not None:
            rows[2], right[2] = [0.0, 0.0, 1.0], g_shunt
        return np.linalg.solve(np.array(rows), np.array(right))

    def slope(r_s: float) -> float:
        _, i_0, g_sh = linear(r_s)
        g_d = i_0 * math.exp((v + i * r_s) / a) / a + g_sh
        return g_d * (v - i * r_s) - i

    highest = 0.999 * (v_oc - v) / i
    if slope(0.0) * slope(highest) > 0.0:
        return None
    r_s = float(brentq(slope, 0.0, highest))
    i_l, i_0, g_sh = (float(x) for x in linear(r_s))
    if not (i_0 > 0.0 and g_sh > 0.0):
        return None
    gap, gap_slope = BAND_GAP[module.technology]
    alpha = module.i_sc_pct_per_c / 100.0 * i_sc
    return SingleDiode(a, i_l, i_0, r_s, 1.0 / g_sh, alpha, gap, gap_slope, module.noct_c)


def _near_short_circuit(diode: SingleDiode, module: Module) -> bool:
    """Tell whether the light current is within 5 % of the short-circuit current."""
    return abs(diode.i_light / float(module.i_sc_a or 1.0) - 1.0) < 0.05


def _open_circuit_error(diode: SingleDiode, module: Module) -> float:
    """Return the current left at the V_oc that the sheet gives 10 K above 25 °C [A]."""
    step = 10.0
    v_oc = float(module.v_oc_v or 0.0) * (1.0 + step * module.v_oc_pct_per_c / 100.0)
    i_l, i_0, _, r_sh, a = _conditions(diode, np.array(STC_W_M2), np.array(STC_C + step))
    return float(i_l - i_0 * np.expm1(v_oc / a) - v_oc / r_sh)


def _power_error(diode: SingleDiode, module: Module) -> float:
    """Return the excess of the power over what the sheet gives 40 K above 25 °C [W]."""
    step = 40.0
    power = power_point(diode, np.array(STC_W_M2), np.array(STC_C + step)).p_mp
    wanted = 1.0 + step * float(module.p_mp_pct_per_c or 0.0) / 100.0
    return float(power) - float(module.v_mp_v or 0.0) * float(module.i_mp_a or 0.0) * wanted
