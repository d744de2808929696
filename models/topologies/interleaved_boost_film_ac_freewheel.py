"""Interleaved boost, film link that swings, full bridge that freewheels at its output.

Not isolated: the bridge holds the module at half the grid's voltage against an earthed
neutral, without steps.  The plain boost is the baseline: its gain of about eight serves grids
of 120 V from a common module.
"""

from __future__ import annotations

import dataclasses

from models.parts import enclosure, housekeeping
from models.stages import full_bridge_ac_freewheel, grid_filter, interleaved_boost, link_film
from models.topologies.linked import Wiring
from models.topologies.linked_detail import linked
from models.variables import alternative, part


@dataclasses.dataclass(frozen=True)
class Design:
    """What may be varied; every stage brings its own variables and parts."""

    boost: interleaved_boost.AnyDesign = alternative(
        "rectifiers of the boost",
        diode=interleaved_boost.DiodeDesign,
        synchronous=interleaved_boost.SynchronousDesign,
    )
    link: link_film.Design = part("link")
    bridge: full_bridge_ac_freewheel.Design = part("full bridge with freewheel at its output")
    filter: grid_filter.Design = part("grid filter")
    house: housekeeping.Design = part("supply, control, relays")
    box: enclosure.Design = part("box")


TOPOLOGY = linked(
    Wiring("boost", interleaved_boost, link_film, full_bridge_ac_freewheel),
    Design,
    name="interleaved_boost_film_ac_freewheel",
    title="Interleaved boost, film link, full bridge with freewheel at its output",
    tag="interleaved, film",
    source="boost: R. W. Erickson, D. Maksimović, 'Fundamentals of Power Electronics' (from "
    "memory); bridge: common practice, no source",
    chain=("interleaved boost", "film", "full bridge, freewheel at output"),
    decoupling="film in the link",
)
