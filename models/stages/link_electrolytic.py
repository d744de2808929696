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
from models.stages.link_voltage import link_books, link_stress, link_voltage
from models.stages.module_buffer import END_OF_LIFE, WARM
from models.stages.ports import Link, LinkCurrents, StorageTraits, Store
from models.stages.stage import Placed
from models.stress import CapacitorStress
from models.variables import part, real

# Swing of the energy that counts as small [1]: 3.5 % of voltage; the region in which one
# voltage stands for the whole cycle in the stage in front.
K_SMALL = 0.07
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
    c = END_OF_LIFE * capacitor.capacitance(design.storage, case)
    return link_voltage(design.ratio, c, side, m_max, nodes=1, case=case)


def place(
    path: str, design: Design, link: Link, side: GridSide, currents: LinkCurrents, case: Case
) -> Placed:
    """Return both banks with the limit on the swing.

    The switching ripple divides between the series resistance of the electrolytics and
    the reactance of the film.

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
    table, index = case.catalogue[electrolytic.TABLE], design.storage.row
    r_20 = electrolytic_resistance(table.at("c", index), table.at("tan_delta", index))
    c_film = capacitor.capacitance(design.film, case)
    to_storage, to_film = 0.0 * link.k, 0.0 * link.k
    for i, f in (
        (currents.i_front, currents.f_front),
        (currents.i_bridge, currents.f_bridge),
    ):
        speed = frequency_multiplier(f)
        r = WARM * r_20 / (design.storage.count * speed * speed)
        x = 1.0 / (2.0 * math.pi * f * c_film)
        square = i * i / (r * r + x * x)
        to_storage, to_film = to_storage + square * x * x, to_film + square * r * r
    slow = link_stress(link, side, xp.sqrt(to_storage), currents.f_bridge)
    # Film beside hundreds of times its capacitance takes next to nothing of the slow current.
    fast = CapacitorStress(
        slow.v_mean, slow.v_max, slow.v_swing, 0.0 * slow.i_line_rms, xp.sqrt(to_film),
        currents.f_bridge,
    )  # fmt: skip
    small = xp.minimum(link.k_max, K_SMALL)
    return Placed(
        (
            electrolytic.place(f"{path}.storage", design.storage, slow, case),
            film.place(f"{path}.film", design.film, fast, case),
        ),
        link_books(path, link, small, case),
    )
