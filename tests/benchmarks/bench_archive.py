"""A stream of points through the archive: speed, memory, exactness.

Run: .venv/bin/python tests/benchmarks/bench_archive.py [--points 100000000]

Two objectives: the front is compared, point by point, with what moocore finds
non-dominated in the same stream.  Three and four: the front is thinned on a grid, and
its hypervolume is compared instead.
"""

import resource
import sys
import time
from pathlib import Path

import click
import moocore
import numpy as np

ROOT = Path(__file__).parent.parent.parent
sys.path.insert(0, str(ROOT))

from optimizer.front import Front

TARGET_RATE = 1_000_000  # points/s, "millions"
TARGET_GROWTH = 200.0  # [MiB] of resident memory, whatever the number of points
PAYLOAD = 40  # numbers that every design carries with it
CHUNK = 50_000


def resident():
    """Resident memory now [MiB]."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 2**20


def most_resident():
    """The most resident memory so far [MiB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def chunk(rng, objectives):
    """Points behind a curved front, dense near it."""
    x = rng.random((CHUNK, objectives))
    x /= np.sqrt((x**2).sum(axis=1, keepdims=True))
    return (1.0 - x) * (1.0 + rng.exponential(0.05, (CHUNK, 1))) + 0.01 * rng.random(x.shape)


def stream(points, objectives, limit, reference, start=0):
    """Merge a stream; return the front, seconds of CPU, and the reference front."""
    front = Front.empty(PAYLOAD // 2, objectives, PAYLOAD // 2)
    payload = np.zeros((CHUNK, PAYLOAD // 2))
    best = np.zeros((0, objectives))
    spent, after_tenth = 0.0, 0.0
    for number in range(points // CHUNK):
        f = chunk(np.random.default_rng([start, number]), objectives)
        begun = time.process_time()
        front, _ = front.merged(Front(payload, f, payload), limit)
        spent += time.process_time() - begun
        if reference:
            best = np.concatenate([best, f[moocore.is_nondominated(f)]])
            if number % 20 == 19:
                best = best[moocore.is_nondominated(best)]
        if number == points // CHUNK // 10:
            after_tenth = resident()
    return front, spent, best[moocore.is_nondominated(best)] if reference else best, after_tenth


def two(points):
    """Stream two objectives, exactly, and print."""
    stream(20 * CHUNK, 2, 10**9, True)  # imports and buffers shall not count
    before = resident()
    front, spent, best, tenth = stream(points, 2, 10**9, True)
    order = np.lexsort((best[:, 1], best[:, 0]))
    exact = np.array_equal(front.objectives, np.unique(best[order], axis=0))
    print(f"two objectives, {points:,} points: {points / spent:,.0f} points/s of CPU "
          f"(target >= {TARGET_RATE:,})")  # fmt: skip
    print(f"  front {front.size:,}, the same as moocore's, point by point: {exact} (target: True)")
    print(f"  resident: {before:.0f} MiB before, {tenth:.0f} after a tenth, {resident():.0f} at "
          f"the end, {most_resident():.0f} at most (target: < {TARGET_GROWTH:.0f} more)"
    )  # fmt: skip


def many(points, objectives):
    """Stream three or four objectives through a bounded archive and print."""
    front, spent, best, _ = stream(points, objectives, 20_000, True, start=1)
    ref = np.full(objectives, 1.1)
    thin = best[:: max(1, -(-len(best) // 3000))]
    whole = moocore.hypervolume(thin, ref=ref)
    kept = moocore.hypervolume(front.objectives[:: max(1, -(-front.size // 3000))], ref=ref)
    print(f"{objectives} objectives, {points:,} points: {points / spent:,.0f} points/s of CPU, "
          f"kept {front.size:,} of {len(best):,} (at most 20,000), hypervolume of 3,000 each: "
          f"{kept / whole:.4f}")  # fmt: skip


@click.command()
@click.option("--points", default=100_000_000)
@click.option("--many-points", default=200_000)
def main(points, many_points):
    """Stream points through the archive."""
    two(points)
    for objectives in (3, 4):
        many(many_points, objectives)


if __name__ == "__main__":
    main()
