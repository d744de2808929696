"""What workers cost and bring: start, calls, idle time, memory, and how nearly n do n times.

Run on a quiet machine: .venv/bin/python tests/benchmarks/bench_workers.py
Memory over a long run:  .venv/bin/python tests/benchmarks/bench_workers.py --minutes 480

1. seconds until workers can be given work, and what Ray's own processes hold;
2. a call that does next to nothing with a grown island: what shipping its state costs;
3. the demo's search with one worker and with all cores: designs/s, and the share of the
   workers' time that is not spent searching, with islands cut into pieces and uncut;
4. with --minutes instead of these: memory of this process and of the workers as it goes.
"""

import argparse
import math
import os
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent.parent))

from optimizer import engine, guard, pieces
from optimizer.budget import Settings
from optimizer.engine import Job
from optimizer.island import advance
from optimizer.launch import prepared
from optimizer.state import founded
from optimizer.workers import RayWorkers

DEMO = Path(__file__).parent.parent.parent / "runs" / "demo.toml"
TARGET_LINEAR = 0.90  # of the workers' number times the rate of one
TARGET_CALL = 0.05  # [s], a hundredth of the longest piece
TARGET_START = 10.0  # [s]
TARGET_RAY = 900.0  # [MiB], measured 850 when it was decided to use Ray
TARGET_IDLE = 0.10
TARGET_DRIVER = 1024.0  # [MiB]
TARGET_SLOPE = 1.0  # [MiB/h] per process that a long run may seem to grow by: noise


class Watched:
    """Workers whose time is watched: inside rounds, and between them."""

    def __init__(self, hands):
        self.hands, self.searching, self.inside, self.calls = hands, 0.0, 0.0, 0

    def advance(self, jobs, tuning, stop):
        begun = time.perf_counter()
        for done in self.hands.advance(jobs, tuning, stop):
            self.searching += done[2].seconds
            self.calls += 1
            # What the engine does with an answer counts as the round's time: workers go on.
            yield done
        self.inside += time.perf_counter() - begun


def resident(pid):
    """Return the memory of a process, its share of what it shares [MiB]."""
    try:
        lines = (guard.PROC / str(pid) / "smaps_rollup").read_text().splitlines()
    except OSError:
        return 0.0
    return next((float(x.split()[1]) / 1024 for x in lines if x.startswith("Pss:")), 0.0)


def processes():
    """Return the workers, and Ray's other processes."""
    actors, others = [], []
    for pid in guard.descendants(os.getpid()):
        try:
            name = (guard.PROC / str(pid) / "comm").read_text()
        except OSError:
            continue
        (actors if name.startswith("ray::_Actor") else others).append(pid)
    return actors, others


def warmed(hands, problems, tuning):
    """Have every worker evaluate once, so that nothing is left to load."""
    jobs = [Job(i, i % len(problems), founded((9, 0, i), problems[i % len(problems)]), 1)
            for i in range(2 * len(hands._hands))]  # fmt: skip
    for _ in hands.advance(jobs, tuning, lambda: False):
        pass


def started(problems, count, tuning):
    begun = time.perf_counter()
    hands = RayWorkers(problems, count)
    warmed(hands, problems, tuning)
    return hands, time.perf_counter() - begun


def call_cost(hands, problems, tuning, repeats=20):
    """Return seconds around a call with a grown state, and the state's size [MiB]."""
    state, _ = advance(founded((9, 0, 0), problems[0]), problems[0], tuning, 20_000)
    size = sum(a.nbytes for a in state.arrays().values()) / 2**20
    spent = []
    for _ in range(repeats):
        begun = time.perf_counter()
        job = Job(0, 0, state, state.evaluations + 1)
        seconds = sum(r.seconds for _, _, r in hands.advance([job], tuning, lambda: False))
        spent.append(time.perf_counter() - begun - seconds)
    return float(np.median(spent)), size


def searched(problems, settings, hands, count):
    """Return designs/s, idle share inside rounds, share between rounds, calls, the front."""
    watched = Watched(hands)
    begun = time.perf_counter()
    found = engine.sweep(problems, settings, workers=watched)
    spent = time.perf_counter() - begun
    idle = 1.0 - watched.searching / (count * spent)
    between = 1.0 - watched.inside / spent
    front = np.concatenate([f.objectives.ravel() for f in found.fronts])
    return found.evaluations / spent, idle, between, watched.calls, front


def compared(problems, settings, cores):
    tuning = settings.tuning(len(problems))
    rates, fronts = {}, []
    for count, cut in ((1, True), (cores, True), (cores, False)):
        hands, start = started(problems, count, tuning)
        with hands:
            if count > 1 and cut:
                actors, others = processes()
                own = sum(map(resident, others))
                each = max(map(resident, actors))
                cost, size = call_cost(hands, problems, tuning)
                print(f"start of {count} workers: {start:.1f} s (target {TARGET_START:.0f})")
                print(f"Ray's own processes: {own:.0f} MiB (target {TARGET_RAY:.0f}), "
                      f"a worker {each:.0f} MiB")  # fmt: skip
                print(f"around a call: {1e3 * cost:.0f} ms with a state of {size:.1f} MiB "
                      f"(target {1e3 * TARGET_CALL:.0f} ms)")  # fmt: skip
            usual = pieces.SHORTEST, pieces.LONGEST
            if not cut:
                pieces.SHORTEST = pieces.LONGEST = math.inf
            rate, idle, between, calls, front = searched(problems, settings, hands, count)
            pieces.SHORTEST, pieces.LONGEST = usual
        rates.setdefault(count, rate)
        fronts.append(front)
        print(
            f"{count} workers, {'cut' if cut else 'uncut'}: {rate:,.0f} designs/s, {calls} calls, "
            f"workers not searching {100 * idle:.1f} % (target {100 * TARGET_IDLE:.0f}), "
            f"of which between rounds {100 * between:.1f} %"
        )
    ratio = rates[cores] / (cores * rates[1])
    print(f"{cores} workers bring {100 * ratio:.1f} % of {cores} times one "
          f"(target {100 * TARGET_LINEAR:.0f})")  # fmt: skip
    print(f"same fronts: {all(np.array_equal(fronts[0], f) for f in fronts)} (target True)")


def watched_memory(problems, settings, cores, minutes):
    """Search until the time is over; print the memory as it goes, and how fast it grows."""
    end = time.monotonic() + 60.0 * minutes
    every, rows = max(60.0 * minutes / 60, 5.0), []
    with RayWorkers(problems, cores) as hands:

        def told(progress):
            clock = time.monotonic()
            if not rows or clock - rows[-1][0] > every:
                actors, others = processes()
                rows.append((clock, resident(os.getpid()), sum(map(resident, actors)),
                             sum(map(resident, others))))  # fmt: skip
                _, own, workers, ray = rows[-1]
                print(
                    f"{(clock - rows[0][0]) / 60:7.1f} min  {progress.designs:12,} designs  "
                    f"driver {own:7.1f}  workers {workers:7.1f}  Ray {ray:7.1f} MiB",
                    flush=True,
                )

        left = end - time.monotonic()
        asked = {"seed": settings.seed, "evaluations": 10**10, "time_limit": left}
        engine.sweep(problems, Settings(**asked), progress=told, workers=hands)
    # The first third fills archives and pools.
    table = np.array(rows)[len(rows) // 3 :]
    for name, column in (("driver", 1), ("workers", 2), ("Ray", 3)):
        slope = np.polyfit(table[:, 0] / 3600, table[:, column], 1)[0] if len(table) > 2 else 0.0
        print(f"{name}: {slope:+.1f} MiB/h over the last two thirds (target {TARGET_SLOPE:.0f})")
    print(f"driver at most {max(r[1] for r in rows):.0f} MiB (target {TARGET_DRIVER:.0f})")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--designs", type=int, default=300_000)
    parser.add_argument("--workers", type=int, default=len(os.sched_getaffinity(0)))
    parser.add_argument("--minutes", type=float, help="watch the memory for so long instead")
    asked = parser.parse_args()
    problems = prepared(DEMO).problems
    settings = Settings(seed=7, evaluations=asked.designs)
    if asked.minutes:
        watched_memory(problems, settings, asked.workers, asked.minutes)
    else:
        compared(problems, settings, asked.workers)


if __name__ == "__main__":
    main()
