"""Ray or not, one worker or two: the same bits."""

import time
from pathlib import Path

import numpy as np
import pytest

from optimizer import engine
from optimizer.budget import Settings
from optimizer.engine import Job
from optimizer.launch import prepared
from optimizer.state import founded
from optimizer.workers import RayWorkers

DEMO = Path(__file__).parent.parent.parent / "runs" / "demo.toml"
PINS = ("topology in [flyback_unfolder]", "flyback.clamp = short_pulse")
SETTINGS = Settings(seed=3, evaluations=2500, islands=2)

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


@pytest.mark.parametrize("count", [1, 2])
def test_workers_give_the_bits_of_one_process(count):
    problems = prepared(DEMO, PINS).problems
    alone = engine.sweep(problems, SETTINGS)
    with RayWorkers(problems, count) as workers:
        shared = engine.sweep(problems, SETTINGS, workers=workers)
    assert shared.evaluations == alone.evaluations
    for one, other in zip(arrays(alone), arrays(shared), strict=True):
        assert np.array_equal(one, other)


def test_a_stop_ends_the_generation_on_every_worker():
    problems = prepared(DEMO, PINS).problems
    tuning = SETTINGS.tuning(len(problems))
    far = 10_000_000
    jobs = [Job(i, 0, founded((SETTINGS.seed, 0, i), problems[0]), far) for i in range(3)]
    with RayWorkers(problems, 2) as workers:
        done, begun = [], time.monotonic()
        for piece in workers.advance(jobs, tuning, lambda: len(done) >= 2):
            done.append(piece)
    assert all(0 < state.evaluations < far and not report.finished for _, state, report in done)
    assert len(done) >= 2
    assert time.monotonic() - begun < 60.0
