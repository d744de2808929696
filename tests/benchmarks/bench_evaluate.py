"""Designs per second of the whole evaluation, by topology, and where the time goes.

Run: .venv/bin/python tests/benchmarks/bench_evaluate.py [designs a batch]
"""

import cProfile
import pstats
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent.parent))

from models.evaluate import evaluate
from optimizer.machine import keep_memory
from optimizer.problem import CHUNK
from tests.conformance.designs import candidates, demo_case, made, name_of, random_values

TARGET_MEDIAN, TARGET_SLOWEST = 5000, 2000  # designs/s on one core


def rate(topology, static, case, batch, seconds=2.0):
    """Designs per second: best of several batches."""
    rng = np.random.default_rng(1)
    design = made(topology, static, random_values(topology, static, case, batch, rng))
    evaluate(topology, design, case)
    best, end = 0.0, time.perf_counter() + seconds
    while time.perf_counter() < end:
        start = time.perf_counter()
        evaluate(topology, design, case)
        best = max(best, batch / (time.perf_counter() - start))
    return best, design


def share(topology, design, case):
    """Cumulative time by function of ours, largest first."""
    profile = cProfile.Profile()
    profile.enable()
    for _ in range(3):
        evaluate(topology, design, case)
    profile.disable()
    stats = pstats.Stats(profile)
    whole = stats.total_tt
    ours = {
        f"{Path(k[0]).stem}.{k[2]}": v[3] / whole
        for k, v in stats.stats.items()
        if "models" in k[0]
    }
    return sorted(ours.items(), key=lambda kv: -kv[1])[:18]


def main():
    batch = int(sys.argv[1]) if len(sys.argv) > 1 else CHUNK
    keep_memory()
    case = demo_case()
    print(f"{case.points.count} operating points, batches of {batch}, one core")
    rates = []
    for candidate in candidates():
        found, design = rate(*candidate, case, batch)
        rates.append(found)
        print(f"{name_of(candidate):60s} {found:8.0f} designs/s")
    print(
        f"median {np.median(rates):.0f} (target {TARGET_MEDIAN}), "
        f"slowest {min(rates):.0f} (target {TARGET_SLOWEST})"
    )
    seen = set()
    for topology, static in candidates():
        if topology.name in seen:
            continue
        seen.add(topology.name)
        design = made(
            topology,
            static,
            random_values(topology, static, case, batch, np.random.default_rng(1)),
        )
        print(f"\n{topology.name}: share of the time spent in a function and below")
        for name, part in share(topology, design, case):
            print(f"  {100 * part:5.1f} %  {name}")


if __name__ == "__main__":
    main()
