"""What must go which way when one thing about a front design changes."""

import dataclasses
import math

import numpy as np
import pytest

from models.case import Case
from models.evaluate import evaluate
from models.ledger import Kind
from models.results import full_row
from models.topologies import TOPOLOGIES
from models.variables import build
from tests.front import reference as front

FLYBACK = front.names("flyback_unfolder")
# One design of every topology, where all of them would add nothing but time.
ONE = tuple(front.names(topology)[0] for topology in TOPOLOGIES if front.names(topology))
# What stores the pulsating power, and the figure that tells how far it swings.
STORES = {
    "links.c_2.count": "links.swing",
    "link.port.storage.count": "link.port.swing",
    "link.storage.count": "link.swing",
    "link.film.count": "link.swing",
    "buffer.port.storage.count": "buffer.port.swing",
    "buffer.storage.count": "module.ripple",
}
CEILING = 1e7  # [h], life at which the books stop counting
ALTERNATING = ("llc.", "dab.")  # stages whose windings carry no direct current
STRICT = 1e-9  # margins of a feasible design, typed with six figures


def loss(item, begin: str, cause: str) -> float:
    """Losses of a cause under a path at full power and nominal voltage [W]."""
    row, total = full_row(item.case), 0.0
    for entry in item.evaluation.ledger.of(Kind.LOSS):
        if entry.path.startswith(begin) and entry.path.endswith(f".{cause}"):
            total += float(entry.value[0, min(row, entry.value.shape[1] - 1), 0])
    return total


def figure(item, path: str) -> float:
    value = item.evaluation.ledger.find(path, Kind.FIGURE).value
    return float(value[0, min(full_row(item.case), value.shape[1] - 1), 0])


def column(item, name: str) -> float:
    return float(item.evaluation.column(name)[0])


def value_of(name: str, path: str) -> float:
    return front.document(name)["variables"][path]


def less_and_more(name: str, path: str, factor: float):
    """The design with one value divided by a factor, or multiplied where that leaves the box."""
    base, kept = front.reference(name), value_of(name, path)
    variable = next(v for v in base.variables if v.path == path)
    less, more = kept / factor, kept * factor
    if variable.kind == "whole":
        less, more = min(math.floor(less), kept - 1), max(math.ceil(more), kept + 1)
    if less >= variable.shown(variable.lo):
        return front.reopened(name, {path: less}), base
    return base, front.reopened(name, {path: more})


def few_and_many(name: str, path: str):
    """The design with a piece less and a piece more of something, one of them as it is."""
    n = value_of(name, path)
    other = front.reopened(name, {path: n - 1 if n > 1 else n + 1})
    return (other, front.reference(name)) if n > 1 else (front.reference(name), other)


def paths(end: str) -> list[tuple[str, str]]:
    """Designs, and variables of theirs that end so."""
    return [
        (name, path.removesuffix(end))
        for name in ONE
        for path in front.document(name)["variables"]
        if path.endswith(end)
    ]


def store(name: str) -> str:
    """The variable that counts the pieces of what stores the pulsating power."""
    known = front.document(name)["variables"]
    return next(path for path in STORES if path in known)


def windings(end: str) -> list[tuple[str, str]]:
    """Windings that carry direct current, or that of the line."""
    return [(name, path) for name, path in paths(end) if not path.startswith(ALTERNATING)]


# Losses of all windings are summed: part and variable may stand at different paths.
@pytest.mark.parametrize(("name", "path"), windings("strand_mm"))
def test_thicker_strands_have_less_direct_current_loss(name, path):
    thin, thick = less_and_more(name, f"{path}strand_mm", 1.25)
    assert loss(thick, "", "copper_dc") < loss(thin, "", "copper_dc")


@pytest.mark.parametrize(("name", "path"), windings("strands"))
def test_more_strands_have_less_direct_current_loss(name, path):
    fewer, more = less_and_more(name, f"{path}strands", 1.4)
    assert loss(more, "", "copper_dc") < loss(fewer, "", "copper_dc")


@pytest.mark.parametrize("name", FLYBACK)
def test_more_electrolytics_mean_less_ripple_and_more_from_the_module(name):
    few, many = few_and_many(name, "buffer.storage.count")
    assert figure(many, "module.ripple") < figure(few, "module.ripple")
    assert column(many, "mppt_efficiency_pct") > column(few, "mppt_efficiency_pct")
    # The same ripple current in more cans: each is cooler and lives longer.
    assert column(many, "life_years") > column(few, "life_years")


@pytest.mark.parametrize("name", front.NAMES)
def test_more_of_the_store_swings_less(name):
    path = store(name)
    few, many = few_and_many(name, path)
    assert figure(many, STORES[path]) < figure(few, STORES[path])


@pytest.mark.parametrize("name", front.names("series_capacitor_boost_half_bridge"))
def test_either_link_helps_the_other(name):
    few, many = few_and_many(name, "links.c_1.count")
    assert figure(many, "links.swing") < figure(few, "links.swing")


@pytest.mark.parametrize(("name", "path"), paths(".parallel"))
def test_semiconductors_in_parallel_conduct_with_less_loss(name, path):
    # The on-resistance may be held to what the row offers; pieces in parallel never are.
    few, many = few_and_many(name, f"{path}.parallel")
    # The two switches of a port's leg have paths of their own.
    begin = path.removesuffix("leg")
    assert loss(few, begin, "conduction") > 0.0
    assert loss(many, begin, "conduction") < loss(few, begin, "conduction")


def other_case(**points) -> Case:
    """The demo case with some operating points changed."""
    case = front.case()
    return dataclasses.replace(case, points=dataclasses.replace(case.points, **points))


@pytest.mark.parametrize("name", front.NAMES)
def test_a_hotter_roof_makes_all_parts_hotter_and_lives_shorter(name):
    points = front.case().points
    hot = front.reopened(
        name, at=other_case(t_air=points.t_air + 10.0, t_module=points.t_module + 10.0)
    )
    base = front.reference(name)
    for t_hot, t_base in zip(
        hot.evaluation.settled.temperatures, base.evaluation.settled.temperatures, strict=True
    ):
        assert (t_hot > t_base + 5.0).all()
    assert (hot.evaluation.settled.t_surface > base.evaluation.settled.t_surface + 5.0).all()
    lives = [e.path for e in base.evaluation.ledger.of(Kind.LIFE)]
    for path in lives:
        shorter = hot.evaluation.ledger.find(path, Kind.LIFE).value
        longer = base.evaluation.ledger.find(path, Kind.LIFE).value
        assert ((shorter < longer) | (longer >= CEILING)).all(), path
    if name in FLYBACK:
        assert lives
        # Ten kelvin halve the life of a can, but below 40 °C no longer life is claimed.
        assert column(hot, "life_years") < 0.9 * column(base, "life_years")


@pytest.mark.parametrize("name", front.NAMES)
def test_a_larger_box_is_cooler_and_less_dense(name):
    small, large = less_and_more(name, "box.length_mm", 1.2)
    for what in ("box_surface_max_c", "box_inside_max_c", "power_density_kw_l"):
        assert column(large, what) < column(small, what)


@pytest.mark.parametrize("name", front.NAMES)
def test_more_power_loses_more_and_heats_more(name):
    case = front.case()
    rows = [i for i in range(case.points.count) if case.points.weight[0, i, 0] > 0.0]
    order = sorted(rows, key=lambda i: case.points.p_ac[0, i, 0])
    settled = front.reference(name).evaluation.settled
    heat = settled.heat[0, order, 0]
    power = case.points.p_ac[0, order, 0]
    above = power > 0.25 * power.max()
    assert (np.diff(heat[above]) > 0.0).all()


@pytest.mark.parametrize("name", front.NAMES)
def test_more_capacitors_cost_money_and_room(name):
    few, many = few_and_many(name, store(name))
    for what in ("cost", "pieces", "volume_capacitor_l"):
        assert column(many, what) > column(few, what)


@pytest.mark.parametrize("name", front.NAMES)
def test_every_limit_is_met_by_a_design_of_the_front(name):
    found = front.reference(name).evaluation
    unmet = {
        path: float(margin)
        for path, margin in zip(found.margin_names, found.margins[0], strict=True)
        if margin > STRICT
    }
    assert not unmet


def test_every_topology_has_designs_on_its_front():
    for topology in TOPOLOGIES:
        assert len(front.names(topology)) >= 2


# A part out of the catalogue has its own on-resistance, a core its own kind of material,
# and a dead time longer than any current lasts is all the same.
MAY_REST = (".r_on_mohm", ".ferrite", ".powder", ".t_dead_ns")


@pytest.mark.parametrize("name", ONE)
def test_every_variable_of_a_front_design_matters(name):
    item = front.reference(name)
    count = 2 * len(item.variables) + 1
    values = {v.field: np.full((count, 1, 1), item.values[v.field]) for v in item.variables}
    for i, v in enumerate(item.variables):
        values[v.field][2 * i + 1 : 2 * i + 3, 0, 0] = v.lo, v.hi
    design = build(item.topology.design, values, item.static)
    found = evaluate(item.topology, design, item.case)
    told = np.concatenate((found.columns, found.margins), axis=1)
    moved = (told != told[0]).any(axis=1)
    idle = [v.path for i, v in enumerate(item.variables) if not moved[2 * i + 1 : 2 * i + 3].any()]
    assert not [path for path in idle if not path.endswith(MAY_REST)]
