"""Whole converters of the tool's own fronts over line cycles, against their books.

Each is integrated in time, averaged over switching periods: grid and filter, link or module
capacitor, ripple port and the module's single-diode curve.  Then every stage is placed again
with the simulated waves at 256 equal angles of the line cycle instead of its few, and heat
and power settle anew.  What an average over switching periods cannot see is held to switched
circuits by the tests of the stages and in ``tests/front``: the ripple at switching frequency,
what passes the loops of a regulated front to the module, and bursts of switching periods.
"""

import functools

import numpy as np
import pytest

from models.ledger import Kind
from models.topologies import TOPOLOGIES, series_capacitor_boost_half_bridge
from tests.front.reference import NAMES, document, names, reference
from tests.whole import averaged, module_store, one_link, rectified, two_links
from tests.whole import recomputed as link

LOSS, SWING = 0.03, 0.02
# Three nodes of the swing miss where, at a tenth of the load, the current of a boost just
# begins to rest in part of the cycle; by their weights all loads together are within 1 %.
LOSS_ANYWHERE, LOSS_WEIGHTED = 0.06, 0.01
# Closed forms let the link swing with the power at the grid; the losses between them swing
# it more, at full power by half to two percent and more where they are large.
LOSSY = 0.03
LIGHT = 0.2  # of rated power: one half cycle of two in the bursts of a rectified sine
RECTIFIED = ("flyback_unfolder", "flyback_port_unfolder")
STORED = tuple(n for n in NAMES if document(n)["topology"] in RECTIFIED)
LINKED = tuple(n for n in NAMES if n not in STORED)


def kind_of(name):
    one = reference(name).topology is series_capacitor_boost_half_bridge.TOPOLOGY
    return two_links if one else one_link


@functools.cache
def simulated(name):
    """The waves of a design at its weighted rows."""
    if name in STORED:
        return [rectified.settled(x) for x in module_store.plants(reference(name))]
    return averaged.settled(kind_of(name).plant_of(reference(name)))


def told(name, path):
    """A figure at the weighted rows."""
    item = reference(name)
    value = item.evaluation.ledger.find(path, Kind.FIGURE).value
    return link.at_rows(value, link.weighted(item.case))


def picked(name):
    """Full power and a light load, as places among the weighted rows."""
    case = reference(name).case
    load = case.points.p_ac[0, link.weighted(case), 0] / case.points.p_ac.max()
    return [int(np.argmin(np.abs(load - share))) for share in (1.0, LIGHT)]


@functools.cache
def swings(name):
    """Swing of what stores the pulsating power, told and simulated, at ``picked`` rows."""
    item, seen, at = reference(name), simulated(name), picked(name)
    if name in LINKED:
        ours, theirs = kind_of(name).swings(item, seen)
    elif seen[0].v_storage is None:
        v = item.case.points.v_pv[0, link.weighted(item.case), 0]
        ours = 2.0 * v * told(name, "module.ripple")
        theirs = np.array([np.ptp(one.v) for one in seen])
    else:
        ours = told(name, "buffer.port.v_max") - told(name, "buffer.port.v_min")
        theirs = np.array([np.ptp(one.v_storage) for one in seen])
    return ours[at], theirs[at]


@pytest.mark.parametrize("name", NAMES)
def test_the_waves_repeat(name):
    seen = simulated(name)
    if name in STORED:
        assert max(one.drifts for one in seen) < 1e-3
    else:
        assert seen.repeats < 1e-4
        p_ac = reference(name).case.points.p_ac[0, link.weighted(reference(name).case), 0]
        assert seen.p_grid == pytest.approx(p_ac, rel=2e-3)


@pytest.mark.parametrize("name", NAMES)
def test_loss_out_of_the_waves_is_that_of_the_books(name):
    """At every weighted load and by their weights, heat and power settled anew."""
    item = reference(name)
    again = (module_store if name in STORED else kind_of(name)).settled_again(
        item, simulated(name)
    )
    rows = link.weighted(item.case)
    found, booked = again.heat[0, rows, 0], item.evaluation.settled.heat[0, rows, 0]
    at, weight = picked(name), item.case.points.weight[0, rows, 0]
    assert found[at] == pytest.approx(booked[at], rel=LOSS)
    assert found == pytest.approx(booked, rel=LOSS_ANYWHERE)
    assert weight @ found == pytest.approx(weight @ booked, rel=LOSS_WEIGHTED)


@pytest.mark.parametrize("name", NAMES)
def test_the_store_swings_as_told(name):
    ours, theirs = swings(name)
    assert theirs[0] == pytest.approx(ours[0], rel=LOSSY)
    assert theirs[1] == pytest.approx(ours[1], rel=SWING)


@pytest.mark.parametrize("topology", [t for t in TOPOLOGIES if names(t)])
def test_a_design_of_every_topology_swings_within_two_percent_at_full_power(topology):
    off = [abs(theirs[0] / ours[0] - 1.0) for ours, theirs in map(swings, names(topology))]
    assert min(off) < SWING


@pytest.mark.parametrize("name", LINKED)
def test_without_losses_the_swing_is_exact(name):
    """What is left is the port's own loops, and a module that gives way to a link."""
    item, kind = reference(name), kind_of(name)
    waves = averaged.settled(averaged.lossless(kind.plant_of(item)))
    ours, theirs = kind.swings(item, waves)
    assert theirs[picked(name)] == pytest.approx(ours[picked(name)], rel=0.015)


@pytest.mark.parametrize("name", STORED)
def test_the_module_gives_what_its_ripple_leaves(name):
    item, at = reference(name), picked(name)
    plants = module_store.plants(item)
    best = np.array([x.module.power(x.module.v).max() for x in plants])
    used = np.array([one.p.mean() for one in simulated(name)]) / best
    assert used[at] == pytest.approx(told(name, "module.mppt_efficiency")[at], abs=1.5e-3)
    ripple = np.array([0.5 * np.ptp(one.v) for one in simulated(name)])
    v = item.case.points.v_pv[0, link.weighted(item.case), 0]
    assert ripple[at] / v[at] == pytest.approx(told(name, "module.ripple")[at], rel=0.03)
