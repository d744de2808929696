"""The year on one module, gathered into a handful of bins of the same energy and ageing."""

from __future__ import annotations

import dataclasses
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from models.axes import Array
from models.climate import Climate
from models.module_view import ModuleView
from models.pv_module import cell_temperature, power_point
from models.spec import Specification
from models.spec_rules import WARMING

Mask: TypeAlias = NDArray[np.bool_]

# What of the module's power reaches the grid, for the power available in a bin; the
# median of listed inverters of this size is 0.950, good ones reach 0.965.
SHARE_AC = 0.955
LEAST_SHARE = 0.005  # [1] of rated power, below which an inverter does not run; assumption
# Ageing doubles every 10 K (Arrhenius rule of thumb).  Bins merge at equal ageing of a
# part that full power heats by 25 K; parts heated by 10 to 40 K age within a few per cent.
DOUBLING_K = 10.0
SELF_HEATING_K = 25.0
POWER_BANDS, WARMTH_BANDS = 3, 2


@dataclasses.dataclass(frozen=True)
class YearBin:
    """Some hours of the year at one condition; ``power`` is 0 at night."""

    hours: float  # [h]
    power: float  # into the grid [W]
    v_pv: float  # module voltage [V]; nominal at night
    kappa: float  # [1]
    ambient: float  # [°C]
    t_air: float  # around the box [°C]
    t_module: float  # [°C]
    irradiance: float  # [W/m²]


def derating(ambient: Array, spec: Specification) -> Array:
    """Return the share of rated power [1] that may be delivered at an ambient [°C]."""
    above = np.maximum(ambient - spec.roof.full_power_ambient_c, 0.0)
    return np.maximum(1.0 - spec.roof.derating_pct_per_k / 100.0 * above, 0.0)


def year_bins(climate: Climate, view: ModuleView, spec: Specification) -> list[YearBin]:
    """Return night and day of the year in at most seven bins.

    Energy is kept exactly; ageing is that of a part which full power heats by 25 K.  A
    clipped inverter really works above the maximum-power voltage, here it stays there.

    Parameters
    ----------
    climate : Climate
        The whole year.
    view : ModuleView
        The module that drives the converter.
    spec : Specification
        For rated power, derating and where the box hangs.
    """
    rated = spec.output.rated_power_w
    cell = cell_temperature(climate.ambient, climate.irradiance, view.diode.noct)
    point = power_point(view.diode, climate.irradiance, cell)
    power = np.minimum(rated * derating(climate.ambient, spec), SHARE_AC * point.p_mp)
    power = np.where(power >= LEAST_SHARE * rated, power, 0.0)
    local = climate.ambient + (WARMING * climate.irradiance if spec.roof.module_side else 0.0)
    bins = []
    for chosen in _groups(power, climate.ambient, climate.hours):
        hours = np.where(chosen, climate.hours, 0.0)
        total = float(hours.sum())
        mean_power = float((power * hours).sum()) / total
        heating = SELF_HEATING_K * (power - mean_power) / rated
        weight = power * hours if mean_power > 0.0 else hours
        voltage = float(np.average(point.v_mp, weights=weight))
        t_air = _ageing_mean(local + heating, hours)
        bins.append(
            YearBin(
                total,
                mean_power,
                v_pv=min(max(voltage, view.v_low), view.v_high) if mean_power else view.v_nominal,
                kappa=float(np.average(point.kappa, weights=weight)),
                ambient=float(np.average(climate.ambient, weights=hours)),
                t_air=t_air,
                t_module=_ageing_mean(cell, hours) if spec.roof.module_side else t_air,
                irradiance=float(np.average(climate.irradiance, weights=hours)),
            )
        )
    return bins


def _groups(power: Array, ambient: Array, hours: Array) -> list[Mask]:
    """Return masks: the night, then bands of equal energy halved at equal hours by warmth."""
    day = (power > 0.0) & (hours > 0.0)
    masks = [(power == 0.0) & (hours > 0.0)]
    energy_band = _share(power, power * hours, day, POWER_BANDS)
    for i in range(POWER_BANDS):
        band = day & (energy_band == i)
        warmth_band = _share(ambient, hours, band, WARMTH_BANDS)
        masks += [band & (warmth_band == j) for j in range(WARMTH_BANDS)]
    return [mask for mask in masks if mask.any()]


def _share(key: Array, weight: Array, among: Mask, count: int) -> Array:
    """Return the band 0 … count−1 of every entry when sorted by ``key`` at equal weight."""
    order = np.argsort(np.where(among, key, np.inf), kind="stable")
    sorted_weight = np.where(among, weight, 0.0)[order]
    middle = np.cumsum(sorted_weight) - 0.5 * sorted_weight
    total = max(float(sorted_weight.sum()), 1e-300)
    bands = np.empty(order.size)
    bands[order] = np.minimum(np.floor(count * middle / total), count - 1)
    return bands


def _ageing_mean(temperature: Array, hours: Array) -> float:
    """Return the constant temperature [°C] that ages as much: 10·log₂(mean 2^(T/10))."""
    highest = float(temperature.max())
    ageing = np.average(2.0 ** ((temperature - highest) / DOUBLING_K), weights=hours)
    return highest + DOUBLING_K * float(np.log2(ageing))
