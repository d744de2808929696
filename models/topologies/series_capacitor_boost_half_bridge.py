"""Series-capacitor boost, two swinging film links, doubler and common-ground half bridge.

    module ─ ceramics ─ boost, 2–3 phases ─┬ P ─ doubler leg ─ L_b ─ M (= neutral = module −)
                                           C_1 ─ M
                                           C_2 ─ N     grid leg ─ L_g1 ─ filter ─ grid

Grid neutral, module negative and node M are one conductor, so that no capacitive current
flows to earth.  Both links swing at twice the line frequency and store the power that
pulsates in film; the boost holds the module still meanwhile.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np

from models.axes import Array, array_namespace, line_max, line_mean, line_min
from models.case import Case
from models.ledger import Ledger
from models.module_view import module_window
from models.parts import capacitor, enclosure, housekeeping, resistor
from models.physics import loops
from models.physics.grid import damping_resistance, resonance
from models.results import full_row
from models.settle import Settled, settle
from models.spec import Specification
from models.stages import (
    common_ground_half_bridge as half_bridge,
)
from models.stages import (
    emi,
    film_links,
    grid_filter,
    module_buffer,
)
from models.stages import (
    series_capacitor_boost as boost,
)
from models.stages import (
    series_capacitor_modes as modes,
)
from models.stages.series_capacitor_gain import least_gain
from models.stages.stage import Placed
from models.topologies import compatibility
from models.topologies.notes import common_checks, common_protections, discharge_note
from models.topologies.topology import Detail, Topology, Wave
from models.variables import alternative, part

RELAY_POLES = 4  # not isolated: two contacts in series in line and in neutral
# Between neutral and earth at the module [V]; common practice, no source.
V_NEUTRAL = 2.0
DIAGRAM = """
  module ─ ceramic ─ boost ─┬─ P ─┬─ doubler leg ─ L_b ─┐
                            │     └─ grid leg ─ L_g1 ───┼─ filter ─ relay ─ grid
                           C_1   C_2                    │
  module − ── M ────────────┴──── │ ────────────────────┴─ neutral
                                  N
"""


@dataclasses.dataclass(frozen=True)
class Design:
    """What may be varied; every stage brings its own variables and parts."""

    boost: boost.AnyDesign = alternative(
        "rectifiers of the boost", diode=boost.DiodeDesign, synchronous=boost.SynchronousDesign
    )
    links: film_links.Design = part("film links")
    bridge: half_bridge.Design = part("doubler and half bridge")
    filter: grid_filter.Design = part("grid filter")
    house: housekeeping.Design = part("supply, control, relays")
    box: enclosure.Design = part("box")


@dataclasses.dataclass(frozen=True)
class _Behind:
    """Everything whose stress does not depend on the losses."""

    side: grid_filter.GridSide
    links: film_links.Links
    legs: half_bridge.Legs
    prepared: boost.Prepared
    placed: Placed


def _behind(x: Design, case: Case) -> _Behind:
    side = grid_filter.bridge_side(x.filter, x.bridge.choke_inductance, case)
    links = film_links.swing(x.links, side, half_bridge.modulation_limit(x.bridge, case), case)
    legs = half_bridge.legs("bridge", x.bridge, side, links, case)
    prepared = boost.prepare(x.boost, v_in=case.points.v_pv, v_out=links.v_1_nodes, case=case)
    placed = (
        legs.placed
        + grid_filter.place("filter", x.filter, side, legs.ripple, case)
        + Placed(books=_leakage(x, case))
    )
    return _Behind(side, links, legs, prepared, placed)


def place(x: Design, case: Case) -> Settled:
    """Return designs with heat and power in balance and everything booked."""
    behind = _behind(x, case)
    points = case.points

    def front(p: Array) -> Placed:
        stage = boost.place("boost", x.boost, behind.prepared, p, case)
        doubler, i_1, i_2 = half_bridge.doubler(
            "bridge", x.bridge, behind.side, behind.links, both=behind.legs, power=p, case=case
        )
        pulses = stage.link_hf_rms
        hf = film_links.HighFrequency(
            i_1=array_namespace(i_1).sqrt(i_1 * i_1 + pulses * pulses),
            f_1=x.boost.f,
            i_2=i_2,
            f_2=x.bridge.f,
        )
        return (
            stage.placed
            + doubler
            + film_links.place("links", x.links, behind.links, hf, case)
            + Placed(
                housekeeping.place(
                    "house", x.house, case, i_module=p / points.v_pv,
                    i_grid=behind.side.i_grid, relay_poles=RELAY_POLES,
                ),
                module_buffer.ripple_books(_module_ripple(x, behind, p, stage.active, case), case),
            )
        )  # fmt: skip

    return settle(behind.placed, front, x.box, case)


def _module_ripple(x: Design, behind: _Behind, p: Array, active: Array, case: Case) -> Array:
    """Return the ripple at the module over its voltage [1]: past the loops, and of bursts.

    The boost's duty follows the measured link (feed-forward), late by 1.5 switching
    periods; what is left drives the module's capacitor through choke and current loop:
    |v| = (1 − D)·|1 − e^(−j2ωT)|·v̂₁/(|j2ωL + K|·|j2ωC + I/V + Y|), with K = 2π·f·L/20
    and Y = the voltage loop's gain 2π·f·C/120.  The loop's integral part is left out, which
    makes this part about five times too high (46 mV for 8.5 mV in a worked example at 33 V),
    still too small to cost energy.

    Source
    ------
    Averaged model of the loops, derived here; see ``models.physics.loops``.
    """
    points = case.points
    xp = array_namespace(p)
    double = 4.0 * math.pi * points.f_grid
    # Link 1 is half of link 2; the few nodes of the boost do not reach its extremes.
    v_2 = behind.links.v_2
    swing = 0.25 * (line_max(v_2) - line_min(v_2))
    mean = 0.5 * line_mean(v_2)
    c = capacitor.capacitance_at(x.boost.input, points.v_pv, case)
    inductance = behind.prepared.inductance / x.boost.phases
    late = 2.0 * xp.sin(xp.minimum(0.5 * double * 1.5 / x.boost.f, 1.5))
    inner = 2.0 * math.pi * x.boost.f / 20.0
    z = xp.hypot(double * inductance, inner * inductance)
    y = xp.hypot(double * c, p / points.v_pv**2 + inner / 6.0 * c)
    ratio = (points.v_pv / mean) * late * swing / (z * y) / points.v_pv
    bursts = boost.burst_ripple(x.boost, active, p, case)
    return xp.where(points.p_ac > 0.0, xp.hypot(ratio, bursts), 0.0)


def _leakage(x: Design, case: Case) -> Ledger:
    xp = array_namespace(case.points.p_ac)
    v_earth, none = xp.full((1, 1, 1), V_NEUTRAL), xp.zeros((1, 1, 1))
    return emi.leakage(x.filter.emi, v_earth, emi.module_capacitance(case), i_high=none, case=case)


def detail(x: Design, settled: Settled, case: Case) -> Detail:
    """Return waveforms, loops and notes of the first design at full power."""
    row = full_row(case)
    points = case.points
    behind = _behind(x, case)
    half = behind.side.theta[0, 0, :]
    theta = np.concatenate((half, half + math.pi))
    v_2 = np.tile(behind.links.v_2[0, row, :], 2)
    i_grid = behind.side.i[0, row, :]
    u = behind.side.u[0, row, :]
    v = float(points.v_pv[0, row, 0])
    power = float(settled.p_module[0, row, 0])
    front = boost.place("boost", x.boost, behind.prepared, settled.p_module, case)
    ripple = _module_ripple(x, behind, settled.p_module, front.active, case)
    waves = (
        Wave("link 1, P to M", "V", theta, 0.5 * v_2, True),
        Wave("link 2, P to N", "V", theta, v_2, True),
        Wave("filter capacitor", "V", theta,
             math.sqrt(2.0) * float(behind.side.v_filter[0, row, 0]) * np.sin(theta), True),
        *_series_voltages(x, v_2, theta, settled, row, case),
        Wave("grid leg, mean", "V", theta, np.concatenate((u, -u))),
        Wave("module, capacitor voltage", "V", theta,
             v + float(ripple[0, row, 0]) * v * np.sin(2.0 * theta), True),
        Wave("current of the grid leg", "A", theta, np.concatenate((i_grid, -i_grid))),
        Wave("power into the grid filter", "W", theta, np.tile(u * i_grid, 2)),
        Wave("power from the module", "W", theta, np.full_like(theta, power)),
    )  # fmt: skip
    c_1 = float(capacitor.capacitance(x.links.c_1, case)[0, 0, 0])
    c_2 = float(capacitor.capacitance(x.links.c_2, case)[0, 0, 0])
    v_grid = float(points.v_grid[0, row, 0])
    control = loops.common_ground(
        loops.CommonGround(
            power=power, v_grid=v_grid, f_grid=float(points.f_grid[0, row, 0]), v_module=v,
            v_link=float(0.5 * v_2.mean()), f_front=float(x.boost.f[0, 0, 0]),
            l_front=float(behind.prepared.inductance[0, 0, 0]) / x.boost.phases,
            c_module=float(capacitor.capacitance(x.boost.input, case)[0, 0, 0]),
            c_1=c_1, c_2=c_2, f_bridge=float(x.bridge.f[0, 0, 0]),
            l_doubler=float(x.bridge.doubler_inductance[0, 0, 0]),
            l_bridge=float(x.bridge.choke_inductance[0, 0, 0]),
            l_grid=float(x.filter.inductance[0, 0, 0]),
            c_filter=float(capacitor.capacitance(x.filter.capacitor, case)[0, 0, 0]),
            r_damp=_damping(x, behind.side, case),
        )
    )  # fmt: skip
    v_top = float(behind.links.v_2_max[0].max())
    return Detail(waves, control, tuple(_protections(case, v_grid, c_1, c_2, v_top)), _checks())


def _series_voltages(
    x: Design, v_2: Array, theta: Array, settled: Settled, row: int, case: Case
) -> tuple[Wave, ...]:
    """Return the voltages of the boost's series capacitors, which follow link 1."""
    link = np.zeros_like(settled.p_module) + 0.5 * v_2.reshape(1, 1, -1)
    follow = boost.prepare(x.boost, v_in=case.points.v_pv, v_out=link, case=case)
    found = modes.stress(follow.ready, settled.p_module, follow.least_power)
    return tuple(
        Wave(f"boost, series capacitor {k}", "V", theta, v[0, row, :] + 0.0 * theta, True)
        for k, v in enumerate(found.v_c, start=1)
    )


def _damping(x: Design, side: grid_filter.GridSide, case: Case) -> float:
    """Return the damping resistor of the first design [Ω]."""
    c_f = capacitor.capacitance(x.filter.capacitor, case)
    f_res = resonance(side.l_bridge, x.filter.inductance, side.c)
    return float(resistor.preferred(damping_resistance(f_res, c_f))[0, 0, 0])


def _protections(case: Case, v_grid: float, c_1: float, c_2: float, v_top: float) -> list[str]:
    return [
        *common_protections(v_grid, case.spec.output.rated_power_w, isolated=False),
        "Module negative is the grid's neutral, a second earth point: no earthing on the module "
        "side, no frame bonded to module negative; some codes forbid this circuit.",
        "Lost or swapped neutral raises the module to line voltage: sense it before closing the "
        "relays and while running. Residual-current monitoring that sees direct current.",
        "Pre-charge of the series capacitors and both links before the first pulse; over-voltage "
        f"trip of link 2 above {1.05 * v_top:.0f} V.",
        "Doubler and grid leg: shoot-through protection in hardware; gate supplies under-voltage.",
        discharge_note("link 1 (P to M)", c_1, 0.5 * v_top),
        discharge_note("link 2 (P to N)", c_2, v_top),
    ]


def _checks() -> tuple[str, ...]:
    return (
        *common_checks(),
        "Sharing of current between the boost's phases, and series-capacitor voltages, over load.",
        "Link voltages over the line cycle against the waveforms above; module ripple with and "
        "without feed-forward of the link.",
        "Current to earth with the module's capacitance wet, neutral-to-earth voltage applied.",
    )


def refusals(spec: Specification) -> tuple[str, ...]:
    """Return why the topology cannot serve a specification."""
    found = []
    _, high = module_window(spec)
    gain = least_gain(2, "uniform")
    for grid in spec.grid:
        link = math.sqrt(2.0) * grid.window_pu[0] * grid.voltage_v
        if high * gain > link:
            found.append(
                f"a module at {high:.0f} V needs a link above {high * gain:.0f} V, because the "
                f"boost's least gain is {gain:.2f}, and {grid.voltage_v:g} V of grid let the link "
                f"fall to {link:.0f} V"
            )
    return (
        *found, *compatibility.refusals(boost.TRAITS, film_links.TRAITS, half_bridge.TRAITS, spec)
    )  # fmt: skip


TOPOLOGY = Topology(
    name="series_capacitor_boost_half_bridge",
    title="Series-capacitor boost, film links, common-ground half bridge",
    tag="series boost",
    source="boost with two phases: Y. Jang, M. M. Jovanović, 'Interleaved boost converter with "
    "intrinsic voltage-doubler characteristic', IEEE Trans. Power Electron. 22(4), 2007 (from "
    "memory); common-ground half bridge with doubler: common practice, no source",
    diagram=DIAGRAM,
    isolated=False,
    decoupling="film links",
    common_mode="neutral tied to module negative",
    design=Design,
    module_window=(15.0, 65.0),
    place=place,
    detail=detail,
    refusals=refusals,
)
