import moocore
import numpy as np
import pytest

from optimizer.selection import (
    crowding,
    excess_scale,
    ranks,
    spread,
    survivors,
    violation,
)


def brute_ranks(f):
    rank = np.full(len(f), -1)
    level = 0
    while (rank < 0).any():
        left = np.flatnonzero(rank < 0)
        for i in left:
            beaten = [
                j for j in left if (f[j] <= f[i]).all() and (f[j] < f[i]).any()
            ]  # fmt: skip
            if not beaten:
                rank[i] = level + 1000
        rank[rank >= 1000] -= 1000
        level += 1
    return rank


@pytest.mark.parametrize("m", [2, 3, 4])
def test_ranks_equal_those_of_peeling_fronts_one_by_one(rng, m):
    f = rng.integers(0, 6, (60, m)).astype(float)
    assert (ranks(f) == brute_ranks(f)).all()


def test_violation_is_zero_exactly_where_every_margin_is_met(rng):
    margins = rng.uniform(-1.0, 0.02, (500, 8))
    met = (margins <= 0.0).all(axis=1)
    assert ((violation(margins) == 0.0) == met).all()
    assert 10 < met.sum() < 490


def test_the_size_of_a_limits_numbers_does_not_count(rng):
    margins = rng.uniform(-1.0, 1.0, (200, 5))
    size = np.array([1.0, 1e3, 1.0, 1e-3, 30.0])
    plain = margins / excess_scale(margins)
    sized = margins * size / excess_scale(margins * size)
    assert np.maximum(sized, 0.0) == pytest.approx(np.maximum(plain, 0.0), rel=1e-9)


def test_feasible_designs_survive_before_infeasible_ones(rng):
    f = rng.random((50, 2))
    violated = np.where(np.arange(50) < 30, 0.0, rng.random(50))
    assert (violated[survivors(f, violated, 20)] == 0.0).all()
    kept = survivors(f, violated, 40)
    assert set(range(30)) <= set(kept.tolist())
    rest = kept[violated[kept] > 0]
    assert violated[rest].max() <= np.sort(violated[30:])[9]


@pytest.mark.parametrize(("m", "loss"), [(2, 0.02), (3, 0.1), (4, 0.3)])
def test_thinning_a_front_keeps_its_ends_and_most_of_its_hypervolume(rng, m, loss):
    f = np.abs(rng.standard_normal((200, m)))
    f = 1.0 - f / np.linalg.norm(f, axis=1)[:, None]
    kept = f[spread(f, 40)]
    assert len(kept) == 40
    assert (kept.min(axis=0) == f.min(axis=0)).all()
    reference = np.full(m, 1.1)
    whole = moocore.hypervolume(f, ref=reference)
    assert moocore.hypervolume(kept, ref=reference) > (1.0 - loss) * whole


def test_thinning_by_one_drops_the_least_contribution(rng):
    x = np.sort(rng.random(30))
    f = np.stack([x, (1.0 - x) ** 2], axis=1)
    kept = spread(f, 29)
    share = moocore.hv_contributions(f[1:-1], ref=f[[0, -1]].max(axis=0) + 1.0)
    inner = (f[2:, 0] - f[1:-1, 0]) * (f[:-2, 1] - f[1:-1, 1])
    assert len(share) == inner.size
    assert set(range(30)) - set(kept.tolist()) == {int(inner.argmin()) + 1}


def test_crowding_is_taken_inside_each_rank():
    f = np.array([[0.0, 4.0], [2.0, 2.0], [4.0, 0.0], [1.0, 5.0], [3.0, 3.0], [5.0, 1.0]])
    distance = crowding(f, np.array([0, 0, 0, 1, 1, 1]))
    assert np.isinf(distance[[0, 2, 3, 5]]).all()
    assert distance[1] == pytest.approx(distance[4])
