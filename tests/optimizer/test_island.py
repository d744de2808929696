import dataclasses

import numpy as np
import pytest

from optimizer.front import Front
from optimizer.intake import allowed, received
from optimizer.island import advance
from optimizer.problem import Outcome
from optimizer.selection import violation
from optimizer.state import EVALUATIONS, Tuning, founded, state_from
from tests.optimizer.stand_in import StandIn

TUNING = Tuning(population=40, offspring=120, first_sample=3, polish_every=1500, cloud=300)


def same(a, b):
    return all((a.arrays()[k] == v).all() or k == "held" for k, v in b.arrays().items())


def island(number=0, seed=1):
    return founded((seed, 0, number), StandIn())


def test_the_same_seed_gives_the_same_bits_and_another_seed_others():
    one, _ = advance(island(), StandIn(), TUNING, 6000)
    two, _ = advance(island(), StandIn(), TUNING, 6000)
    other, _ = advance(island(seed=2), StandIn(), TUNING, 6000)
    assert same(one, two)
    assert one.front_objectives.tobytes() != other.front_objectives.tobytes()


@pytest.mark.parametrize("stops", [1, 3, 17])
def test_an_island_stopped_after_any_generation_goes_on_to_the_same_bits(stops):
    whole, _ = advance(island(), StandIn(), TUNING, 5000)
    left = iter([False] * stops + [True])
    part, report = advance(island(), StandIn(), TUNING, 5000, lambda: next(left))
    assert not report.finished
    again = state_from({k: v.copy() for k, v in part.arrays().items()})
    rest, report = advance(again, StandIn(), TUNING, 5000)
    assert report.finished
    assert same(whole, rest)


def test_advancing_changes_nothing_in_the_state_handed_in():
    start, _ = advance(island(), StandIn(), TUNING, 2000)
    before = {k: v.tobytes() for k, v in start.arrays().items()}
    advance(start, StandIn(), TUNING, 4000)
    assert before == {k: v.tobytes() for k, v in start.arrays().items()}


def test_the_archive_holds_what_its_genes_evaluate_to_and_all_of_it_feasible():
    problem = StandIn()
    state, _ = advance(island(), problem, TUNING, 5000)
    outcome = problem.evaluate(state.front_genes)
    assert (outcome.objectives == state.front_objectives).all()
    assert (violation(outcome.margins) == 0.0).all()
    cloud = problem.evaluate(state.cloud_genes)
    assert len(state.cloud_genes) > 50
    assert (violation(cloud.margins) == 0.0).all()


def test_a_sub_run_never_leaves_the_level_it_holds():
    problem = StandIn()
    held = np.full(7, np.nan)
    held[3] = problem.space.centres[3, 2]
    state, _ = advance(founded((1, 0, 1000), problem, None, held), problem, TUNING, 4000)
    assert (state.front_genes[:, 3] == held[3]).all()
    assert (state.genes[:, 3] == held[3]).all()


def test_seeds_are_evaluated_first():
    problem = StandIn()
    good, _ = advance(island(), problem, TUNING, 8000)
    seeded = founded((9, 0, 0), problem, good.front_genes)
    state, _ = advance(seeded, problem, TUNING, 1)
    best = {tuple(f) for f in good.front_objectives}
    assert len(best & {tuple(f) for f in state.front_objectives}) > 0.9 * len(best)


def test_visitors_take_part_in_population_and_archive():
    problem = StandIn()
    state, _ = advance(island(), problem, TUNING, 2000)
    other, _ = advance(island(1, 7), problem, TUNING, 8000)
    made = received(state, other.front, 4, TUNING)
    assert made.front.merged(other.front, 10**6)[1].sum() == 0
    assert state.front.size != made.front.size
    nobody = received(state, Front.empty(7, 2, 2), 4, TUNING)
    assert same(nobody, state)


def test_without_feasible_designs_the_nearest_is_kept_and_gets_nearer():
    problem = StandIn(hopeless=True)
    early, _ = advance(island(), problem, TUNING, 400)
    late, _ = advance(early, problem, TUNING, 4000)
    assert not late.front.size
    near = [violation(s.nearest_margins)[0] for s in (early, late)]
    assert near[1] <= near[0]
    # Only the limit that cannot be met is left.
    assert (late.nearest_margins[0, [0, 1, 3]] <= 0.0).all()


class Narrow:
    """Sixty limits, a feasible share far below what sampling finds, one limit huge in size."""

    def __init__(self):
        self.space = StandIn().space
        rng = np.random.default_rng(4)
        kinds, levels = np.array([0] * 20 + [1] * 6), np.array([0] * 20 + [30] * 6)
        self.space = type(self.space).uniform(kinds, levels, np.arange(26) // 7)
        self.normal = rng.standard_normal((60, 26))
        self.normal /= np.linalg.norm(self.normal, axis=1)[:, None]
        self.inside = self.space.snapped(rng.uniform(0.2, 0.8, (1, 26)))[0]
        self.size = np.ones(60)
        self.size[:20] = 1e3
        self.name = self.topology = "narrow"
        self.sizes = (2, 60, 2)

    def evaluate(self, genes):
        off = (genes - self.inside) @ self.normal.T
        f = np.stack([genes[:, 0], 1.0 - genes[:, 0] + genes[:, 1]], axis=1)
        return Outcome(f, (off - 0.04) * self.size, f, np.zeros(len(f), dtype=bool))


@pytest.mark.parametrize("number", [0, 1])
def test_a_needle_among_sixty_limits_is_found(number):
    problem = Narrow()
    sample = problem.space.snapped(np.random.default_rng(0).random((100_000, 26)))
    assert not (problem.evaluate(sample).margins <= 0.0).all(axis=1).any()
    tuning = dataclasses.replace(TUNING, population=100, offspring=300)
    state, _ = advance(founded((3, 0, number), problem), problem, tuning, 40_000)
    assert state.front.size > 0


EASED = dataclasses.replace(TUNING, relaxed=2000)


def test_limits_become_strict_with_the_evaluations_at_three_paces():
    paces = []
    for number in range(4):
        state, _ = advance(island(number), StandIn(), TUNING, 500)
        assert state.front.size
        found = []
        for spent in (1, 200, 600, 1500, 2000, 4000):
            state.clock[EVALUATIONS] = spent
            found.append(allowed(state, EASED))
        assert found == sorted(found, reverse=True)
        assert found[0] == pytest.approx(1.0, abs=0.01)
        assert found[-1] == 0.0
        paces.append(found[2])
    # A third of the time, all of it, five thirds, and a third again.
    assert paces == pytest.approx([(1 - 600 / end) ** 3 if end > 600 else 0.0
                                   for end in (2000 / 3, 2000, 10000 / 3, 2000 / 3)])  # fmt: skip


def test_limits_are_strict_without_a_feasible_design_from_seeds_and_in_trials():
    assert allowed(island(), EASED) == 0.0
    free, _ = advance(island(), StandIn(), TUNING, 500)
    assert allowed(free, EASED) > 0.0
    assert allowed(free, TUNING) == 0.0
    seeded = founded((1, 0, 0), StandIn(), seeds=free.front_genes)
    seeded, _ = advance(seeded, StandIn(), TUNING, 500)
    assert seeded.front.size
    assert allowed(seeded, EASED) == 0.0
    held = free.copied()
    held.held[0] = 0.0
    assert allowed(held, EASED) == 0.0


class Strait:
    """Two shores with a strait that fails its one limit a little; the far shore is better."""

    def __init__(self):
        kinds = [0] * 20
        self.space = type(StandIn().space).uniform(kinds, kinds, kinds)
        self.blocks, self.name, self.topology, self.sizes = None, "strait", "strait", (2, 1, 2)

    def evaluate(self, genes):
        x = genes.mean(axis=1)
        wet = np.minimum(x - 0.60, 0.72 - x)
        f = np.stack([genes[:, 0] - 6.0 * x, 1.0 - genes[:, 0] - 6.0 * x], axis=1)
        return Outcome(f, 3.0 * wet[:, None], f, np.zeros(len(f), dtype=bool))


def crossings(tuning):
    """How many of six islands reach the far shore."""
    made = dataclasses.replace(tuning, polish_every=10**9)
    ends = [
        advance(founded((seed, 0, 1), Strait()), Strait(), made, 4000)[0].front_genes
        for seed in range(6)
    ]
    return sum((genes.mean(axis=1) > 0.71).any() for genes in ends)


def test_relaxed_limits_cross_a_strait_before_which_strict_ones_stay():
    assert crossings(EASED) >= 2 * crossings(TUNING) + 2


def test_an_island_that_an_older_version_stored_goes_on():
    state, _ = advance(island(), StandIn(), TUNING, 2000)
    older = state.arrays() | {"clock": state.clock[:7]}
    again, report = advance(state_from(older), StandIn(), TUNING, 3000)
    assert report.finished
    assert len(again.clock) == len(state.clock)
