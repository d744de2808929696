import dataclasses

import numpy as np
import pytest

import optimizer.engine as engine
from optimizer.archive import archived, open_run
from optimizer.budget import Groups, Settings
from optimizer.course import course_from, gathered, opened, planned, settled
from optimizer.encode import Kind
from optimizer.engine import SameProcess, resume, sweep
from optimizer.evidence import (
    AGREED,
    SNAPSHOTS,
    converged,
    disagreement,
    measured,
    quiet,
    with_snapshot,
)
from optimizer.island import advance
from optimizer.problem import Outcome
from optimizer.store import packed
from tests.optimizer.stand_in import StandIn, store_for

SETTINGS = Settings(seed=3, evaluations=90_000, islands=4, rings=2, least=2_000)


class Steps(StandIn):
    """A small problem of 65,536 designs, whose front a search finds to the last one."""

    def __init__(self, name, topology, shift=0.0):
        super().__init__(name, topology, shift)
        self.space = type(self.space).uniform([Kind.WHOLE] * 4, [16] * 4, [0, 0, 1, 1])
        self.sizes = (2, 1, 2)

    def evaluate(self, genes):
        a, b, c, d = genes.T
        first = a + 0.3 * np.abs(b - 0.4) + 0.1 * c + self.shift
        second = (1.0 - a) ** 2 + 0.3 * np.abs(d - 0.6) + 0.1 * (1.0 - c) + self.shift
        f = np.stack([first, second], axis=1)
        return Outcome(f, (b - 0.9)[:, None], f.copy(), np.zeros(len(f), dtype=bool))


def problems():
    """Return two structures and another topology."""
    return [Steps("a[1]", "a"), Steps("a[2]", "a", 0.7), Steps("b", "b", 0.05)]


def last_bits(course):
    return packed(archived(course, gathered(course, SETTINGS.tuning(3).front)))


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    """Sweep once, keeping every checkpoint; one is written after every island's turn."""
    saved = []
    patch = pytest.MonkeyPatch()
    patch.setattr(engine._Run, "_save", lambda run, course: saved.append(course.arrays()))
    patch.setattr(engine, "CHECKPOINT_EVERY", 0.0)
    with (
        np.errstate(all="raise", under="ignore"),
        store_for(tmp_path_factory.mktemp("runs"), problems(), SETTINGS) as store,
    ):
        result = sweep(problems(), SETTINGS, store)
    patch.undo()
    return store.folder, result, saved


def test_a_sweep_ends_when_nothing_moves_and_independent_seeds_agree(swept):
    folder, result, _ = swept
    assert (result.reason, result.exit_code, result.rings) == ("converged", 0, 2)
    assert 3 * SETTINGS.least <= result.evaluations < 0.8 * SETTINGS.evaluations
    for evidence in result.evidence:
        assert evidence.still
        assert evidence.agree
        assert evidence.moved < 1e-3
        assert evidence.disagreement < 5e-3
    status = open_run(folder).status
    assert status["reason"] == "converged"
    assert status["seeds"] == "2 independent, compared"
    assert [e["agree"] for e in status["evidence"]] == [True] * 3
    assert status["lines"][0]["moved"] == pytest.approx(status["evidence"][0]["moved"])


def test_what_looks_finished_must_stand_the_trial_of_absent_levels_first(swept):
    _, result, saved = swept
    tried = course_from(saved[-1]).tried
    assert 0 < tried < 0.7 * SETTINGS.evaluations
    assert result.evaluations >= 1.1 * tried


def test_killed_around_the_decision_a_sweep_resumes_to_the_same_end(swept, tmp_path):
    _, result, saved = swept
    expected = last_bits(course_from(saved[-1]))
    first = next(i for i, arrays in enumerate(saved) if course_from(arrays).tried)
    for k, at in enumerate([first - 1, first, first + 2, len(saved) - 9, len(saved) - 2]):
        root = tmp_path / str(k)
        with store_for(root, problems(), SETTINGS) as store:
            store.checkpoint(1, saved[at])
            again = resume(problems(), SETTINGS, store)
        assert (again.reason, again.barrier) == (result.reason, result.barrier)
        assert again.evaluations == result.evaluations
        stored = dict(np.load(store.folder / "archive.npz"))
        stored.pop("schema")
        assert packed(stored) == expected


def test_the_order_in_which_islands_finish_does_not_move_the_end(swept):
    class Backwards(SameProcess):
        def advance(self, jobs, tuning, stop):
            yield from super().advance(list(reversed(jobs)), tuning, stop)

    _, result, _ = swept
    other = sweep(problems(), SETTINGS, workers=Backwards(problems()))
    assert (other.reason, other.barrier) == (result.reason, result.barrier)
    for mine, theirs in zip(other.fronts, result.fronts, strict=True):
        assert mine.objectives.tobytes() == theirs.objectives.tobytes()


@pytest.mark.ray
@pytest.mark.slow
def test_a_worker_process_ends_where_this_process_does(swept):
    from optimizer.workers import RayWorkers

    _, result, _ = swept
    with RayWorkers(problems(), 1) as hands:
        other = sweep(problems(), SETTINGS, workers=hands)
    assert (other.reason, other.barrier) == (result.reason, result.barrier)
    for mine, theirs in zip(other.fronts, result.fronts, strict=True):
        assert mine.genes.tobytes() == theirs.genes.tobytes()


def test_a_sweep_told_not_to_converge_spends_everything():
    settings = dataclasses.replace(SETTINGS, converge=False, evaluations=30_000)
    result = sweep(problems(), settings)
    assert (result.reason, result.evaluations >= 30_000) == ("done", True)
    assert all(e.still and e.agree for e in result.evidence)


def test_one_ring_says_that_seeds_were_not_compared():
    settings = dataclasses.replace(SETTINGS, rings=1, evaluations=20_000)
    result = sweep(problems(), settings)
    assert result.reason == "done"
    assert result.summary()["seeds"] == "independent seeds not compared: budget too small"
    assert all(e.disagreement is None and e.agree is None for e in result.evidence)


class Endless(StandIn):
    """Keeps getting better for as long as anybody looks: forty variables to bring to a point."""

    def __init__(self):
        super().__init__("endless", "endless")
        kinds = np.zeros(40, dtype=np.int64)
        self.space = type(self.space).uniform(kinds, kinds, kinds)
        self.sizes = (2, 1, 2)

    def evaluate(self, genes):
        off = np.abs(genes[:, 1:] - 0.3).sum(axis=1)
        f = np.stack([genes[:, 0], 1.0 - genes[:, 0]], axis=1) + 0.2 * np.log(off + 1e-6)[:, None]
        return Outcome(f, np.full((len(f), 1), -1.0), f, np.zeros(len(f), dtype=bool))


def test_a_sweep_that_still_moves_goes_on():
    settings = dataclasses.replace(SETTINGS, evaluations=40_000, least=1_000)
    result = sweep([Endless()], settings)
    assert result.reason == "done"
    assert not result.evidence[0].still


def test_a_sweep_whose_seeds_disagree_goes_on(swept):
    _, _, saved = swept
    course = course_from(saved[-1])
    groups, layout = Groups.by(problems()), SETTINGS.layout(3)
    assert converged(course, SETTINGS)
    states = list(course.states)
    for i, state in enumerate(states):
        if course.owner(i) == 0 and layout.ring(int(state.key[2])) == 1:
            half = len(state.front_objectives) // 2
            states[i] = dataclasses.replace(state, front_objectives=state.front_objectives[:half])
    apart = dataclasses.replace(course, states=states)
    apart = dataclasses.replace(apart, evidence=measured(apart, groups, layout))
    assert apart.evidence[0, 1] < 1e-3
    assert apart.evidence[0, 2] > AGREED
    assert not quiet(apart, SETTINGS)
    assert not converged(apart, SETTINGS)


def test_fronts_of_equal_hypervolume_that_cover_other_sections_disagree():
    t = np.linspace(0.0, 1.0, 101)
    line = np.stack([t, 1.0 - t], axis=1)
    assert disagreement([line, line]) == 0.0
    assert disagreement([line[:60], line[41:]]) > 0.05
    assert disagreement([line, line[:0]]) == pytest.approx(1.0)
    assert disagreement([line[:0], line[:0]]) == 0.0


@pytest.mark.parametrize(("rings", "crossed"), [(1, True), (2, False)])
def test_nothing_crosses_from_one_ring_to_another(rings, crossed):
    settings = Settings(
        seed=1, evaluations=24_000, islands=4, rings=rings, isolated=0.0, probed=0.5
    )
    tuning, problem = settings.tuning(1), StandIn()
    course, trials = opened([problem], settings, {}), 0
    while course.barrier < settings.rounds(1):
        course = planned(course, [problem], settings)
        trials += sum(course.is_probe(i) for i in range(len(course.states)))
        states = [
            advance(s, problem, tuning, int(target))[0]
            for s, target in zip(course.states, course.targets, strict=True)
        ]
        for s in states:
            number = int(s.key[2])
            # What the upper islands and their trials know is marked.
            if number in (2, 3) or (number >= 1000 and number % 2):
                s.front_columns[:] = -7.0
        course = settled(dataclasses.replace(course, states=states), [problem], settings)
    marked = [bool((s.front_columns == -7.0).any()) for s in course.states]
    assert trials > 0
    assert marked == [crossed, crossed, True, True]


def test_snapshots_stay_few_however_many_barriers_there_are():
    problem = [StandIn()]
    course = opened(problem, SETTINGS, {})
    groups = Groups.by(problem)
    for barrier in range(1, 2000):
        course = with_snapshot(dataclasses.replace(course, barrier=barrier), groups)
        assert len(course.snapshots) <= 2 * SNAPSHOTS
    kept = [s[0] for s in course.snapshots]
    assert len(kept) > SNAPSHOTS - 2
    assert set(np.diff(kept)) == {course.spacing}
