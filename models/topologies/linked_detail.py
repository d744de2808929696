"""What only the sheet of a converter with a direct-current link shows."""

from __future__ import annotations

import functools
import math
from typing import Any

import numpy as np

from models.axes import Array
from models.case import Case
from models.parts import capacitor, resistor
from models.physics import loops_linked
from models.physics.grid import damping_resistance, resonance
from models.results import full_row
from models.settle import Settled
from models.stages import grid_filter, ripple_port, ripple_port_link
from models.stages.ports import CommonMode
from models.topologies.linked import Behind, Wiring, behind, place
from models.topologies.notes import common_checks, common_protections, discharge_note
from models.topologies.topology import Detail, Topology, Wave


def linked(
    w: Wiring,
    design: type,
    *,
    name: str,
    title: str,
    tag: str,
    source: str,
    chain: tuple[str, str, str],
    decoupling: str,
    module_window: tuple[float, float] = (15.0, 65.0),
) -> Topology:
    """Return a topology of stages around a direct-current link.

    Parameters
    ----------
    w : Wiring
        Its stages.
    design : type
        Nests their designs.
    name, title, tag, source, decoupling, module_window
        As in ``Topology``.
    chain : tuple of str
        Front, what stores the pulsating power, and bridge, as the block diagram has them.
    """
    return Topology(
        name=name,
        title=title,
        tag=tag,
        source=source,
        diagram=_diagram(*chain),
        isolated=w.isolated,
        decoupling=decoupling,
        common_mode=w.bridge.TRAITS.common_mode.value,
        design=design,
        module_window=module_window,
        place=functools.partial(place, w),
        detail=functools.partial(detail, w),
        refusals=w.refusals,
    )


def _diagram(front: str, stored: str, bridge: str) -> str:
    before = f"  module ─ ceramic ─ {front} ─"
    return f"\n{before}┬─ {bridge} ─ filter ─ relay ─ grid\n{' ' * len(before)}└─ {stored}\n"


def detail(w: Wiring, x: Any, settled: Settled, case: Case) -> Detail:
    """Return waveforms, loops and notes of the first design at full power.

    Parameters
    ----------
    w : Wiring
        The stages of the topology.
    x : dataclass
        Its design.
    settled : Settled
        Of ``linked.place``.
    case : Case
        Specification, operating points and catalogue.
    """
    row = full_row(case)
    made = behind(w, x, case)
    return Detail(
        _waves(w, x, made, settled, row, case),
        loops_linked.linked(_loop_data(w, x, made, settled, row, case)),
        tuple(_protections(w, x, made, row, case)),
        _checks(w),
    )


def _at(value: Array, row: int) -> float:
    """Return the first design's value at a row, whatever the value varies with."""
    return float(value[0, row if value.shape[1] > 1 else 0, 0])


def _waves(
    w: Wiring, x: Any, made: Behind, settled: Settled, row: int, case: Case
) -> tuple[Wave, ...]:
    """Return the waves over the line cycle; the second half mirrors what the grid sees."""
    side, link, points = made.side, made.link, case.points
    half = side.theta[0, 0, :]
    theta = np.concatenate((half, half + math.pi))
    v = np.tile(np.broadcast_to(link.v[0, row, :], half.shape), 2)
    i, u = side.i[0, row, :], side.u[0, row, :]
    power, v_pv = _at(settled.p_module, row), _at(points.v_pv, row)
    ripple = w.front.module_ripple(getattr(x, w.name), made.prepared, link, settled.p_module, case)
    stored = _port(w, made, case)
    return (
        Wave("link", "V", theta, v, True),
        *((_storage_wave(stored, row, theta, side),) if stored else ()),
        Wave("filter capacitor", "V", theta,
             math.sqrt(2.0) * _at(side.v_filter, row) * np.sin(theta), True),
        Wave("bridge, mean", "V", theta, np.concatenate((u, -u))),
        Wave("module, capacitor voltage", "V", theta,
             v_pv * (1.0 + _at(ripple, row) * np.sin(2.0 * theta)), True),
        Wave("current of the bridge", "A", theta, np.concatenate((i, -i))),
        Wave("power into the grid filter", "W", theta, np.tile(u * i, 2)),
        Wave("power from the module", "W", theta, np.full_like(theta, power)),
    )  # fmt: skip


def _port(w: Wiring, made: Behind, case: Case) -> ripple_port_link.Storage | None:
    """Return the storage of a ripple port at the link, if there is one."""
    if not isinstance(made.stored, ripple_port_link.Design):
        return None
    return ripple_port_link.storage(made.stored, made.link, made.side, case)


def _storage_wave(
    stored: ripple_port_link.Storage, row: int, theta: Array, side: grid_filter.GridSide
) -> Wave:
    """Return the voltage of a port's storage: V·√(1 + k·sin(2θ + ψ))."""
    sine = np.tile(side.swing_sine[0, row, :], 2) / max(_at(side.power.s_p, row), 1e-9)
    v, k = _at(stored.v, row), _at(stored.k, row)
    return Wave("ripple port, storage", "V", theta, v * np.sqrt(1.0 + k * sine), True)


def _loop_data(
    w: Wiring, x: Any, made: Behind, settled: Settled, row: int, case: Case
) -> loops_linked.Linked:
    points, design = case.points, getattr(x, w.name)
    power, v_pv = _at(settled.p_module, row), _at(points.v_pv, row)
    c_f = capacitor.capacitance(x.filter.capacitor, case)
    f_res = resonance(made.side.l_bridge, x.filter.inductance, made.side.c)
    stage = w.front.place(w.name, design, made.prepared, settled.p_module, case)
    stored, port = _port(w, made, case), None
    if stored:
        one = made.stored.port
        port = loops_linked.Port(
            _at(one.f, row), _at(one.inductance, row),
            _at(capacitor.capacitance(one.storage, case), row), _at(stored.v, row),
            ripple_port.CURRENT_LOOP * _at(one.f, row),
        )  # fmt: skip
    return loops_linked.Linked(
        power=power, v_grid=_at(points.v_grid, row), f_grid=_at(points.f_grid, row),
        v_module=v_pv, v_link=_at(made.link.v_rms, row), c_link=_at(made.link.c, row),
        f_front=_at(stage.f, row),
        l_front=0.0 if stage.l_module is None else _at(stage.l_module, row),
        c_module=_at(capacitor.capacitance_at(design.input, points.v_pv, case), row),
        regulated=w.front.TRAITS.regulated, f_bridge=_at(made.bridge.ripple.f, row),
        l_bridge=_at(made.side.l_bridge, row), l_grid=_at(x.filter.inductance, row),
        c_filter=_at(c_f, row),
        r_damp=_at(resistor.preferred(damping_resistance(f_res, c_f)), row), port=port,
    )  # fmt: skip


def _protections(w: Wiring, x: Any, made: Behind, row: int, case: Case) -> list[str]:
    v_grid = _at(case.points.v_grid, row)
    v_top = float(made.link.v_max[0].max())
    found = common_protections(v_grid, case.spec.output.rated_power_w, isolated=w.isolated)
    if w.isolated:
        found.append(
            "Transformer: reinforced insulation between module and grid side; feedback and "
            "gate signals that cross it as well."
        )
    else:
        found.append(
            "Not isolated: no earthing on the module side; residual-current monitoring that "
            "sees direct current; some codes forbid this circuit."
        )
    if w.bridge.TRAITS.common_mode is CommonMode.CONSTANT:
        found.append(
            "The module stands at half the grid's voltage and half the link against earth: "
            "touch protection and insulation of its cables for that."
        )
    stored = _port(w, made, case)
    if stored:
        c_r = _at(capacitor.capacitance(made.stored.port.storage, case), row)
        found += [
            "Ripple port: peak-current trip in hardware; switched off before the link trips.",
            discharge_note("storage of the ripple port", c_r, float(stored.high[0].max())),
        ]
    return [
        *found,
        "Pre-charge of the link before the first pulse; over-voltage trip above "
        f"{1.05 * v_top:.0f} V, faster than 10 µs, on front and bridge.",
        "Bridge: shoot-through protection in hardware; gate supplies under-voltage.",
        discharge_note("link", _at(made.link.c, row), v_top),
    ]  # fmt: skip


def _checks(w: Wiring) -> tuple[str, ...]:
    more: tuple[str, ...] = (
        "Link voltage over the line cycle against the waveform above; module ripple with and "
        "without feed-forward of the link.",
        "Current to earth with the module's capacitance wet.",
    )
    if w.isolated:
        more += (
            "Partial discharge and hipot of the transformer: it carries the reinforced "
            "insulation.",
        )
    return (*common_checks(), *more)
