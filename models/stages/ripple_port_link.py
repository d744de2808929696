"""Ripple port across a direct-current link: a bidirectional buck leg into film that swings.

    P ──┬───────┬── S_u ──┐
       C_l      │         r ── L_r ──┬──      u_r < V_l, which swings widely
    N ──┴───────┴── S_l ──┴─── C_r ──┘

The link keeps so little capacitance that it only bears switching ripple; it hardly moves,
so that a front of fixed ratio may stand ahead.  At light load, where the link's own film
can carry what pulsates, the port rests.

The highest voltage of the storage is held, whatever the load: with less power it swings
less, below that.  Twice a line cycle the current passes every voltage once in either
direction; so nodes of the swing stand for all of it.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace, swing_nodes
from models.case import Case
from models.ledger import Kind, Ledger, booking
from models.parts import capacitor, film
from models.physics import buffer
from models.stages import ripple_port
from models.stages.grid_filter import GridSide
from models.stages.link_voltage import K_SMALL, TRIP_TIME, link_books, link_voltage
from models.stages.ports import Link, LinkCurrents, StorageTraits, Store
from models.stages.ripple_port import K_MOST, Course
from models.stages.stage import Placed
from models.stress import CapacitorStress
from models.variables import part, real

DUTY_HIGH = 0.95  # [1], storage over link; leaves the current loop some voltage
# Swing of the energy in the link's own film up to which the port rests [1]; below K_SMALL.
K_REST = 0.05
# Nodes of the storage's swing [1], of which every third does for edges: mean currents of
# edges are then within 1.5 % of the switched leg, at a swing of 0.84 too.
NODES = 18
TRAITS = StorageTraits("ripple port at the link, film", Store.LINK_PORT, swings=False)


@dataclasses.dataclass(frozen=True)
class Design:
    """Link and port."""

    ratio: Array = real(
        1.01, 1.35, "", "nominal link voltage over the peak of the grid at full modulation"
    )
    film: capacitor.Film = part("film of the link, for the switching ripple", count=(1, 4))
    top: Array = real(0.5, 0.95, "", "highest voltage of the port's storage over the link's")
    port: ripple_port.Design = part("ripple port")


@dataclasses.dataclass(frozen=True)
class Storage:
    """Voltage of the port's storage, (design, point, 1)."""

    active: Array  # 1 where the port runs, else 0
    s_p: Array  # [W], pulsating power that it takes
    v: Array  # [V], rms over the line cycle
    k: Array  # [1], swing of its energy over the mean
    low: Array  # [V]
    high: Array  # [V]


def swing(design: Design, side: GridSide, m_max: Array, case: Case) -> Link:
    """Return the voltage of the link, see ``link_voltage``.

    To the link the port is a capacitance Y/(2ω), see ``ripple_port.admittance``.  When the
    grid is lost the port takes in what flows, until its storage has the link's voltage and
    both rise together; the worst moment is that of the fullest storage.
    """
    xp = array_namespace(design.ratio, side.u_peak)
    c = capacitor.capacitance(design.film, case)
    alike = ripple_port.admittance(design.port, c, side.omega) / (2.0 * side.omega)
    c_seen = xp.where(_active(design, side, case) > 0.0, alike, c)
    link = link_voltage(design.ratio, c_seen, side, m_max, nodes=1, case=case)
    top = link.v_min + 2.0 * link.swing
    c_r = capacitor.capacitance(design.port.storage, case)
    full = storage(design, link, side, case).high
    energy = c * top * top + c_r * full * full + 2.0 * TRIP_TIME * case.points.p_ac
    lost = xp.maximum(top, xp.sqrt(energy / (c + c_r)))
    return dataclasses.replace(link, v_max=xp.where(case.points.rejection > 0.0, lost, top), c=c)


def place(
    path: str, design: Design, link: Link, side: GridSide, currents: LinkCurrents, case: Case
) -> Placed:
    """Return the film of the link, and the port's switches, choke and storage.

    What the port loses it draws from the link; that current, about a hundredth of its own,
    is left out of its stress.

    Parameters
    ----------
    path : str
        Dotted path in the topology.
    design : Design
        Link and port.
    link : Link
        Voltages of ``swing``.
    side : GridSide
        Pulsating power.
    currents : LinkCurrents
        Currents at switching frequency, of the stages on both sides.
    case : Case
        Specification, operating points and catalogue.
    """
    xp = array_namespace(link.k)
    port, inner = design.port, f"{path}.port"
    held = storage(design, link, side, case)
    running = _course(port, held, link)
    slow = buffer.ripple_current(held.s_p, held.v, held.k)
    pulses = ripple_port.pulse_square((running,))
    i_hf = xp.sqrt(currents.i_front**2 + currents.i_bridge**2 + pulses)
    parts = (
        film.place(f"{path}.film", design.film, _link_stress(link, side, i_hf, currents), case),
        *ripple_port.switches(inner, port, (running,), link.v_max, case),
        ripple_port.choke(inner, port, (running,), slow, _peak(port, held, link, slow), case),
        film.place(f"{inner}.storage", port.storage,
                   _storage_stress(design, held, link, running, slow, case), case),
    )  # fmt: skip
    courses = (running, *_ends(port, held, link))
    return Placed(parts, link_books(path, link, xp.minimum(link.k_max, K_SMALL), case)
                  + _books(inner, port, held, courses, case))  # fmt: skip


def _active(design: Design, side: GridSide, case: Case) -> Array:
    """Return 1 where the port runs: where the link's film alone would swing too much."""
    xp = array_namespace(design.ratio, side.omega)
    c = capacitor.capacitance(design.film, case)
    v = design.ratio * (math.sqrt(2.0) * case.points.v_nominal)
    alone = buffer.swing_ratio(side.power.s_p, side.omega, c, v)
    return xp.where(alone > K_REST, side.running, 0.0)


def storage(design: Design, link: Link, side: GridSide, case: Case) -> Storage:
    """Return the storage: its highest voltage is held, or rises where it would empty.

    Parameters
    ----------
    design : Design
        Link and port.
    link : Link
        Voltages of ``swing``.
    side : GridSide
        Pulsating power.
    case : Case
        Operating points and catalogue.
    """
    xp = array_namespace(link.k)
    active = _active(design, side, case)
    c = capacitor.capacitance(design.port.storage, case)
    s_p = active * side.power.s_p
    top = design.top * link.v_rms
    pulsating = s_p / (side.omega * c)
    square = xp.maximum(top * top - pulsating, pulsating * (1.0 / K_MOST))
    return Storage(
        active, s_p, xp.sqrt(square), pulsating / square,
        low=xp.sqrt(square - pulsating), high=xp.sqrt(square + pulsating),
    )  # fmt: skip


def _course(port: ripple_port.Design, held: Storage, link: Link) -> Course:
    """Return what the leg does: i = ±S_p·cos x/v_r, v_r = V₀·√(1 + k·sin x)."""
    xp = array_namespace(held.k)
    sine = swing_nodes(NODES)
    v = buffer.swing_voltage(held.v, held.k * sine)
    i = held.s_p * xp.sqrt(1.0 - sine * sine) / v
    return ripple_port.course(
        port, link.v_rms, v * (1.0 / link.v_rms), i, held.active, mirrored=True
    )


def _ends(port: ripple_port.Design, held: Storage, link: Link) -> tuple[Course, ...]:
    """Return the leg at both ends of the swing, where the current changes its sign."""
    return tuple(
        ripple_port.course(port, link.v_rms, v / link.v_rms, 0.0 * v, held.active)
        for v in (held.low, held.high)
    )


def _peak(port: ripple_port.Design, held: Storage, link: Link, slow: Array) -> Array:
    """Return the largest current of the choke [A].

    That without ripple is √2 times its rms value, at v_r = V₀·(1 − k²)^¼.
    """
    xp = array_namespace(slow)
    v = held.v * xp.sqrt(xp.sqrt(1.0 - held.k * held.k))
    there = ripple_port.course(port, link.v_rms, v / link.v_rms, slow, held.active)
    return math.sqrt(2.0) * slow + 0.5 * there.pp


def _link_stress(
    link: Link, side: GridSide, i_hf: Array, currents: LinkCurrents
) -> CapacitorStress:
    """Return the stress of the link's film, which bears what the port leaves."""
    return CapacitorStress(
        v_mean=link.v_rms,
        v_max=link.v_max,
        v_swing=2.0 * link.swing,
        i_line_rms=math.sqrt(2.0) * side.omega * link.c * link.swing,
        i_hf_rms=i_hf,
        f_hf=currents.f_bridge,
    )


def _storage_stress(
    design: Design, held: Storage, link: Link, running: Course, slow: Array, case: Case
) -> CapacitorStress:
    """Return the stress of the storage, load rejection included."""
    xp = array_namespace(slow)
    points = case.points
    c = capacitor.capacitance(design.port.storage, case)
    filled = buffer.rejected_voltage(held.high, points.p_ac * points.rejection, TRIP_TIME, c)
    return CapacitorStress(
        v_mean=buffer.mean_voltage(held.v, held.k),
        v_max=xp.maximum(held.high, xp.minimum(filled, link.v_max)),
        v_swing=held.high - held.low,
        i_line_rms=slow,
        i_hf_rms=ripple_port.ripple_rms((running,)),
        f_hf=design.port.f,
    )


def _books(
    path: str, port: ripple_port.Design, held: Storage, courses: tuple[Course, ...], case: Case
) -> Ledger:
    return (
        ripple_port.storage_books(path, held.k, held.low, held.high)
        + ripple_port.duty_books(path, port, courses, DUTY_HIGH, case)
        + booking(f"{path}.active", Kind.FIGURE, held.active, "1 where the port runs", "1")
    )
