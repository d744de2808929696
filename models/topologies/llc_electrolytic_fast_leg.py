"""LLC resonant stage, electrolytic link, one fast leg, one at line frequency.

Isolated; two of the bridge's switches change state only with the line, so that their loss is
conduction alone.  Behind a transformer its step at the zero crossing does no harm.
"""

from __future__ import annotations

import dataclasses

from models.parts import enclosure, housekeeping
from models.stages import fast_leg, grid_filter, link_electrolytic, llc
from models.topologies.linked import Wiring
from models.topologies.linked_detail import linked
from models.variables import part


@dataclasses.dataclass(frozen=True)
class Design:
    """What may be varied; every stage brings its own variables and parts."""

    llc: llc.FullBridgeDesign = part("LLC resonant stage")
    link: link_electrolytic.Design = part("link")
    bridge: fast_leg.Design = part("one fast leg, one at line frequency")
    filter: grid_filter.Design = part("grid filter")
    house: housekeeping.Design = part("supply, control, relays")
    box: enclosure.Design = part("box")


TOPOLOGY = linked(
    Wiring("llc", llc, link_electrolytic, fast_leg),
    Design,
    name="llc_electrolytic_fast_leg",
    title="LLC resonant stage, electrolytic link, one fast leg, one at line frequency",
    tag="LLC, fast leg",
    source="LLC: J. F. Lazar, R. Martinelli, 'Steady-state analysis of the LLC series "
    "resonant converter', APEC 2001 (from memory); bridge and filter: common "
    "practice, no source",
    chain=("LLC stage", "electrolytics", "fast leg and slow leg"),
    decoupling="electrolytics in the link",
)
