import numpy as np
import pytest

from optimizer.encode import Space
from optimizer.memetic import polished, starts
from optimizer.problem import Outcome


class Ridge:
    """Two objectives whose front is x1 = x2 = 0.3 with x0 free, and one limit on x0."""

    space = Space.uniform([0, 0, 0, 3], [0, 0, 0, 2], [0, 0, 1, 1])

    def __init__(self):
        self.batches = []

    def evaluate(self, genes):
        self.batches.append(len(genes))
        x0, x1, x2, kind = genes.T
        off = 5.0 * ((x1 - 0.3) ** 2 + (x2 - 0.3) ** 2) + 0.1 * (kind > 0.5)
        f = np.stack([x0 + off, (1.0 - x0) ** 2 + off], axis=1)
        return Outcome(f, (x0 - 0.9)[:, None], f, np.zeros(len(f), dtype=bool))


def rough(rng, count=6):
    genes = rng.uniform(0.1, 0.8, (count, 4))
    return Ridge.space.snapped(genes)


def test_polishing_lands_on_the_front(rng):
    ridge = Ridge()
    genes = rough(rng)
    f = ridge.evaluate(genes).objectives
    made, outcome = polished(
        genes, f, space=ridge.space, held=np.full(4, np.nan), evaluate=ridge.evaluate
    )
    assert made[:, 1:3] == pytest.approx(0.3, abs=5e-3)
    assert (outcome.margins <= 0.0).all()
    assert (made[:, 3] == genes[:, 3]).all()
    main = np.arange(len(f)) % 2
    ends = f.argmin(axis=0)
    main[ends] = [0, 1]
    rows = np.arange(len(f))
    # The others got no worse but where the front ended.
    inner = np.setdiff1d(rows, ends)
    assert (outcome.objectives[inner, 1 - main[inner]] <= f[inner, 1 - main[inner]] + 1e-4).all()
    assert (outcome.objectives[rows, main] < f[rows, main]).all()


def test_all_searches_share_their_batches(rng):
    ridge = Ridge()
    genes = rough(rng, 8)
    f = ridge.evaluate(genes).objectives
    ridge.batches.clear()
    polished(genes, f, space=ridge.space, held=np.full(4, np.nan), evaluate=ridge.evaluate)
    assert ridge.batches[0] == 8 * 4
    assert len(ridge.batches) < 60


def test_polishing_gives_the_same_bits_again(rng):
    genes = rough(rng, 5)
    f = Ridge().evaluate(genes).objectives
    held = np.full(4, np.nan)
    one, two = (
        polished(genes, f, space=Ridge.space, held=held, evaluate=Ridge().evaluate)[0]
        for _ in range(2)
    )
    assert (one == two).all()


def test_a_held_gene_stays(rng):
    genes = rough(rng)
    genes[:, 1] = 0.7
    held = np.array([np.nan, 0.7, np.nan, np.nan])
    ridge = Ridge()
    f = ridge.evaluate(genes).objectives
    made, _ = polished(genes, f, space=ridge.space, held=held, evaluate=ridge.evaluate)
    assert (made[:, 1] == 0.7).all()


def test_an_error_of_the_evaluation_comes_out_and_leaves_no_thread(rng):
    import threading

    def broken(genes):
        raise FloatingPointError("overflow")

    genes = rough(rng)
    before = threading.active_count()
    with pytest.raises(FloatingPointError):
        polished(genes, genes[:, :2], space=Ridge.space, held=np.full(4, np.nan), evaluate=broken)
    assert threading.active_count() == before


def test_both_ends_of_a_front_are_always_polished(rng):
    f = np.stack([np.linspace(0, 1, 50), np.linspace(1, 0, 50)], axis=1)
    for _ in range(20):
        chosen = starts(f, 8, rng)
        assert {0, 49} <= set(chosen.tolist())
        assert len(chosen) <= 8


class Bend(Ridge):
    """The same with a limit that bends away under every straight step."""

    def evaluate(self, genes):
        found = super().evaluate(genes)
        x0, x1, _, _ = genes.T
        bend = (x1 - 0.3 - 0.4 * np.sin(7.0 * x0)) * 3.0
        return Outcome(found.objectives, bend[:, None], found.columns, found.failed)


def test_no_polished_design_breaks_a_bent_limit(rng):
    problem = Bend()
    genes = problem.space.snapped(rng.uniform(0.05, 0.4, (12, 4)))
    genes = genes[(problem.evaluate(genes).margins <= 0.0)[:, 0]]
    f = problem.evaluate(genes).objectives
    _, outcome = polished(
        genes, f, space=problem.space, held=np.full(4, np.nan), evaluate=problem.evaluate
    )
    assert (outcome.margins <= 0.0).all()
    main = np.arange(len(f)) % 2
    main[f.argmin(axis=0)] = [0, 1]
    rows = np.arange(len(f))
    assert (outcome.objectives[rows, main] <= f[rows, main]).all()
    assert (outcome.objectives[rows, main] < f[rows, main] - 1e-3).mean() > 0.7


def test_the_ends_of_a_front_go_on_at_the_cost_of_the_others():
    ridge = Ridge()
    # All on the front already: only its ends have somewhere to go.
    genes = np.array([[x, 0.3, 0.3, 0.25] for x in (0.2, 0.4, 0.6)])
    f = ridge.evaluate(genes).objectives
    _, outcome = polished(
        genes, f, space=ridge.space, held=np.full(4, np.nan), evaluate=ridge.evaluate
    )
    assert outcome.objectives[0, 0] < 1e-3
    assert outcome.objectives[2, 1] == pytest.approx(0.01, rel=0.05)  # x0 = 0.9 at most
    assert outcome.objectives[1] == pytest.approx(f[1], abs=2e-3)
