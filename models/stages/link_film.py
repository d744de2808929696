"""Film capacitors in a direct-current link, which may swing widely at twice the line frequency.

The stage in front must hold the module still meanwhile; film bears 20 % of its rated
voltage peak to peak unless the row is rated for alternating voltage.
"""

from __future__ import annotations

import dataclasses

from models.axes import Array, array_namespace
from models.case import Case
from models.parts import capacitor, film
from models.stages.grid_filter import GridSide
from models.stages.link_voltage import link_books, link_stress, link_voltage
from models.stages.ports import Link, LinkCurrents, StorageTraits, Store
from models.stages.stage import Placed
from models.variables import part, real

# Gauss-Chebyshev nodes of the swing for the stage in front [1], as in ``film_links``.
NODES = 3
TRAITS = StorageTraits("film in the link, which swings", Store.LINK, swings=True)


@dataclasses.dataclass(frozen=True)
class Design:
    """Voltage and capacitors of the link."""

    ratio: Array = real(
        1.01, 1.35, "", "nominal link voltage over the peak of the grid at full modulation"
    )
    film: capacitor.Film = part("capacitors of the link")


def swing(design: Design, side: GridSide, m_max: Array, case: Case) -> Link:
    """Return the voltage of the link, see ``link_voltage``."""
    c = capacitor.capacitance(design.film, case)
    return link_voltage(design.ratio, c, side, m_max, nodes=NODES, case=case)


def place(
    path: str, design: Design, link: Link, side: GridSide, currents: LinkCurrents, case: Case
) -> Placed:
    """Return the capacitors with the limit on the swing.

    Parameters
    ----------
    path : str
        Dotted path in the topology.
    design : Design
        The link.
    link : Link
        Voltages of ``swing``.
    side : GridSide
        Pulsating power.
    currents : LinkCurrents
        Currents at switching frequency, of the stages on both sides.
    case : Case
        Specification, operating points and catalogue.
    """
    return Placed(
        (bank(path, design, link, side, currents, case),),
        link_books(path, link, link.k_max, case),
    )


def bank(
    path: str, design: Design, link: Link, side: GridSide, currents: LinkCurrents, case: Case
) -> film.FilmBank:
    """Return the capacitors alone, which take all currents; parameters as of ``place``."""
    i_hf = array_namespace(link.k).hypot(currents.i_front, currents.i_bridge)
    stress = link_stress(link, side, i_hf, currents.f_bridge)
    return film.place(f"{path}.film", design.film, stress, case)
