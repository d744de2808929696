"""Electrolytics in a direct-current link, with film beside them for the switching ripple.

They hold so much that the link hardly moves: its ripple is limited to what a stage of
fixed ratio in front may pass on to the module.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace
from models.case import Case
from models.parts import capacitor, electrolytic, film
from models.physics.capacitor import electrolytic_resistance, frequency_multiplier
from models.stages.grid_filter import GridSide
from models.stages.link_voltage import K_SMALL, link_books, link_stress, link_voltage
from models.stages.module_buffer import END_OF_LIFE, WARM
from models.stages.ports import Link, LinkCurrents, StorageTraits, Store
from models.stages.stage import Placed
from models.variables import part, real

F_LEAST = 1.0  # [Hz], divisor floor of a stage that rests
# Gauss-Chebyshev nodes of the swing for the stage in front [1]: small as the swing is, it takes
# a resonant stage across its resonance, where the rectifiers begin to recover.
NODES = 3
TRAITS = StorageTraits("electrolytics in the link", Store.LINK, swings=False)


@dataclasses.dataclass(frozen=True)
class Design:
    """Voltage and capacitors of the link."""

    ratio: Array = real(
        1.01, 1.35, "", "nominal link voltage over the peak of the grid at full modulation"
    )
    storage: capacitor.Electrolytic = part("electrolytics that store the pulsating power")
    film: capacitor.Film = part("film that takes the switching ripple", count=(1, 4))


def swing(design: Design, side: GridSide, m_max: Array, case: Case) -> Link:
    """Return the voltage of the link with electrolytics at the end of their life.

    A fifth of their capacitance is lost then; swing and limits hold for it.
    """
    slow, fast = _capacitances(design, case)
    return link_voltage(design.ratio, slow + fast, side, m_max, nodes=NODES, case=case)


def place(
    path: str, design: Design, link: Link, side: GridSide, currents: LinkCurrents, case: Case
) -> Placed:
    """Return both banks with the limit on the swing.

    The pulsating current divides as the capacitances do.

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
    xp = array_namespace(link.k)
    c_slow, c_fast = _capacitances(design, case)
    share = c_slow / (c_slow + c_fast)
    to_storage, to_film = _switching(design, currents, case)
    both = link_stress(link, side, to_storage, currents.f_bridge)
    slow = dataclasses.replace(both, i_line_rms=share * both.i_line_rms)
    fast = dataclasses.replace(both, i_line_rms=(1.0 - share) * both.i_line_rms, i_hf_rms=to_film)
    return Placed(
        (
            electrolytic.place(f"{path}.storage", design.storage, slow, case),
            film.place(f"{path}.film", design.film, fast, case),
        ),
        link_books(path, link, xp.minimum(link.k_max, K_SMALL), case),
    )


def _capacitances(design: Design, case: Case) -> tuple[Array, Array]:
    """Return the capacitances of worn electrolytics and of the film [F]."""
    slow = END_OF_LIFE * capacitor.capacitance(design.storage, case)
    return slow, capacitor.capacitance(design.film, case)


def _switching(design: Design, currents: LinkCurrents, case: Case) -> tuple[Array, Array]:
    """Return the switching ripple in the electrolytics and in the film [A].

    It divides between the series resistance of the former and the reactance of the latter.
    """
    xp = array_namespace(currents.i_front, currents.i_bridge)
    table, index = case.catalogue[electrolytic.TABLE], design.storage.row
    r_20 = electrolytic_resistance(table.at("c", index), table.at("tan_delta", index))
    c_film = capacitor.capacitance(design.film, case)
    to_storage, to_film = 0.0 * currents.i_front, 0.0 * currents.i_front
    for i, f in (
        (currents.i_front, currents.f_front),
        (currents.i_bridge, currents.f_bridge),
    ):
        speed = frequency_multiplier(f)
        r = WARM * r_20 / (design.storage.count * speed * speed)
        x = 1.0 / (2.0 * math.pi * xp.maximum(f, F_LEAST) * c_film)
        square = i * i / (r * r + x * x)
        to_storage, to_film = to_storage + square * x * x, to_film + square * r * r
    return xp.sqrt(to_storage), xp.sqrt(to_film)
