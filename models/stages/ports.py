"""What the stages of a converter with a direct-current link hand to one another.

A stage module declares its traits and offers functions of fixed names, so that any front,
storage and bridge whose traits agree can be put together::

    front     prepare(design, *, v_in, v_out, case, v_top) → its own Prepared
              place(path, design, prepared, p, case) → Front
              module_ripple(design, prepared, link, p, case) → ripple over voltage [1]
    storage   swing(design, side, m_max, case) → Link
              place(path, design, link, side, currents, case) → Placed
    storage at the module, called alike in front of a stage that draws 2·P·sin²θ
              place(path, design, p, *, p_run, i_hf_rms, f_hf, case) → Placed
    bridge    modulation_limit(design, case) → largest u/v_link [1]
              place(path, design, side, link, case) → Bridge

``side`` is ``grid_filter.GridSide``; the bridge's design has ``choke_inductance``.
"""

from __future__ import annotations

import dataclasses
import enum

from models.axes import Array
from models.stages.grid_filter import Ripple
from models.stages.stage import Placed


class Output(enum.Enum):
    """What a front stage delivers."""

    LINK = "direct-current link"
    RECTIFIED = "rectified sine"


class CommonMode(enum.Enum):
    """How the module moves against earth behind a bridge."""

    ZERO = "module negative is the neutral"
    CONSTANT = "half the link, constant"
    LINE = "steps or sine at line frequency"
    PULSED = "steps at switching frequency"


class Store(enum.Enum):
    """Where the power that pulsates at twice the line frequency is kept."""

    MODULE = "at the module"
    LINK = "in the link"
    LINK_PORT = "in a ripple port at the link"
    MODULE_PORT = "in a ripple port at the module"
    SHARED = "in two links that swing together"


@dataclasses.dataclass(frozen=True)
class FrontTraits:
    """What a front stage is, for the question what it can be joined with."""

    title: str
    isolated: bool
    output: Output
    regulated: bool  # holds the module still while the link swings or its mean moves
    common_negative: bool  # module negative is link negative
    reverse: bool  # can pass power back to the module's side


@dataclasses.dataclass(frozen=True)
class StorageTraits:
    """Where and how the pulsating power is stored."""

    title: str
    store: Store
    swings: bool  # by design, beyond a small ripple


@dataclasses.dataclass(frozen=True)
class BridgeTraits:
    """What a stage at the grid is."""

    title: str
    common_mode: CommonMode
    takes: Output
    reactive: bool  # any power factor


@dataclasses.dataclass(frozen=True)
class Front:
    """A placed DC-DC stage and what the rest needs to know of it."""

    placed: Placed
    link_hf_rms: Array  # [A], current into the link without its mean, (design, point, 1)
    f_link: Array  # [Hz], of the largest part of it
    active: Array  # [1], share of time in which it runs
    windings: Array  # [F], from the module's side to the link's, (design, 1, 1); else 0
    v_winding: Array  # [V], swing that drives a current through them, (design, point, 1)
    f: Array  # [Hz], frequency of that swing, (design, 1, 1)
    # Inductance whose current the control holds, all phases in parallel, seen from the module
    # [H]; None where there is no such choke.
    l_module: Array | None = None


@dataclasses.dataclass(frozen=True)
class Link:
    """The voltage of a direct-current link; angles over half a line cycle, 32 or one."""

    v: Array  # [V], along the angle of ``GridSide.theta``
    v_rms: Array  # [V], over the line cycle
    v_min: Array  # [V]
    v_max: Array  # [V], load rejection included
    v_nodes: Array  # [V], at ``axes.swing_nodes``; one node where it hardly moves
    swing: Array  # [V], amplitude at twice the line frequency
    k: Array  # [1], swing of the energy over its mean
    k_max: Array  # [1], that still covers the grid's peak
    c: Array  # [F], (design, 1, 1)


@dataclasses.dataclass(frozen=True)
class LinkCurrents:
    """Currents at switching frequency in the link, not synchronous with one another."""

    i_front: Array  # [A], rms
    f_front: Array  # [Hz]
    i_bridge: Array  # [A], rms
    f_bridge: Array  # [Hz]


@dataclasses.dataclass(frozen=True)
class Bridge:
    """A placed stage at the grid and what filter, link and earth need to know of it."""

    placed: Placed
    ripple: Ripple
    link_hf_rms: Array  # [A], current drawn from the link at switching frequency
    f_link: Array  # [Hz], of the largest part of it
    # Rms voltage between the module's negative and earth that a bridge on a grid with an
    # earthed neutral leaves: at line frequency, and around switching frequency [V].
    v_earth_line: Array
    v_earth_hf: Array
    f_earth: Array  # [Hz], of the latter
