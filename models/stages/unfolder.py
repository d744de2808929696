"""Line-frequency unfolder: four transistors turn a rectified sine into the grid's.

    + ──┬── S1 ── x ── S2 ──┐      x ── filter ── line
       C_f                  │      y ── neutral
    − ──┴── S3 ── y ── S4 ──┘      C_f here, or between x and y

It switches twice a line cycle, where voltage and current are next to zero, so that the
on-resistance is its whole loss.  There is no link: what the source ahead delivers must
follow |v_g|·|i_g| at every angle.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, Indices, array_namespace, designs, line_mean, point_max
from models.case import Case
from models.ledger import Kind, at_most, booking, joined
from models.parts import capacitor, film, switch
from models.physics.buffer import rejected_voltage
from models.stages.ports import BridgeTraits, CommonMode, Output
from models.stages.stage import Placed
from models.stress import CapacitorStress, SwitchStress
from models.variables import choice, part, real, row, whole

# Angles of equal weight over half a line cycle, the peak among them [rad]: the first three
# over π/7, placed so that the means of sin, sin² and sin⁴ are exact; those of sin^p for p
# from 1 to 4 are then within 0.22 %, of seven equal steps within 0.9 %.  Losses of a flyback
# inside its region are 0.2 to 0.5 % off in the mean, 1.6 % in one of twenty random designs;
# outside it, where clamp currents run away near the zero crossing, up to 27 %.  Computed here.
_FIRST = (0.42724775670895, 1.55655483893413, 2.46709119577815)
_STEPS = (*_FIRST, 3.5, *(7.0 - x for x in reversed(_FIRST)))
THETA: Array = designs(_STEPS).reshape(1, 1, -1) * (math.pi / 7.0)

TRAITS = BridgeTraits("unfolder", CommonMode.LINE, takes=Output.RECTIFIED, reactive=False)

# The grid within its continuous window [1 over nominal]; most national rules, from memory.
WINDOW = 1.10
# Rms current that a source of one quadrant fails to deliver, over rated; common practice.
DISTORTION_MAX = 0.02  # [1]
# Gate resistor [Ω] and dead time [s] of edges at zero voltage; without effect here.
R_GATE, T_DEAD = 10.0, 1e-6
# From the loss of the grid to the last pulse: the comparator at C_f and the pulse that
# it finds [s]; common practice, no source.
TRIP_TIME = 20e-6


@dataclasses.dataclass(frozen=True)
class Transistor:
    """What may be varied of a transistor that switches at the line frequency only."""

    row: Indices = row("switches", "transistor class or part")
    r_on: Array = real(
        1, 1000, "mΩ", "on-resistance of one die at 25 °C; held to what the row offers", log=True
    )
    parallel: Array = whole(1, 4, "transistors in parallel")

    def position(self) -> switch.Design:
        """Return the switch position with gate resistor and dead time as they come."""
        one = 0.0 * self.r_on + 1.0
        return switch.Design(self.row, self.r_on, self.parallel, R_GATE * one, T_DEAD * one)


@dataclasses.dataclass(frozen=True)
class Design:
    """Transistors of the unfolder and the capacitor that takes the switching ripple."""

    switch: Transistor = part("transistors of the unfolder")
    filter: film.Design = part("capacitor C_f that takes the switching ripple", count=(1, 2))
    side: Indices = choice(
        "rectified", "grid",
        meaning="C_f ahead of the unfolder (distorts) or behind it (ripple in the unfolder)",
    )  # fmt: skip


@dataclasses.dataclass(frozen=True)
class Demand:
    """What the source ahead has to deliver while it runs, over half a line cycle."""

    v: Array  # [V] at the source's output, (design, point, angle)
    share: Array  # power over its mean [1], (design, point, angle); its mean is 1
    v_peak: Array  # [V], (design, point, 1), of v


def _behind(design: Design) -> Array:
    """Return 1 where C_f stands at the grid, else 0."""
    xp = array_namespace(design.switch.r_on)
    return xp.astype(design.side, xp.float64)


def _lead(design: Design, p_run: Array, case: Case) -> Array:
    """Return the quadrature part of the source's current over its active part [1].

    t = ω·C_f·V²/P − tan φ, the first term only for a capacitor ahead of the unfolder.
    """
    xp = array_namespace(p_run)
    points = case.points
    factor = xp.abs(points.power_factor)
    tangent = xp.sqrt(xp.maximum(1.0 - factor * factor, 0.0)) / points.power_factor
    c = capacitor.capacitance(design.filter, case) * (1.0 - _behind(design))
    omega = 2.0 * math.pi * points.f_grid
    return omega * c * points.v_grid**2 / xp.maximum(p_run, 1e-3) - tangent


def demand(design: Design, p_run: Array, case: Case, theta: Array | None = None) -> Demand:
    """Return voltage and power at the input of the unfolder over half a line cycle.

    v = (√2·V + 2·R_on·î)·sin θ,   p/P = 2·sin θ·max(sin θ + t·cos θ, 0)

    with t of the capacitor and the power factor; what a source of one quadrant cannot
    take back is left out, and the rest scaled to the mean power.

    Parameters
    ----------
    design : Design
        The unfolder.
    p_run : Array
        Mean power of a half line cycle that runs [W].
    case : Case
        Specification, operating points and catalogue.
    theta : Array, optional
        Angles of equal weight over half a line cycle [rad], ``THETA`` if not given.
    """
    xp = array_namespace(p_run)
    points = case.points
    theta = THETA if theta is None else theta
    sine, cosine = xp.sin(theta), xp.cos(theta)
    r_on = switch.device(design.switch.position(), case).r_on25
    v_peak = math.sqrt(2.0) * (points.v_grid + 2.0 * r_on * p_run / points.v_grid)
    lead = _lead(design, p_run, case)
    share = (2.0 * sine) * xp.maximum(sine + lead * cosine, 0.0)
    return Demand(v_peak * sine, share * (1.0 / line_mean(share)), v_peak)


def missing_current(lead: Array, i_active: Array) -> Array:
    """Return the rms current that a source of one quadrant fails to deliver [A].

    e = √2·I·t·√(δ/(3π)),   δ = atan |t|

    Before the zero crossing (after it, for t < 0) the source would have to take current
    back for an angle δ.  The triangle is exact to δ³; 0.2 % off at t = 0.3.

    Parameters
    ----------
    lead : Array
        Quadrature over active part of the current t [1].
    i_active : Array
        Active rms current I [A].

    Source
    ------
    Integral of the missing wave, derived here.
    """
    xp = array_namespace(lead, i_active)
    size = xp.abs(lead)
    return (math.sqrt(2.0 / (3.0 * math.pi))) * i_active * size * xp.sqrt(xp.atan(size))


def place(
    path: str,
    design: Design,
    *,
    p: Array,
    p_run: Array,
    i_hf_rms: Array,
    f_hf: Array,
    case: Case,
) -> Placed:
    """Return unfolder and filter capacitor with their limits.

    Parameters
    ----------
    path : str
        Dotted path of the stage.
    design : Design
        Transistors, capacitor and its place.
    p, p_run : Array
        Power of the source: mean, and mean of a half line cycle that runs [W].
    i_hf_rms : Array
        Switching ripple current of the source [A], idle half cycles included.
    f_hf : Array
        Its frequency [Hz].
    case : Case
        Specification, operating points and catalogue.
    """
    xp = array_namespace(p)
    points = case.points
    share = xp.clip(p / p_run, 1e-3, 1.0)
    i_grid = points.p_ac / (points.v_grid * xp.abs(points.power_factor) * share)
    behind = _behind(design)
    square = share * i_grid * i_grid + behind * i_hf_rms * i_hf_rms
    v_top = math.sqrt(2.0) * xp.maximum(points.v_grid, WINDOW * points.v_nominal)
    c = capacitor.capacitance(design.filter, case)
    tripped = rejected_voltage(v_top, 2.0 * p * points.rejection, TRIP_TIME, c)
    on = SwitchStress(i_rms=xp.sqrt(0.5 * square), i_reverse_dead=0.0 * square, v_block=tripped)
    omega = 2.0 * math.pi * points.f_grid
    filtering = CapacitorStress(
        v_mean=math.sqrt(2.0) * 2.0 / math.pi * points.v_grid + 0.0 * tripped,
        v_max=tripped,
        v_swing=math.sqrt(2.0) * points.v_grid * (1.0 + behind),
        i_line_rms=omega * c * points.v_grid,
        i_hf_rms=i_hf_rms,
        f_hf=f_hf,
    )
    lead = _lead(design, p_run, case)
    runs = xp.where(points.p_ac > 0.0, xp.sqrt(share), 0.0)
    rated = point_max(points.p_ac) / points.v_nominal
    e = runs * missing_current(lead, p_run / points.v_grid) / rated
    ones = xp.ones((1, 1, 1))
    return Placed(
        (
            switch.place(f"{path}.switch", design.switch.position(), on, case, count=4),
            capacitor.place(f"{path}.filter", design.filter, filtering, case),
        ),
        joined(
            booking("grid.distortion", Kind.FIGURE, e, "total rated-current distortion", ""),
            at_most("grid.distortion", e, 1e-2 * case.spec.limits.trd_max_pct * ones, "",
                    "total rated-current distortion"),
            at_most(f"{path}.distortion", e, DISTORTION_MAX * ones, "",
                    "current that cannot be taken back before a zero crossing, over rated"),
        ),
    )  # fmt: skip
