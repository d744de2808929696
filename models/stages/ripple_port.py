"""What both ripple ports share: a half-bridge leg, its choke and film that swings widely.

    ──┬── S_u ──┐                A ripple port takes up what pulsates at twice the line
      │         r ── L_r ──      frequency, so that the capacitor beside it only has to
      └── S_l ──┘                bear the switching ripple and what the control leaves.

Which end holds the leg and which the storage is the affair of ``ripple_port_link`` (buck)
and ``ripple_port_module`` (boost).  Currents flow both ways, so that the leg never rests
while its stage runs, and there is no discontinuous mode.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence

from models.axes import ANGLE, Array, array_namespace, line_max, line_mean
from models.case import Case
from models.ledger import Kind, Ledger, at_least, at_most, booking, joined
from models.parts import capacitor, inductor, switch
from models.physics.harmonics import triangle_harmonics
from models.stages.common_ground_waves import T_LEAST
from models.stages.half_bridge_leg import Leg, dead_time_currents, edges
from models.stages.swing import largest, total
from models.stress import Flux, InductorStress, SwitchStress, WindingStress
from models.variables import part, real

# Largest swing of the energy in the storage over its mean [1]: beyond, a buck port's current
# runs away near the lowest voltage.
K_MOST = 0.93

# Crossover of the current loop over switching frequency, for a phase margin of 60° with one
# and a half periods of delay; that of the voltage loop around it over that of the current
# loop [1].  Common practice, no source.
CURRENT_LOOP, VOLTAGE_LOOP = 24.0 / (360.0 * 1.5), 1.0 / 6.0

# Of the angles, which stand for mean squares and peaks, every third does for edges, core
# and harmonics: these are again of equal weight.
EDGES = slice(1, None, 3)


@dataclasses.dataclass(frozen=True)
class Design:
    """How a ripple port is built."""

    f: Array = real(50, 250, "kHz", "switching frequency of the port", log=True)
    inductance: Array = real(20, 800, "µH", "inductance of the port", log=True)
    leg: switch.Design = part("switches of the port")
    choke: inductor.Design = part("choke of the port")
    storage: capacitor.Film = part("film that stores the pulsating power and swings widely")


@dataclasses.dataclass(frozen=True)
class Course:
    """What the leg does for a share of the time, at angles of equal weight.

    ``mirrored``: the current passes every voltage a second time with the other sign.
    """

    v: Array  # [V], across the leg
    duty: Array  # of the upper switch [1]
    i: Array  # [A], out of the leg, mean over a switching period
    share: Array  # of the time [1], (design, point, 1); 0 where the port rests
    pp: Array  # [A], ripple of the current, peak to peak
    mirrored: bool = False

    def some(self, x: Array) -> Array:
        """Return ``x`` at the angles that do for edges."""
        return x[..., EDGES] if x.shape[ANGLE] > 1 else x


def course(
    design: Design, v: Array, duty: Array, i: Array, share: Array, *, mirrored: bool = False
) -> Course:
    """Return a course with its ripple V·D·(1 − D)/(L·f), none where the port rests.

    Parameters
    ----------
    design : Design
        The port.
    v : Array
        Voltage across the leg [V].
    duty : Array
        Duty D of the upper switch [1]; held between 0 and 1.
    i : Array
        Current out of the leg [A].
    share : Array
        Share of the time [1].
    mirrored : bool
        Whether the current passes every voltage in both directions.
    """
    xp = array_namespace(duty)
    duty = xp.clip(duty, 0.0, 1.0)
    runs = xp.where(share > 0.0, 1.0, 0.0) / (design.inductance * design.f)
    return Course(v, duty, i, share, (v * runs) * (duty * (1.0 - duty)), mirrored)


def switches(
    path: str, design: Design, courses: Sequence[Course], v_block: Array, case: Case
) -> tuple[switch.Switch, switch.Switch]:
    """Return the upper and the lower switch.

    D·(i² + ΔI²/12) and (1 − D)·(i² + ΔI²/12) are their mean squares.

    Parameters
    ----------
    path : str
        Dotted path of the port.
    design : Design
        The port.
    courses : sequence of Course
        What the leg does; the shares need not add up to one.
    v_block : Array
        Highest voltage across the leg [V].
    case : Case
        Specification, operating points and catalogue.
    """
    xp = array_namespace(v_block)
    device = switch.device(design.leg, case)
    legs = [_leg(design, device, c) for c in courses]
    both = [c.i * c.i + c.pp * c.pp * (1.0 / 12.0) for c in courses]
    whole = total([c.share * line_mean(s) for c, s in zip(courses, both, strict=True)])
    upper = total([c.share * line_mean(c.duty * s) for c, s in zip(courses, both, strict=True)])
    squares = (upper, xp.maximum(whole - upper, 0.0))
    dead = [dead_time_currents(leg) for leg in legs]
    turns = [edges(leg) for leg in legs]
    first, second = (
        switch.place(
            f"{path}.{name}",
            design.leg,
            SwitchStress(
                xp.sqrt(squares[n]), total([d[n] for d in dead]), v_block,
                tuple(t[n] for t in turns),
            ),
            case,
        )
        for n, name in enumerate(("upper", "lower"))
    )  # fmt: skip
    return first, second


def _leg(design: Design, device: switch.Device, c: Course) -> Leg:
    xp = array_namespace(c.i)
    half, i, far = 0.5 * c.some(c.pp), c.some(c.i), c.some(c.duty)
    valley, peak = i - half, i + half
    if c.mirrored:
        valley, peak = xp.concat((valley, -peak), axis=-1), xp.concat((peak, -valley), axis=-1)
        far = xp.concat((far, far), axis=-1)
    return Leg(
        device, design.f * c.share, valley, peak,
        v=c.some(c.v), far=far, inductance=design.inductance,
    )  # fmt: skip


def choke(
    path: str, design: Design, courses: Sequence[Course], i_rms: Array, i_peak: Array, case: Case
) -> inductor.Inductor:
    """Return the choke.

    Parameters
    ----------
    path : str
        Dotted path of the port.
    design : Design
        The port.
    courses : sequence of Course
        What the leg does.
    i_rms : Array
        Rms current without the switching ripple [A].
    i_peak : Array
        Largest current in size, as far as known without the courses [A].
    case : Case
        Specification, operating points and catalogue.
    """
    xp = array_namespace(i_rms)
    ripples = [triangle_harmonics(c.some(c.pp), c.some(c.duty), 4) for c in courses]
    harmonics = tuple(
        xp.sqrt(total([c.share * line_mean(r[n]) for c, r in zip(courses, ripples, strict=True)]))
        for n in range(4)
    )
    peaks = [line_max(xp.abs(c.i) + 0.5 * c.pp) for c in courses]
    stress = InductorStress(
        inductance=design.inductance,
        i_peak=largest([i_peak, *peaks]),
        winding=WindingStress(0.0 * i_rms, i_rms, design.f, harmonics),
        flux=tuple(
            Flux(design.f, design.inductance * c.some(c.pp), c.some(c.duty), 0.0, c.share)
            for c in courses
        ),
    )
    return inductor.place(f"{path}.choke", design.choke, stress, case)


def pulse_square(courses: Sequence[Course]) -> Array:
    """Return the mean square of the upper switch's current without its slow part [A²].

    D·(1 − D)·i² + D·ΔI²/12
    """
    return total(
        [
            c.share
            * line_mean(c.duty * ((1.0 - c.duty) * (c.i * c.i) + c.pp * c.pp * (1.0 / 12.0)))
            for c in courses
        ]
    )


def ripple_rms(courses: Sequence[Course]) -> Array:
    """Return the rms ripple of the choke [A]."""
    square = total([c.share * line_mean(c.pp * c.pp) for c in courses]) * (1.0 / 12.0)
    return array_namespace(square).sqrt(square)


def admittance(design: Design, c: Array, omega: Array, g: Array | float = 0.0) -> Array:
    """Return power that pulsates over the ripple it leaves and the voltage, P/(V·v̂) [S].

    Y = |j·2ω·C + ω_t·C + G|·√((2ω)² + ω_c²)/(2ω)

    The port is told the pulsating power ahead of time; its current loop (crossover ω_c)
    follows late, and what is missing is left to C, to a voltage loop (crossover ω_t) and to
    the slope G of what feeds the node.  Multiples of twice the line frequency, which arise
    where the storage swings widely, are left out: v̂ is 2 % off at a swing of 0.84.  Sampling
    comes on top.

    Parameters
    ----------
    design : Design
        The port.
    c : Array
        Capacitance C beside the port [F].
    omega : Array
        Angular line frequency ω [rad/s].
    g : Array or float
        Conductance G [S].
    """
    xp = array_namespace(c, omega)
    inner = 2.0 * math.pi * CURRENT_LOOP * design.f
    double = 2.0 * omega
    return xp.hypot(double * c, VOLTAGE_LOOP * inner * c + g) * (xp.hypot(double, inner) / double)


def duty_books(
    path: str, design: Design, courses: Sequence[Course], highest: float, case: Case
) -> Ledger:
    """Return the region of the duty, and the ripple of the choke.

    Parameters
    ----------
    path : str
        Dotted path of the port.
    design : Design
        The port.
    courses : sequence of Course
        What the leg does, the ends of the swing among them.
    highest : float
        Largest duty whatever the frequency [1].
    case : Case
        Specification, operating points and catalogue.
    """
    xp = array_namespace(design.f)
    least = 2.0 * design.f * (switch.device(design.leg, case).t_dead + T_LEAST)
    runs = courses[0].share > 0.0
    top = xp.where(runs, largest([line_max(c.duty) for c in courses]), 0.0)
    bottom = xp.where(runs, -largest([line_max(-c.duty) for c in courses]), 1.0)
    pp = largest([line_max(c.pp) for c in courses])
    return joined(
        at_most(f"{path}.duty_high", top, xp.clip(1.0 - least, 0.05, highest), "1",
                "duty of the port's upper switch"),
        at_least(f"{path}.duty_low", bottom, xp.minimum(least, 0.95), "1",
                 "duty of the port's upper switch"),
        booking(f"{path}.ripple", Kind.FIGURE, pp, "ripple in the choke, peak to peak", "A"),
    )  # fmt: skip


def storage_books(path: str, k: Array, low: Array, high: Array) -> Ledger:
    """Return the figures of the storage: swing of its energy [1] and its voltages [V]."""
    return joined(
        booking(f"{path}.swing", Kind.FIGURE, k, "swing of the energy in the port", "1"),
        booking(f"{path}.v_min", Kind.FIGURE, low, "least voltage of the port's storage", "V"),
        booking(f"{path}.v_max", Kind.FIGURE, high, "largest voltage of the port's storage", "V"),
    )
