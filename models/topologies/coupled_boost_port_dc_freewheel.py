"""Coupled-inductor boost, ripple port, full bridge with freewheel at its input.

Not isolated.  The link hardly moves: a ripple port beside it takes the pulsating power into
film that swings.
"""

from __future__ import annotations

import dataclasses

from models.parts import enclosure, housekeeping
from models.stages import coupled_boost, full_bridge_dc_freewheel, grid_filter, ripple_port_link
from models.topologies.linked import Wiring
from models.topologies.linked_detail import linked
from models.variables import part


@dataclasses.dataclass(frozen=True)
class Design:
    """What may be varied; every stage brings its own variables and parts."""

    boost: coupled_boost.Design = part("coupled-inductor boost")
    link: ripple_port_link.Design = part("link")
    bridge: full_bridge_dc_freewheel.Design = part("full bridge with freewheel at its input")
    filter: grid_filter.Design = part("grid filter")
    house: housekeeping.Design = part("supply, control, relays")
    box: enclosure.Design = part("box")


TOPOLOGY = linked(
    Wiring("boost", coupled_boost, ripple_port_link, full_bridge_dc_freewheel),
    Design,
    name="coupled_boost_port_dc_freewheel",
    title="Coupled-inductor boost, ripple port, full bridge with freewheel at its input",
    tag="coupled, port",
    source="boost: Q. Zhao, F. C. Lee, 'High-efficiency, high step-up DC-DC converters', "
    "IEEE Trans. Power Electron. 18(1), 2003 (from memory); bridge and filter: common "
    "practice, no source",
    chain=("coupled-inductor boost", "ripple port and film", "full bridge, freewheel at input"),
    decoupling="ripple port at the link",
)
