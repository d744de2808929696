"""Dual active bridge, film link, one fast leg in triangular current mode.

Isolated; every edge of the fast leg is soft, at a frequency that follows the line.
"""

from __future__ import annotations

import dataclasses

from models.parts import enclosure, housekeeping
from models.stages import dual_active_bridge, fast_leg_triangular, grid_filter, link_film
from models.topologies.linked import Wiring
from models.topologies.linked_detail import linked
from models.variables import part


@dataclasses.dataclass(frozen=True)
class Design:
    """What may be varied; every stage brings its own variables and parts."""

    dab: dual_active_bridge.Design = part("dual active bridge")
    link: link_film.Design = part("link")
    bridge: fast_leg_triangular.Design = part("one fast leg in triangular current mode")
    filter: grid_filter.Design = part("grid filter")
    house: housekeeping.Design = part("supply, control, relays")
    box: enclosure.Design = part("box")


TOPOLOGY = linked(
    Wiring("dab", dual_active_bridge, link_film, fast_leg_triangular),
    Design,
    name="dual_active_bridge_film_fast_leg",
    title="Dual active bridge, film link, one fast leg in triangular current mode",
    tag="dual bridge, film",
    source="F. Krismer, J. W. Kolar, 'Closed form solution for minimum conduction loss "
    "modulation of DAB converters', IEEE Trans. Power Electron. 27(1), 2012 (from "
    "memory); bridge and filter: common practice, no source",
    chain=("dual active bridge", "film", "fast leg and slow leg"),
    decoupling="film in the link",
)
