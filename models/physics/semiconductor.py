"""Transistors and diodes at rest: conduction, stored charge, recovery charge, gate.

What happens during an edge stands in ``models.physics.switching``, the heat path in
``models.physics.junction``.
"""

from __future__ import annotations

from models.axes import Array, array_namespace
from models.stress import Charge

KELVIN = 273.15  # [K] at 0 °C, by definition
T_REFERENCE = 25.0  # [°C], temperature of data-sheet figures
T_COLDEST = -40.0  # [°C], below it the temperature laws are held

# Growth of the recovery charge with temperature [1/K] and with current [1]; common
# practice, no source.
RECOVERY_PER_KELVIN, RECOVERY_EXPONENT = 0.005, 0.6

# Below these the slopes of the power laws of voltage [V] and current [A] no longer grow.
V_TINY, I_TINY = 1e-6, 1e-9


def resistance_rise(t: Array, exponent: Array) -> Array:
    """Return the on-resistance over its value at 25 °C: ((T + 273.15)/298.15)^n.

    One exponent fits −40 °C to the limit of the junction within about 3 %; between
    the two temperatures of the fit it is a little high.  Below −40 °C it is held.

    Parameters
    ----------
    t : Array
        Junction temperature T [°C].
    exponent : Array
        Exponent n of the technology [1].

    Source
    ------
    Common practice; exponents from data-sheet pairs at 25 and 150 °C.
    """
    xp = array_namespace(t, exponent)
    x = (xp.maximum(t, T_COLDEST) + KELVIN) / (T_REFERENCE + KELVIN)
    return xp.exp(exponent * xp.log(x))


def diode_conduction(
    i_avg: Array, i_rms: Array, *, v_0: Array, v_0_slope: Array, r_d: Array, r_d_rise: Array
) -> tuple[Array, Array]:
    """Return the conduction loss of a diode at 25 °C [W] and its growth [W/K].

    P = (V_0 + V_0'·ΔT)·I_avg + r_d·(1 + α·ΔT)·I_rms²,  ΔT = T − 25 °C

    A straight line through the forward curve near rated current; at a tenth of it the
    voltage is about 10 % low.

    Parameters
    ----------
    i_avg, i_rms : Array
        Mean and effective current over the line cycle, ripple included [A].
    v_0, v_0_slope : Array
        Threshold V_0 [V] at 25 °C and its slope V_0' [V/K].
    r_d, r_d_rise : Array
        Differential resistance r_d [Ω] at 25 °C and its rise α [1/K].

    Source
    ------
    Textbook; the law of data sheets.
    """
    squared = r_d * i_rms * i_rms
    return v_0 * i_avg + squared, v_0_slope * i_avg + r_d_rise * squared


def charge_and_energy(charge: Charge, v: Array | float) -> tuple[Array, Array]:
    """Return output charge [C] and energy [J] at a blocking voltage.

    Q = q_ref·(V/v_ref)^a + C·V,  E = ∫ v dQ = Q_a·V·a/(a + 1) + ½·C·V²

    with Q_a the first term.  The law keeps charge and energy consistent; it holds from
    0.1 to 1·v_ref and overstates the charge of superjunction parts below.

    Parameters
    ----------
    charge : Charge
        Law of the device with the constant capacitance C beside it.
    v : Array or float
        Voltage V [V], not below zero.

    Source
    ------
    Common practice; equivalents of data sheets (charge and energy at one voltage).
    """
    q, e = bare_charge_and_energy(charge, v)
    if isinstance(charge.extra, float) and charge.extra == 0.0:
        return q, e
    return q + charge.extra * v, e + (0.5 * charge.extra) * v * v


def bare_charge_and_energy(charge: Charge, v: Array | float) -> tuple[Array, Array]:
    """Return ``charge_and_energy`` without the constant capacitance [C], [J].

    Parameters
    ----------
    charge : Charge
        Law of the device.
    v : Array or float
        Voltage [V], not below zero.

    Source
    ------
    As ``charge_and_energy``.
    """
    xp = array_namespace(charge.q_ref, v)
    a = charge.a
    if isinstance(v, float) and v == 0.0:
        none = 0.0 * a
        return none, none
    # exp(log) instead of pow: several times faster where the processor lacks wide units.
    # Q = C·V is exactly zero at V = 0, with a finite slope.
    scale = xp.log(charge.q_ref) - a * xp.log(charge.v_ref)
    q = v * xp.exp(scale + (a - 1.0) * xp.log(xp.maximum(v, V_TINY)))
    return q, (a / (a + 1.0)) * v * q


def curve_charge_and_energy(c_j0: Array, v_b: Array, m: Array, *, v: Array) -> tuple[Array, Array]:
    """Return charge [C] and energy [J] of a junction with a known capacitance curve.

    C = C_j0/(1 + V/V_b)^m,  x = 1 + V/V_b
    Q = C_j0·V_b·(x^(1−m) − 1)/(1 − m)
    E = C_j0·V_b²·[(x^(2−m) − 1)/(2 − m) − (x^(1−m) − 1)/(1 − m)]

    Parameters
    ----------
    c_j0, v_b, m : Array
        Capacitance at no voltage [F], built-in voltage [V] and grading [1], m < 1.
    v : Array
        Voltage V [V].

    Source
    ------
    Textbook junction law, from memory.
    """
    x = 1.0 + v / v_b
    first = (x ** (1.0 - m) - 1.0) / (1.0 - m)
    second = (x ** (2.0 - m) - 1.0) / (2.0 - m)
    return c_j0 * v_b * first, c_j0 * v_b**2 * (second - first)


def recovery_charge(q_ref: Array, i_ref: Array, i: Array) -> Array:
    """Return the recovery charge at 25 °C [C]: Q_ref·(I/I_ref)^0.6, zero for I ≤ 0.

    Good to a factor of two: slope and loop inductance are not in it.

    Parameters
    ----------
    q_ref : Array
        Recovery charge without the output charge [C] at ``i_ref``.
    i_ref : Array
        Current of that figure [A], above zero.
    i : Array
        Current before commutation I [A].

    Source
    ------
    Common practice, no source.
    """
    xp = array_namespace(q_ref, i)
    forward = xp.maximum(i, 0.0)
    scale = q_ref / i_ref * xp.exp((1.0 - RECOVERY_EXPONENT) * xp.log(i_ref))
    log_i = xp.log(xp.maximum(forward, I_TINY))
    return scale * (forward * xp.exp((RECOVERY_EXPONENT - 1.0) * log_i))


def recovery_rise(t: Array) -> Array:
    """Return the recovery charge over its value at 25 °C: 1 + 0.005·(T − 25), at least ½.

    Parameters
    ----------
    t : Array
        Junction temperature T [°C].

    Source
    ------
    Common practice, no source; the unit of the slope is [1/K].
    """
    xp = array_namespace(t)
    return xp.maximum(1.0 + RECOVERY_PER_KELVIN * (t - T_REFERENCE), 0.5)


def gate_power(rate: Array, q_g: Array, swing: Array) -> Array:
    """Return the power that a gate takes from its supply [W]: f·Q_g·(V_on − V_off).

    It turns to heat in driver and gate resistor, not in the junction.

    Parameters
    ----------
    rate : Array
        Cycles of the gate f [Hz].
    q_g : Array
        Gate charge Q_g [C] over the swing.
    swing : Array
        Swing of the gate voltage V_on − V_off [V].

    Source
    ------
    Energy balance of a charged capacitor; textbook.
    """
    return rate * q_g * swing
