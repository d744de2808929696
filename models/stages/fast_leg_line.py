"""The leg at line frequency beside one fast leg, and what its steps do to crossing and earth.

    P ─┬─ S_au ─┬─ S_bu ─┐      a ── L ──┬── filter ── line
       │        a        b              C_f
    N ─┴─ S_al ─┴─ S_bl ─┘      b ───────┴── filter ── neutral

Leg b holds the neutral at N while the bridge's voltage u is positive, at P while it is
negative, and leg a makes the pulses.  At every zero crossing of u both nodes change sides,
so that the whole link steps by its own voltage against earth: only for a module behind a
transformer.
"""

from __future__ import annotations

import math

from models.axes import ANGLE, Array, array_namespace, line_mean
from models.case import Case
from models.ledger import Ledger
from models.parts import switch
from models.physics.emission import BAND
from models.stages.common_ground_waves import COARSE
from models.stages.full_bridge_freewheel import zero_crossing
from models.stages.full_bridge_waves import modulation_books
from models.stages.grid_filter import ORDERS, GridSide
from models.stages.ports import Link
from models.stages.unfolder import T_DEAD, Transistor
from models.stress import Edge, SwitchStress

# Terminal b against earth over the grid's voltage, in phase with it and ahead of it [1].
TERMINAL = {
    "line_neutral": (0.0, 0.0),
    "split_phase": (-0.5, 0.0),
    "line_line_wye": (-0.5, 0.5 / math.sqrt(3.0)),
}
# Sine that a quasi-peak receiver tells from pulses at twice the line frequency, rms over
# their density: 1 mV for 0.158 µVs across its input at 100 Hz; CISPR 16-1-1 (from memory).
QUASI_PEAK = 6.3e3  # [Hz]


def place(
    path: str,
    design: Transistor,
    side: GridSide,
    link: Link,
    *,
    square: Array,
    inductance: Array,
    case: Case,
) -> switch.Switch:
    """Return the two switches of the leg.

    Node b moves while the choke carries next to nothing: all of its charge is burnt.  A
    current against the step commutates a body diode, as far as the pause of both legs has
    not brought it to zero through the diodes.

    Parameters
    ----------
    path : str
        Dotted path of the switches.
    design : Transistor
        How they are built.
    side : GridSide
        Current at the zero crossing of the bridge's voltage.
    link : Link
        Voltage of the link.
    square : Array
        Mean square of the choke's current, ripple included [A²].
    inductance : Array
        Of the choke [H].
    case : Case
        Specification, operating points and catalogue.
    """
    xp = array_namespace(square)
    position = design.position()
    one = switch.device(position, case)
    v = link.v_rms
    # Where u falls through zero: positive where the current lags, and turns the node itself.
    i = math.sqrt(2.0) * side.i_rms * side.power.sin_phi
    rate = case.points.f_grid * side.running
    edge = Edge(
        rate=rate + 0.0 * i,
        i_on=xp.maximum(-i - v * T_DEAD / inductance, 0.0),
        i_off=i,
        v=v,
        others=(switch.moved(one, 0.0, v),),
    )
    stress = SwitchStress(
        i_rms=xp.sqrt(0.5 * square),
        i_reverse_dead=rate * T_DEAD * xp.abs(i),
        v_block=link.v_max,
        edges=(edge,),
    )
    return switch.place(path, position, stress, case, count=2)


def books(path: str, side: GridSide, link: Link, *, m_max: Array, late: Array) -> Ledger:
    """Return the limits on modulation index and on the stretch around the zero crossing.

    Parameters
    ----------
    path : str
        Dotted path of the stage.
    side : GridSide
        The grid's peak.
    link : Link
        Link voltage.
    m_max : Array
        Largest modulation index [1].
    late : Array
        Dead time and least on-time over the switching period at the crossing [1].
    """
    limits = modulation_books(path, side, link, m_max)
    return limits + zero_crossing(path, side, link, late)


def crossing_voltages(side: GridSide, link: Link, late: Array) -> tuple[Array, ...]:
    """Return amplitudes of the harmonics that the zero crossing leaves [V].

    4·f_line·v·t_d for edges of both legs that are t_d apart, and
    (4/(3π))·h·v·x·θ² for pulses too short to be made up to the angle θ = v·x/û.

    Parameters
    ----------
    side : GridSide
        The grid's peak.
    link : Link
        Link voltage.
    late : Array
        Shortest pulse over the switching period x [1].
    """
    v = side.running * link.v_rms
    apart = v * (2.0 / math.pi * T_DEAD) * side.omega
    theta = v * late / side.u_peak
    short = (4.0 / (3.0 * math.pi)) * v * late * theta * theta
    return tuple(apart + h * short for h in ORDERS)


def earth_line(side: GridSide, link: Link, case: Case) -> Array:
    """Return the voltage between link negative and earth at line frequency [V], rms.

    Link negative is the terminal b, and the whole link below it where u is negative: half
    the link as a square, whose fundamental counts, beside half of the swing at twice the
    line frequency, which counts twice, since it drives twice the current through a
    capacitance.  Every odd harmonic of the square drives as much as the fundamental until
    the filter's inductance holds it; they are left to ``earth_steps``.
    """
    points, theta = case.points, side.theta[..., COARSE]
    xp = array_namespace(side.u)
    # The sign of u, averaged over the step of the angle in which it crosses zero.
    step = side.u_peak * (0.5 * math.pi / theta.shape[ANGLE])
    sign = xp.clip(side.u[..., COARSE] / step, -1.0, 1.0)
    square = sign * (link.v + 0.0 * side.u)[..., COARSE]
    # Twice the mean of half the link times sine and cosine.
    step_re, step_im = line_mean(square * xp.sin(theta)), line_mean(square * xp.cos(theta))
    worst = 0.0 * step_re
    for grid in case.spec.grid:
        re, im = TERMINAL[grid.kind]
        v = math.sqrt(2.0) * points.v_grid
        here = xp.abs(points.v_nominal - grid.voltage_v) < 0.5
        # Either of two lines of a wye may be b, so that the quadrature has either sign.
        found = xp.hypot(step_re + re * v, xp.abs(step_im) + im * v)
        worst = xp.maximum(worst, xp.where(here, found, 0.0))
    return math.sqrt(0.5) * xp.hypot(worst, link.swing)


def earth_steps(side: GridSide, link: Link) -> tuple[Array, Array]:
    """Return the voltage of the steps against earth [V] and its frequency, 150 kHz [Hz].

    A quasi-peak receiver tells a step v as a sine of v/(2πf)·6.3 kHz, which falls as 1/f
    like the harmonics of a square.  The ring of each step through windings and filter is
    worn out by the filter's core within a small part of the half cycle, so that its rms
    value is less than that.
    """
    density = link.v_rms * (1.0 / (2.0 * math.pi * BAND))
    return side.running * (QUASI_PEAK * density), BAND + 0.0 * side.l_bridge
