"""Filter between a bridge and the grid: bridge choke, capacitor, grid choke, mains filter.

    bridge ── L₁ ──┬── L₂ ── mains filter ── grid
                  C_f
                  R_d

L₁ belongs to the bridge, which makes its ripple.  Waves are given over half a line
cycle, 32 angles: in the other half voltage and current change sign and the link
repeats, so that these are the 64 angles of the whole cycle.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, angles, array_namespace, point_max
from models.case import Case
from models.ledger import Kind, Ledger, at_least, at_most, booking, joined
from models.parts import capacitor, film, inductor, resistor
from models.physics import emission, grid
from models.stages import emi
from models.stages.stage import Placed
from models.stress import CapacitorStress, Flux, InductorStress, WindingStress
from models.variables import part, real

HALF = 32  # [1], angles over half a line cycle
ORDERS = (3, 5, 7)  # harmonics of the dead time that count
C_SHARE = 0.05  # [1], capacitance over the base value; Liserre et al., 2005 (from memory)
HF_SHARE = 0.01  # [1], switching ripple in the grid over rated current; common practice, no source
DC_SHARE = 0.003  # [1], offset of the current sensor over rated; 0.5 % less a margin

# Heat sinks and windings to earth, per bridge node [F]; common practice, no source.
C_NODE = 30e-12


@dataclasses.dataclass(frozen=True)
class Design:
    """How the filter behind the bridge's own choke is built."""

    inductance: Array = real(20, 1000, "µH", "grid-side inductance", log=True)
    choke: inductor.Design = part("grid-side choke")
    capacitor: capacitor.Film = part("filter capacitor", count=(1, 4))
    emi: emi.Design = part("mains filter")


@dataclasses.dataclass(frozen=True)
class GridSide:
    """What the bridge must make; angles over half a cycle."""

    theta: Array  # [rad], (1, 1, 32)
    omega: Array  # [rad/s], (1, point, 1)
    u: Array  # [V], fundamental of the bridge's voltage
    i: Array  # [A], fundamental of its current
    u_peak: Array  # [V]
    i_rms: Array  # [A]
    i_grid: Array  # [A], rms
    v_filter: Array  # [V], rms across C_f
    c: Array  # [F], C_f and the capacitors across the line, (design, 1, 1)
    l_bridge: Array  # [H], (design, 1, 1)
    power: grid.Pulsation
    swing_sine: Array  # S_p·sin(2θ + ψ) [W]: what a capacitor has taken up
    swing_cosine: Array  # S_p·cos(2θ + ψ) [W]: what it takes up
    running: Array  # 1 where the bridge switches, 0 at idle, (1, point, 1)


@dataclasses.dataclass(frozen=True)
class Ripple:
    """What a bridge sends into the filter besides the fundamental."""

    f: Array  # [Hz], (design, 1, 1); (design, point, 1) where it varies along the angle
    voltages: tuple[Array, ...]  # [V], rms at f, 2f, 3f over the line cycle
    v_worst: Array  # [V], rms at f at the worst angle; at n·f its n-th part
    v_node: Array  # [V], swing of the nodes against earth
    dead_time: tuple[Array, ...]  # [V], amplitudes of the harmonics ORDERS
    f_node: Array | None = None  # [Hz], of v_node where it is not f
    # [Hz], lowest and highest of a frequency that varies along the angle, (design, 1, 1); f is
    # then the one at which the filter does to all of the ripple what it does to each part.
    band: tuple[Array, Array] | None = None

    @property
    def f_low(self) -> Array:
        """Lowest frequency [Hz]."""
        return self.f if self.band is None else self.band[0]

    @property
    def f_noise(self) -> Array:
        """Frequency a harmonic of which is the noise worst for the filter [Hz].

        One that sweeps passes 150 kHz with the lowest of its harmonics that comes so high.
        """
        if self.band is None:
            return self.f
        return emission.BAND / emission.order_in_band(self.band[1])


def bridge_side(design: Design, l_bridge: Array, case: Case) -> GridSide:
    """Return the waves that the bridge must make, filter included.

    The capacitors of the mains filter are counted with C_f.

    Parameters
    ----------
    design : Design
        The filter.
    l_bridge : Array
        Inductance of the bridge choke [H], (design, 1, 1).
    case : Case
        Operating points.
    """
    points = case.points
    xp = array_namespace(l_bridge, points.p_ac)
    omega = 2.0 * math.pi * points.f_grid
    running = xp.where(points.p_ac > 0.0, 1.0, 0.0)
    c = capacitor.capacitance(design.capacitor, case) + emi.line_capacitance(design.emi, case)
    x = grid.bridge_phasors(
        points.v_grid,
        points.p_ac,
        points.power_factor,
        omega=omega,
        l_bridge=l_bridge,
        c=c * running,
        l_grid=design.inductance,
    )
    power = grid.pulsation(x)
    theta = angles(HALF, math.pi)
    sine, cosine = math.sqrt(2.0) * xp.sin(theta), math.sqrt(2.0) * xp.cos(theta)
    u = x.u_re * sine + x.u_im * cosine
    i = x.i_re * sine + x.i_im * cosine
    return GridSide(
        theta=theta,
        omega=omega,
        u=u,
        i=i,
        u_peak=xp.sqrt(2.0 * (x.u_re * x.u_re + x.u_im * x.u_im)),
        i_rms=xp.sqrt(x.i_re * x.i_re + x.i_im * x.i_im),
        i_grid=x.i_grid,
        v_filter=x.v_filter,
        c=c,
        l_bridge=l_bridge,
        power=power,
        swing_sine=power.cosine * xp.sin(2.0 * theta) + power.sine * xp.cos(2.0 * theta),
        swing_cosine=power.p - u * i,
        running=running,
    )


def place(path: str, design: Design, side: GridSide, ripple: Ripple, case: Case) -> Placed:
    """Return choke, capacitor, damping resistor and mains filter with the filter's limits.

    Parameters
    ----------
    path : str
        Dotted path in the topology.
    design : Design
        How it is built.
    side : GridSide
        Waves of ``bridge_side``.
    ripple : Ripple
        What the bridge sends.
    case : Case
        Specification, operating points and catalogue.
    """
    xp = array_namespace(side.c)
    c_f = capacitor.capacitance(design.capacitor, case)
    f_res = grid.resonance(side.l_bridge, design.inductance, side.c)
    r_damp = resistor.preferred(grid.damping_resistance(f_res, c_f))
    through, across = _ripple_currents(design, side, ripple, c_f=c_f, r_damp=r_damp)
    i_hf = xp.sqrt(sum((i * i for i in through), start=0.0 * side.i_grid))
    i_c = xp.sqrt(sum((i * i for i in across), start=0.0 * side.i_grid))
    upstream = (emission.Section(c_f, design.inductance, r_damp),)
    filtered = emi.place(
        f"{path}.emi",
        design.emi,
        _noise(side, ripple),
        upstream,
        i_line=side.i_grid,
        v_line=case.points.v_grid + 0.0 * side.i_grid,
        case=case,
    )
    parts = (
        inductor.place(
            f"{path}.choke", design.choke, _choke_stress(design, side, ripple, through), case
        ),
        film.place(
            f"{path}.capacitor", design.capacitor, _capacitor_stress(side, ripple, c_f, i_c), case
        ),
        resistor.place(f"{path}.damping", r_damp, i_c),
    )
    books = _resonance_limits(path, side, f_res, ripple, case) + _quality(
        path, design, side, ripple, i_hf=i_hf, case=case
    )
    return Placed(parts, books) + filtered


def _ripple_currents(
    design: Design, side: GridSide, ripple: Ripple, *, c_f: Array, r_damp: Array
) -> tuple[tuple[Array, ...], tuple[Array, ...]]:
    """Return rms currents at f, 2f, 3f into the grid and into the capacitor [A]."""
    through, across = [], []
    for n, v in enumerate(ripple.voltages, start=1):
        y_grid, y_c = grid.lcl_admittance(
            n * ripple.f, side.l_bridge, design.inductance, c=c_f, r_damp=r_damp
        )
        through.append(v * y_grid)
        across.append(v * y_c)
    return tuple(through), tuple(across)


def _noise(side: GridSide, ripple: Ripple) -> emi.Noise:
    """Return the noise currents: through the bridge choke, and through stray capacitance."""
    f = ripple.f_noise
    omega = 2.0 * math.pi * f
    f_node = f if ripple.f_node is None else ripple.f_node
    square = math.sqrt(2.0) / math.pi * ripple.v_node
    return emi.Noise(
        f=f,
        differential=tuple(ripple.v_worst / (n * n * omega * side.l_bridge) for n in range(1, 5)),
        # The n-th harmonic of a square falls as 1/n, the admittance of C rises as n.
        common=(square * (2.0 * math.pi * f_node) * C_NODE,),
        f_common=f_node,
    )


def _choke_stress(
    design: Design, side: GridSide, ripple: Ripple, through: tuple[Array, ...]
) -> InductorStress:
    """Return the stress of the grid-side choke; its ripple is nearly a sine."""
    pp = 2.0 * math.sqrt(2.0) * through[0]
    return InductorStress(
        inductance=design.inductance,
        i_peak=math.sqrt(2.0) * side.i_grid + 0.5 * pp,
        winding=WindingStress(
            i_dc=0.0 * side.i_grid, i_line_rms=side.i_grid, f=ripple.f, harmonics=through
        ),
        flux=(Flux(ripple.f, design.inductance * pp, 0.0 * pp + 0.5, active=side.running),),
    )


def _capacitor_stress(side: GridSide, ripple: Ripple, c_f: Array, i_c: Array) -> CapacitorStress:
    """Return the stress of the filter capacitor, at line frequency instead of twice it."""
    peak = math.sqrt(2.0) * side.v_filter
    return CapacitorStress(
        v_mean=0.0 * peak,
        v_max=peak,
        v_swing=2.0 * peak,
        i_line_rms=side.omega * c_f * side.v_filter,
        i_hf_rms=i_c,
        f_hf=ripple.f,
    )


def _resonance_limits(
    path: str, side: GridSide, f_res: Array, ripple: Ripple, case: Case
) -> Ledger:
    """Return where the resonance may lie and how large the capacitor may be."""
    f_grid = point_max(case.points.f_grid)
    base = grid.base_capacitance(case.spec.output.rated_power_w, case.points.v_nominal, side.omega)
    return joined(
        booking(f"{path}.resonance", Kind.FIGURE, f_res, "resonance of the filter", "Hz"),
        at_least(f"{path}.resonance.low", f_res, 10.0 * f_grid, "Hz",
                 "resonance above ten times the line frequency"),
        at_most(f"{path}.resonance.high", f_res, 0.5 * ripple.f_low, "Hz",
                "resonance below half the switching frequency"),
        at_most(f"{path}.reactive", side.c + 0.0 * base, C_SHARE * base, "F",
                "capacitance across the line, 5 % of the base value"),
    )  # fmt: skip


def _quality(
    path: str, design: Design, side: GridSide, ripple: Ripple, *, i_hf: Array, case: Case
) -> Ledger:
    """Return distortion, ripple and the wanted accuracy of the current sensor.

    Distortion is what the dead time leaves; link ripple adds none where the link loop
    averages over half a line cycle, and over-modulation is refused by its own limit.
    """
    rated = case.spec.output.rated_power_w / case.points.v_nominal
    whole = side.l_bridge + design.inductance
    distortion = (
        grid.distortion_current(
            ripple.dead_time,
            ORDERS,
            omega=side.omega,
            inductance=whole,
            gains=grid.current_loop(ripple.f_low, whole),
        )
        / rated
    )
    one = 0.0 * distortion + 1.0
    return joined(
        booking("grid.distortion", Kind.FIGURE, distortion, "total rated-current distortion", "1"),
        at_most("grid.distortion", distortion, one * (1e-2 * case.spec.limits.trd_max_pct), "1",
                "total rated-current distortion, dead time against the current loop"),
        at_most(f"{path}.ripple", i_hf, HF_SHARE * rated, "A",
                "switching ripple in the grid, 1 % of rated current"),
        booking(f"{path}.offset", Kind.FIGURE, DC_SHARE * rated,
                "largest offset of the current sensor, against direct current in the grid", "A"),
    )  # fmt: skip
