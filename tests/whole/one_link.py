"""A converter with one link, placed again with the waves of its simulation."""

import dataclasses
import math

import numpy as np

from models.axes import swing_nodes
from models.parts import capacitor
from models.physics import buffer
from models.stages import grid_filter, llc_fixed_ratio, ripple_port, ripple_port_link
from models.topologies import linked
from tests.whole import fine
from tests.whole import recomputed as link
from tests.whole.averaged import Converter, Port
from tests.whole.module_curve import curve


def wiring(item):
    """The stages of the topology."""
    return item.topology.place.args[0]


def told(item):
    """What the tool says of everything behind the front."""
    return linked.behind(wiring(item), item.design, item.case)


def plant_of(item):
    """The converter as the simulation needs it."""
    behind, rows = told(item), link.weighted(item.case)
    grid, lost = link.grid_of(item, behind.side, rows)
    plant = Converter(
        grid=grid,
        c=behind.link.c.item(),
        v=link.at_rows(behind.link.v_rms, rows),
        p_front=grid.p + lost.all,
        p_bridge=lost.bridge,
        p_storage=lost.link,
        port=_port(item, behind, rows),
    )
    return _following(item, plant, rows) if wiring(item).front is llc_fixed_ratio else plant


def held(item, behind):
    """The ripple port's storage as the tool says, if there is one."""
    if not isinstance(behind.stored, ripple_port_link.Design):
        return None
    return ripple_port_link.storage(behind.stored, behind.link, behind.side, item.case)


def _port(item, behind, rows):
    storage = held(item, behind)
    if storage is None:
        return None
    inner = 2.0 * math.pi * ripple_port.CURRENT_LOOP * behind.stored.port.f.item()
    return Port(
        c=capacitor.capacitance(behind.stored.port.storage, item.case).item(),
        v=link.at_rows(storage.v, rows),
        inner=inner,
        outer=ripple_port.VOLTAGE_LOOP * inner,
        active=link.at_rows(storage.active, rows),
    )


def _following(item, plant, rows):
    """A front of fixed ratio: the module's own curve feeds the link, and its ceramics help."""
    front, points = getattr(item.design, wiring(item).name), item.case.points
    ratio = llc_fixed_ratio.follows(front, item.case).item()
    p_module = item.evaluation.settled.p_module[0, rows, 0]
    ahead = p_module - plant.p_front
    curves = [
        curve(item.case, row, v, p)
        for row, v, p in zip(rows, points.v_pv[0, rows, 0], p_module, strict=True)
    ]

    def given(v):
        return np.array([c.power(x / ratio) for c, x in zip(curves, v, strict=True)]) - ahead

    c_in = capacitor.capacitance_at(front.input, points.v_pv, item.case)[0, rows, 0]
    return dataclasses.replace(plant, given=given, c_module=c_in / ratio**2)


def settled_again(item, waves):
    """The converter settled with the simulated waves."""
    rows, w = link.weighted(item.case), wiring(item)
    bridge_side, n = grid_filter.bridge_side, item.case.points.count

    def side(design, l_bridge, case):
        return link.side_again(bridge_side(design, l_bridge, case), waves, rows, n)

    class Storage:
        """The storage with the link's voltage of the simulation."""

        TRAITS, place = w.storage.TRAITS, staticmethod(w.storage.place)

        @staticmethod
        def swing(design, side, m_max, case):
            return _link(w.storage.swing(design, side, m_max, case), waves, rows, n)

    changes = (
        (grid_filter, "bridge_side", side),
        (buffer, "ripple_current", _current(waves, rows, n)),
        *(() if waves.v_storage is None else _port_changes(waves, rows, n)),
    )
    again = dataclasses.replace(w, storage=Storage)
    with fine.replaced(*fine.all_angles(), *changes):
        return linked.place(again, item.design, item.case)


def _link(found, waves, rows, n):
    """The link with its simulated voltage, told at equal angles to the front too."""
    v, high, low = waves.v, waves.v.max(axis=1), waves.v.min(axis=1)
    whole = link.filled(found.v, rows, n, v)
    return dataclasses.replace(
        found,
        v=whole,
        v_rms=link.put(found.v_rms, rows, n, link.rms(v)),
        v_min=link.put(found.v_min, rows, n, low),
        v_max=link.put(found.v_max, rows, n, high),
        v_nodes=whole,
        swing=link.put(found.swing, rows, n, 0.5 * (high - low)),
        k=link.put(found.k, rows, n, (high**2 - low**2) / (high**2 + low**2)),
    )


def _current(waves, rows, n):
    """Rms current of the store of the pulsating power, simulated."""
    closed = buffer.ripple_current
    i = waves.i_link if waves.i_port is None else waves.i_port

    def ripple_current(s_p, v_rms, k):
        return link.put(closed(s_p, v_rms, k), rows, n, link.rms(i))

    return ripple_current


def _port_changes(waves, rows, n):
    """The changes that give the ripple port its simulated storage and course."""
    closed, v, i = ripple_port_link.storage, waves.v_storage, waves.i_port
    high, low = v.max(axis=1), v.min(axis=1)

    def storage(design, at, side, case):
        found = closed(design, at, side, case)
        return dataclasses.replace(
            found,
            v=link.put(found.v, rows, n, link.rms(v)),
            k=link.put(found.k, rows, n, (high**2 - low**2) / (high**2 + low**2)),
            low=link.put(found.low, rows, n, low),
            high=link.put(found.high, rows, n, high),
        )

    def course(port, found, at):
        # Rows that are not simulated as they are told, at as many nodes.
        sine = swing_nodes(v.shape[1])
        there = buffer.swing_voltage(found.v, found.k * sine)
        flows = found.s_p * np.sqrt(1.0 - sine * sine) / there
        there, flows = link.filled(there, rows, n, v), link.filled(flows, rows, n, i)
        return ripple_port.course(port, at.v, there / at.v, flows, found.active)

    return (ripple_port_link, "storage", storage), (ripple_port_link, "_course", course)


def swings(item, waves):
    """Swing of what stores the pulsating power, peak to peak: told and simulated [V]."""
    behind, rows = told(item), link.weighted(item.case)
    storage = held(item, behind)
    ours, theirs = link.at_rows(2.0 * behind.link.swing, rows), np.ptp(waves.v, axis=1)
    if storage is None:
        return ours, theirs
    runs = link.at_rows(storage.active, rows) > 0.0
    whole = link.at_rows(storage.high - storage.low, rows)
    return np.where(runs, whole, ours), np.where(runs, np.ptp(waves.v_storage, axis=1), theirs)
