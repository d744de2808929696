"""One process, several run folders: order, shares, signals, and what it notes when it ends."""

import dataclasses
import json
import os
import signal
from pathlib import Path

import pytest

from models.errors import RunError
from optimizer import work as working
from optimizer.archive import open_run
from optimizer.budget import Settings
from optimizer.engine import Job
from optimizer.files import RunInUseError
from optimizer.launch import new_stores, prepared_variants
from optimizer.progress import Line, Progress
from optimizer.standing import exit_code, family, unfinished, why
from optimizer.work import code_of, placed, reason_of, work, worker_count

DEMO = Path(__file__).parent.parent.parent / "runs" / "demo.toml"
ONE = ("topology in [flyback_unfolder]", "flyback.phases = 1", "flyback.clamp = short_pulse")
LINE = Line("flyback_unfolder", 1, 600, 0.5, 4, 0.5, 0.1, "")
PROGRESS = Progress(
    1, 10, 5.0, 10.0, 600, 1000, 100.0, 0.5, 0, 4, 0.5, 0.1, 0.1, (LINE,), round_ended=True
)


@dataclasses.dataclass
class Told:
    """What the stand-in of the engine returns."""

    reason: str
    evaluations: int


class Engine:
    """Stands in for the engine: spends what each run is given, or does what it is told."""

    def __init__(self, *deeds):
        self.deeds = list(deeds)
        self.ran = []

    def resume(self, problems, settings, store, progress, *, seeds, workers):
        self.ran.append((store.name, settings))
        self.progress = progress
        deed = self.deeds.pop(0) if self.deeds else {}
        if callable(deed):
            deed = deed(self) or {}
        progress(PROGRESS)
        reason = deed.get("reason", "done")
        designs = deed.get("designs", settings.evaluations)
        code = {"stopped": 4, "failed": 6}.get(reason, 0)
        store.status({"state": "ended", "reason": reason, "designs": designs, "exit_code": code,
                      "seconds": deed.get("seconds", 1.0)})  # fmt: skip
        return Told(reason, designs)


@pytest.fixture(scope="module")
def ready():
    return prepared_variants(DEMO, ONE)[0]


@pytest.fixture
def engine(monkeypatch, ready):
    """A stand-in of the engine, without preparing the models each time."""
    stand_in = Engine()
    monkeypatch.setattr(working, "engine", stand_in)
    monkeypatch.setattr(working, "resumable", lambda run: ready)
    return stand_in


@pytest.fixture
def folders(ready, tmp_path):
    """Three runs of one sweep."""
    settings = Settings(evaluations=1000, time_limit=60.0)
    stores = new_stores([ready] * 3, [settings] * 3, tmp_path)
    for store in stores:
        store.close()
    return [store.folder for store in stores]


def states(folders):
    return [open_run(folder).status["state"] for folder in folders]


def worked(folders, told=None):
    return work(folders, workers=0, address=None, told=told)


def ask(number):
    """Return a deed: the process receives a signal while a run is worked on."""
    return lambda engine: os.kill(os.getpid(), number)


def test_runs_are_worked_on_in_order_and_the_rest_waits(engine, folders):
    seen = []
    engine.deeds = [lambda _: seen.append(states(folders))]
    worked(folders)
    assert [name for name, _ in engine.ran] == [f.name for f in folders]
    assert seen == [["running", "waiting", "waiting"]]
    assert states(folders) == ["ended"] * 3
    assert exit_code(folders) == 0
    assert family(open_run(folders[1])) == folders


def test_all_folders_are_held_from_the_start(engine, folders):
    def second_process(_):
        for folder in folders:
            with pytest.raises(RunInUseError):
                worked([folder])

    engine.deeds = [second_process]
    worked(folders)
    assert len(engine.ran) == 3


def test_what_has_ended_is_not_searched_again_and_what_was_stopped_is(engine, folders):
    engine.deeds = [{}, {"reason": "stopped"}]
    worked(folders)
    assert states(folders) == ["ended", "ended", "interrupted"]
    assert exit_code(folders) == 4
    assert [unfinished(open_run(f).status) for f in folders] == [False, True, True]
    assert why(open_run(folders[2]), open_run(folders[2]).status) == "it has not begun"
    engine.ran.clear()
    worked(folders)
    assert [name for name, _ in engine.ran] == [f.name for f in folders[1:]]
    assert exit_code(folders) == 0
    assert worked(folders) == ()


def test_designs_and_time_that_convergence_saved_go_to_the_runs_that_are_left(engine, folders):
    engine.deeds = [{"reason": "converged", "designs": 400, "seconds": 20.0}]
    worked(folders)
    given = [(s.evaluations, s.time_limit) for _, s in engine.ran]
    # 600 designs and 40 s are shared by two; the second spends its share in 1 s.
    assert given[:2] == [(1000, 60.0), (1300, 80.0)]
    assert given[2] == (1300, pytest.approx(159.0))
    assert sum(s.evaluations for _, s in engine.ran) - 600 == 3000


def test_a_share_is_given_once(engine, folders):
    engine.deeds = [{"reason": "converged", "designs": 400}, {"reason": "stopped", "designs": 10}]
    worked(folders)
    first = engine.ran[-1]
    manifest = json.loads((folders[1] / "manifest.json").read_text())
    assert manifest["sweep"]["granted"]["designs"] == 300
    engine.ran.clear()
    worked(folders)
    assert engine.ran[0] == first


def test_a_single_run_keeps_its_manifest(engine, folders):
    before = (folders[0] / "manifest.json").read_bytes()
    worked(folders[:1])
    assert (folders[0] / "manifest.json").read_bytes() == before


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_before_the_engine_listens_is_passed_on_to_it(engine, folders, number):
    heard = []

    def early(stand_in):
        os.kill(os.getpid(), number)
        # Now the engine takes over; it hears of the signal with the first progress.
        signal.signal(signal.SIGINT, lambda n, _: heard.append(n))
        signal.signal(signal.SIGTERM, lambda n, _: heard.append(n))
        stand_in.progress(PROGRESS)
        stand_in.progress(PROGRESS)
        return {"reason": "stopped"}

    engine.deeds = [early]
    worked(folders)
    assert heard == [signal.SIGTERM if number == signal.SIGHUP else number]
    assert len(engine.ran) == 1


def test_a_signal_at_the_end_of_a_run_keeps_the_next_from_starting(engine, folders):
    engine.deeds = [ask(signal.SIGTERM)]
    worked(folders)
    assert states(folders) == ["ended", "interrupted", "interrupted"]
    assert len(engine.ran) == 1
    assert exit_code(folders) == 4


@pytest.mark.parametrize(
    ("first", "second", "code"),
    [(signal.SIGINT, signal.SIGINT, 130), (signal.SIGTERM, signal.SIGTERM, 143)],
)
def test_a_second_signal_ends_at_once_and_says_so(engine, folders, first, second, code):
    def twice(_):
        os.kill(os.getpid(), first)
        os.kill(os.getpid(), second)

    engine.deeds = [twice]
    with pytest.raises(KeyboardInterrupt) as caught:
        worked(folders)
    assert code_of(caught.value) == code
    status = open_run(folders[0]).status
    assert (status["state"], status["exit_code"]) == ("interrupted", code)
    assert exit_code(folders) == code
    assert open_run(folders[0]).events()[0][-1]["reason"] == "stopped at once at your request"


def test_signals_are_as_before_afterwards(engine, folders):
    numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = [signal.getsignal(n) for n in numbers]
    worked(folders)
    assert [signal.getsignal(n) for n in numbers] == before


@pytest.mark.parametrize(
    ("error", "code", "words"),
    [
        (RunError("the disk is full: x was not written."), 2, "the disk is full"),
        (MemoryError(), 1, "no memory left"),
        (ValueError("odd"), 1, "internal fault: ValueError: odd"),
    ],
)
def test_why_it_ended_early_stands_in_the_folder(engine, folders, error, code, words):
    def broken(_):
        raise error

    engine.deeds = [{}, broken]
    with pytest.raises(type(error)):
        worked(folders)
    run = open_run(folders[1])
    assert words in why(run, run.status)
    assert words in reason_of(error)
    assert run.status["exit_code"] == code_of(error) == code
    assert exit_code(folders) == code
    seen = []
    engine.deeds = [lambda _: seen.append(open_run(folders[1]).status)]
    worked(folders)
    assert "reason" not in seen[0]


def test_progress_of_one_among_several_counts_those_that_wait(folders):
    runs = [open_run(folder) for folder in folders]
    first = placed(PROGRESS, 0, runs)
    assert (first.run, first.number, first.of) == (folders[0].name, 1, 3)
    assert first.left == pytest.approx(10.0 + 2 * 1000 / 100.0)
    assert placed(PROGRESS, 2, runs).left == pytest.approx(10.0)
    assert placed(PROGRESS, 0, runs[:1]) == PROGRESS


def test_the_workers_of_several_runs_count_problems_from_the_runs_own():
    class Hands:
        faults = ["a worker was lost"]  # noqa: RUF012 - as the workers have it

        def advance(self, jobs, tuning, stop):
            return iter([job.problem for job in jobs])

    jobs = [Job(0, 2, None, 100), Job(1, 0, None, 100)]
    shifted = working._Shifted(Hands(), 5)
    assert (shifted.faults(), shifted.faults()) == (["a worker was lost"], [])
    assert list(shifted.advance(jobs, None, lambda: False)) == [7, 5]


def test_ray_is_started_only_where_it_pays():
    assert worker_count(0, 10**9) == 0
    assert worker_count(3, 10) == 3
    assert worker_count(None, 1000) == 0
