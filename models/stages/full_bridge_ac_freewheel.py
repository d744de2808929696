"""Full bridge with a freewheeling pair between its nodes, on the alternating side.

    P ─┬─ S_au ─┬─────────────┬─ S_bu ─┐       F₁, F₂ back to back between a and b
       │        a ─ F₁ ─ F₂ ─ b        │
    N ─┴─ S_al ─┴─────────────┴─ S_bl ─┘

One diagonal makes the pulses of a half cycle, the pair carries the current in between;
both bridge switches of a diagonal open together and share the link voltage alike, so that
nodes a and b float at half of it and the module hardly moves against earth.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace
from models.case import Case
from models.parts import switch
from models.stages import full_bridge_freewheel as freewheel
from models.stages import full_bridge_waves as waves
from models.stages.full_bridge_freewheel import Pulses, scaled
from models.stages.grid_filter import GridSide
from models.stages.ports import Bridge, BridgeTraits, CommonMode, Link, Output
from models.stages.stage import Placed
from models.stress import Moved, SwitchStress
from models.variables import part

TRAITS = BridgeTraits(
    "full bridge, freewheeling on the alternating side",
    CommonMode.CONSTANT,
    takes=Output.LINK,
    reactive=True,
)


@dataclasses.dataclass(frozen=True)
class Design(waves.Design):
    """Switches beside frequency and choke."""

    diagonal: switch.Design = part("the four switches of the bridge")
    pair: switch.Design = part("the pair back to back that carries the freewheeling current")


def _dead_time(design: Design) -> Array:
    return freewheel.longest(design.diagonal.t_dead, design.pair.t_dead)


def modulation_limit(design: Design, case: Case) -> Array:
    """Return the largest modulation index [1], (design, 1, 1)."""
    return waves.largest_index(design.f, _dead_time(design))


def place(path: str, design: Design, side: GridSide, link: Link, case: Case) -> Bridge:
    """Return the placed bridge and what filter, link and earth need to know of it.

    The pair is rated for the whole link, though it blocks a half or less at rest.

    Parameters
    ----------
    path : str
        Dotted path of the stage.
    design : Design
        How it is built.
    side : GridSide
        Voltage and current that the grid wants.
    link : Link
        Voltage of the link.
    case : Case
        Specification, operating points and catalogue.
    """
    inductance, t_dead = design.choke_inductance, _dead_time(design)
    x = waves.three_level(side, link, f=design.f, inductance=inductance)
    bridge, pair = _stresses(design, x, side, link, case)
    late = freewheel.shortest_pulse(design.f, t_dead)
    placed = Placed(
        (
            switch.place(f"{path}.diagonal", design.diagonal, bridge, case, count=4),
            switch.place(f"{path}.pair", design.pair, pair, case, count=2),
            waves.choke(f"{path}.choke", design.choke, inductance, x, case),
        ),
        waves.books(path, side, link, x, modulation_limit(design, case))
        + freewheel.zero_crossing(path, side, link, late),
    )
    ripple = waves.ripple(
        side,
        x,
        inductance,
        v_worst=link.v_rms * (math.sqrt(2.0) / math.pi),
        # Each node moves by half the link, against the other.
        v_node=link.v_rms * (0.5 * waves.NODE_IMBALANCE),
        late=t_dead * design.f,
    )
    return Bridge(
        placed=placed,
        ripple=ripple,
        link_hf_rms=waves.link_current(x, x.duty),
        f_link=design.f,
        v_earth_line=waves.earth_line(link, case),
        v_earth_hf=freewheel.earth_pulses(ripple, 0.5),
        f_earth=design.f,
    )


def _stresses(
    design: Design, x: waves.Waves, side: GridSide, link: Link, case: Case
) -> tuple[SwitchStress, SwitchStress]:
    """Return the stress of a bridge switch and of one of the pair."""
    xp = array_namespace(x.pp)
    one, pair = switch.device(design.diagonal, case), switch.device(design.pair, case)
    v = link.v_rms
    p = freewheel.pulses(
        x,
        side,
        link,
        inductance=design.choke_inductance,
        times=(design.diagonal.t_dead, design.pair.t_dead),
        charge=freewheel.charge(one, v) + freewheel.charge(pair, v),
    )
    square = freewheel.squares(x)
    return (
        _bridge_stress(p, one, pair, xp.sqrt(0.5 * square.pulsed), link.v_max),
        _pair_stress(p, one, xp.sqrt(square.freewheeling), link.v_max),
    )


def _bridge_stress(
    p: Pulses, one: switch.Device, pair: switch.Device, i_rms: Array, v_block: Array
) -> SwitchStress:
    """Return the stress of one of two that open together; each bears half of the pair."""
    return freewheel.opening(
        p,
        share=0.5,
        others=(
            Moved(one.charge, 0.5 * p.v, p.v),  # the other switch of the leg
            switch.moved(scaled(pair, 0.5), 0.0, p.v),
        ),
        i_rms=i_rms,
        v_block=v_block,
        halves=0.5,
    )


def _pair_stress(p: Pulses, one: switch.Device, i_rms: Array, v_block: Array) -> SwitchStress:
    """Return the stress of one of the pair, which moves all four of the bridge."""
    both = scaled(one, 2.0)
    return freewheel.freewheeling(
        p,
        others=(
            switch.moved(both, 0.0, 0.5 * p.v),  # those that carried the pulse
            Moved(both.charge, p.v, 0.5 * p.v),  # those that were off
        ),
        i_rms=i_rms,
        v_block=v_block,
    )
