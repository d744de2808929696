"""What the search costs and how well it searches.

Run: .venv/bin/python tests/benchmarks/bench_search.py

1. the loop without the evaluation: designs/s at a population of 200 and 400 offspring;
2. the two-objective archive: points/s of a stream, early (wide) and late (near the front);
3. share of the hypervolume found on the small stand-in converter, median of five seeds.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent.parent))

from optimizer.budget import Settings
from optimizer.encode import Space
from optimizer.engine import sweep
from optimizer.front import Front, frame_of
from optimizer.island import advance
from optimizer.problem import Outcome
from optimizer.state import Tuning, founded
from tests.optimizer.stand_in import StandIn

TARGET_LOOP = 100_000  # designs/s


class Free:
    """A problem of 18 mixed genes and 14 limits whose evaluation costs next to nothing."""

    def __init__(self):
        kinds = [0] * 8 + [1] * 4 + [2] * 4 + [3] * 2
        self.space = Space.uniform(kinds, [0] * 8 + [12] * 10, np.arange(18) // 5)
        self.name = self.topology = "free"
        self.sizes = (2, 14, 30)
        self._margins, self._columns = np.full((5000, 14), -1.0), np.zeros((5000, 30))

    def evaluate(self, genes):
        n, x = len(genes), genes[:, 0]
        off = genes[:, 1:].sum(axis=1)
        f = np.stack([x + off, (1.0 - x) ** 2 + off], axis=1)
        return Outcome(f, self._margins[:n], self._columns[:n], np.zeros(n, dtype=bool))


def loop_rate(seconds=3.0):
    problem = Free()
    tuning = Tuning(population=200, offspring=400, polish_every=10**9)
    state, _ = advance(founded((1, 0, 0), problem), problem, tuning, 20_000)
    begun, first = time.process_time(), state.evaluations
    while time.process_time() - begun < seconds:
        state, _ = advance(state, problem, tuning, state.evaluations + 20_000)
    # Time of this process: the machine may be shared.
    return (state.evaluations - first) / (time.process_time() - begun), state.front.size


def archive_rate(scatter, seconds=3.0, batch=2000):
    rng = np.random.default_rng(0)
    front, points = Front.empty(1, 2, 1), 0
    payload = np.zeros((batch, 1))
    streams = []
    for _ in range(200):
        t, s = rng.random(batch), rng.exponential(scatter, batch)
        streams.append(np.stack([t + s, (1 - t) ** 2 + 2 * s * rng.random(batch)], axis=1))
    spent = 0.0
    while spent < seconds:
        f = streams[points // batch % 200] + 1e-3 * rng.random((batch, 2))
        begun = time.process_time()
        front, _ = front.merged(Front(payload, f, payload), 20_000)
        spent += time.process_time() - begun
        points += batch
    return points / spent, front.size


def quality():
    """Shares of the best known hypervolume by evaluations, one row a seed."""
    marks = (5_000, 15_000, 50_000)
    fronts = [
        [sweep([StandIn()], Settings(seed=s, evaluations=n)).fronts[0].objectives for n in marks]
        for s in range(5)
    ]
    best = sweep([StandIn()], Settings(seed=99, evaluations=300_000)).fronts[0].objectives
    every = np.concatenate([best, *(f for row in fronts for f in row)])
    frame = frame_of(every)
    whole = frame.hypervolume(every)
    return marks, [[frame.hypervolume(f) / whole for f in row] for row in fronts]


def main():
    rate, size = loop_rate()
    print(f"loop without evaluation: {rate:,.0f} designs/s (target {TARGET_LOOP:,}), front {size}")
    for name, scatter in (("wide", 0.3), ("near", 0.002)):
        rate, size = archive_rate(scatter)
        print(f"archive, {name}: {rate:,.0f} points/s, kept {size}")
    marks, shares = quality()
    for mark, column in zip(marks, np.array(shares).T, strict=True):
        middle, worst = np.median(column), column.min()
        print(f"stand-in, {mark:,} evaluations: median {middle:.4f}, worst {worst:.4f}")


if __name__ == "__main__":
    main()
