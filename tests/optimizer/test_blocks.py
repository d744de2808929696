import dataclasses

import numpy as np
import pytest

from optimizer.blocks import BEST, CHILDREN, Blocks, Kept, blocks_of, composed
from optimizer.island import advance
from optimizer.problem import Outcome
from optimizer.selection import violation
from optimizer.state import Tuning, founded, state_from
from tests.optimizer.stand_in import StandIn

FIELDS = ("boost.f", "boost.choke.turns", "boost.choke.core", "boost.switch.row", "box.height")
LIMITS = (
    "boost.duty",
    "boost.choke.fill",
    "boost.switch_2.voltage",
    "boost.switch_2.junction",
    "box.packing",
    "grid.distortion",
)
BLOCKS = Blocks.of(FIELDS, LIMITS)


def test_a_stage_holds_its_parts_and_their_limits():
    assert BLOCKS.names == ("boost", "box", "boost.choke", "boost.switch")
    assert BLOCKS.genes.astype(int).tolist() == [
        [1, 1, 1, 1, 0], [0, 0, 0, 0, 1], [0, 1, 1, 0, 0], [0, 0, 0, 1, 0],
    ]  # fmt: skip
    # Temperatures are everybody's fault, the mains current nobody's in particular.
    assert BLOCKS.limits.astype(int).tolist() == [
        [1, 1, 1, 0, 0, 0], [0, 0, 0, 0, 1, 0], [0, 1, 0, 0, 0, 0], [0, 0, 1, 0, 0, 0],
    ]  # fmt: skip


def test_a_block_is_judged_by_its_own_limits_and_its_load():
    margins = np.array([[-1.0, 3.0, -1.0, 9.0, -1.0, 9.0]])
    loads = np.array([[0.0, 0.0, 0.0, 1.0]])
    outcome = Outcome(margins, margins, margins, np.zeros(1, dtype=bool), loads)
    assert BLOCKS.violated(margins).tolist() == [[True, False, True, False]]
    expected = [[np.log(4.0), 0.0, np.log(4.0), np.log(2.0)]]
    assert BLOCKS.scores(outcome) == pytest.approx(np.array(expected))


def test_every_block_keeps_what_did_best_in_it(rng):
    genes, scores = rng.random((200, 5)), rng.random((200, 4))
    kept = Kept(np.zeros((4, 0, 5)), np.zeros((4, 0)))
    for rows in (slice(0, 70), slice(70, 200)):
        kept = kept.with_more(genes[rows], scores[rows])
    assert kept.scores.shape == (4, BEST)
    for block in range(4):
        best = np.argsort(scores[:, block])[:BEST]
        assert (kept.genes[block] == genes[best]).all()


def test_composed_designs_lie_in_the_space(rng):
    problem = Chain()
    genes = problem.space.snapped(rng.random((64, problem.space.size)))
    outcome = problem.evaluate(genes)
    kept = Kept(
        np.zeros((problem.parts, 0, problem.space.size)), np.zeros((problem.parts, 0))
    ).with_more(genes, problem.blocks.scores(outcome))
    made = composed(
        rng, problem.space, problem.blocks, kept=kept, parents=genes, margins=outcome.margins
    )
    assert made.shape == (CHILDREN, problem.space.size)
    assert (problem.space.snapped(made) == made).all()


class Chain:
    """Parts that each few designs get right, all of them together none."""

    parts = 12

    def __init__(self, named=True):
        v = 4 * self.parts
        self.space = type(StandIn().space).uniform(
            [0, 0, 1, 2] * self.parts, [0, 0, 20, 9] * self.parts, [0] * v
        )
        names = [f"part{i}" for i in range(self.parts)]
        self.blocks = None
        if named:
            fields = [f"{n}.{x}" for n in names for x in "abcd"]
            self.blocks = Blocks.of(fields, [f"{n}.{x}" for n in names for x in ("one", "two")])
        self.best = np.random.default_rng(8).uniform(0.2, 0.8, v)
        self.name = self.topology = "chain"
        self.sizes = (2, 2 * self.parts, 2)

    def evaluate(self, genes):
        off = np.abs(genes - self.best).reshape(len(genes), self.parts, 4)
        row = np.where(off[:, :, 3] < 0.06, 0.0, 0.5)  # the order of rows says nothing
        one = off[:, :, 0] + off[:, :, 2] + row - 0.15
        two = np.abs(off[:, :, 1] - off[:, :, 2]) + row - 0.15
        margins = np.stack([one, two], axis=2).reshape(len(genes), -1)
        f = np.stack([genes[:, 0], 1.0 - genes[:, 0] + genes[:, 1]], axis=1)
        return Outcome(f, margins, f, np.zeros(len(f), dtype=bool))


TUNING = Tuning(population=40, offspring=120, first_sample=3)


def first_feasible(problem, seed, limit):
    state = founded((seed, 0, 0), problem)
    while not state.front.size and state.evaluations < limit:
        state, _ = advance(state, problem, TUNING, state.evaluations + 1)
    return state


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_naming_blocks_finds_a_feasible_design_in_a_fraction_of_the_evaluations(seed):
    found = first_feasible(Chain(), seed, 8000)
    assert found.front.size
    assert (violation(Chain().evaluate(found.front_genes).margins) == 0.0).all()
    plain = first_feasible(Chain(named=False), seed, 2 * found.evaluations)
    assert not plain.front.size


def test_what_blocks_kept_is_dropped_with_the_first_feasible_design():
    before = founded((1, 0, 0), Chain())
    after, _ = advance(before, Chain(), TUNING, 400)
    assert after.block_scores.shape == (12, BEST)
    found = first_feasible(Chain(), 1, 8000)
    assert found.block_scores.shape == (12, 0)


def test_a_stop_between_compositions_changes_no_bit():
    whole, _ = advance(founded((1, 0, 0), Chain()), Chain(), TUNING, 3000)
    left = iter([False, False, False, True])
    part, _ = advance(founded((1, 0, 0), Chain()), Chain(), TUNING, 3000, lambda: next(left))
    again = state_from({k: v.copy() for k, v in part.arrays().items()})
    rest, _ = advance(again, Chain(), TUNING, 3000)
    assert all(v.tobytes() == rest.arrays()[k].tobytes() for k, v in whole.arrays().items())


def test_a_held_gene_stays_while_blocks_are_exchanged():
    problem = Chain()
    held = np.full(problem.space.size, np.nan)
    held[3] = problem.space.centres[3, 0]
    state, _ = advance(founded((1, 0, 1000), problem, None, held), problem, TUNING, 1500)
    assert (state.genes[:, 3] == held[3]).all()
    assert (state.block_genes[:, :, 3] == held[3]).all()


def test_problems_need_not_name_blocks():
    assert blocks_of(StandIn()) is None
    assert blocks_of(dataclasses.make_dataclass("P", ["blocks"])(Blocks.of((), ()))) is None
