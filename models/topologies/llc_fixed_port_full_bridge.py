"""LLC stage of fixed ratio, ripple port at the link, full bridge with three levels.

Isolated.  The link follows the module's voltage, so that bridge and port must serve its whole
window; in exchange the LLC stage never leaves its resonance.
"""

from __future__ import annotations

import dataclasses
import math
from typing import Any

from models.axes import Array
from models.case import Case
from models.parts import capacitor, diode, enclosure, housekeeping
from models.stages import (
    full_bridge_unipolar,
    grid_filter,
    llc_fixed_ratio,
    llc_tank,
    ripple_port,
    ripple_port_link,
)
from models.topologies.linked import Wiring
from models.topologies.linked_detail import linked
from models.variables import part, real


@dataclasses.dataclass(frozen=True)
class Stage(llc_fixed_ratio.Design):
    """The stage with the leakage as resonant inductance, which its gain does not depend on."""

    resonance: llc_tank.Leakage = part("leakage of the transformer")
    resonant: capacitor.Ceramic = part("resonant capacitors, ceramics of class I")
    rectifier: diode.Design = part("each rectifier")


@dataclasses.dataclass(frozen=True)
class Link:
    """Film and port of a link whose voltage the front decides."""

    film: capacitor.Film = part("film of the link, for the switching ripple", count=(1, 4))
    top: Array = real(0.5, 0.95, "", "highest voltage of the port's storage over the link's")
    port: ripple_port.Design = part("ripple port")


@dataclasses.dataclass(frozen=True)
class Design:
    """What may be varied; every stage brings its own variables and parts."""

    llc: Stage = part("LLC resonant stage of fixed ratio")
    link: Link = part("link")
    bridge: full_bridge_unipolar.Design = part("full bridge, three levels")
    filter: grid_filter.Design = part("grid filter")
    house: housekeeping.Design = part("supply, control, relays")
    box: enclosure.Design = part("box")


def _following(front: Any, link: Link, m_max: Array, case: Case) -> ripple_port_link.Design:
    """Return the link with the voltage that the front gives it: ratio·√2·V = N·V_pv."""
    points = case.points
    v = llc_fixed_ratio.follows(front, case) * points.v_pv
    ratio = v * m_max / (math.sqrt(2.0) * points.v_nominal)
    return ripple_port_link.Design(ratio, link.film, link.top, link.port)


TOPOLOGY = linked(
    Wiring("llc", llc_fixed_ratio, ripple_port_link, full_bridge_unipolar, _following),
    Design,
    name="llc_fixed_port_full_bridge",
    title="LLC stage of fixed ratio, ripple port, full bridge, three levels",
    tag="LLC fixed, port",
    source="ripple port: P. T. Krein, R. S. Balog, M. Mirjafari, 'Minimum energy and capacitance "
    "requirements for single-phase inverters and rectifiers using a ripple port', IEEE Trans. "
    "Power Electron. 27(11), 2012 (from memory); the rest: common practice, no source",
    chain=("LLC stage at resonance", "ripple port and film", "full bridge, three levels"),
    decoupling="ripple port at the link",
)
