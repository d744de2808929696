import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest

from optimizer.archive import open_run
from optimizer.budget import Groups, Settings
from optimizer.course import opened, planned, settled
from optimizer.engine import resume, sweep
from optimizer.evidence import Dominated, dominated
from optimizer.exchange import helped
from optimizer.front import Front
from optimizer.island import advance
from optimizer.judging import Marks, judged, sheddings
from optimizer.launch import prepared
from optimizer.outcome import dominated_text, objective_names
from optimizer.problem import Outcome
from optimizer.state import SEEN
from optimizer.store import Store
from tests.optimizer.stand_in import StandIn, store_for

SETTINGS = Settings(seed=4, evaluations=48_000, islands=2)


class Slow(StandIn):
    """Better than the others, but only where five variables meet: found late."""

    def evaluate(self, genes):
        found = super().evaluate(genes)
        off = np.abs(genes[:, [0, 1, 4, 6]] - np.array([0.4, 0.3, 0.6, 0.2])).max(axis=1)
        extra = 8.0 * np.minimum(off / 0.3, 1.0) - 1.5
        f = found.objectives + np.stack([extra, 0.02 * extra], axis=1)
        return Outcome(f, found.margins, f.copy(), found.failed)


def five():
    """Return five candidates of unequal difficulty in three topologies."""
    return [
        StandIn("a[1]", "a"),
        Slow("a[2]", "a"),
        StandIn("a[3]", "a", shift=25.0),
        StandIn("b", "b", shift=2.0),
        StandIn("c", "c", hopeless=True),
    ]


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    with (
        np.errstate(all="raise", under="ignore"),
        store_for(tmp_path_factory.mktemp("runs"), five(), SETTINGS) as store,
    ):
        told = []
        result = sweep(five(), SETTINGS, store, told.append)
        return store.folder, result, [p for p in told if p.round_ended]


def test_every_topology_gets_its_guaranteed_share_and_none_more_for_its_structures(swept):
    _, result, told = swept
    shares = {e.topology: e.share for e in result.evidence[:-1]}
    # A quarter of the designs goes first, equally to the five; trials take a quarter of
    # what is left at 70 %; half of the rest goes to the three topologies.
    least = {"a": 0.25 * 3 / 5, "b": 0.25 / 5, "c": 0.25 / 5}
    for name, first in least.items():
        assert shares[name] >= first + (0.75 - 0.075) * 0.5 / 3 - 0.005
    assert [line.structures for line in told[-1].lines] == [2, 1, 1]
    assert sum(shares.values()) == pytest.approx(1.0)


def test_a_good_structure_that_starts_slowly_lives_and_a_bad_one_goes(swept):
    _, result, _ = swept
    assert [s.candidate for s in result.shed] == [2]
    assert result.fronts[1].objectives[:, 0].min() < result.fronts[0].objectives[:, 0].min()


def test_what_is_given_up_is_written_down_with_its_evidence(swept):
    folder, result, _ = swept
    events = [e for e in open_run(folder).events()[0] if e["event"] == "shed"]
    assert len(events) == len(result.shed) == 1
    event = events[0]
    assert (event["candidate"], event["rival"]) == ("a[3]", "a[2]")
    assert event["why"] == "dominated everywhere and still"
    assert event["lead"] > 0.0
    assert event["moved"] < 1e-3
    assert event["evaluations"] >= SETTINGS.patience(5)
    assert result.summary()["shed"][0].items() <= event.items()


def test_a_topology_dominated_everywhere_is_named_with_its_distance(swept):
    folder, result, told = swept
    status = json.loads((folder / "status.json").read_text())
    assert [d["topology"] for d in status["dominated"]] == ["b"]
    assert "dominated everywhere" in told[-1].lines[1].note
    found = result.dominated[0]
    assert found.distance > 0.0
    assert all(0.0 < least <= middle for _, least, middle in found.gaps)


def test_the_distance_is_taken_at_equal_other_objectives():
    t = np.linspace(0.0, 1.0, 11)
    ahead = np.stack([t, 1.0 - t], axis=1)
    groups = Groups(("a", "b"), np.array([0, 1]))
    found = dominated([ahead, ahead + 0.1], groups, ("x", "y"))
    assert [d.topology for d in found] == ["b"]
    assert found[0].distance == pytest.approx(0.1)
    for _, least, middle in found[0].gaps:
        assert least == pytest.approx(0.1)
        assert middle == pytest.approx(0.2)
    assert dominated([ahead, ahead + np.array([0.1, -0.2])], groups, ("x", "y")) == ()


@pytest.mark.parametrize("rings", [1, 2])
def test_a_sweep_overruns_its_budget_by_less_than_a_generation_of_every_island(rings):
    settings = dataclasses.replace(SETTINGS, evaluations=30_000, rings=rings, probed=2.0)
    problems, tuning = five(), settings.tuning(5)
    course, islands = opened(problems, settings, {}), 5 * settings.layout(5).islands
    while course.barrier < settings.rounds(5):
        course = planned(course, problems, settings)
        course.states = [
            advance(s, problems[course.owner(i)], tuning, int(target))[0]
            for i, (s, target) in enumerate(zip(course.states, course.targets, strict=True))
        ]
        course = settled(course, problems, settings)
        spent, done = int(course.evaluations.sum()), course.barrier / settings.rounds(5)
        # The first generation is the largest.
        largest = max(tuning.offspring, tuning.population * tuning.first_sample)
        assert spent <= 30_000 * done + islands * largest
    assert 30_000 - 5 * 24 <= spent <= 30_000 + islands * tuning.offspring


def test_at_most_half_of_a_topology_goes_at_once_and_memory_comes_free():
    problems = [StandIn(f"a[{i}]", "a", shift=4.0 * i) for i in range(8)]
    settings = Settings(seed=2, evaluations=100_000, islands=1)
    result = sweep(problems, settings)
    gone = np.array([s.evaluations for s in result.shed])
    assert len(gone) >= 4
    assert (gone >= settings.patience(8)).all()
    barriers, counts = np.unique([s.barrier for s in result.shed], return_counts=True)
    live = 8
    for _, count in sorted(zip(barriers, counts, strict=True)):
        assert count <= live // 2
        live -= count
    # Of those past hope the farthest behind goes first.
    assert result.shed[0].candidate == max(
        s.candidate for s in result.shed if s.barrier == result.shed[0].barrier
    )
    assert 0 not in [s.candidate for s in result.shed]


def test_time_used_before_an_interruption_counts(tmp_path):
    settings = dataclasses.replace(SETTINGS, time_limit=3600.0)
    with store_for(tmp_path, five(), settings) as store:
        course = planned(opened(five(), settings, {}), five(), settings)
        store.checkpoint(0, course.arrays() | {"seconds": np.array(3599.999)})
        result = resume(five(), settings, store)
    assert (result.reason, result.barrier) == ("time", 1)
    assert 3600.0 < result.seconds < 3660.0
    assert open_run(store.folder).status["elapsed"] > 3600.0


def test_hundreds_of_structures_fit_into_memory():
    settings = Settings(evaluations=30_000_000, islands=4, rings=2)
    tuning, layout = settings.tuning(720), settings.layout(720)
    rows = 8 * (80 + 2 + 30)
    each = layout.islands * (4 * tuning.seen + rows * (tuning.archive + tuning.cloud))
    assert 720 * (each + rows * tuning.front) < 1.1e9
    assert Settings(evaluations=30_000_000).tuning(2).seen == SEEN


def test_a_checkpoint_reads_back_as_the_same_course(swept):
    from optimizer.course import course_from
    from optimizer.store import latest_checkpoint

    folder, result, _ = swept
    with Store(folder):
        arrays = latest_checkpoint(folder)
    course = course_from(arrays)
    again = course.arrays()
    assert {k for k in arrays if k != "seconds"} == set(again)
    for name, value in again.items():
        assert value.tobytes() == arrays[name].tobytes(), name
    assert len(course.shed) == len(result.shed)


def test_half_go_on_a_rung_the_farthest_behind_first_and_the_next_costs_twice_as_much():
    problems = [StandIn(f"a[{i}]", "a") for i in range(8)]
    settings, groups = Settings(evaluations=80_000), Groups.by(problems)
    line = np.stack([np.linspace(0.0, 1.0, 20), np.linspace(1.0, 0.0, 20)], axis=1)
    fronts = [Front(line + 0.2 * i, line + 0.2 * i, line) for i in range(8)]
    course = dataclasses.replace(
        opened(problems, settings, {}),
        fronts=fronts,
        stale=np.full(8, 3),
        marks=Marks((*(f.objectives for f in fronts), line), np.full(9, 5_000)),
    )

    def live_after(evaluations, before):
        spent = np.where(before.live, evaluations, before.evaluations)
        made = judged(dataclasses.replace(before, evaluations=spent), groups, settings)
        return made, np.flatnonzero(made.live).tolist()

    course, live = live_after(4_999, course)
    assert live == list(range(8))
    course, live = live_after(5_100, course)
    assert live == [0, 1, 2, 3]
    course, live = live_after(9_900, dataclasses.replace(course, stale=np.full(8, 3)))
    assert live == [0, 1, 2, 3]
    course, live = live_after(10_100, course)
    assert live == [0, 1]
    leads = [s.lead for s in sheddings(course.shed)]
    assert leads[:4] == sorted(leads[:4], reverse=True)


def test_no_ring_helps_another():
    settings = Settings(evaluations=12_000, islands=4, rings=2)
    course, problem = opened([StandIn()], settings, {}), StandIn()
    tuning = settings.tuning(1)
    found, _ = advance(course.states[0], problem, tuning, 3_000)
    assert found.front.size
    others = [advance(s, StandIn(hopeless=True), tuning, 300)[0] for s in course.states[1:]]
    course = dataclasses.replace(course, states=[found, *others])
    made = helped(course, [problem], settings, tuning)
    assert [s.front.size > 0 for s in made.states] == [True, True, False, False]


def test_a_structure_that_got_little_is_owed_its_patience_whatever_the_others_had():
    problems = [StandIn("a[0]", "a"), StandIn("a[1]", "a")]
    settings, groups = Settings(evaluations=20_000), Groups.by(problems)
    line = np.stack([np.linspace(0.0, 1.0, 20), np.linspace(1.0, 0.0, 20)], axis=1)
    fronts = [Front(f, f, f) for f in (line, line + 1.0)]
    course = dataclasses.replace(
        opened(problems, settings, {}),
        fronts=fronts,
        stale=np.array([0, 3]),
        marks=Marks((line, line + 1.0, line), np.array([9_000, 4_900, 13_900])),
    )
    for spent, live in ((4_990, [0, 1]), (5_010, [0])):
        now = dataclasses.replace(course, evaluations=np.array([9_000, spent]))
        assert np.flatnonzero(judged(now, groups, settings).live).tolist() == live


def test_distances_are_told_in_the_units_of_the_results():
    gaps = (("power_density_kw_l", 0.05, 0.1), ("weighted_efficiency_pct", 0.3, 0.5))
    text = dominated_text(Dominated("b", 0.042, gaps))
    assert "0.05 to 0.1 kW/l of power_density_kw_l" in text
    assert "0.3 to 0.5 points of weighted_efficiency_pct" in text
    assert "4.2 %" in text
    demo = Path(__file__).parents[2] / "runs" / "demo.toml"
    names = ("power_density_kw_l", "weighted_efficiency_pct")
    assert objective_names(prepared(demo).problems[:1]) == names
