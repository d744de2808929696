"""Active-clamp flyback, film link, full bridge, three levels.

Isolated; the duty follows the link's swing, so that the module stands still without
electrolytics.  Few parts, and all power through the flyback's magnetising energy.
"""

from __future__ import annotations

import dataclasses

from models.parts import enclosure, housekeeping
from models.stages import flyback_link, full_bridge_unipolar, grid_filter, link_film
from models.topologies.linked import Wiring
from models.topologies.linked_detail import linked
from models.variables import part


@dataclasses.dataclass(frozen=True)
class Design:
    """What may be varied; every stage brings its own variables and parts."""

    flyback: flyback_link.Design = part("active-clamp flyback")
    link: link_film.Design = part("link")
    bridge: full_bridge_unipolar.Design = part("full bridge, three levels")
    filter: grid_filter.Design = part("grid filter")
    house: housekeeping.Design = part("supply, control, relays")
    box: enclosure.Design = part("box")


TOPOLOGY = linked(
    Wiring("flyback", flyback_link, link_film, full_bridge_unipolar),
    Design,
    name="flyback_film_full_bridge",
    title="Active-clamp flyback, film link, full bridge, three levels",
    tag="flyback, film",
    source="flyback: R. Watson, F. C. Lee, G. C. Hua, 'Utilization of an active-clamp circuit "
    "to achieve soft switching in flyback converters', IEEE Trans. Power Electron. 11(1), "
    "1996 (from memory); bridge and filter: common practice, no source",
    chain=("flyback", "film", "full bridge, three levels"),
    decoupling="film in the link",
)
