import moocore
import numpy as np
import pytest

from optimizer.front import Front, common, frame_of, lead, staircase


def front_of(f, start=0):
    ids = np.arange(start, start + len(f), dtype=float)[:, None]
    return Front(ids, f, ids)


def grown(batches, limit=10**9):
    front, first = Front.empty(1, batches[0].shape[1], 1), 0
    for batch in batches:
        front, _ = front.merged(front_of(batch, first), limit)
        first += len(batch)
    return front


def test_a_two_objective_archive_equals_brute_force_whatever_the_batches(rng):
    points = rng.integers(0, 60, (3000, 2)).astype(float)
    for sizes in ([3000], [1] * 50 + [2950], [300] * 10):
        front = grown(np.split(points, np.cumsum(sizes)[:-1]))
        keep = [
            i
            for i, p in enumerate(points)
            if not ((points <= p).all(axis=1) & (points < p).any(axis=1)).any()
        ]
        assert {tuple(p) for p in front.objectives} == {tuple(points[i]) for i in keep}
        # Of equal designs the first stays.
        for key, f in zip(front.genes[:, 0], front.objectives, strict=True):
            assert key == np.flatnonzero((points == f).all(axis=1))[0]


def test_the_archive_reports_who_entered(rng):
    front = front_of(np.array([[1.0, 1.0]]))
    merged, entered = front.merged(front_of(np.array([[0.5, 2.0], [2.0, 2.0], [1.0, 1.0]])), 99)
    assert entered.tolist() == [True, False, False]
    assert merged.objectives.tolist() == [[0.5, 2.0], [1.0, 1.0]]


def test_hypervolume_never_falls_while_an_archive_grows(rng):
    front, last = Front.empty(1, 2, 1), 0.0
    for k in range(60):
        f = rng.random((50, 2)) + rng.exponential(0.3)
        front, _ = front.merged(front_of(f, 50 * k), 10**9)
        now = moocore.hypervolume(front.objectives, ref=[3.0, 3.0])
        assert now >= last
        last = now


def test_a_full_archive_thins_itself_and_keeps_its_ends(rng):
    x = rng.random(4000)
    f = np.stack([x, 1.0 - x], axis=1)
    front = grown(np.split(f, 20), limit=200)
    assert 100 <= front.size <= 200
    assert front.objectives.min() == f.min()


@pytest.mark.parametrize("m", [3, 4])
def test_many_objective_archives_stay_non_dominated_and_bounded(rng, m):
    f = np.abs(rng.standard_normal((4000, m)))
    f = 1.0 - f / np.linalg.norm(f, axis=1)[:, None]
    front = grown(np.split(f, 10), limit=1000)
    assert front.size <= 1000
    assert moocore.is_nondominated(front.objectives, keep_weakly=True).all()
    reference = np.full(m, 1.1)
    everything = moocore.hypervolume(f, ref=reference)
    # A quarter to a fifth of the designs is left of a cloud that is all front.
    assert moocore.hypervolume(front.objectives, ref=reference) > 0.9 * everything


def test_the_staircase_keeps_nothing_dominated():
    f = np.array([[2.0, 1.0], [1.0, 2.0], [1.0, 3.0], [3.0, 1.0], [1.5, 1.5]])
    assert staircase(f).tolist() == [1, 4, 0]


def test_the_common_front_names_owner_and_row():
    a = front_of(np.array([[0.0, 3.0], [2.0, 2.0]]))
    b = front_of(np.array([[1.0, 1.0]]))
    owner, row = common([Front.empty(1, 2, 1), a, b])
    assert sorted(zip(owner.tolist(), row.tolist(), strict=True)) == [(1, 0), (2, 0)]


def test_a_frame_measures_the_whole_of_a_perfect_point():
    frame = frame_of(np.array([[0.0, 4.0], [2.0, 1.0], [5.0, 0.0]]))
    assert frame.hypervolume(np.array([[0.0, 0.0]])) == pytest.approx(1.21)
    assert frame.hypervolume(np.array([[9.0, 9.0]])) == 0.0


def test_lead_is_the_least_step_by_which_a_front_is_behind():
    ahead = np.array([[0.0, 1.0], [1.0, 0.0]])
    assert lead(ahead, ahead + 0.3, np.ones(2)) == pytest.approx(0.3)
    assert lead(ahead, np.array([[0.1, 1.1], [0.4, 0.4]]), np.ones(2)) < 0.0
