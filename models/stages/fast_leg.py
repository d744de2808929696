"""Bridge of one fast leg at a fixed frequency and one leg at line frequency.

Three levels across one choke at the switching frequency, with half the switching edges of
a full bridge and two switches of low resistance.  See ``fast_leg_line`` for the circuit.
Any power factor.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace, line_max
from models.case import Case
from models.parts import inductor, switch
from models.stages import fast_leg_line as line_leg
from models.stages import full_bridge_waves as waves
from models.stages.common_ground_waves import EDGES
from models.stages.full_bridge_freewheel import shortest_pulse
from models.stages.grid_filter import GridSide
from models.stages.half_bridge_leg import Leg, mirrored_stress
from models.stages.ports import Bridge, BridgeTraits, CommonMode, Link, Output
from models.stages.stage import Placed
from models.stages.unfolder import Transistor
from models.variables import part, real

TRAITS = BridgeTraits(
    "one fast leg, fixed frequency", CommonMode.LINE, takes=Output.LINK, reactive=True
)


@dataclasses.dataclass(frozen=True)
class Design:
    """Frequency, switches and choke."""

    f: Array = real(20, 250, "kHz", "switching frequency of the fast leg", log=True)
    fast: switch.Design = part("the two switches of the fast leg")
    line: Transistor = part("the two switches of the leg at line frequency")
    choke_inductance: Array = real(100, 5000, "µH", "bridge-side inductance", log=True)
    choke: inductor.Design = part("bridge-side choke")


def modulation_limit(design: Design, case: Case) -> Array:
    """Return the largest modulation index [1], (design, 1, 1)."""
    return waves.largest_index(design.f, switch.device(design.fast, case).t_dead)


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
    inductance = design.choke_inductance
    x = waves.three_level(side, link, f=design.f, inductance=inductance)
    square = side.i_rms * side.i_rms + x.pp_square / 12.0
    t_dead = switch.device(design.fast, case).t_dead
    late = shortest_pulse(design.f, t_dead)
    m_max = modulation_limit(design, case)
    placed = Placed(
        (
            _fast(f"{path}.fast", design, x, square, side=side, link=link, case=case),
            line_leg.place(
                f"{path}.line", design.line, side, link,
                square=square, inductance=inductance, case=case,
            ),
            inductor.place(
                f"{path}.choke", design.choke, waves.choke_stress(inductance, x), case
            ),
        ),
        waves.ripple_books(path, line_max(x.pp))
        + line_leg.books(path, side, link, m_max=m_max, late=late),
    )  # fmt: skip
    v_earth, f_earth = line_leg.earth_steps(side, link)
    sent = waves.ripple(
        side,
        x,
        inductance,
        v_worst=link.v_rms * (math.sqrt(2.0) / math.pi),
        v_node=link.v_rms,
        late=t_dead * design.f,
    )
    crossing = line_leg.crossing_voltages(side, link, late)
    return Bridge(
        placed=placed,
        ripple=dataclasses.replace(
            sent, dead_time=tuple(a + b for a, b in zip(sent.dead_time, crossing, strict=True))
        ),
        link_hf_rms=waves.link_current(x, x.duty),
        f_link=design.f,
        v_earth_line=line_leg.earth_line(side, link, case),
        v_earth_hf=v_earth,
        f_earth=f_earth,
    )


def _fast(
    path: str,
    design: Design,
    x: waves.Waves,
    square: Array,
    *,
    side: GridSide,
    link: Link,
    case: Case,
) -> switch.Switch:
    """Return the fast leg, whose half cycles mirror each other."""
    xp = array_namespace(x.pp)
    m = x.m[..., EDGES]
    leg = Leg(
        device=switch.device(design.fast, case),
        f=design.f * side.running,
        valley=x.valley[..., EDGES],
        peak=x.peak[..., EDGES],
        v=link.v_rms,
        # The neutral stands at P while u is negative.
        far=xp.where(m < 0.0, 1.0 + m, m),
        inductance=design.choke_inductance,
    )
    stress = mirrored_stress(leg, xp.sqrt(0.5 * square), link.v_max)
    return switch.place(path, design.fast, stress, case, count=2)
