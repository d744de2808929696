"""Ripple that a DC-DC stage leaves at the module: past its loops, and of bursts."""

from __future__ import annotations

import math

from models.axes import Array, array_namespace
from models.case import Case

# Switching periods of a burst: enough for the currents to settle; common practice.
BURST_PERIODS = 4.0
LEAST_SHARE = 1e-3  # of time in bursts, so that idle rows stay finite


def past_loops(
    swing: Array, *, inductance: Array, f: Array, c: Array, p: Array, case: Case
) -> Array:
    """Return what passes the loops: amplitude over the module's voltage [1].

    The duty follows the measured link (feed-forward), late by 1.5 switching periods; what
    is left of its swing drives the module's capacitor through choke and current loop:
    |v| = |1 − e^(−j2ωT)|·v̂/(|j2ωL + K|·|j2ωC + I/V + Y|), with K = 2π·f·L/20 and
    Y = the voltage loop's gain 2π·f·C/120.  The loop's integral part is left out, which
    makes this about five times too high, still too small to cost energy.

    Parameters
    ----------
    swing : Array
        Amplitude of the link's swing as it reaches the choke, averaged over a period [V].
    inductance : Array
        Of the choke, referred to the current drawn from the module [H].
    f : Array
        Switching frequency [Hz].
    c : Array
        Capacitance at the module [F].
    p : Array
        Power at the module [W].
    case : Case
        Operating points.

    Source
    ------
    Averaged model of the loops, derived here; see ``models.physics.loops``.
    """
    points = case.points
    xp = array_namespace(p)
    double = 4.0 * math.pi * points.f_grid
    late = 2.0 * xp.sin(xp.minimum(0.5 * double * 1.5 / f, 1.5))
    inner = 2.0 * math.pi * f / 20.0
    z = xp.hypot(double * inductance, inner * inductance)
    y = xp.hypot(double * c, p / points.v_pv**2 + inner / 6.0 * c)
    return late * swing / (z * y) / points.v_pv


def bursts(active: Array, *, f: Array, c: Array, p: Array, case: Case) -> Array:
    """Return the ripple of bursts: amplitude over voltage of a sine of equal rms [1].

    While the stage pauses the module charges its capacitors by
    ΔV = (P/V)·(1 − δ)·N_b/(δ·f·C), with N_b switching periods a burst; a triangle of
    that height has the rms value of a sine of ΔV/√6.

    Parameters
    ----------
    active : Array
        Share δ of time in which the stage runs [1].
    f : Array
        Switching frequency [Hz].
    c : Array
        Capacitance at the module [F].
    p : Array
        Power at the module [W].
    case : Case
        Operating points.

    Source
    ------
    Charge balance, derived here.
    """
    xp = array_namespace(p)
    v = case.points.v_pv
    share = xp.clip(active, LEAST_SHARE, 1.0)
    pause = (1.0 - share) * BURST_PERIODS / (share * f)
    return p / (v * v) * pause / (c * math.sqrt(6.0))


def ripple(loops: Array, bursts: Array, case: Case) -> Array:
    """Return both together while the converter feeds the grid [1]."""
    xp = array_namespace(loops)
    return xp.where(case.points.p_ac > 0.0, xp.hypot(loops, bursts), 0.0)
