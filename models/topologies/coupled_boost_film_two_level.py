"""Coupled-inductor boost, film link, full bridge, two levels.

Not isolated: two levels keep the middle of both lines still, so that the module stands at
half the grid's voltage against an earthed neutral.  The price is the choke's full ripple.
"""

from __future__ import annotations

import dataclasses

from models.parts import enclosure, housekeeping
from models.stages import coupled_boost, full_bridge_bipolar, grid_filter, link_film
from models.topologies.linked import Wiring
from models.topologies.linked_detail import linked
from models.variables import part


@dataclasses.dataclass(frozen=True)
class Design:
    """What may be varied; every stage brings its own variables and parts."""

    boost: coupled_boost.Design = part("coupled-inductor boost")
    link: link_film.Design = part("link")
    bridge: full_bridge_bipolar.Design = part("full bridge, two levels")
    filter: grid_filter.Design = part("grid filter")
    house: housekeeping.Design = part("supply, control, relays")
    box: enclosure.Design = part("box")


TOPOLOGY = linked(
    Wiring("boost", coupled_boost, link_film, full_bridge_bipolar),
    Design,
    name="coupled_boost_film_two_level",
    title="Coupled-inductor boost, film link, full bridge, two levels",
    tag="coupled, two levels",
    source="boost: Q. Zhao, F. C. Lee, 'High-efficiency, high step-up DC-DC converters', "
    "IEEE Trans. Power Electron. 18(1), 2003 (from memory); bridge and filter: common "
    "practice, no source",
    chain=("coupled-inductor boost", "film", "full bridge, two levels"),
    decoupling="film in the link",
)
