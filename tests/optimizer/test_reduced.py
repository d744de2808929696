"""A real topology whose true front is known, and the search against it."""

import numpy as np
import pytest

from optimizer.budget import Settings
from optimizer.engine import sweep
from optimizer.front import frame_of
from tests.optimizer.reduced import Reduced, true_front

AGAIN = "evaluate all again: tests/benchmarks/bench_reduced.py --enumerate"


@pytest.fixture(scope="module")
def problem():
    return Reduced()


def test_the_stored_front_is_what_the_models_say_today(problem):
    levels, objectives = true_front()
    some = np.unique(np.linspace(0, len(levels) - 1, 16).astype(int))
    found = problem.at_levels(levels[some].astype(np.int64))
    assert (found.margins <= 0.0).all(), f"a stored design is no longer feasible; {AGAIN}"
    assert found.objectives == pytest.approx(objectives[some], rel=1e-6), AGAIN


def test_genes_and_levels_are_the_same_designs(problem, rng):
    levels = problem.numbered(rng.integers(0, problem.count, 64))
    genes = problem.space.centres[np.arange(problem.space.size), levels]
    assert (problem.space.level(genes) == levels).all()
    assert (problem.evaluate(genes).objectives == problem.at_levels(levels).objectives).all()


@pytest.mark.slow
def test_the_true_front_is_found_but_for_a_percent(problem):
    _, best = true_front()
    frame = frame_of(best)
    found = sweep([problem], Settings(seed=1, evaluations=12_000)).fronts[0].objectives
    # Nothing may be better than the truth: then it is out of date.
    assert (
        frame.hypervolume(np.concatenate([found, best])) <= frame.hypervolume(best) * 1.000_001
    ), AGAIN
    assert frame.hypervolume(found) > 0.98 * frame.hypervolume(best)
