"""How much sooner a re-run reaches its front when it starts from its parent's designs.

Run: .venv/bin/python tests/benchmarks/bench_warm.py
     .venv/bin/python tests/benchmarks/bench_warm.py --main --seeds 2
     .venv/bin/python tests/benchmarks/bench_warm.py --run runs/LONG --designs 60000

One parent sweep of the demonstration, then for each of five pins the child with its seeds
(warm) and without (cold).  Counted are evaluations, those that choose the seeds included,
until a run first holds 99 % of the hypervolume that the warm child ends with, in the frame
of both fronts.  The cold search has the child's budget, and another time five times that,
so that it may get there at all; the sooner of the two counts, and where neither does the
ratio is at least what is printed.  "as cold" is what the warm child needs for the
hypervolume at which the cold one ends with the same budget.  With --main only the main
structure of each topology takes part.
"""

import contextlib
import sys
import tempfile
from pathlib import Path

import click
import numpy as np

ROOT = Path(__file__).parent.parent.parent
sys.path.insert(0, str(ROOT))

from optimizer import engine
from optimizer.archive import open_run
from optimizer.budget import Settings
from optimizer.front import frame_of, staircase
from optimizer.launch import new_store, prepared, prepared_again
from optimizer.machine import keep_memory
from optimizer.pins import parse
from optimizer.warm import start_from

TARGET = 5.0
LEVEL = 0.99
LONGER = 5  # times the child's budget for the longer of the cold runs
MAIN = ("flyback.phases = 2", "flyback.clamp = short_pulse", "boost = synchronous",
        "boost.phases = 2", "boost.gating = uniform")  # fmt: skip
STEP = 250  # evaluations between two looks at the front


class ReachedError(Exception):
    """A run holds what it was to reach."""


class Trace:
    """What all candidates of one run have found by when; ``enough`` may end the run."""

    def __init__(self, enough=lambda front: False):
        self.count, self.marks, self.fronts = 0, [], []
        self._enough = enough
        self._front = np.zeros((0, 2))
        self._fresh = []

    def note(self, outcome):
        """Take in evaluated designs."""
        self.count += len(outcome.objectives)
        self._fresh.append(outcome.objectives[(outcome.margins <= 0.0).all(axis=1)])
        if not self.marks or self.count - self.marks[-1] >= STEP:
            self.end()

    def end(self):
        """Look at the front."""
        every = np.concatenate([self._front, *self._fresh])
        self._front, self._fresh = every[staircase(every)], []
        self.marks.append(self.count)
        self.fronts.append(self._front)
        if self._enough(self._front):
            raise ReachedError

    def reached(self, frame, wanted):
        """Evaluations until a hypervolume is held; None if it never is."""
        for count, front in zip(self.marks, self.fronts, strict=True):
            if frame.hypervolume(front) >= wanted:
                return count
        return None


class Traced:
    """A problem whose evaluations a trace notes."""

    def __init__(self, problem, trace):
        self._problem, self._trace = problem, trace

    def __getattr__(self, name):
        return getattr(self._problem, name)

    def evaluate(self, genes):
        """Evaluate and note."""
        outcome = self._problem.evaluate(genes)
        self._trace.note(outcome)
        return outcome


def run_of(designs, main_only, folder):
    """The parent run."""
    ready = prepared(ROOT / "runs" / "demo.toml", MAIN if main_only else ())
    settings = Settings(seed=7, evaluations=designs)
    with new_store(ready, settings, Path(folder)) as store:
        engine.sweep(ready.problems, settings, store)
    return open_run(store.folder)


def pins_for(run):
    """Five decisions an engineer might take after seeing the parent's fronts."""
    names = [c.name for c in run.columns]
    columns = np.concatenate([f.columns for f in run.fronts])

    def share(name, q):
        return float(np.quantile(columns[:, names.index(name)], q))

    def values(path):
        found = []
        for c, front in zip(run.candidates, run.fronts, strict=True):
            at = [j for j, g in enumerate(c.genes.genes) if g.variable.path == path]
            if at:
                found += [c.genes.genes[at[0]].variable.shown(v)
                          for v in c.genes.values(front.genes)[:, at[0]]]  # fmt: skip
        return found

    cores = values("flyback.transformer.core")
    most = max(sorted(set(cores)), key=cores.count)
    return (
        f"box.height_mm <= {share('height_mm', 0.3):.1f}",
        "electrolytics = none",
        f"flyback.transformer.core not in [{most}]",
        f"flyback.f_khz <= {0.9 * float(np.median(values('flyback.f_khz'))):.0f}",
        f"cost <= {share('cost', 0.3):.1f}",
    )


def child(run, pin, seed, designs, *, warm=False, enough=lambda front: False):
    """The trace of a child run, to its end or until its front is enough."""
    ready = prepared_again(run, [*map(parse, run.pins), parse(pin)])
    trace = Trace(enough)
    problems = [Traced(p, trace) for p in ready.problems]
    seeds = start_from(run, problems, seed).seeds if warm else {}
    with contextlib.suppress(ReachedError):
        engine.sweep(problems, Settings(seed=seed, evaluations=designs), seeds=seeds)
        trace.end()
    return trace


def compared(run, pin, seed, designs):
    """Evaluations warm and cold (None: never), most tried cold, as cold, share cold ends at."""
    warm = child(run, pin, seed, designs, warm=True)
    cold = child(run, pin, seed, designs)
    frame = frame_of(np.concatenate([warm.fronts[-1], cold.fronts[-1]]))
    if frame is None:
        return None
    end = frame.hypervolume(warm.fronts[-1])
    wanted = LEVEL * end
    theirs, most = cold.reached(frame, wanted), cold.count
    if theirs is None:
        longer = child(run, pin, seed, LONGER * designs,
                       enough=lambda front: frame.hypervolume(front) >= wanted)  # fmt: skip
        theirs, most = longer.reached(frame, wanted), longer.count
    share = frame.hypervolume(cold.fronts[-1])
    return warm.reached(frame, wanted), theirs, most, warm.reached(frame, share), share / end


@click.command()
@click.option("--parent", default=200_000, help="Designs of the parent run.")
@click.option("--designs", default=40_000, help="Designs of every child.")
@click.option("--seeds", default=1, help="Runs for each pin.")
@click.option("--main", "main_only", is_flag=True, help="The main structures only.")
@click.option("--pins", default="1,2,3,4,5", help="Which of the five.")
@click.option("--run", "folder", type=click.Path(path_type=Path), help="An old parent run.")
def main(parent, designs, seeds, main_only, pins, folder):
    """Print evaluations to 99 % of the child's own end, warm beside cold."""
    keep_memory()
    with tempfile.TemporaryDirectory() as temporary:
        run = open_run(folder) if folder else run_of(parent, main_only, temporary)
        print(f"parent {run.status.get('designs'):,} designs, children {designs:,}: evaluations "
              f"to {100 * LEVEL:.0f} % of the warm child's own end")  # fmt: skip
        print(f"{'pin':44s} {'seed':>4s} {'warm':>8s} {'cold':>8s} {'ratio':>7s} "
              f"(target {TARGET:g})  {'as cold':>8s}  cold ends at")  # fmt: skip
        ratios = []
        chosen = pins_for(run)
        for pin in (chosen[int(k) - 1] for k in pins.split(",")):
            for seed in range(1, seeds + 1):
                found = compared(run, pin, seed, designs)
                if found is None:
                    print(f"{pin:44s} {seed:4d} nothing feasible")
                    continue
                ours, theirs, most, equal, share = found
                ratios.append((theirs or most) / ours)
                late = f"{theirs:,}" if theirs else "never"
                least = " " if theirs else "≥"
                same = f"{equal:,}" if equal else "never"
                print(f"{pin:44s} {seed:4d} {ours:8,} {late:>8s} {least}{ratios[-1]:6.1f} "
                      f"{'':12s} {same:>8s}  {100 * share:.1f} %", flush=True)  # fmt: skip
        print(f"median ratio {np.median(ratios):.1f}, least {min(ratios):.1f} (target {TARGET:g})")


if __name__ == "__main__":
    main()
