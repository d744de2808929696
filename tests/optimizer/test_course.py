import dataclasses

import numpy as np
import pytest

from optimizer import exchange
from optimizer.budget import Settings
from optimizer.course import TURN, opened, planned, settled
from optimizer.island import advance
from optimizer.state import EVALUATIONS, founded
from tests.optimizer.stand_in import StandIn
from tests.optimizer.test_blocks import Chain

SETTINGS = Settings(seed=3, evaluations=30_000, islands=3)
SMALL = Settings(seed=3, evaluations=11_000, islands=3)


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


def test_on_a_small_budget_one_island_looks_for_a_feasible_design_and_others_start_from_there():
    problems = [Chain()]
    course = opened(problems, SMALL, {})
    rounds = 0
    while not course.fronts[0].size:
        course, spent = after_a_round(course, problems, SMALL)
        rounds += 1
        assert sum(n > 0 for n in spent) == 1
        assert rounds < 12
    sizes = [s.front.size for s in course.states]
    assert min(sizes) > 0
    _, more = after_a_round(course, problems, SMALL)
    assert all(b > a for a, b in zip(spent, more, strict=True))
    # They start alike and go their own ways.
    states = after_a_round(course, problems, SMALL)[0].states
    assert states[1].genes.tobytes() != states[2].genes.tobytes()


def test_where_the_budget_allows_every_island_finds_a_feasible_design_of_its_own():
    problems = [Chain()]
    course, settings = opened(problems, SETTINGS, {}), SETTINGS
    assert settings.tuning(1).own > 0
    firsts = {}
    while len(firsts) < 3:
        course, spent = after_a_round(course, problems, settings)
        for i, state in enumerate(course.states):
            if state.front.size and i not in firsts:
                firsts[i] = state.front_genes[0]
                # Nobody took it from a neighbour.
                assert spent[i] < settings.tuning(1).own
    assert min(spent) > 0
    assert not np.allclose(firsts[0], firsts[1])
    assert not np.allclose(firsts[1], firsts[2])


def test_an_island_that_has_looked_in_vain_for_long_is_helped():
    own = SETTINGS.tuning(1).own
    for spent, helped in ((own - 1, False), (own, True)):
        course, _ = after_a_round(opened([StandIn()], SETTINGS, {}), [StandIn()], SETTINGS)
        lost = founded((SETTINGS.seed, 0, 1), StandIn())
        lost.genes, lost.objectives, lost.margins = (
            course.states[0].genes, course.states[0].objectives, course.states[0].margins + 9.0,
        )  # fmt: skip
        lost.clock[EVALUATIONS] = spent
        course.states[1] = lost
        made = exchange.helped(course, [StandIn()], SETTINGS, SETTINGS.tuning(1))
        assert (made.states[1].front.size > 0) == helped


def test_where_none_finds_a_feasible_design_all_goes_to_the_nearest():
    own = SETTINGS.tuning(1).own
    course = opened([Chain()], SETTINGS, {})
    for state, off in zip(course.states, (0.9, 0.3, 0.6), strict=True):
        state.nearest_margins = np.full((1, Chain().sizes[1]), off)
        state.clock[EVALUATIONS] = own
    course = dataclasses.replace(course, evaluations=np.array([3 * own]))
    given = planned(course, [Chain()], SETTINGS).targets
    assert np.flatnonzero(given).tolist() == [1]
    course.states[2].clock[EVALUATIONS] = own - 1
    assert (planned(course, [Chain()], SETTINGS).targets > 0).all()


def test_islands_take_turns_while_nothing_feasible_is_known():
    course = opened([Chain()], SMALL, {})
    for spent, expected in ((0, 0), (TURN, 1), (2 * TURN, 2), (3 * TURN, 0)):
        there = dataclasses.replace(course, evaluations=np.array([spent]))
        now = [s.evaluations for s in there.states]
        given = planned(there, [Chain()], SMALL).targets - now
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
