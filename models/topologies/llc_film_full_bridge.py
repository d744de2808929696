"""LLC resonant stage, film link, full bridge, three levels.

Isolated; the frequency follows the link's swing, so that the module stands still without
electrolytics.
"""

from __future__ import annotations

import dataclasses

from models.parts import enclosure, housekeeping
from models.stages import full_bridge_unipolar, grid_filter, link_film, llc
from models.topologies.linked import Wiring
from models.topologies.linked_detail import linked
from models.variables import part


@dataclasses.dataclass(frozen=True)
class Design:
    """What may be varied; every stage brings its own variables and parts."""

    llc: llc.FullBridgeDesign = part("LLC resonant stage")
    link: link_film.Design = part("link")
    bridge: full_bridge_unipolar.Design = part("full bridge, three levels")
    filter: grid_filter.Design = part("grid filter")
    house: housekeeping.Design = part("supply, control, relays")
    box: enclosure.Design = part("box")


TOPOLOGY = linked(
    Wiring("llc", llc, link_film, full_bridge_unipolar),
    Design,
    name="llc_film_full_bridge",
    title="LLC resonant stage, film link, full bridge, three levels",
    tag="LLC, film",
    source="LLC: J. F. Lazar, R. Martinelli, 'Steady-state analysis of the LLC series "
    "resonant converter', APEC 2001 (from memory); bridge and filter: common "
    "practice, no source",
    chain=("LLC stage", "film", "full bridge, three levels"),
    decoupling="film in the link",
)
