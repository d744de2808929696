"""A round cut into pieces is the same round, and leaves nobody idle at its end."""

import numpy as np
import pytest

from optimizer.engine import Job
from optimizer.island import Report, advance
from optimizer.pieces import LONGEST, SHORTEST, Pieces
from optimizer.state import EVALUATIONS, Tuning, founded
from tests.optimizer.stand_in import StandIn

TUNING = Tuning(population=40, offspring=80, polish_every=1500)


def jobs(*targets):
    return [Job(i, i, founded((1, i, 0), StandIn()), target) for i, target in enumerate(targets)]


def walked(piece, cost=1e-3):
    """Return a piece as done by a worker that needs ``cost`` seconds an evaluation."""
    state = piece.state.copied()
    state.clock[EVALUATIONS] = piece.target
    count = piece.target - piece.state.evaluations
    return piece.island, state, Report(count, cost * count, cost * count, True)


def test_an_island_in_pieces_has_the_bits_of_one_in_a_piece():
    problem = StandIn()
    (job,) = jobs(6000)
    whole, _ = advance(job.state, problem, TUNING, job.target)
    pieces, speed = Pieces([job], {}), 4e-3
    count = 0
    while pieces:
        piece = pieces.taken(2)
        state, report = advance(piece.state, problem, TUNING, piece.target)
        slow = Report(report.evaluations, speed * report.evaluations, 0.0, True)
        _, state, report = pieces.returned(piece, (piece.island, state, slow))
        assert report.finished == (state.evaluations >= job.target)
        count += 1
    assert count > 3
    for name, array in whole.arrays().items():
        assert np.array_equal(array, state.arrays()[name], equal_nan=True), name


def test_what_most_is_left_of_goes_first_and_strangers_before_all():
    pieces = Pieces(jobs(5000, 9000, 2000), {0: 1e-3, 1: 1e-3})
    assert [pieces.taken(2).island for _ in range(3)] == [2, 1, 0]
    assert not pieces


@pytest.mark.parametrize("cost", [1e-5, 1e-3])
def test_pieces_take_seconds_not_minutes(cost):
    pieces = Pieces(jobs(3_000_000), {0: cost})
    piece = pieces.taken(1)
    assert SHORTEST <= cost * piece.target <= 1.2 * LONGEST


def test_three_equal_islands_share_two_workers_evenly():
    """Uncut, one worker would idle through the third: 20 s instead of 15 s."""
    cost, pieces = 1e-3, Pieces(jobs(10_000, 10_000, 10_000), dict.fromkeys(range(3), 1e-3))
    now, running = 0.0, {}
    while pieces or running:
        for worker in {0, 1} - running.keys():
            if pieces:
                piece = pieces.taken(2)
                length = cost * (piece.target - piece.state.evaluations)
                running[worker] = (now + length, piece)
        worker = min(running, key=lambda k: running[k][0])
        now, piece = running.pop(worker)
        pieces.returned(piece, walked(piece, cost))
    assert now <= 15.0 + SHORTEST


def test_a_lost_piece_comes_back_as_it_was_and_is_counted():
    pieces = Pieces(jobs(5000), {0: 1e-3})
    first = pieces.taken(2)
    assert [pieces.failed(first), bool(pieces)] == [1, True]
    again = pieces.taken(2)
    assert again.state is first.state
    assert pieces.failed(again) == 2
    pieces.returned(pieces.taken(2), walked(again))
    assert pieces.failed(pieces.taken(2)) == 1
