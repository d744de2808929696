"""Interleaved active-clamp flyback that gives a rectified sine, and a line-frequency unfolder.

    module ─┬─ electrolytics ─┬─ flyback, 1 or 2 phases ─ C_f ─ unfolder ─ mains filter ─ grid
            └─ ceramics       ┘

Isolated, few parts, no link: all of the power that pulsates at twice the line frequency
is stored in electrolytics at the module, and passes the transformer at the line's pace.
"""

from __future__ import annotations

import dataclasses
import math
from typing import Any, Protocol

import numpy as np

from models.axes import Array, angles, array_namespace
from models.case import Case
from models.ledger import Ledger, at_most
from models.parts import capacitor, emi_choke, enclosure, housekeeping, transformer
from models.physics import loops
from models.physics.emission import Section
from models.physics.grid import base_capacitance, ground_current
from models.results import full_row
from models.settle import Settled, settle
from models.spec import Specification
from models.stages import emi, flyback, module_buffer, unfolder
from models.stages.stage import Placed
from models.topologies import compatibility
from models.topologies.notes import common_checks, common_protections, discharge_note
from models.topologies.topology import Detail, Topology, Wave
from models.variables import part

RELAY_POLES = 2  # one contact in line and one in neutral: the transformer isolates
# The voltage along a winding rises from nothing to its swing, so that half of the
# capacitance between the windings sees it [1]; common practice, no source.
COUPLED = 0.5
ANGLES_SHOWN = 21  # of half a line cycle, on the sheet; the figures come of fewer
REACTIVE_MAX = 0.05  # [1], capacitance across the line over the base value
DIAGRAM = """
  module ─┬─ electrolytic ─┬─ flyback ─ C_f ─ unfolder ─ mains filter ─ relay ─ grid
          └─ ceramic ──────┘  (1 or 2 phases, active clamp)
"""


@dataclasses.dataclass(frozen=True)
class Design:
    """What may be varied; every stage brings its own variables and parts."""

    buffer: module_buffer.Design = part("capacitors at the module")
    flyback: flyback.Design = part("flyback")
    unfolder: unfolder.Design = part("unfolder")
    emi: emi.Design = part("mains filter")
    house: housekeeping.Design = part("supply, control, relays")
    box: enclosure.Design = part("box")


def place(x: Design, case: Case) -> Settled:
    """Return designs with heat and power in balance and everything booked."""
    return place_with(module_buffer, x, case)


class Storage(Protocol):
    """A module of a stage that stores the pulsating power at the converter's input."""

    def place(
        self, path: str, design: Any, p: Array, *, p_run: Array, i_hf_rms: Array, f_hf: Array,
        case: Case,
    ) -> Placed:  # fmt: skip
        """Return the placed storage."""


def place_with(storage: Storage, x: Any, case: Case) -> Settled:
    """Return designs with a given kind of storage at the module, ``x.buffer``.

    Parameters
    ----------
    storage : module
        Knows the design ``x.buffer``.
    x : dataclass
        Fields as those of ``Design``.
    case : Case
        Specification, operating points and catalogue.
    """

    def front(p: Array) -> Placed:
        run = flyback.in_half_cycles(x.flyback, p, case)
        demand = unfolder.demand(x.unfolder, run.p_run, case)
        stage, ports = flyback.place("flyback", x.flyback, p, demand, case)
        return (
            stage
            + unfolder.place(
                "unfolder", x.unfolder, p=p, p_run=run.p_run, i_hf_rms=ports.i_out_hf_rms,
                f_hf=ports.f_hf, case=case,
            )
            + storage.place(
                "buffer", x.buffer, p, p_run=run.p_run, i_hf_rms=ports.i_in_hf_rms,
                f_hf=ports.f_hf, case=case,
            )
            + _grid_side(x, ports, case)
            + Placed(_housekeeping(x, p, case))
        )  # fmt: skip

    return settle(Placed(), front, x.box, case)


def _housekeeping(x: Design, p: Array, case: Case) -> tuple[housekeeping.Assembly, ...]:
    points = case.points
    return housekeeping.place(
        "house", x.house, case,
        i_module=p / points.v_pv * math.sqrt(1.5),  # 2·sin² has the rms value √1.5
        i_grid=_grid_current(case), relay_poles=RELAY_POLES,
    )  # fmt: skip


def _grid_current(case: Case) -> Array:
    points = case.points
    return points.p_ac / (points.v_grid * array_namespace(points.p_ac).abs(points.power_factor))


def _grid_side(x: Design, ports: flyback.FlybackPorts, case: Case) -> Placed:
    """Return the mains filter and what flows to earth through the transformer."""
    c_f = capacitor.capacitance(x.unfolder.filter, case)
    none = 0.0 * c_f
    noise = emi.Noise(
        f=x.flyback.f,
        differential=ports.noise,
        common=_earth_currents(x, ports, case),
    )
    placed = emi.place(
        "emi", x.emi, noise, (Section(c_f, none),), i_line=_grid_current(case) + none,
        v_line=case.points.v_grid, case=case,
    )  # fmt: skip
    return placed + Placed(books=_leakage(x, case) + _reactive(x, c_f, case))


def _reactive(x: Design, c_f: Array, case: Case) -> Ledger:
    """Return the limit on the capacitance across the line, wherever C_f stands.

    It draws reactive current at all loads, which at light load is most of the current;
    5 % of the base value is common practice, no source.
    """
    points = case.points
    c = c_f + emi.line_capacitance(x.emi, case)
    rated = case.spec.output.rated_power_w
    base = base_capacitance(rated, points.v_nominal, 2.0 * math.pi * points.f_grid)
    return at_most(
        "emi.reactive", c, REACTIVE_MAX * base, "F", "capacitance across the line, 5 % of the base"
    )


def _between(x: Design, case: Case) -> Array:
    """Return the capacitance between the windings of all phases [F]."""
    return x.flyback.phases * transformer.winding_capacitance(x.flyback.transformer, case)


def _earth_currents(x: Design, ports: flyback.FlybackPorts, case: Case) -> tuple[Array, ...]:
    """Return the harmonics of the current through the windings' capacitance [A].

    A square of swing v has harmonics √2·v/(π·n); each drives 2π·n·f·C, so that all are
    alike: i = 2·√2·f·C·v.
    """
    coupled = COUPLED * _between(x, case)
    current = 2.0 * math.sqrt(2.0) * x.flyback.f * coupled * ports.v_node
    return (current,) * len(ports.noise)


def _leakage(x: Design, case: Case) -> Ledger:
    """Return the current to earth: half the grid through the windings in series with the module.

    The module's capacitance is much the larger one, so that of the windings decides.
    """
    c_windings = _between(x, case)
    c_module = emi.module_capacitance(case)
    c_path = c_windings * c_module / (c_windings + c_module)
    v_earth = 0.5 * case.points.v_grid
    i_high = ground_current(v_earth, case.points.f_grid, 0.0 * c_path)
    return emi.leakage(x.emi, v_earth, c_path, i_high=i_high, case=case)


def detail(x: Design, settled: Settled, case: Case) -> Detail:
    """Return waveforms, loops and notes of the first design at full power."""
    row, points = full_row(case), case.points
    v_grid = float(points.v_grid[0, row, 0])
    c = float(capacitor.capacitance(x.buffer.storage, case)[0, 0, 0])
    c_f = float(capacitor.capacitance(x.unfolder.filter, case)[0, 0, 0])
    leakage = x.emi.stages * emi_choke.inductances(x.emi.choke, case)[1]
    control = loops.unfolder(
        loops.Unfolder(
            power=float(settled.p_module[0, row, 0]), v_grid=v_grid,
            f_grid=float(points.f_grid[0, row, 0]), v_module=float(points.v_pv[0, row, 0]),
            c_module=c, f_front=float(x.flyback.f[0, 0, 0]), c_filter=c_f,
            l_grid=float(leakage[0, 0, 0]), r_damp=housekeeping.R_GRID,
        )
    )  # fmt: skip
    notes = (
        *protections(c_f, case),
        discharge_note("capacitors at the module", c, float(points.v_pv.max())),
    )
    tests = (*checks(), "Core and hot spot of the electrolytics with a thermocouple inside a can.")
    return Detail(_waves(x, settled.p_module, row, case), control, notes, tests)


def protections(c_f: float, case: Case) -> tuple[str, ...]:
    """Return the protections of flyback and unfolder; ``c_f`` is the filter capacitor [F]."""
    row = full_row(case)
    v_grid = float(case.points.v_grid[0, row, 0])
    return (
        *common_protections(v_grid, case.spec.output.rated_power_w, isolated=True),
        "Clamp: the clamp switch must never conduct together with the main switch; check dead "
        "times over temperature. A suppressor across the clamp capacitor catches a lost pulse.",
        "Over-voltage at the filter capacitor when the grid is lost: stop pulses within 20 µs.",
        "Unfolder: all four transistors off until the grid's polarity is known; never both of a "
        "side on.",
        discharge_note("filter capacitor", c_f, math.sqrt(2.0) * 1.1 * v_grid),
    )


def checks() -> tuple[str, ...]:
    """Return what a first prototype of flyback and unfolder deserves."""
    return (
        *common_checks(),
        "Partial discharge and hipot of the transformer: it carries the reinforced insulation.",
    )


def _waves(x: Design, p: Array, row: int, case: Case) -> tuple[Wave, ...]:
    """Return the waveforms over half a line cycle of the first design at one row."""
    points = case.points
    run = flyback.in_half_cycles(x.flyback, p, case)
    found = module_buffer.ripple(
        p, run.p_run, c=capacitor.capacitance(x.buffer.storage, case), v=points.v_pv,
        omega=2.0 * math.pi * points.f_grid, kappa=points.kappa,
    )  # fmt: skip
    theta = angles(ANGLES_SHOWN, math.pi)[0, 0, :]
    v = float(points.v_pv[0, row, 0]) * (1.0 + float(found.ratio[0, row, 0]) * np.sin(2.0 * theta))
    return (
        Wave("module, capacitor voltage", "V", theta, v, True),
        *flyback_waves(x, p, row, case),
    )


def flyback_waves(x: Any, p: Array, row: int, case: Case) -> tuple[Wave, ...]:
    """Return the waves of flyback and module over half a line cycle.

    Parameters
    ----------
    x : dataclass
        Fields ``flyback`` and ``unfolder``.
    p : Array
        Power at the module [W].
    row : int
        Operating point.
    case : Case
        Specification, operating points and catalogue.
    """
    angle = angles(ANGLES_SHOWN, math.pi)
    run = flyback.in_half_cycles(x.flyback, p, case)
    demand = unfolder.demand(x.unfolder, run.p_run, case, angle)
    one = flyback.phase(x.flyback, run, demand, case)
    theta, power = angle[0, 0, :], float(p[0, row, 0])
    v_out, p_out = demand.v[0, row, :], demand.share[0, row, :] * power
    # Behind the unfolder C_f sees the grid's sine: nothing at even multiples.
    rectified = int(x.unfolder.side[0, 0, 0]) == 0
    return (
        Wave("flyback output (filter capacitor)", "V", theta, v_out, rectified),
        Wave("clamp capacitor", "V", theta, one.waves.v_edge[0, row, :], True),
        Wave("flyback output current", "A", theta, p_out / np.maximum(v_out, 1e-3)),
        Wave("power from the flyback", "W", theta, p_out),
        Wave("power from the module", "W", theta, np.full_like(theta, power)),
    )


def refusals(spec: Specification) -> tuple[str, ...]:
    """Return why the topology cannot serve a specification."""
    return compatibility.refusals(flyback.TRAITS, module_buffer.TRAITS, unfolder.TRAITS, spec)


TOPOLOGY = Topology(
    name="flyback_unfolder",
    title="Active-clamp flyback, rectified sine, line-frequency unfolder",
    tag="flyback",
    source="Y. Li, R. Oruganti, 'A low cost flyback CCM inverter for AC module application', "
    "IEEE Trans. Power Electron. 27(3), 2012 (from memory)",
    diagram=DIAGRAM,
    isolated=True,
    decoupling="electrolytics at the module",
    common_mode="isolated; windings' capacitance only",
    design=Design,
    module_window=(15.0, 65.0),
    place=place,
    detail=detail,
    refusals=refusals,
)
