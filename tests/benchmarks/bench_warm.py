"""How much sooner a re-run reaches its front when it starts from its parent's designs.

Run: .venv/bin/python tests/benchmarks/bench_warm.py
     .venv/bin/python tests/benchmarks/bench_warm.py --whole --parent 600000 --child 300000

One parent sweep of the demonstration, then for each of five pins the child with its seeds
(warm) and without (cold), same budget and seeds of the generator.  By default the main
structure of each topology takes part, each with as many designs as the whole demonstration
gives it.  Counted are evaluations, those that choose the seeds included, until a run first
holds 99 % of the hypervolume that the warm child ends with, in the frame of both fronts.
A cold run that never gets there counts with all of its evaluations: the ratio is then at
least what is printed.
"""

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
MAIN = ("flyback.phases = 2", "flyback.clamp = short_pulse", "boost = synchronous",
        "boost.phases = 2", "boost.gating = uniform")  # fmt: skip
STEP = 250  # evaluations between two looks at the front


class Trace:
    """What all candidates of one run have found by when."""

    def __init__(self):
        self.count, self.marks, self.fronts = 0, [], []
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


def run_of(designs, whole, folder):
    """The parent run."""
    ready = prepared(ROOT / "runs" / "demo.toml", () if whole else MAIN)
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


def child(run, pin, seed, designs, *, warm):
    """The trace of a child run, and the designs on its fronts."""
    ready = prepared_again(run, [*map(parse, run.pins), parse(pin)])
    trace = Trace()
    problems = [Traced(p, trace) for p in ready.problems]
    seeds = start_from(run, problems, seed).seeds if warm else {}
    engine.sweep(problems, Settings(seed=seed, evaluations=designs), seeds=seeds)
    trace.end()
    return trace


def compared(warm, cold):
    """Evaluations to the level of the warm child's end, and the share of it a cold one ends at."""
    frame = frame_of(np.concatenate([warm.fronts[-1], cold.fronts[-1]]))
    if frame is None:
        return None
    whole = frame.hypervolume(warm.fronts[-1])
    return (
        warm.reached(frame, LEVEL * whole),
        cold.reached(frame, LEVEL * whole),
        frame.hypervolume(cold.fronts[-1]) / whole,
    )


@click.command()
@click.option("--parent", default=100_000, help="Designs of the parent run.")
@click.option("--designs", "--child", default=50_000, help="Designs of every child.")
@click.option("--seeds", default=2, help="Runs for each pin, warm and cold.")
@click.option("--whole", is_flag=True, help="All structures take part.")
@click.option("--run", "folder", type=click.Path(path_type=Path), help="An old parent run.")
def main(parent, designs, seeds, whole, folder):
    """Print evaluations to 99 % of the child's own end, warm beside cold."""
    keep_memory()
    with tempfile.TemporaryDirectory() as temporary:
        run = open_run(folder) if folder else run_of(parent, whole, temporary)
        print(f"parent {run.status.get('designs'):,} designs; children {designs:,} each; evaluations "
              f"to {100 * LEVEL:.0f} % of the warm child's own end")  # fmt: skip
        print(f"{'pin':44s} {'seed':>4s} {'warm':>8s} {'cold':>8s} {'ratio':>7s} "
              f"(target {TARGET:g})  cold ends at")  # fmt: skip
        ratios = []
        for pin in pins_for(run):
            for seed in range(1, seeds + 1):
                warm = child(run, pin, seed, designs, warm=True)
                cold = child(run, pin, seed, designs, warm=False)
                found = compared(warm, cold)
                if found is None:
                    print(f"{pin:44s} {seed:4d} nothing feasible")
                    continue
                ours, theirs, share = found
                ratios.append((theirs or cold.count) / ours)
                late = f"{theirs:,}" if theirs else "never"
                least = " " if theirs else "≥"
                print(f"{pin:44s} {seed:4d} {ours:8,} {late:>8s} {least}{ratios[-1]:6.1f} "
                      f"{'':12s} {100 * share:.1f} %", flush=True)  # fmt: skip
        print(f"median ratio {np.median(ratios):.1f}, least {min(ratios):.1f} (target {TARGET:g})")


if __name__ == "__main__":
    main()
