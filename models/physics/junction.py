"""Junction temperature: heat path to the wall, and the balance of loss and heat."""

from __future__ import annotations

import math

from models.axes import Array, array_namespace
from models.physics.semiconductor import (
    KELVIN,
    RECOVERY_PER_KELVIN,
    T_COLDEST,
    T_REFERENCE,
)

# A part past thermal runaway is reported this far above its limit [K].
RUNAWAY = 100.0
STEPS = 2
SLOPE_FLOOR = 0.05  # [1], least 1 − R_th·dP/dT that a temperature step divides by

# Thermal resistance of a transistor falls with die size as (R/R_ref)^0.74: from the
# ratings of a 60 mΩ and a 15 mΩ part of one family, 150 W and 416 W at 150 K.
DIE_EXPONENT = 0.74

PAD_THICKNESS = 0.5e-3  # [m], gap pad between package and wall; common practice
PAD_CONDUCTIVITY = 3.0  # [W/(m·K)], gap pad; common practice
PAD_SPREADING = 1.5  # [1], pad area that carries heat over the footprint; common practice


def die_thermal_resistance(r_th_ref: Array, r_on: Array, r_ref: Array) -> Array:
    """Return the resistance from junction to case [K/W]: R_th,ref·(R/R_ref)^0.74.

    Parameters
    ----------
    r_th_ref : Array
        Value at ``r_ref`` [K/W].
    r_on, r_ref : Array
        On-resistance of this die and of the reference at 25 °C [Ω].

    Source
    ------
    Data sheets of a 60 mΩ and a 15 mΩ part of one silicon-carbide family, 2020.
    """
    return r_th_ref * (r_on / r_ref) ** DIE_EXPONENT


def pad_thermal_resistance(footprint: Array) -> Array:
    """Return the resistance of the gap pad from case to wall [K/W]: d/(λ·1.5·A).

    Parameters
    ----------
    footprint : Array
        Area A of the package [m²].

    Source
    ------
    Conduction through a slab; thickness, material and spreading are common practice.
    """
    return PAD_THICKNESS / (PAD_CONDUCTIVITY * PAD_SPREADING * footprint)


def junction_temperature(
    t_case: Array,
    r_th: Array,
    *,
    p_fixed: Array,
    p_recovery: Array,
    p_conduction: Array,
    exponent: Array,
    t_max: Array,
) -> Array:
    """Return the junction temperature of a transistor [°C], where loss and heat agree.

    T = T_c + R_th·[P_0 + P_r·(1 + 0.005·(T − 25)) + P_c·((T + 273.15)/298.15)^n]

    Two steps from T_c, each to the root of the balance's parabola there (third order);
    exact to 1e-6 below 95 % of the runaway current.  Past runaway there is no solution:
    the value ends at ``t_max`` + 100 K.

    Parameters
    ----------
    t_case : Array
        Temperature T_c where the heat path ends [°C].
    r_th : Array
        Thermal resistance from there to the junction R_th [K/W].
    p_fixed, p_recovery, p_conduction : Array
        Losses P_0 that do not depend on temperature, recovery loss P_r and conduction
        loss P_c at 25 °C [W].
    exponent : Array
        Exponent n of the on-resistance [1].
    t_max : Array
        Rated junction temperature [°C].

    Source
    ------
    L. Euler's form of Halley's method (from memory); the clamps are ours.
    """
    xp = array_namespace(t_case, r_th, p_conduction)
    lowest = xp.maximum(t_case, T_COLDEST)
    highest = xp.maximum(t_max + RUNAWAY, lowest)
    straight = r_th * (RECOVERY_PER_KELVIN * p_recovery)
    fixed = lowest + r_th * (p_fixed + p_recovery) - T_REFERENCE * straight
    loss = r_th * p_conduction * xp.exp(-math.log(T_REFERENCE + KELVIN) * exponent)
    keep, bend = 1.0 - straight, 2.0 * (1.0 - exponent)
    t = lowest
    for _ in range(STEPS):
        absolute = t + KELVIN
        grown = loss * xp.exp(exponent * xp.log(absolute))
        first = exponent * grown / absolute
        slope = keep - first
        lack = fixed + grown - keep * t
        root = xp.sqrt(xp.maximum(slope * slope + lack * first * (bend / absolute), 0.0))
        t = xp.minimum(t + lack / xp.maximum(0.5 * (slope + root), SLOPE_FLOOR), highest)
    return xp.maximum(t, lowest)


def diode_temperature(
    t_case: Array, r_th: Array, *, p_25: Array, slope: Array, t_max: Array
) -> Array:
    """Return the junction temperature of a diode [°C], whose loss is straight in T.

    T = T_c + R_th·[P_25 + P'·(T − 25)], solved for T; ends at ``t_max`` + 100 K.

    Parameters
    ----------
    t_case : Array
        Temperature T_c where the heat path ends [°C].
    r_th : Array
        Thermal resistance from there to the junction R_th [K/W].
    p_25 : Array
        Loss at 25 °C P_25 [W].
    slope : Array
        Growth of the loss P' [W/K], of either sign.
    t_max : Array
        Rated junction temperature [°C].

    Source
    ------
    Heat balance; linear equation.
    """
    xp = array_namespace(t_case, r_th, p_25)
    p_case = p_25 + slope * (t_case - T_REFERENCE)
    t = t_case + r_th * p_case / xp.maximum(1.0 - r_th * slope, SLOPE_FLOOR)
    return xp.minimum(xp.maximum(t, t_case), xp.maximum(t_max + RUNAWAY, t_case))
