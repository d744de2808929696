"""Stages of the front designs on their own, wired as their topology wires them."""

import dataclasses
import functools
from typing import Any

from models.stages import common_ground_half_bridge as half_bridge
from models.stages import film_links, flyback, grid_filter, unfolder
from models.stages import series_capacitor_boost as boost
from models.stages import series_capacitor_modes as modes
from models.stages.series_capacitor_stress import Stress
from tests.front.reference import reference


@dataclasses.dataclass(frozen=True)
class Flyback:
    """The flyback of a design at its own power at every row."""

    phase: Any
    parts: dict
    ports: flyback.FlybackPorts


@dataclasses.dataclass(frozen=True)
class Bridge:
    """Everything behind the boost of a design, and the boost itself."""

    side: grid_filter.GridSide
    links: film_links.Links
    legs: half_bridge.Legs
    prepared: boost.Prepared
    stress: Stress
    front: boost.Front

    @functools.cached_property
    def parts(self) -> dict:
        """Parts of the boost by path."""
        return {part.path: part for part in self.front.placed.parts}


@functools.cache
def flyback_of(name: str) -> Flyback:
    item = reference(name)
    x, case, p = item.design, item.case, item.evaluation.settled.p_module
    run = flyback.in_half_cycles(x.flyback, p, case)
    demand = unfolder.demand(x.unfolder, run.p_run, case)
    placed, ports = flyback.place("flyback", x.flyback, p, demand, case)
    phase = flyback.phase(x.flyback, run, demand, case)
    return Flyback(phase, {part.path: part for part in placed.parts}, ports)


@functools.cache
def bridge_of(name: str) -> Bridge:
    item = reference(name)
    x, case, p = item.design, item.case, item.evaluation.settled.p_module
    side = grid_filter.bridge_side(x.filter, x.bridge.choke_inductance, case)
    links = film_links.swing(x.links, side, half_bridge.modulation_limit(x.bridge, case), case)
    legs = half_bridge.legs("bridge", x.bridge, side, links, case)
    prepared = boost.prepare(x.boost, v_in=case.points.v_pv, v_out=links.v_1_nodes, case=case)
    stress = modes.stress(prepared.ready, p, prepared.least_power)
    front = boost.place("boost", x.boost, prepared, p, case)
    return Bridge(side, links, legs, prepared, stress, front)


def at_full(x, row: int) -> float:
    """The value of the one design at an operating point, whichever axes it has."""
    return float(x[0, min(row, x.shape[1] - 1), 0])
