import numpy as np
import pytest

from optimizer.budget import Merit, Settings, hopeless, shares
from optimizer.front import Frame, Front
from optimizer.problem import CHUNK

FRAME = Frame(np.zeros(2), np.ones(2))


def front(f):
    f = np.asarray(f, dtype=float)
    return Front(f, f, f)


LINE = np.stack([np.linspace(0, 1, 20), np.linspace(1, 0, 20)], axis=1)


def test_all_get_the_same_before_merits_count():
    assert shares(900, np.array([True, True, True]), None).tolist() == [300, 300, 300]


def test_half_goes_equally_and_nobody_alive_is_starved():
    merits = [Merit(0.5, 0.5), Merit(0.0, 1.0), Merit(0.0, 0.0)]
    got = shares(1200, np.array([True, True, True]), merits)
    assert got.min() >= 200
    assert got[1] > got[0] > got[2]
    assert got.sum() == pytest.approx(1200, abs=3)


def test_what_was_given_up_gets_nothing():
    assert shares(1000, np.array([True, False]), None).tolist() == [1000, 0]


def test_a_structure_is_hopeless_only_when_still_and_dominated_everywhere():
    ahead, behind = front(LINE), front(LINE + 0.2)
    still, moving = Merit(0.5, 0.5), Merit(0.4, 0.5)

    def judged(own, merit, before=None, rivals=(0,)):
        return hopeless(
            1, [ahead, own], before or own, rivals=list(rivals), frame=FRAME, merit=merit
        )

    assert judged(behind, still)
    assert not judged(behind, moving)
    assert not judged(front(LINE + np.array([0.2, -0.2])), still)
    assert not judged(behind, still, rivals=())
    # It came nearer by more than it is behind.
    assert not judged(behind, still, before=front(LINE + 0.6))


def test_a_structure_without_design_is_hopeless_only_beside_one_that_has_some():
    nothing = Front.empty(2, 2, 2)
    merit = Merit(0.0, 0.0)
    arguments = {"rivals": [0], "frame": FRAME, "merit": merit}
    assert hopeless(1, [front(LINE), nothing], nothing, **arguments)
    assert not hopeless(1, [nothing, nothing], nothing, **arguments)


def test_small_budgets_get_small_populations_and_large_ones_many_rounds():
    small, large = Settings(evaluations=20_000), Settings(evaluations=100_000_000)
    assert small.tuning(20).population == 32
    assert small.tuning(20).first_sample * 32 < 20_000 / 60
    assert large.tuning(2).population == 100
    assert small.rounds(20) == 24
    assert large.rounds(20) * 20 * 3 * large.round_evaluations >= 100_000_000


@pytest.mark.parametrize("evaluations", [20_000, 200_000, 10_000_000])
def test_a_generation_fills_whole_chunks(evaluations):
    assert Settings(evaluations=evaluations).tuning(6).offspring % CHUNK == 0


def test_a_small_sweep_spends_nothing_on_gradients():
    assert Settings(evaluations=20_000).tuning(1).polish_every >= 20_000
    assert Settings(evaluations=200_000).tuning(1).polish_every < 10_000
