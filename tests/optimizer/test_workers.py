"""Ray or not, one worker or two, killed or left in peace: the same bits."""

import dataclasses
import os
import random
import signal
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from models.errors import RunError
from optimizer import engine, workers
from optimizer.budget import Settings
from optimizer.engine import Job
from optimizer.launch import prepared
from optimizer.state import founded
from optimizer.workers import RayWorkers
from tests.optimizer import unruly

ROOT = Path(__file__).parent.parent.parent
DEMO = ROOT / "runs" / "demo.toml"
PINS = ("topology in [flyback_unfolder]", "flyback.clamp = short_pulse")

pytestmark = [
    pytest.mark.ray,
    pytest.mark.slow,
    # Ray leaves sockets and files to its own shutdown.
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
    pytest.mark.filterwarnings("ignore::FutureWarning"),
    pytest.mark.filterwarnings("ignore::DeprecationWarning"),
]


def arrays(result):
    """Everything a sweep found, as one list of arrays."""
    found = [a for f in result.fronts for a in (f.genes, f.objectives, f.columns)]
    return found + [n.genes for n in result.nearest] + [n.margins for n in result.nearest]


def same(one, other):
    """Return whether two sweeps found the same bits with the same effort."""
    pairs = zip(arrays(one), arrays(other), strict=True)
    return one.evaluations == other.evaluations and all(np.array_equal(a, b) for a, b in pairs)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("unruly")


@pytest.fixture(scope="module")
def alone(folder):
    """What one process finds."""
    return engine.sweep(unruly.problems(folder), unruly.SETTINGS)


@pytest.fixture(scope="module")
def converter():
    """A real topology."""
    return prepared(DEMO, PINS).problems


@pytest.fixture(scope="module")
def opened(folder, converter):
    """Two workers for all tests."""
    with RayWorkers([*unruly.problems(folder), *converter], 2) as hands:
        yield hands


@pytest.fixture
def hands(opened, folder):
    """The two workers, with a clean slate and nothing left of what the test did."""
    opened.faults.clear()
    yield opened
    for file in folder.iterdir():
        file.unlink()


def swept(hands, folder):
    return engine.sweep(unruly.problems(folder), unruly.SETTINGS, workers=hands)


def test_workers_left_in_peace_give_the_bits_of_one_process(hands, folder, alone):
    assert same(alone, swept(hands, folder))
    assert not hands.faults


def test_a_real_converter_has_the_bits_of_one_process(hands, converter):
    class Shifted:
        """The same workers, whose problems begin with three others."""

        def advance(self, jobs, tuning, stop):
            moved = [dataclasses.replace(job, problem=job.problem + 3) for job in jobs]
            return hands.advance(moved, tuning, stop)

    settings = Settings(seed=3, evaluations=2500, islands=2)
    alone = engine.sweep(converter, settings)
    assert same(alone, engine.sweep(converter, settings, workers=Shifted()))


def test_workers_killed_at_random_moments_change_no_bit(hands, folder, alone):
    (folder / "slow").touch()
    killed, over = [], threading.Event()
    rng = random.Random(4)

    def kill():
        while len(killed) < 6 and not over.wait(rng.uniform(0.1, 1.0)):
            actors = unruly.named("ray::_Actor")
            if actors:
                victim = rng.choice(actors)
                os.kill(victim, signal.SIGKILL)
                killed.append(victim)

    killer = threading.Thread(target=kill)
    killer.start()
    try:
        while killer.is_alive():
            assert same(alone, swept(hands, folder))
    finally:
        over.set()
        killer.join()
    assert len(killed) == 6
    # One killed twice before it is missed, or missed when all is over, is told once or not.
    assert len(hands.faults) >= 3


def test_a_worker_without_memory_changes_no_bit(hands, folder, alone):
    (folder / "memory").touch()
    assert same(alone, swept(hands, folder))
    assert [f for f in hands.faults if "memory" in f]


def test_an_island_that_ends_every_worker_ends_the_sweep_by_name(
    hands, folder, alone, monkeypatch
):
    monkeypatch.setattr(workers, "PATIENCE", 3)
    (folder / "deadly other").touch()
    with pytest.raises(RunError, match=r"(?s)island of other ended 3 workers.*resume"):
        swept(hands, folder)
    assert len(hands.faults) >= 3
    (folder / "deadly other").unlink()
    assert same(alone, swept(hands, folder))


def test_a_fault_of_the_program_is_not_tried_again(hands, folder):
    (folder / "wrong").touch()
    with pytest.raises(ValueError, match="a fault of the program"):
        swept(hands, folder)
    assert not hands.faults


def test_a_stop_ends_the_generation_on_living_and_dead_workers(hands, folder):
    (folder / "slow").touch()
    problems = unruly.problems(folder)
    jobs = [Job(i, 0, founded((5, 0, i), problems[0]), 10_000_000) for i in range(3)]
    hands._speed.clear()  # of days when nothing was slow
    done = []
    for piece in hands.advance(jobs, unruly.SETTINGS.tuning(3), lambda: len(done) >= 2):
        done.append(piece)
        if len(done) == 2:
            asked = time.monotonic()
            os.kill(unruly.named("ray::_Actor")[0], signal.SIGKILL)
    assert time.monotonic() - asked < 5.0
    assert all(0 < state.evaluations < 10_000_000 for _, state, _ in done)
    assert not any(report.finished for _, _, report in done)


@pytest.mark.parametrize("heart", ["raylet", "gcs_server"])
def test_ray_itself_killed_changes_no_bit(hands, folder, alone, heart):
    (folder / "slow").touch()
    killer = threading.Timer(1.0, lambda: os.kill(unruly.named(heart)[0], signal.SIGKILL))
    killer.start()
    found = swept(hands, folder)
    killer.join()
    assert same(alone, found)
    assert any("Ray itself" in f for f in hands.faults)
