"""How much work a death can cost: a clock that the problem itself moves on tells exactly."""

import itertools
import types

import optimizer.engine as engine
from optimizer.budget import Settings
from optimizer.store import Store
from tests.optimizer.stand_in import StandIn, store_for

MOST = 30.0  # [s] of work that may be lost
BATCH = 0.4  # [s] that a batch of designs takes by the clock of this test
SETTINGS = Settings(seed=2, evaluations=24_000, islands=2, round_evaluations=1000)


class Clock:
    """Time that passes only while designs are evaluated."""

    def __init__(self):
        self.now = 1000.0

    def monotonic(self):
        return self.now


class Slow(StandIn):
    def __init__(self, clock):
        super().__init__()
        self.clock = clock

    def evaluate(self, genes):
        self.clock.now += BATCH
        return super().evaluate(genes)


def test_no_more_than_half_a_minute_of_work_is_ever_unsaved(tmp_path, monkeypatch):
    clock, saved = Clock(), []
    monkeypatch.setattr(engine, "time", types.SimpleNamespace(monotonic=clock.monotonic))

    def noted(self, number, arrays, original=Store.checkpoint):
        saved.append(clock.now)
        original(self, number, arrays)

    monkeypatch.setattr(Store, "checkpoint", noted)
    problems = [Slow(clock)]
    with store_for(tmp_path, problems, SETTINGS) as store:
        begun = clock.now
        assert engine.sweep(problems, SETTINGS, store).reason in ("done", "converged")
    times = [begun, *saved]
    assert len(saved) >= 2
    assert max(b - a for a, b in itertools.pairwise(times)) <= MOST
