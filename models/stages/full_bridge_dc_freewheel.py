"""Full bridge with a switch in the positive line of the link, on the direct side.

    P ── S_5 ── P' ─┬─ S_au ─┬─ S_bu ─┐
                    │        a        b
    N ──────────────┴─ S_al ─┴─ S_bl ─┘

S_5 and the lower switch of the active diagonal make the pulses; the upper switch of the
diagonal stays on for its half cycle, the other upper switch carries the freewheeling
current.  Three switches carry the current of a pulse, two between pulses.

When both open, the side of S_5 has the charge of two switches to the rails and the other
node that of one, so that the nodes need not settle at half the link: they do where S_5 is
about 0.4 times as large as a lower switch.  Otherwise the module is moved against earth a
little at switching frequency.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace
from models.case import Case
from models.parts import switch
from models.stages import full_bridge_freewheel as freewheel
from models.stages import full_bridge_waves as waves
from models.stages.full_bridge_freewheel import Pulses, charge, scaled
from models.stages.grid_filter import GridSide
from models.stages.ports import Bridge, BridgeTraits, CommonMode, Link, Output
from models.stages.stage import Placed
from models.stress import Moved, SwitchStress
from models.variables import part

TRAITS = BridgeTraits(
    "full bridge, freewheeling on the direct side",
    CommonMode.CONSTANT,
    takes=Output.LINK,
    reactive=True,
)


@dataclasses.dataclass(frozen=True)
class Design(waves.Design):
    """Switches beside frequency and choke."""

    upper: switch.Design = part("the two upper switches, which also freewheel")
    lower: switch.Design = part("the two lower switches")
    bypass: switch.Design = part("the switch in the positive line of the link")


@dataclasses.dataclass(frozen=True)
class _Trio:
    """The three kinds of switches."""

    upper: switch.Device
    lower: switch.Device
    bypass: switch.Device


def _dead_times(design: Design) -> tuple[Array, Array]:
    """Return the dead times before a pulse and after it [s]."""
    return freewheel.longest(design.bypass.t_dead, design.lower.t_dead), design.upper.t_dead


def modulation_limit(design: Design, case: Case) -> Array:
    """Return the largest modulation index [1], (design, 1, 1)."""
    return waves.largest_index(design.f, freewheel.longest(*_dead_times(design)))


def place(path: str, design: Design, side: GridSide, link: Link, case: Case) -> Bridge:
    """Return the placed bridge and what filter, link and earth need to know of it.

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
    xp = array_namespace(side.i)
    inductance = design.choke_inductance
    t_dead = freewheel.longest(*_dead_times(design))
    x = waves.three_level(side, link, f=design.f, inductance=inductance)
    trio = _Trio(*(switch.device(d, case) for d in (design.upper, design.lower, design.bypass)))
    share = _share(trio, link.v_rms)
    upper, lower, bypass = _stresses(design, trio, share, x, side=side, link=link)
    late = freewheel.shortest_pulse(design.f, t_dead)
    placed = Placed(
        (
            switch.place(f"{path}.upper", design.upper, upper, case, count=2),
            switch.place(f"{path}.lower", design.lower, lower, case, count=2),
            switch.place(f"{path}.bypass", design.bypass, bypass, case),
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
        # P' and the node on it fall by the share, the other node rises by the rest.
        v_node=link.v_rms * (xp.abs(3.0 * share - 1.0) + waves.NODE_IMBALANCE * (1.0 - share)),
        late=t_dead * design.f,
    )
    return Bridge(
        placed=placed,
        ripple=ripple,
        link_hf_rms=waves.link_current(x, x.duty),
        f_link=design.f,
        v_earth_line=waves.earth_line(link, case),
        v_earth_hf=freewheel.earth_pulses(ripple, share),
        f_earth=design.f,
    )


def _share(x: _Trio, v: Array) -> Array:
    """Return what S_5 takes of the link voltage when it opens with a lower switch [1].

    The same current takes P' down and the other node up until both meet at y:
    Q_5(v − y) + Q_l(v) − Q_l(y) = Q_l(y).  Three steps of Newton's from y = 0.6·v leave
    less than 1e-4; one of them is held to 5 % at least.
    """
    xp = array_namespace(v)
    y, held = 0.6 * v, charge(x.lower, v)
    for _ in range(3):
        q_l, q_5 = charge(x.lower, y), charge(x.bypass, v - y)
        slope = 2.0 * _slope(x.lower, q_l, y) + _slope(x.bypass, q_5, v - y)
        y = xp.clip(y - (2.0 * q_l - held - q_5) / slope, 0.05 * v, 0.95 * v)
    return 1.0 - y / v


def _slope(x: switch.Device, q: Array, v: Array) -> Array:
    """Return the output capacitance [F] of a device with the charge ``q`` [C] at ``v`` [V]."""
    fixed, a = x.charge.extra, x.charge.a
    return a * (q / v - fixed) + fixed


def _stresses(
    design: Design, trio: _Trio, share: Array, x: waves.Waves, *, side: GridSide, link: Link
) -> tuple[SwitchStress, SwitchStress, SwitchStress]:
    """Return the stress of an upper and a lower switch and of S_5."""
    xp = array_namespace(x.pp)
    v, v_5 = link.v_rms, share * link.v_rms
    p = freewheel.pulses(
        x,
        side,
        link,
        inductance=design.choke_inductance,
        times=_dead_times(design),
        charge=charge(trio.lower, v - v_5) + charge(trio.upper, v),
    )
    square = freewheel.squares(x)
    i_upper = xp.sqrt(0.5 * (square.whole + square.freewheeling))
    i_lower, i_bypass = xp.sqrt(0.5 * square.pulsed), xp.sqrt(square.pulsed)
    upper = freewheel.freewheeling(
        p, others=_moved_by_upper(trio, v, v_5), i_rms=i_upper, v_block=link.v_max
    )
    lower, bypass = _opening(p, trio, share, (i_lower, i_bypass), link.v_max)
    return upper, lower, bypass


def _moved_by_upper(x: _Trio, v: Array, v_5: Array) -> tuple[Moved, ...]:
    """Return what an upper switch moves when it turns on hard."""
    v_l = v - v_5
    return (
        switch.moved(x.bypass, 0.0, v_5),
        switch.moved(x.lower, 0.0, v_l),  # that of the active diagonal
        Moved(x.lower.charge, v, v_l),  # the other
    )


def _opening(
    p: Pulses, x: _Trio, share: Array, currents: tuple[Array, Array], v_block: Array
) -> tuple[SwitchStress, SwitchStress]:
    """Return the stress of a lower switch and of S_5, which share the freewheeling one."""
    rest = 1.0 - share
    lower = freewheel.opening(
        p,
        share=rest,
        others=(switch.moved(scaled(x.upper, rest), 0.0, p.v),),
        i_rms=currents[0],
        v_block=v_block,
        halves=0.5,
    )
    bypass = freewheel.opening(
        p,
        share=share,
        others=(
            switch.moved(scaled(x.upper, share), 0.0, p.v),
            Moved(x.lower.charge, rest * p.v, p.v),  # of the leg that stays at P'
        ),
        i_rms=currents[1],
        v_block=v_block,
        halves=1.0,
    )
    return lower, bypass
