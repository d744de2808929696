"""The converter with two links that swing together, placed again with its simulation."""

import dataclasses

import numpy as np

from models.parts import capacitor
from models.stages import film_links, grid_filter
from models.topologies import series_capacitor_boost_half_bridge as topology
from tests.whole import fine
from tests.whole import recomputed as link
from tests.whole.averaged import Converter


def equal(design, case):
    """Capacitance at link 2 that holds the energy of both [F]."""
    c_1, c_2 = (capacitor.capacitance(c, case).item() for c in (design.c_1, design.c_2))
    return c_2 + 0.25 * c_1


def plant_of(item):
    """The converter seen from link 2, the doubler an ideal fast loop."""
    behind, rows = topology._behind(item.design, item.case), link.weighted(item.case)
    # The doubler carries the module's current at link 1 beside the grid's.
    steady = link.at_rows(item.case.points.p_ac / behind.links.v_1_rms, rows) ** 2
    share = steady / (steady + link.at_rows(behind.side.i_rms, rows) ** 2)
    still = dict.fromkeys(("bridge.doubler", "bridge.leg_a"), share)
    grid, lost = link.grid_of(item, behind.side, rows, still)
    return Converter(
        grid=grid,
        c=equal(item.design.links, item.case),
        v=link.at_rows(behind.links.v_2_rms, rows),
        p_front=grid.p + lost.all,
        p_bridge=lost.bridge,
        p_storage=lost.link,
    )


def settled_again(item, waves):
    """The converter settled with the simulated waves."""
    rows, n = link.weighted(item.case), item.case.points.count
    told, bridge_side = film_links.swing, grid_filter.bridge_side
    v, high, low = waves.v, waves.v.max(axis=1), waves.v.min(axis=1)

    def side(design, l_bridge, case):
        return link.side_again(bridge_side(design, l_bridge, case), waves, rows, n)

    def swing(design, side, m_max, case):
        links = told(design, side, m_max, case)
        v_2 = link.filled(links.v_2, rows, n, v)

        def put(x, value):
            return link.put(x, rows, n, value)

        return dataclasses.replace(
            links,
            v_2=v_2,
            v_2_rms=put(links.v_2_rms, link.rms(v)),
            v_2_max=put(links.v_2_max, high),
            v_1_rms=put(links.v_1_rms, 0.5 * link.rms(v)),
            v_1_min=put(links.v_1_min, 0.5 * low),
            v_1_nodes=0.5 * v_2,
            k=put(links.k, (high**2 - low**2) / (high**2 + low**2)),
            i_line=put(links.i_line, link.rms(waves.i_link)),
        )

    changes = ((film_links, "swing", swing), (grid_filter, "bridge_side", side))
    with fine.replaced(*fine.all_angles(), *changes):
        return topology.place(item.design, item.case)


def swings(item, waves):
    """Swing of link 2, peak to peak: told and simulated [V]."""
    links, rows = topology._behind(item.design, item.case).links, link.weighted(item.case)
    k = np.minimum(links.k, 1.0)
    whole = links.v_2_rms * (np.sqrt(1.0 + k) - np.sqrt(1.0 - k))
    return link.at_rows(whole, rows), np.ptp(waves.v, axis=1)
