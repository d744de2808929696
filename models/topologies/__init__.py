"""The candidate topologies, listed by hand."""

from __future__ import annotations

import difflib

from models.module_view import module_window
from models.spec import Specification
from models.topologies import (
    coupled_boost_electrolytic_ac_freewheel,
    coupled_boost_film_ac_freewheel,
    coupled_boost_film_two_level,
    coupled_boost_port_dc_freewheel,
    dual_active_bridge_film_fast_leg,
    flyback_film_full_bridge,
    flyback_port_unfolder,
    flyback_unfolder,
    interleaved_boost_film_ac_freewheel,
    llc_electrolytic_fast_leg,
    llc_electrolytic_full_bridge,
    llc_film_full_bridge,
    llc_fixed_port_full_bridge,
    series_capacitor_boost_half_bridge,
)
from models.topologies.topology import Topology

TOPOLOGIES: dict[str, Topology] = {
    module.TOPOLOGY.name: module.TOPOLOGY
    for module in (
        flyback_unfolder,
        series_capacitor_boost_half_bridge,
        llc_electrolytic_full_bridge,
        llc_film_full_bridge,
        llc_fixed_port_full_bridge,
        coupled_boost_electrolytic_ac_freewheel,
        flyback_port_unfolder,
        coupled_boost_film_two_level,
        coupled_boost_port_dc_freewheel,
        coupled_boost_film_ac_freewheel,
        llc_electrolytic_fast_leg,
        flyback_film_full_bridge,
        dual_active_bridge_film_fast_leg,
        interleaved_boost_film_ac_freewheel,
    )
}


def exclusions(spec: Specification) -> dict[str, tuple[str, ...]]:
    """Return why each topology takes no part under a specification; empty where it does."""
    return {name: _reasons(topology, spec) for name, topology in TOPOLOGIES.items()}


def _reasons(topology: Topology, spec: Specification) -> tuple[str, ...]:
    wanted, found = spec.topologies, []
    if wanted.include and topology.name not in wanted.include:
        found.append("left out by topologies.include")
    if topology.name in wanted.exclude:
        found.append("named in topologies.exclude")
    isolation = "isolated" if topology.isolated else "non_isolated"
    if wanted.isolation not in ("any", isolation):
        found.append(f"topologies.isolation = {wanted.isolation!r}, but it is {isolation}")
    if wanted.decoupling and topology.decoupling not in wanted.decoupling:
        found.append(
            f"it stores the line-frequency energy in {topology.decoupling!r}, which "
            "topologies.decoupling does not list"
        )
    return (*found, *_window(topology, spec), *topology.refusals(spec))


def _window(topology: Topology, spec: Specification) -> tuple[str, ...]:
    """Return a reason if the modules leave the voltages for which a topology was checked."""
    low, high = module_window(spec)
    least, most = topology.module_window
    if least <= low and high <= most:
        return ()
    return (
        f"the modules' maximum power lies between {low:.0f} and {high:.0f} V, and its models were "
        f"checked from {least:.0f} to {most:.0f} V; choose another module, or give its window_v",
    )


def nearest(name: str) -> str:
    """Return a hint at the topology that a wrong name may mean."""
    near = difflib.get_close_matches(name, TOPOLOGIES, 1, 0.3)
    return f"did you mean {near[0]}?" if near else "known: " + ", ".join(TOPOLOGIES)
