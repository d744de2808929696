"""Full bridge whose legs follow opposite references: three levels, ripple at twice f.

The choke sees a quarter of the ripple of two levels; the mean of both nodes jumps between
zero, half and all of the link, so that it needs a transformer in front.  See
``full_bridge_waves`` for the circuit.  Any power factor.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace
from models.case import Case
from models.parts import switch
from models.physics.grid import line_product
from models.stages import full_bridge_waves as waves
from models.stages.common_ground_waves import COARSE, EDGES
from models.stages.full_bridge_bipolar import Design, modulation_limit
from models.stages.grid_filter import GridSide
from models.stages.half_bridge_leg import Leg, mirrored_stress
from models.stages.ports import Bridge, BridgeTraits, CommonMode, Link, Output
from models.stages.stage import Placed

# The circuit is that of two levels; only the carrier's use differs.
__all__ = ["TRAITS", "Design", "modulation_limit", "place"]

TRAITS = BridgeTraits(
    "full bridge, three levels", CommonMode.PULSED, takes=Output.LINK, reactive=True
)


def place(path: str, design: Design, side: GridSide, link: Link, case: Case) -> Bridge:
    """Return the placed bridge and what filter, link and earth need to know of it.

    While one leg moves, the other holds its node at a rail, and the whole choke drives.
    The filter sees twice the switching frequency, at which the control can also sample.

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
    x = waves.three_level(side, link, f=2.0 * design.f, inductance=inductance)
    m = x.m[..., EDGES]
    leg = Leg(
        device=switch.device(design.switch, case),
        f=design.f * side.running,
        valley=x.valley[..., EDGES],
        peak=x.peak[..., EDGES],
        v=link.v_rms,
        far=xp.where(m < 0.0, 1.0 + m, m),
        inductance=inductance,
    )
    i_rms = xp.sqrt(0.5 * (side.i_rms * side.i_rms + x.pp_square / 12.0))
    stress = mirrored_stress(leg, i_rms, link.v_max)
    placed = Placed(
        (
            switch.place(f"{path}.switch", design.switch, stress, case, count=4),
            waves.choke(f"{path}.choke", design.choke, inductance, x, case),
        ),
        waves.books(path, side, link, x, modulation_limit(design, case)),
    )
    return Bridge(
        placed=placed,
        ripple=dataclasses.replace(
            waves.ripple(
                side,
                x,
                inductance,
                v_worst=link.v_rms * (math.sqrt(2.0) / math.pi),
                v_node=2.0 * link.v_rms,  # both nodes jump together at odd multiples of f
                late=2.0 * leg.device.t_dead * design.f,
            ),
            f_node=design.f,
        ),
        link_hf_rms=waves.link_current(x, x.duty),
        f_link=2.0 * design.f,
        v_earth_line=waves.earth_line(link, case),
        v_earth_hf=_mean_of_nodes(x, side),
        f_earth=design.f,
    )


def _mean_of_nodes(x: waves.Waves, side: GridSide) -> Array:
    """Return the rms value around f of the mean of both nodes [V].

    (2·v/π)·cos(π·m/2)/√2, averaged over the line cycle.
    """
    xp = array_namespace(x.m)
    swing = x.v[..., COARSE] * xp.cos((0.5 * math.pi) * x.m[..., COARSE])
    return side.running * xp.sqrt(line_product(swing, swing)) * (math.sqrt(2.0) / math.pi)
