"""Full bridge whose diagonals switch together: two levels, common mode at rest.

Both nodes always move against each other, so that their mean stays at half the link and
the module may stand on the link without a transformer.  See ``full_bridge_waves`` for the
circuit.  Any power factor.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace
from models.case import Case
from models.parts import switch
from models.stages import full_bridge_waves as waves
from models.stages.common_ground_waves import EDGES
from models.stages.grid_filter import GridSide
from models.stages.half_bridge_leg import Leg, mirrored_stress
from models.stages.ports import Bridge, BridgeTraits, CommonMode, Link, Output
from models.stages.stage import Placed
from models.variables import part

TRAITS = BridgeTraits(
    "full bridge, two levels", CommonMode.CONSTANT, takes=Output.LINK, reactive=True
)


@dataclasses.dataclass(frozen=True)
class Design(waves.Design):
    """Switches beside frequency and choke."""

    switch: switch.Design = part("the four switches")


def modulation_limit(design: Design, case: Case) -> Array:
    """Return the largest modulation index [1], (design, 1, 1)."""
    return waves.largest_index(design.f, switch.device(design.switch, case).t_dead)


def place(path: str, design: Design, side: GridSide, link: Link, case: Case) -> Bridge:
    """Return the placed bridge and what filter, link and earth need to know of it.

    What is left of a common mode comes from the halves of the choke, which are not quite
    alike; edges of both legs a few nanoseconds apart add less than a tenth of that.

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
    x = waves.two_level(side, link, f=design.f, inductance=inductance)
    leg = Leg(
        device=switch.device(design.switch, case),
        f=design.f * side.running,
        valley=x.valley[..., EDGES],
        peak=x.peak[..., EDGES],
        v=link.v_rms,
        far=x.duty[..., EDGES],
        # Both nodes move, each against its half of the choke.
        inductance=0.5 * inductance,
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
    ripple = waves.ripple(
        side,
        x,
        inductance,
        v_worst=link.v_rms * (2.0 * math.sqrt(2.0) / math.pi),
        v_node=link.v_rms * waves.NODE_IMBALANCE,
        late=2.0 * leg.device.t_dead * design.f,
    )
    return Bridge(
        placed=placed,
        ripple=ripple,
        link_hf_rms=waves.link_current(x, 1.0),
        f_link=design.f,
        v_earth_line=waves.earth_line(link, case),
        v_earth_hf=0.5 * waves.CHOKE_IMBALANCE * ripple.voltages[0],
        f_earth=design.f,
    )
