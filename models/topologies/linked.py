"""Converters with a direct-current link: any front, storage and bridge that fit together.

    module ─ front ─┬─ bridge ─ filter ─ relay ─ grid
                 storage

A topology names its stages; what flows between them, to the grid and to earth is the same
for all and stands here.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from typing import Any, Protocol

from models.axes import Array, array_namespace
from models.case import Case
from models.ledger import Ledger
from models.parts import housekeeping
from models.settle import Settled, settle
from models.spec import Specification
from models.stages import emi, grid_filter, module_buffer
from models.stages.ports import (
    Bridge,
    BridgeTraits,
    Front,
    FrontTraits,
    Link,
    LinkCurrents,
    StorageTraits,
)
from models.stages.stage import Placed
from models.topologies.compatibility import clashes, refusals

ISOLATED_POLES, TIED_POLES = 2, 4  # contacts of the relay in series with the load
# A square of swing v has a first harmonic of √2·v/π.
SQUARE = math.sqrt(2.0) / math.pi


class FrontStage(Protocol):
    """A module of a stage at the module of the converter's input."""

    TRAITS: FrontTraits

    def prepare(
        self, design: Any, *, v_in: Array, v_out: Array, case: Case, v_top: Array | None = None
    ) -> Any:
        """Return what does not depend on the power."""

    def place(self, path: str, design: Any, prepared: Any, p: Array, case: Case) -> Front:
        """Return the stage at a power."""

    def module_ripple(self, design: Any, prepared: Any, link: Link, p: Array, case: Case) -> Array:
        """Return the ripple at the module over its voltage."""


class StorageStage(Protocol):
    """A module of a stage that stores the pulsating power in the link."""

    TRAITS: StorageTraits

    def swing(self, design: Any, side: grid_filter.GridSide, m_max: Array, case: Case) -> Link:
        """Return the voltage of the link."""

    def place(
        self, path: str, design: Any, link: Link, side: grid_filter.GridSide,
        currents: LinkCurrents, case: Case,
    ) -> Placed:  # fmt: skip
        """Return the placed storage."""


class BridgeStage(Protocol):
    """A module of a stage at the grid."""

    TRAITS: BridgeTraits

    def modulation_limit(self, design: Any, case: Case) -> Array:
        """Return the largest modulation index."""

    def place(
        self, path: str, design: Any, side: grid_filter.GridSide, link: Link, case: Case
    ) -> Bridge:
        """Return the placed bridge."""


def _as_it_is(front: Any, link: Any, m_max: Array, case: Case) -> Any:
    """Return the design of the link as the search made it."""
    return link


@dataclasses.dataclass(frozen=True)
class Wiring:
    """The stages of a topology, whose design names them ``front``'s name, link and bridge.

    Parameters
    ----------
    name : str
        Field of the design that holds the front.
    front, storage, bridge : module
        Modules of the stages.
    link_design : Callable, optional
        Gives the storage's design from those of front and link, the bridge's largest
        modulation index and the case, where the front decides on the link's voltage.

    Raises
    ------
    ValueError
        If the stages cannot be joined; the text says why.
    """

    name: str
    front: FrontStage
    storage: StorageStage
    bridge: BridgeStage
    link_design: Callable[[Any, Any, Array, Case], Any] = _as_it_is

    def __post_init__(self) -> None:
        found = clashes(self.front.TRAITS, self.storage.TRAITS, self.bridge.TRAITS)
        if found:
            raise ValueError("; ".join(found))

    @property
    def isolated(self) -> bool:
        """Whether a transformer stands between module and grid."""
        return self.front.TRAITS.isolated

    def refusals(self, spec: Specification) -> tuple[str, ...]:
        """Return why the topology cannot serve a specification."""
        return refusals(self.front.TRAITS, self.storage.TRAITS, self.bridge.TRAITS, spec)


@dataclasses.dataclass(frozen=True)
class Behind:
    """Everything whose stress does not depend on the losses."""

    side: grid_filter.GridSide
    stored: Any  # design of the storage
    link: Link
    bridge: Bridge
    prepared: Any  # of the front
    placed: Placed


def behind(w: Wiring, x: Any, case: Case) -> Behind:
    """Return grid side, link and bridge, and the front as far as it needs no power.

    Parameters
    ----------
    w : Wiring
        The stages.
    x : dataclass
        Designs of the topology.
    case : Case
        Specification, operating points and catalogue.
    """
    front = getattr(x, w.name)
    side = grid_filter.bridge_side(x.filter, x.bridge.choke_inductance, case)
    m_max = w.bridge.modulation_limit(x.bridge, case)
    stored = w.link_design(front, x.link, m_max, case)
    link = w.storage.swing(stored, side, m_max, case)
    bridge = w.bridge.place("bridge", x.bridge, side, link, case)
    prepared = w.front.prepare(
        front, v_in=case.points.v_pv, v_out=link.v_nodes, case=case, v_top=link.v_max
    )
    placed = bridge.placed + grid_filter.place("filter", x.filter, side, bridge.ripple, case)
    return Behind(side, stored, link, bridge, prepared, placed)


def place(w: Wiring, x: Any, case: Case) -> Settled:
    """Return designs with heat and power in balance and everything booked.

    Parameters
    ----------
    w : Wiring
        The stages.
    x : dataclass
        Designs of the topology.
    case : Case
        Specification, operating points and catalogue.
    """
    made, design = behind(w, x, case), getattr(x, w.name)
    points = case.points

    def front(p: Array) -> Placed:
        stage = w.front.place(w.name, design, made.prepared, p, case)
        currents = LinkCurrents(
            stage.link_hf_rms, stage.f_link, made.bridge.link_hf_rms, made.bridge.f_link
        )
        ripple = w.front.module_ripple(design, made.prepared, made.link, p, case)
        return (
            stage.placed
            + w.storage.place("link", made.stored, made.link, made.side, currents, case)
            + Placed(
                housekeeping.place(
                    "house", x.house, case, i_module=p / points.v_pv, i_grid=made.side.i_grid,
                    relay_poles=ISOLATED_POLES if w.isolated else TIED_POLES,
                ),
                module_buffer.ripple_books(ripple, case) + _earth(w, x, made, stage, case),
            )
        )  # fmt: skip

    return settle(made.placed, front, x.box, case)


def _earth(w: Wiring, x: Any, made: Behind, stage: Front, case: Case) -> Ledger:
    """Return leakage and common noise: through the windings, or through the module alone.

    The module's capacitance and that of the windings are in series; where there are no
    windings that of the module is all there is.
    """
    xp = array_namespace(made.link.k)
    c, filtered, bridge = emi.module_capacitance(case), x.filter.emi, made.bridge
    if w.isolated:
        c = c * stage.windings / (c + stage.windings)
    c = c + 0.0 * made.link.c
    fast = emi.Earth(bridge.f_earth, bridge.v_earth_hf, c)
    books = emi.earth_books("filter.emi.bridge", filtered, fast, case)
    square = emi.earth_current(filtered, fast, case) ** 2
    if w.isolated:
        turns = emi.Earth(stage.f, SQUARE * stage.v_winding, c)
        books = books + emi.earth_books("filter.emi.windings", filtered, turns, case)
        square = square + emi.earth_current(filtered, turns, case) ** 2
    return books + emi.leakage(filtered, bridge.v_earth_line, c, i_high=xp.sqrt(square), case=case)
