"""Film capacitors in a direct-current link that hardly swings, for a front of fixed ratio.

The same capacitors as in ``link_film``, many more of them: what swings here reaches the
module, so that the swing is held to a few percent.
"""

from __future__ import annotations

from models.axes import Array, array_namespace
from models.case import Case
from models.parts import capacitor
from models.stages.grid_filter import GridSide
from models.stages.link_film import Design, bank
from models.stages.link_voltage import K_SMALL, link_books, link_voltage
from models.stages.ports import Link, LinkCurrents, StorageTraits, Store
from models.stages.stage import Placed

__all__ = ["TRAITS", "Design", "place", "swing"]

TRAITS = StorageTraits("film in the link, which hardly swings", Store.LINK, swings=False)


def swing(design: Design, side: GridSide, m_max: Array, case: Case) -> Link:
    """Return the voltage of the link, see ``link_voltage``; one node stands for all."""
    c = capacitor.capacitance(design.film, case)
    return link_voltage(design.ratio, c, side, m_max, nodes=1, case=case)


def place(
    path: str, design: Design, link: Link, side: GridSide, currents: LinkCurrents, case: Case
) -> Placed:
    """Return the capacitors with the limit on the swing, as ``link_film.place`` does."""
    small = array_namespace(link.k).minimum(link.k_max, K_SMALL)
    return Placed(
        (bank(path, design, link, side, currents, case),), link_books(path, link, small, case)
    )
