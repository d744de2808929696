"""Ripple port across the module: a bidirectional boost leg with film above the module.

    X ──┬── S_u ──┐
       C_r        r ── L_r ──┬── module +        v_r > V_pv, which swings widely
        │         │         C_b
    ────┴── S_l ──┴──────────┴── module −

It stands where ``module_buffer`` does, in its place and called alike, before a stage that
draws 2·P·sin²θ: a front of rectified sine.  The module then gives constant power, without
electrolytics.

The lowest voltage of the storage is held, whatever the load: with less power it swings
less, above that, and the leg switches less voltage.  In bursts one half line cycle in
p_run/P runs; meanwhile the port takes in the constant current of the module.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, angles, array_namespace, line_mean
from models.case import Case
from models.ledger import Kind, Ledger, booking
from models.parts import capacitor, ceramic, film
from models.physics import buffer
from models.stages import ripple_port
from models.stages.module_buffer import ripple_books
from models.stages.ports import StorageTraits, Store
from models.stages.ripple_port import Course
from models.stages.stage import Placed
from models.stress import CapacitorStress
from models.variables import part, real

ABOVE = 1.03  # [1], least voltage of the storage over the module's; for the current loop
# From the loss of the grid to the port's last pulse [s]; common practice, no source.
TRIP_TIME = 100e-6
# Angles of a half line cycle that runs [1], of which every third does for edges: mean
# currents of edges are then within 1.5 % of the switched leg, all else within 1.5 % in bursts
# and within 0.2 % without.  An odd number has the middle among them.
COUNT = 27
TRAITS = StorageTraits("ripple port at the module, film", Store.MODULE_PORT, swings=False)


@dataclasses.dataclass(frozen=True)
class Design:
    """Port and the ceramics beside it."""

    bottom: Array = real(30, 300, "V", "lowest voltage of the port's storage", log=True)
    port: ripple_port.Design = part("ripple port")
    bypass: ceramic.Design = part("ceramics at the module that take the switching ripple")


@dataclasses.dataclass(frozen=True)
class Storage:
    """Storage and currents; half line cycles that run along the angle, pauses apart."""

    share: Array  # of half line cycles that run [1]
    runs: Array  # 1 where power flows, else 0
    i: Array  # [A], into the port
    i_idle: Array  # [A], in the pauses
    v: Array  # [V], along the angle
    v_idle: Array  # [V], in the middle of a pause
    low: Array  # [V]
    high: Array  # [V]


def place(
    path: str,
    design: Design,
    p: Array,
    *,
    p_run: Array,
    i_hf_rms: Array,
    f_hf: Array,
    case: Case,
) -> Placed:
    """Return the port and the ceramics with ripple, use of the module and limits.

    Parameters
    ----------
    path : str
        Dotted path of the stage.
    design : Design
        Port and ceramics.
    p : Array
        Mean power drawn [W]; a row without power into the grid has no ripple.
    p_run : Array
        Mean power of a half line cycle that runs [W], at least p.
    i_hf_rms : Array
        Switching ripple current drawn by the stage behind [A].
    f_hf : Array
        Its frequency [Hz].
    case : Case
        Specification, operating points and catalogue.
    """
    port, inner = design.port, f"{path}.port"
    held = storage(design, p, p_run, case)
    courses = _courses(port, held, case)
    tripped = buffer.rejected_voltage(
        held.high, p * case.points.rejection, TRIP_TIME, capacitor.capacitance(port.storage, case)
    )
    slow = _rms(held, held.i, held.i_idle)
    ratio = _module_ripple(design, p, p_run, case)
    parts = (
        *ripple_port.switches(inner, port, courses, tripped, case),
        ripple_port.choke(inner, port, courses, slow, _peak(port, held, p, p_run, case), case),
        film.place(
            f"{inner}.storage", port.storage, _storage_stress(port, held, courses, tripped, case),
            case,
        ),
        ceramic.place(
            f"{path}.bypass", design.bypass,
            _bypass_stress(design, ratio, array_namespace(p).hypot(
                i_hf_rms, ripple_port.ripple_rms(courses)), f_hf, case), case,
        ),
    )  # fmt: skip
    return Placed(parts, _books(inner, port, held, case) + ripple_books(ratio, case))


def theta() -> Array:
    """Return the line angles of ``storage`` [rad], one axis."""
    return angles(COUNT, math.pi)[0, 0, :]


def storage(design: Design, p: Array, p_run: Array, case: Case) -> Storage:
    """Return voltages and currents over half a line cycle that runs, and in the pauses.

    Parameters
    ----------
    design : Design
        Port and ceramics.
    p, p_run : Array
        Mean power drawn, and of a half line cycle that runs [W], (design, point, 1).
    case : Case
        Operating points and catalogue.

    Notes
    -----
    The port takes in P − p_run·(1 − cos 2θ), so that its energy is lowest where the power
    drawn has come down to P again, at 2θ = 2π − x with cos x = 1 − P/p_run.  What a
    rectified sine has besides 2·sin²θ is left out.
    """
    xp = array_namespace(p)
    points = case.points
    runs = xp.where(points.p_ac > 0.0, 1.0, 0.0) + 0.0 * p
    p, p_run = runs * p, runs * p_run
    share = xp.clip(p / xp.maximum(p_run, 1e-9), 0.0, 1.0)
    cosine = xp.clip(1.0 - share, 0.0, 1.0)
    x, sine = xp.acos(cosine), xp.sqrt(1.0 - cosine * cosine)
    double = 2.0 * angles(COUNT, math.pi)
    taken = p - p_run * (1.0 - xp.cos(double))
    # Energy above the lowest, times ω.
    lowest = 0.5 * ((p - p_run) * (2.0 * math.pi - x) - p_run * sine)
    above = 0.5 * ((p - p_run) * double + p_run * xp.sin(double)) - lowest
    swung = (p_run - p) * (math.pi - x) + p_run * sine
    per_volt = 2.0 / (
        2.0 * math.pi * points.f_grid * capacitor.capacitance(design.port.storage, case)
    )
    low = xp.maximum(design.bottom, ABOVE * points.v_pv)
    square = low * low
    idle = 0.5 * ((p - p_run) * math.pi) - lowest
    return Storage(
        share,
        runs,
        taken * (1.0 / points.v_pv),
        p / points.v_pv,
        v=xp.sqrt(square + per_volt * xp.maximum(above, 0.0)),
        v_idle=xp.sqrt(square + per_volt * xp.maximum(idle, 0.0)),
        low=low,
        high=xp.sqrt(square + per_volt * swung),
    )


def _rms(held: Storage, busy: Array, idle: Array) -> Array:
    """Return the rms value of what is ``busy`` in half cycles that run, ``idle`` in others."""
    square = held.share * line_mean(busy * busy) + (1.0 - held.share) * (idle * idle)
    return array_namespace(square).sqrt(square)


def _courses(port: ripple_port.Design, held: Storage, case: Case) -> tuple[Course, Course]:
    """Return what the leg does in half cycles that run, and in the pauses."""
    v_pv = case.points.v_pv
    return (
        ripple_port.course(port, held.v, v_pv / held.v, -held.i, held.runs * held.share),
        ripple_port.course(
            port, held.v_idle, v_pv / held.v_idle, -held.i_idle, held.runs * (1.0 - held.share)
        ),
    )


def _peak(port: ripple_port.Design, held: Storage, p: Array, p_run: Array, case: Case) -> Array:
    """Return the largest current of the choke [A], in the middle of a half line cycle.

    The storage is there where it is in the middle of a pause.
    """
    v_pv = case.points.v_pv
    i = held.runs * (2.0 * p_run - p) / v_pv
    there = ripple_port.course(port, held.v_idle, v_pv / held.v_idle, i, held.runs)
    return i + 0.5 * there.pp


def _module_ripple(design: Design, p: Array, p_run: Array, case: Case) -> Array:
    """Return the ripple at the module that the port leaves, amplitude over voltage [1].

    The module's own slope at its maximum, P/V², damps too.
    """
    xp = array_namespace(p)
    points = case.points
    v = points.v_pv
    c = capacitor.capacitance_at(design.bypass, v, case)
    omega = 2.0 * math.pi * points.f_grid
    y = ripple_port.admittance(design.port, c, omega, p / (v * v))
    return xp.where(points.p_ac > 0.0, p_run, 0.0) / (y * v * v)


def _storage_stress(
    port: ripple_port.Design,
    held: Storage,
    courses: tuple[Course, Course],
    v_max: Array,
    case: Case,
) -> CapacitorStress:
    """Return the stress of the storage, which takes the pulses of the upper switch."""
    xp = array_namespace(v_max)
    v_pv = case.points.v_pv
    square = 0.5 * (held.high * held.high + held.low * held.low)
    k = 0.5 * (held.high * held.high - held.low * held.low) / square
    slow = _rms(held, held.i * (v_pv / held.v), held.i_idle * (v_pv / held.v_idle))
    return CapacitorStress(
        v_mean=buffer.mean_voltage(xp.sqrt(square), k),
        v_max=v_max,
        v_swing=held.high - held.low,
        i_line_rms=slow,
        i_hf_rms=xp.sqrt(ripple_port.pulse_square(courses)),
        f_hf=port.f,
    )


def _bypass_stress(
    design: Design, ratio: Array, i_hf: Array, f_hf: Array, case: Case
) -> CapacitorStress:
    """Return the stress of the ceramics: both switching ripples, not synchronous."""
    v = case.points.v_pv
    c = capacitor.capacitance_at(design.bypass, v, case)
    omega = 2.0 * math.pi * case.points.f_grid
    return CapacitorStress(
        v_mean=v,
        v_max=v * (1.0 + ratio),
        v_swing=2.0 * v * ratio,
        i_line_rms=math.sqrt(2.0) * omega * c * v * ratio,
        i_hf_rms=i_hf,
        f_hf=f_hf,
    )


def _books(path: str, port: ripple_port.Design, held: Storage, case: Case) -> Ledger:
    v_pv = case.points.v_pv
    ends = tuple(
        ripple_port.course(port, v, v_pv / v, 0.0 * v, held.runs) for v in (held.low, held.high)
    )
    square = 0.5 * (held.high * held.high + held.low * held.low)
    k = held.high * held.high / square - 1.0
    return (
        ripple_port.storage_books(path, k, held.low, held.high)
        + ripple_port.duty_books(path, port, ends, 1.0 / ABOVE, case)
        + booking(f"{path}.active", Kind.FIGURE, held.runs, "1 where the port runs", "1")
    )
