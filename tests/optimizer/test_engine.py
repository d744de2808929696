import dataclasses
import hashlib
import itertools
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

import optimizer.engine as engine
from models.errors import RunError
from optimizer.archive import open_run
from optimizer.budget import Settings
from optimizer.engine import SameProcess, resume, sweep
from optimizer.problem import Outcome
from optimizer.store import Store, checkpoints
from tests.optimizer import stand_in
from tests.optimizer.stand_in import SETTINGS, StandIn, problems, store_for


def bits(folder: Path) -> str:
    return hashlib.sha256((folder / "archive.npz").read_bytes()).hexdigest()


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory):
    with np.errstate(all="raise", under="ignore"):
        root = tmp_path_factory.mktemp("runs")
        with store_for(root, problems(), SETTINGS) as store:
            result = sweep(problems(), SETTINGS, store)
        return store.folder, result


def test_a_sweep_spends_its_budget_and_finds_fronts(undisturbed):
    _, result = undisturbed
    assert result.reason == "done"
    assert result.exit_code == 0
    assert SETTINGS.evaluations <= result.evaluations < 1.05 * SETTINGS.evaluations
    assert result.fronts[0].size > 20
    assert [e.topology for e in result.evidence] == ["boost", "other", ""]


def test_the_same_seed_gives_the_same_bits(undisturbed, tmp_path):
    with store_for(tmp_path, problems(), SETTINGS) as store:
        sweep(problems(), SETTINGS, store)
    assert bits(store.folder) == bits(undisturbed[0])


def test_another_seed_gives_other_bits(undisturbed, tmp_path):
    settings = dataclasses.replace(SETTINGS, seed=6)
    with store_for(tmp_path, problems(), settings) as store:
        sweep(problems(), settings, store)
    assert bits(store.folder) != bits(undisturbed[0])


class Backwards(SameProcess):
    """Finishes islands in another order, in pieces, and hands some in unfinished first."""

    def advance(self, jobs, tuning, stop):
        yield from super().advance(list(reversed(jobs)), tuning, stop)


def test_the_order_in_which_islands_finish_changes_no_bit(undisturbed, tmp_path):
    with store_for(tmp_path, problems(), SETTINGS) as store:
        sweep(problems(), SETTINGS, store, workers=Backwards(problems()))
    assert bits(store.folder) == bits(undisturbed[0])


class Stopping(SameProcess):
    """Sends this process an interrupt while some generation is being evaluated."""

    def __init__(self, problems, after):
        super().__init__([_Interrupting(p, self) for p in problems])
        self.left = after


class _Interrupting:
    def __init__(self, problem, owner):
        self._problem, self._owner = problem, owner

    def __getattr__(self, name):
        return getattr(self._problem, name)

    def evaluate(self, genes):
        self._owner.left -= 1
        if self._owner.left == 0:
            os.kill(os.getpid(), signal.SIGINT)
        return self._problem.evaluate(genes)


@pytest.mark.parametrize("after", [1, 7, 60])
def test_an_interrupt_finishes_the_generation_and_resuming_gives_the_same_bits(
    undisturbed, tmp_path, after
):
    handler = signal.getsignal(signal.SIGINT)
    with store_for(tmp_path, problems(), SETTINGS) as store:
        result = sweep(problems(), SETTINGS, store, workers=Stopping(problems(), after))
    assert result.reason == "stopped"
    assert result.exit_code == 4
    assert signal.getsignal(signal.SIGINT) is handler
    run = open_run(store.folder)
    assert run.status["state"] == "ended"
    assert run.status["exit_code"] == 4
    with Store(store.folder) as again:
        assert resume(problems(), SETTINGS, again).reason == "done"
    assert bits(store.folder) == bits(undisturbed[0])


def test_a_second_interrupt_ends_at_once(tmp_path):
    class Twice(SameProcess):
        def advance(self, jobs, tuning, stop):
            for _ in range(2):
                os.kill(os.getpid(), signal.SIGINT)
                time.sleep(0.01)
            yield from super().advance(jobs, tuning, stop)

    with pytest.raises(KeyboardInterrupt):
        sweep(problems(), SETTINGS, workers=Twice(problems()))


def started(folder: Path) -> subprocess.Popen:
    root = Path(stand_in.__file__).parents[2]
    environment = {**os.environ, "PYTHONPATH": str(root), "OMP_NUM_THREADS": "1"}
    return subprocess.Popen(
        [sys.executable, "-m", "tests.optimizer.stand_in", str(folder)], cwd=root, env=environment
    )


def test_killed_again_and_again_it_ends_with_the_same_bits(undisturbed, tmp_path):
    folder = tmp_path / "run"
    kills = 0
    for _ in range(4):
        process = started(folder)
        seen = {p for _, p in checkpoints(folder)}
        deadline = time.monotonic() + 20.0
        while process.poll() is None and time.monotonic() < deadline:
            if len({p for _, p in checkpoints(folder)} - seen) > 0:
                process.send_signal(signal.SIGKILL)
                kills += 1
                break
            time.sleep(0.002)
        process.wait()
        if kills:
            assert open_run(folder).status["state"] in ("interrupted", "ended")
    process = started(folder)
    assert process.wait(timeout=60) == 0
    assert kills >= 3
    assert bits(folder) == bits(undisturbed[0])
    events, damaged = open_run(folder).events()
    assert damaged == 0
    assert [e["event"] for e in events].count("resumed") >= 3


def test_a_time_limit_stops_at_a_barrier_and_says_which(tmp_path):
    settings = dataclasses.replace(SETTINGS, time_limit=0.0)
    with store_for(tmp_path, problems(), settings) as store:
        result = sweep(problems(), settings, store)
    assert (result.reason, result.barrier, result.exit_code) == ("time", 1, 0)
    assert open_run(store.folder).status["barrier"] == 1


def test_where_nothing_is_feasible_the_nearest_design_is_the_result(tmp_path):
    hopeless = [StandIn("a", "a", hopeless=True)]
    settings = dataclasses.replace(SETTINGS, evaluations=4000)
    with store_for(tmp_path, hopeless, settings) as store:
        result = sweep(hopeless, settings, store)
    assert result.exit_code == 3
    assert result.nearest[0].candidate == "a"
    nearest = open_run(store.folder).nearest(0)
    assert nearest.margins["link"] > 0.5
    assert max(v for k, v in nearest.margins.items() if k != "link") <= 0.0
    assert open_run(store.folder).common_front() == []


class Broken(StandIn):
    def evaluate(self, genes):
        found = super().evaluate(genes)
        bad = genes[:, 1] > 0.5
        return Outcome(
            np.where(bad[:, None], 1e9, found.objectives),
            np.where(bad[:, None], 1e3, found.margins),
            found.columns,
            bad,
        )


def test_too_many_failed_designs_end_the_sweep():
    result = sweep([Broken()], SETTINGS)
    assert (result.reason, result.exit_code) == ("failed", 6)
    assert result.barrier < 24


def test_a_checkpoint_of_other_candidates_is_refused(undisturbed, tmp_path):
    import shutil

    folder = shutil.copytree(undisturbed[0], tmp_path / "copy")
    with Store(folder) as store, pytest.raises(RunError, match="other candidates"):
        resume(problems()[:1], SETTINGS, store)


def test_progress_is_told_at_every_barrier(tmp_path):
    told = []
    result = sweep(problems(), SETTINGS, progress=told.append)
    ended = [p for p in told if p.round_ended]
    assert [p.barrier for p in ended] == list(range(1, result.barrier + 1))
    assert ended[-1].designs == result.evaluations
    assert all(a.designs <= b.designs for a, b in itertools.pairwise(ended))


def test_a_run_folder_reads_back_what_was_found(undisturbed):
    folder, result = undisturbed
    run = open_run(folder)
    assert run.settings == SETTINGS
    assert run.pid is None
    for mine, theirs in zip(run.fronts, result.fronts, strict=True):
        assert (mine.genes == theirs.genes).all()
    design = run.common_front()[0]
    assert run.design(design.id).genes.tobytes() == design.genes.tobytes()
    assert set(design.shown()) == {v.path for v in stand_in.VARIABLES}
    fresh = problems()[design.candidate.number].evaluate(design.genes[None])
    assert fresh.columns[0].tolist() == design.columns.tolist()
    with pytest.raises(RunError, match="no design named 'zz'"):
        run.design("zz")


def test_the_front_as_a_table_has_names_then_units_then_designs(undisturbed):
    folder, result = undisturbed
    lines = (folder / "front.csv").read_text().splitlines()
    assert lines[0] == "design,candidate,on_common_front,loss_w,volume_l"
    assert lines[1] == ",,1,W,l"
    assert len(lines) == 2 + sum(f.size for f in result.fronts)
    assert sum(",1," in line for line in lines[2:]) == len(result.common())


def test_a_run_folder_may_move_and_names_no_path(undisturbed, tmp_path):
    import shutil

    folder = shutil.copytree(undisturbed[0], tmp_path / "elsewhere")
    assert len(open_run(folder).common_front()) == len(undisturbed[1].common())
    for path in folder.rglob("*"):
        if path.is_file():
            assert str(undisturbed[0].parent).encode() not in path.read_bytes()


def test_what_is_no_run_folder_says_so(tmp_path):
    with pytest.raises(RunError, match=r"has no manifest.json(?s:.*)Name a folder"):
        open_run(tmp_path)


def test_a_structure_that_cannot_win_is_given_up_and_its_topology_never():
    settings = Settings(seed=2, evaluations=60_000, islands=1, round_evaluations=1000)
    told = []
    sweep(problems(), settings, progress=told.append)
    last = {line.topology: line for line in told[-1].lines}
    assert last["boost"].structures == 1
    assert last["boost"].note == "1 given up"
    assert last["other"].structures == 1


def test_absent_levels_get_their_trial(monkeypatch):
    seen = []
    original = engine.planned

    def watched(course, problems, settings):
        seen.append(sum(course.is_probe(i) for i in range(len(course.states))))
        return original(course, problems, settings)

    monkeypatch.setattr(engine, "planned", watched)
    result = sweep([StandIn()], dataclasses.replace(SETTINGS, evaluations=30_000))
    assert max(seen) >= 1
    assert seen[-1] == 0
    assert result.evaluations < 1.05 * 30_000
