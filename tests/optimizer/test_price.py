"""The price of a pin: laws of staircases."""

import numpy as np
import pytest

from optimizer.fronts import FrontPoint
from optimizer.objectives import Objective
from optimizer.price import LEVELS, attained, levels, price, table

DENSITY = Objective("power_density_kw_l", "kW/l", 1.0)
EFFICIENCY = Objective("weighted_efficiency_pct", "%", 1.0)
COST = Objective("cost", "€", -1.0)


def front(*pairs, cost=100.0):
    """Return designs at (density, efficiency)."""
    return [
        FrontPoint(f"d{i}", "t", {DENSITY.name: x, EFFICIENCY.name: y, "cost": cost})
        for i, (x, y) in enumerate(pairs)
    ]


def curve(shift=0.0, count=40):
    """Return a dense front, moved down by ``shift`` points of efficiency."""
    x = np.linspace(0.2, 0.5, count)
    return front(*zip(x.tolist(), (97.0 - 20.0 * (x - 0.2) ** 2 - shift).tolist(), strict=True))


def test_a_front_costs_nothing_against_itself():
    for part in price("t", curve(), curve(), (DENSITY, EFFICIENCY), noise={}).tables:
        assert part.losses == [0.0] * len(part.rows)
        assert not any(row.better or row.note for row in part.rows)


def test_a_front_moved_down_costs_the_same_at_every_level():
    found = table(curve(), curve(0.4), DENSITY, EFFICIENCY, noise=None)
    assert len(found.rows) >= 5
    assert found.losses == pytest.approx([0.4] * len(found.rows))
    assert found.mean == pytest.approx(0.4)


def test_nothing_is_interpolated_between_two_designs():
    before = front((0.2, 97.0), (0.4, 95.0))
    assert attained(before, DENSITY, EFFICIENCY, 0.3).value == 95.0
    assert attained(before, DENSITY, EFFICIENCY, 0.2).value == 97.0
    assert attained(before, DENSITY, EFFICIENCY, 0.1).value == 97.0


def test_nothing_is_extended_past_the_end_of_a_front():
    before, after = front((0.2, 97.0), (0.5, 95.0)), front((0.2, 96.5), (0.4, 95.5))
    last = table(before, after, DENSITY, EFFICIENCY, noise=None).rows[-1]
    assert last.level == 0.5
    assert last.after is None
    assert last.loss is None
    assert last.note == "not reachable after"
    assert not last.better
    first = table(after, before, DENSITY, EFFICIENCY, noise=None).rows[-1]
    assert first.note == "not reachable before"
    assert first.better  # what only the later run reaches, the earlier had not found


def test_less_is_better_where_the_objective_says_so():
    cheap = [FrontPoint(f"c{k}", "t", {COST.name: c, EFFICIENCY.name: e})
             for k, (c, e) in enumerate([(50.0, 94.0), (80.0, 96.0)])]  # fmt: skip
    dear = [FrontPoint("x", "t", {COST.name: 90.0, EFFICIENCY.name: 96.0})]
    assert attained(cheap, COST, EFFICIENCY, 60.0).value == 94.0
    assert attained(cheap, COST, EFFICIENCY, 40.0) is None
    rows = table(cheap, dear, EFFICIENCY, COST, noise=None).rows
    assert [r.loss for r in rows][-1] == pytest.approx(10.0)


def test_levels_are_few_rise_and_end_where_both_and_one_end():
    rng = np.random.default_rng(4)
    for _ in range(200):
        low, high = rng.uniform(0.01, 1.0, 2)
        sides = [
            front(*((low + high * u, 96.0 - u) for u in np.sort(rng.random(6)).tolist()))
            for _ in range(2)
        ]
        found = levels(*sides, DENSITY)
        assert len(found) <= LEVELS + 2
        assert found == sorted(set(found))
        most = [max(p.results[DENSITY.name] for p in side) for side in sides]
        assert found[-2:] == sorted(most)
        for level in found[:-1]:
            assert all(attained(side, DENSITY, EFFICIENCY, level) for side in sides)


def test_two_designs_are_compared_once_however_many_levels_they_serve():
    before, after = front((0.4, 96.0)), front((0.2, 95.5), (0.39, 95.0))
    rows = table(before, after, DENSITY, EFFICIENCY, noise=None).rows
    pairs = [(r.before, r.after) for r in rows]
    assert len(set(pairs)) == len(pairs)
    assert [r.level for r in rows if r.loss is not None][-1] == 0.39


def test_a_loss_below_the_noise_is_marked_and_proves_nothing():
    loss = table(curve(), curve(0.1), DENSITY, EFFICIENCY, noise=0.15)
    assert all(row.in_noise and row.note == "within the noise" for row in loss.rows)
    gain = table(curve(0.1), curve(), DENSITY, EFFICIENCY, noise=0.15)
    assert not any(row.better for row in gain.rows)
    known = table(curve(0.1), curve(), DENSITY, EFFICIENCY, noise=0.05)
    assert all(row.better and row.note == "after is better" for row in known.rows)


def test_an_empty_front_has_no_price_but_says_why():
    found = price("t", curve(), [], (DENSITY, EFFICIENCY), noise={})
    assert found.tables == ()
    assert "no feasible design after" in found.remarks[0]
    assert not found.better
    assert price("t", [], curve(), (DENSITY, EFFICIENCY), noise={}).better


def test_three_objectives_have_a_price_for_every_ordered_pair():
    points = [
        FrontPoint(str(k), "t", {DENSITY.name: d, EFFICIENCY.name: e, COST.name: c})
        for k, (d, e, c) in enumerate([(0.2, 97.0, 90.0), (0.3, 96.0, 60.0), (0.4, 95.0, 80.0)])
    ]
    found = price("t", points, points, (DENSITY, EFFICIENCY, COST), noise={})
    assert len({(t.at.name, t.of.name) for t in found.tables}) == 6


def test_differences_carry_a_sign_and_no_false_zero():
    assert EFFICIENCY.difference(0.2345) == "+0.23"
    assert EFFICIENCY.difference(-0.2345) == "−0.23"
    assert EFFICIENCY.difference(-0.001) == "0.00"
    assert DENSITY.title == "power density"
    assert EFFICIENCY.difference_unit == "points"
