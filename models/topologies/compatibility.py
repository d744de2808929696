"""Which stages can be joined, from what they are and never from what they are called."""

from __future__ import annotations

import math

from models.spec import Specification
from models.stages.ports import (
    BridgeTraits,
    CommonMode,
    FrontTraits,
    Output,
    StorageTraits,
    Store,
)

LEAST_FACTOR = 0.98  # power factor of a stage that passes power one way only [1]
# Where a stage that gives a rectified sine can have its storage.
AT_MODULE = frozenset({Store.MODULE, Store.MODULE_PORT})
# How the module may move against earth where no transformer stands between.
QUIET = frozenset({CommonMode.ZERO, CommonMode.CONSTANT})


def clashes(front: FrontTraits, storage: StorageTraits, bridge: BridgeTraits) -> tuple[str, ...]:
    """Return why three stages cannot make one converter; empty where they can.

    Parameters
    ----------
    front, storage, bridge : FrontTraits, StorageTraits, BridgeTraits
        The stage at the module, what stores the pulsating power, the stage at the grid.
    """
    return (
        *_ports(front, storage, bridge),
        *_earth(front, storage, bridge),
        *_swing(front, storage),
    )


def _ports(front: FrontTraits, storage: StorageTraits, bridge: BridgeTraits) -> tuple[str, ...]:
    """Return reasons that lie in what flows between the stages."""
    found = []
    if front.output is not bridge.takes:
        found.append(
            f"{front.title} delivers a {front.output.value}, and {bridge.title} wants a "
            f"{bridge.takes.value}"
        )
    if front.output is Output.RECTIFIED and storage.store not in AT_MODULE:
        found.append(
            f"{front.title} delivers a {front.output.value}: there is no direct-current link "
            f"for {storage.title}"
        )
    return tuple(found)


def _earth(front: FrontTraits, storage: StorageTraits, bridge: BridgeTraits) -> tuple[str, ...]:
    """Return reasons that lie in the current to earth."""
    found = []
    if not front.isolated and bridge.common_mode not in QUIET:
        found.append(
            f"{front.title} does not isolate, and behind {bridge.title} the module would be "
            f"moved against earth ({bridge.common_mode.value}): its capacitance to earth would "
            "carry a large current"
        )
    if not front.isolated and bridge.common_mode is CommonMode.ZERO and not front.common_negative:
        found.append(
            f"{bridge.title} ties its neutral to the module's negative, but {front.title} has "
            "another potential there"
        )
    if storage.store is Store.SHARED and bridge.common_mode is not CommonMode.ZERO:
        found.append(
            f"{storage.title} need the middle of two links, which {bridge.title} does not have"
        )
    return tuple(found)


def _swing(front: FrontTraits, storage: StorageTraits) -> tuple[str, ...]:
    """Return the reason that lies in the swing of the link."""
    if storage.swings and not front.regulated:
        return (
            f"{storage.title}, and {front.title} has a fixed ratio: the swing would stand at "
            "the module",
        )
    return ()


def refusals(
    front: FrontTraits, storage: StorageTraits, bridge: BridgeTraits, spec: Specification
) -> tuple[str, ...]:
    """Return why a converter of three stages cannot serve a specification.

    Parameters
    ----------
    front, storage, bridge : FrontTraits, StorageTraits, BridgeTraits
        Its stages.
    spec : Specification
        Grid, power factor and limits.
    """
    found = []
    factor = abs(spec.output.power_factor)
    one_way = storage.store in AT_MODULE and not front.reverse
    if factor < LEAST_FACTOR and (one_way or not bridge.reactive):
        title = front.title if one_way else bridge.title
        found.append(
            f"output.power_factor = {spec.output.power_factor:g}: {title} passes power one way "
            f"only, so that at least {LEAST_FACTOR:g} is needed"
        )
    if front.isolated:
        return tuple(found)
    for grid in spec.grid:
        if bridge.common_mode is CommonMode.ZERO and grid.kind != "line_neutral":
            peak = math.sqrt(2.0) * grid.voltage_v
            found.append(
                f"grid.kind = {grid.kind!r} ({grid.voltage_v:g} V, peak {peak:.0f} V): module "
                "negative is tied to one grid terminal, which must be the neutral; between two "
                "lines the module would swing against earth"
            )
        if bridge.common_mode is CommonMode.CONSTANT and grid.kind == "line_neutral":
            found += _half_grid(spec, grid.voltage_v, grid.frequency_hz)
    return tuple(found)


def _half_grid(spec: Specification, v: float, f: float) -> list[str]:
    """Return a reason if half the grid's voltage drives too much through the module's capacitance.

    A bridge with its choke in both lines holds the module at half the grid's voltage
    against an earthed neutral.
    """
    c = spec.roof.capacitance_nf_per_kw * 1e-12 * spec.output.rated_power_w
    current = 1e3 * 2.0 * math.pi * f * c * 0.5 * v
    limit = spec.limits.leakage_line_ma
    if current <= limit:
        return []
    return [
        f"half of {v:g} V at {f:g} Hz drives {current:.1f} mA through the module's "
        f"{1e9 * c:.0f} nF to earth, and limits.leakage_line_ma = {limit:g}"
    ]
