"""Interleaved active-clamp flyback, unfolder, and a ripple port at the module.

    module ─┬─ ripple port ─┬─ flyback, 1 or 2 phases ─ C_f ─ unfolder ─ mains filter ─ grid
            └─ ceramics     ┘

As ``flyback_unfolder``, but a leg, a choke and film that swings take the place of the
electrolytics at the module.
"""

from __future__ import annotations

import dataclasses
import functools

import numpy as np

from models.case import Case
from models.parts import capacitor, emi_choke, enclosure, housekeeping
from models.physics import loops, loops_linked
from models.results import full_row
from models.settle import Settled
from models.stages import emi, flyback, ripple_port, ripple_port_module, unfolder
from models.topologies import flyback_unfolder
from models.topologies.notes import discharge_note
from models.topologies.topology import Detail, Topology, Wave
from models.variables import part

DIAGRAM = """
  module ─┬─ ripple port ─┬─ flyback ─ C_f ─ unfolder ─ mains filter ─ relay ─ grid
          └─ ceramic ─────┘  (1 or 2 phases, active clamp)
"""


@dataclasses.dataclass(frozen=True)
class Design:
    """What may be varied; every stage brings its own variables and parts."""

    buffer: ripple_port_module.Design = part("ripple port at the module")
    flyback: flyback.Design = part("flyback")
    unfolder: unfolder.Design = part("unfolder")
    emi: emi.Design = part("mains filter")
    house: housekeeping.Design = part("supply, control, relays")
    box: enclosure.Design = part("box")


def detail(x: Design, settled: Settled, case: Case) -> Detail:
    """Return waveforms, loops and notes of the first design at full power."""
    row, points = full_row(case), case.points
    port, p = x.buffer.port, settled.p_module
    run = flyback.in_half_cycles(x.flyback, p, case)
    held = ripple_port_module.storage(x.buffer, p, run.p_run, case)
    v, v_grid = float(points.v_pv[0, row, 0]), float(points.v_grid[0, row, 0])
    c = float(capacitor.capacitance_at(x.buffer.bypass, points.v_pv, case)[0, row, 0])
    c_r = float(capacitor.capacitance(port.storage, case)[0, 0, 0])
    c_f = float(capacitor.capacitance(x.unfolder.filter, case)[0, 0, 0])
    crossover = ripple_port.CURRENT_LOOP * float(port.f[0, 0, 0])
    leakage = x.emi.stages * emi_choke.inductances(x.emi.choke, case)[1]
    stored = np.sqrt(np.mean(held.v[0, row, :] ** 2))
    control = loops_linked.module_port(
        loops_linked.ModulePort(
            power=float(p[0, row, 0]), v_grid=v_grid, f_grid=float(points.f_grid[0, row, 0]),
            v_module=v, c_module=c, voltage_loop=ripple_port.VOLTAGE_LOOP * crossover,
            port=loops_linked.Port(
                float(port.f[0, 0, 0]), float(port.inductance[0, 0, 0]), c_r, float(stored),
                crossover,
            ),
            grid=loops.Unfolder(
                power=float(p[0, row, 0]), v_grid=v_grid, f_grid=float(points.f_grid[0, row, 0]),
                v_module=v, c_module=c, f_front=float(x.flyback.f[0, 0, 0]), c_filter=c_f,
                l_grid=float(leakage[0, 0, 0]), r_damp=housekeeping.R_GRID,
            ),
        )
    )  # fmt: skip
    wave = Wave("ripple port, storage", "V", ripple_port_module.theta(), held.v[0, row, :], True)
    protections = (
        *flyback_unfolder.protections(c_f, case),
        "Ripple port: shoot-through protection and peak-current trip in hardware; it stops with "
        "the flyback, within 100 µs.",
        discharge_note("storage of the ripple port", c_r, float(held.high[0].max())),
        discharge_note("ceramics at the module", c, float(points.v_pv.max())),
    )
    return Detail(
        (wave, *flyback_unfolder.flyback_waves(x, p, row, case)),
        control,
        protections,
        (
            *flyback_unfolder.checks(),
            "Voltage of the port's storage over the line cycle, at full power and in bursts.",
        ),
    )


TOPOLOGY = Topology(
    name="flyback_port_unfolder",
    title="Active-clamp flyback, ripple port at the module, line-frequency unfolder",
    tag="flyback, port",
    source="flyback: as flyback_unfolder; port at the module: T. Shimizu, K. Wada, N. Nakamura, "
    "'Flyback-type single-phase utility interactive inverter with power pulsation decoupling on "
    "the dc input', IEEE Trans. Power Electron. 21(5), 2006 (from memory)",
    diagram=DIAGRAM,
    isolated=True,
    decoupling="ripple port at the module",
    common_mode=flyback_unfolder.TOPOLOGY.common_mode,
    design=Design,
    module_window=flyback_unfolder.TOPOLOGY.module_window,
    place=functools.partial(flyback_unfolder.place_with, ripple_port_module),
    detail=detail,
    refusals=flyback_unfolder.refusals,
)
