"""A cluster of several nodes, one of them lost: the same bits."""

import dataclasses
import time
from collections.abc import Callable

import pytest

from optimizer import cluster, engine, workers
from optimizer.workers import RayWorkers
from tests.optimizer import unruly
from tests.optimizer.test_workers import same

pytestmark = [
    pytest.mark.ray,
    pytest.mark.slow,
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
    pytest.mark.filterwarnings("ignore::FutureWarning"),
    pytest.mark.filterwarnings("ignore::DeprecationWarning"),
]


@pytest.fixture
def nodes(tmp_path_factory, monkeypatch):
    """Two nodes of one core each."""
    cluster._private()
    from ray.cluster_utils import Cluster

    made = Cluster()
    made.add_node(num_cpus=1, include_dashboard=False, object_store_memory=100 << 20)
    second = made.add_node(num_cpus=1, object_store_memory=100 << 20)
    yield made, second
    made.shutdown()


@dataclasses.dataclass
class Losing:
    """Workers to which something happens after so many pieces."""

    hands: RayWorkers
    pieces: int
    happens: Callable[[], None]

    def advance(self, jobs, tuning, stop):
        for done in self.hands.advance(jobs, tuning, stop):
            self.pieces -= 1
            if self.pieces == 0:
                self.happens()
            yield done


def searched_by(hands, count, alone, problems):
    """Search until so many workers have had a piece."""
    end = time.monotonic() + 90.0
    while sum(hand.call > 0 for hand in hands._hands) < count and time.monotonic() < end:
        assert same(alone, engine.sweep(problems, unruly.SETTINGS, workers=hands))
    assert sum(hand.call > 0 for hand in hands._hands) == count


def test_a_lost_node_changes_no_bit_and_new_ones_are_used(nodes, tmp_path, monkeypatch):
    made, second = nodes
    monkeypatch.setattr(workers, "COUNT_EVERY", 0.5)
    problems = unruly.problems(tmp_path)
    alone = engine.sweep(problems, unruly.SETTINGS)
    (tmp_path / "slow").touch()
    with RayWorkers(problems, address=made.address) as hands:
        assert len(hands._hands) == 2
        # Under load one worker can do all the pieces before the other has started.
        searched_by(hands, 2, alone, problems)
        losing = Losing(hands, 40, lambda: made.remove_node(second, allow_graceful=False))
        found = engine.sweep(problems, unruly.SETTINGS, workers=losing)
        assert losing.pieces <= 0
        assert same(alone, found)
        assert hands.faults
        for _ in range(2):
            made.add_node(num_cpus=1, object_store_memory=100 << 20)
        searched_by(hands, 3, alone, problems)
    assert made.head_node.live_processes()
