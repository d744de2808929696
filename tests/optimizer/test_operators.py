import numpy as np
import pytest

from optimizer.encode import Kind, Space
from optimizer.operators import (
    OPERATORS,
    Pool,
    changed,
    mutated,
    operator_weights,
    propose,
    row_hashes,
    sample,
    unseen,
)

SPACE = Space.uniform(
    [Kind.REAL, Kind.WHOLE, Kind.ROW, Kind.CHOICE, Kind.REAL, Kind.CHOICE],
    [0, 40, 12, 5, 0, 1],
    [0, 0, 1, 1, 2, 2],
)


def pool(rng, count=60):
    genes = sample(rng, SPACE, count)
    f = rng.random((count, 2))
    return Pool(genes, f, np.zeros(count, dtype=np.int64))


@pytest.mark.parametrize("name", OPERATORS)
def test_every_operator_makes_designs_of_the_space_and_new_ones(rng, name):
    weights = np.array([float(n == name) for n in OPERATORS])
    parents = pool(rng)
    made, operator = propose(rng, SPACE, parents, 400, weights)
    assert (operator == OPERATORS.index(name)).all()
    assert (SPACE.snapped(made) == made).all()
    known = {row.tobytes() for row in parents.genes}
    fresh = sum(row.tobytes() not in known for row in made)
    assert fresh > 100


def test_every_level_of_every_discrete_gene_can_be_reached(rng):
    start = np.repeat(SPACE.snapped(np.full((1, 6), 0.01)), 20_000, axis=0)
    level = SPACE.level(SPACE.snapped(changed(rng, SPACE, start)))
    for j in (1, 2, 3):
        assert set(level[:, j]) == set(range(SPACE.levels[j]))


def test_one_change_changes_one_gene_at_most_and_never_a_held_one(rng):
    start = sample(rng, SPACE, 2000)
    made = SPACE.snapped(changed(rng, SPACE, start))
    different = made != start
    assert (different.sum(axis=1) <= 1).all()
    assert different.any(axis=0).tolist() == [True] * 5 + [False]


def test_crossing_moves_whole_numbers_between_their_parents(rng):
    weights = np.array([1.0] + [0.0] * (len(OPERATORS) - 1))
    genes = SPACE.snapped(np.full((40, 6), 0.1))
    genes[20:, 1] = SPACE.snapped(np.full((1, 6), 0.9))[0, 1]
    f = rng.random((40, 2))
    made, _ = propose(rng, SPACE, Pool(genes, f, np.zeros(40, dtype=np.int64)), 2000, weights)
    assert len(set(SPACE.level(made)[:, 1])) > 5


def test_stages_are_exchanged_whole(rng):
    weights = np.array([float(n == "block") for n in OPERATORS])
    genes = np.concatenate([np.full((30, 6), 0.1), np.full((30, 6), 0.9)])
    f = np.stack([np.arange(60.0), -np.arange(60.0)], axis=1)
    genes = SPACE.snapped(genes[rng.permutation(60)])
    made, _ = propose(rng, SPACE, Pool(genes, f, np.zeros(60, dtype=np.int64)), 500, weights)
    low = made < 0.5
    together = (low[:, 0] == low[:, 1]) & (low[:, 2] == low[:, 3])
    mixed = low[:, 0] != low[:, 2]
    assert together.mean() > 0.7  # mutation splits the rest
    assert mixed.mean() > 0.1


def test_mutation_touches_the_share_asked_for(rng):
    start = sample(rng, SPACE, 5000)
    real = (mutated(rng, SPACE, start, 0.2) != start)[:, 0]
    assert real.mean() == pytest.approx(0.2, rel=0.15)


def test_weights_follow_success_and_leave_nobody_without():
    weights = operator_weights(np.array([[50.0, 1.0, 0.0], [100.0, 100.0, 100.0]]))
    assert weights.sum() == pytest.approx(1.0)
    assert weights[0] > 0.6
    assert weights.min() == pytest.approx(0.4 / 3)


def test_equal_rows_hash_equally_and_others_do_not(rng):
    genes = sample(rng, SPACE, 3000)
    distinct = np.unique(genes, axis=0)
    assert np.unique(row_hashes(distinct)).size == len(distinct)
    assert (row_hashes(genes) == row_hashes(genes.copy())).all()


def test_a_design_is_new_once():
    rng = np.random.default_rng(3)
    seen = np.zeros(1 << 16, dtype=np.uint32)
    genes = np.unique(rng.random((500, 4)), axis=0)
    twice = np.concatenate([genes, genes[:100]])
    fresh = unseen(seen, twice)
    assert fresh[:500].all()
    assert not fresh[500:].any()
    # Two designs that share a slot push each other out: that may happen, but rarely.
    assert unseen(seen, genes).mean() < 0.02


def test_known_parts_are_exchanged_whole(rng):
    space = Space.uniform([0] * 6, [0] * 6, [0] * 6)
    blocks = np.array([[1, 1, 1, 0, 0, 0], [0, 1, 1, 0, 0, 0], [0, 0, 0, 1, 1, 1]], dtype=bool)
    genes = np.repeat(np.linspace(0.1, 0.9, 40)[:, None], 6, axis=1)
    pool = Pool(genes, genes[:, :2] * [1.0, -1.0], np.zeros(40, dtype=np.int64), blocks)
    weights = np.array([float(name == "block") for name in OPERATORS])
    made, _ = propose(rng, space, pool, 400, weights)
    together = np.stack([made[:, 1] == made[:, 2], made[:, 3] == made[:, 4]])
    assert together.mean() > 0.8  # but for the few that were mutated after
    assert (made[:, 0] != made[:, 1]).mean() > 0.05
