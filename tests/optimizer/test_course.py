import dataclasses

import numpy as np
import pytest

from optimizer.budget import Settings
from optimizer.course import TURN, opened, planned, settled
from optimizer.island import advance
from tests.optimizer.stand_in import StandIn
from tests.optimizer.test_blocks import Chain

SETTINGS = Settings(seed=3, evaluations=30_000, islands=3)


def after_a_round(course, problems, settings):
    """Return the course behind the next barrier and the evaluations of every island."""
    tuning = settings.tuning(len(problems))
    course = planned(course, problems, settings)
    states = [
        advance(state, problems[course.owner(i)], tuning, target)[0]
        for i, (state, target) in enumerate(zip(course.states, course.targets, strict=True))
    ]
    course = settled(dataclasses.replace(course, states=states), problems, settings)
    return course, [s.evaluations for s in course.states]


def test_one_island_looks_for_the_first_feasible_design_and_the_others_start_from_there():
    problems = [Chain()]
    course = opened(problems, SETTINGS, {})
    rounds = 0
    while not course.fronts[0].size:
        course, spent = after_a_round(course, problems, SETTINGS)
        rounds += 1
        assert sum(n > 0 for n in spent) == 1
        assert rounds < 12
    sizes = [s.front.size for s in course.states]
    assert min(sizes) > 0
    _, more = after_a_round(course, problems, SETTINGS)
    assert all(b > a for a, b in zip(spent, more, strict=True))
    # They start alike and go their own ways.
    states = after_a_round(course, problems, SETTINGS)[0].states
    assert states[1].genes.tobytes() != states[2].genes.tobytes()


def test_islands_take_turns_while_nothing_feasible_is_known():
    course = opened([Chain()], SETTINGS, {})
    for spent, expected in ((0, 0), (TURN, 1), (2 * TURN, 2), (3 * TURN, 0)):
        there = dataclasses.replace(course, evaluations=np.array([spent]))
        now = [s.evaluations for s in there.states]
        given = planned(there, [Chain()], SETTINGS).targets - now
        assert np.flatnonzero(given).tolist() == [expected]


def test_islands_of_a_problem_without_blocks_all_search():
    course = planned(opened([StandIn()], SETTINGS, {}), [StandIn()], SETTINGS)
    assert len(set(course.targets.tolist())) == 1


@pytest.mark.parametrize("worse", [{"hopeless": True}, {"shift": 30.0}])
def test_a_structure_is_not_given_up_before_it_had_its_time(worse):
    problems = [StandIn("a"), StandIn("b", **worse)]
    problems[1].topology = problems[0].topology
    settings = dataclasses.replace(SETTINGS, evaluations=24_000)
    course = opened(problems, settings, {})
    given_up = None
    while course.barrier < 20 and given_up is None:
        course, _ = after_a_round(course, problems, settings)
        if not course.live[1]:
            given_up = int(course.evaluations[1])
    assert given_up is not None
    assert given_up >= 0.5 * 24_000 / 2
