import numpy as np
import pytest

from optimizer.budget import Groups, Layout, Settings, shares
from optimizer.judging import hopeless
from optimizer.problem import CHUNK

LINE = np.stack([np.linspace(0, 1, 20), np.linspace(1, 0, 20)], axis=1)
ONE = Groups(("a",), np.zeros(3, dtype=np.int64))


def merits(*rows):
    return np.array([[*row, 0.0] for row in rows])


def test_all_get_the_same_before_merits_count():
    assert shares(900, np.ones(3, dtype=bool), ONE, None).tolist() == [300, 300, 300]


def test_half_goes_equally_and_nobody_alive_is_starved():
    known = merits((0.0, 1.0), (1.0, 1.0), (0.0, 0.0), (1.0, 1.0))
    got = shares(1200, np.ones(3, dtype=bool), ONE, known)
    assert got.min() >= 200
    assert got[1] > got[0] > got[2]
    assert got.sum() == pytest.approx(1200, abs=3)


def test_what_was_given_up_gets_nothing():
    two = Groups(("a",), np.zeros(2, dtype=np.int64))
    known = merits((1.0, 1.0), (1.0, 1.0), (1.0, 1.0))
    for m in (None, known):
        assert shares(1000, np.array([True, False]), two, m).tolist() == [1000, 0]


def test_a_topology_gets_no_more_for_having_many_structures():
    many = Groups(("a", "b"), np.array([0] * 60 + [1]))
    known = merits(*[(1.0, 1.0)] * 63)
    got = shares(120_000, np.ones(61, dtype=bool), many, known)
    assert got[60] == pytest.approx(60_000, rel=1e-3)
    assert got[:60].sum() == pytest.approx(60_000, rel=1e-2)


def test_a_topology_without_any_merit_keeps_its_guaranteed_share():
    groups = Groups(("a", "b", "c"), np.array([0, 0, 1, 2]))
    known = merits(*[(1.0, 1.0)] * 3, (0.0, 0.0), (1.0, 1.0), (1.0, 1.0), (0.0, 0.0))
    got = shares(60_000, np.ones(4, dtype=bool), groups, known)
    assert got[3] == 10_000


@pytest.mark.parametrize(
    ("own", "moved", "before", "expected"),
    [
        (LINE + 0.2, 0.0, LINE + 0.2, True),
        (LINE + 0.2, 0.2, LINE + 0.2, False),
        (LINE + np.array([0.2, -0.2]), 0.0, LINE, False),
        # At this pace it will be there in two windows.
        (LINE + 0.2, 0.0, LINE + 0.3, False),
    ],
)
def test_a_structure_is_hopeless_only_when_still_and_dominated_everywhere(
    own, moved, before, expected
):
    assert hopeless(own, before, [LINE], moved) == expected
    assert not hopeless(own, before, [], moved)


def test_a_structure_without_design_is_hopeless_only_beside_one_that_has_some():
    nothing = LINE[:0]
    assert hopeless(nothing, nothing, [LINE], 0.0)
    assert not hopeless(nothing, nothing, [nothing], 0.0)


def test_rings_are_for_budgets_that_can_pay_them():
    assert Settings(evaluations=600_000).layout(12) == Layout(1, 3)
    assert Settings(evaluations=30_000_000).layout(60) == Layout(2, 2)
    assert Settings(evaluations=30_000_000).layout(720) == Layout(1, 3)
    assert Settings(evaluations=2_000_000).layout(12) == Layout(1, 3)
    assert Settings(evaluations=20_000, islands=4, rings=2).layout(3) == Layout(2, 2)


def test_the_next_island_never_lies_in_another_ring():
    layout = Layout(2, 3)
    assert [layout.next(i) for i in range(6)] == [1, 2, 0, 4, 5, 3]
    assert [layout.ring(i) for i in range(6)] == [0, 0, 0, 1, 1, 1]


def test_small_budgets_get_small_populations_and_large_ones_many_rounds():
    small, large = Settings(evaluations=20_000), Settings(evaluations=100_000_000)
    assert small.tuning(20).population == 32
    assert small.tuning(20).first_sample * 32 < 20_000 / 60
    assert large.tuning(2).population == 100
    assert small.rounds(20) == 24
    islands = 20 * large.layout(20).islands
    assert large.rounds(20) * islands * large.round_evaluations >= 100_000_000


@pytest.mark.parametrize("evaluations", [20_000, 200_000, 10_000_000])
def test_a_generation_fills_whole_chunks(evaluations):
    assert Settings(evaluations=evaluations).tuning(6).offspring % CHUNK == 0


def test_a_small_sweep_spends_nothing_on_gradients():
    assert Settings(evaluations=20_000).tuning(1).polish_every >= 20_000
    assert Settings(evaluations=200_000).tuning(1).polish_every < 10_000
