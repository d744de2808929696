"""What a search knew after how many designs, whoever searched, and how to compare that."""

import dataclasses

import numpy as np

from optimizer.front import frame_of, staircase

MARKS = np.unique(np.geomspace(250, 3e6, 200).astype(int))  # 5 % apart


@dataclasses.dataclass
class Record:
    """Non-dominated objectives of one search whenever its count of designs passed a mark."""

    who: str
    seed: int
    evaluations: list[int]
    fronts: list[np.ndarray]
    seconds: float = 0.0


class Recorder:
    """A problem that notes what has been found by each mark; otherwise the problem itself."""

    def __init__(self, problem, who, seed):
        self._problem = problem
        self._front = np.zeros((0, problem.sizes[0]))
        self._fresh, self._count, self._next = [], 0, 0
        self.record = Record(who, seed, [], [])

    def __getattr__(self, name):
        return getattr(self._problem, name)

    def evaluate(self, genes):
        """Evaluate and note."""
        outcome = self._problem.evaluate(genes)
        met = (outcome.margins <= 0.0).all(axis=1)
        self._fresh.append(outcome.objectives[met])
        self._count += len(genes)
        if self._count >= MARKS[self._next]:
            self._next = int(np.searchsorted(MARKS, self._count, side="right"))
            self._note()
        return outcome

    def _note(self):
        every = np.concatenate([self._front, *self._fresh])
        self._front, self._fresh = every[staircase(every)], []
        self.record.evaluations.append(self._count)
        self.record.fronts.append(self._front)

    def done(self, seconds):
        """The record, its end noted."""
        self._note()
        self.record.seconds = seconds
        return self.record


def best_of(fronts):
    """The staircase of many fronts together."""
    every = np.concatenate(fronts)
    return every[staircase(every)]


class Yardstick:
    """Shares of the hypervolume of the best front known, in the frame that it spans."""

    def __init__(self, best):
        self.best = best
        self._frame = frame_of(best)
        self._whole = self._frame.hypervolume(best)

    def share(self, objectives):
        """Share of the hypervolume, 1 where as good as the best known."""
        return self._frame.hypervolume(objectives) / self._whole if len(objectives) else 0.0

    def shares(self, record):
        """Share at every mark of a record."""
        return np.array([self.share(f) for f in record.fronts])


def at(record, shares, evaluations):
    """Share known after so many designs; the last mark before counts."""
    known = np.searchsorted(record.evaluations, evaluations * 1.02, side="right") - 1
    return float(shares[known]) if known >= 0 else 0.0


def reached(record, shares, level):
    """Designs until a share is reached, infinite where it never is."""
    there = np.flatnonzero(shares >= level)
    return float(record.evaluations[there[0]]) if there.size else np.inf


def shown(count):
    """A count of designs, or never."""
    return "never" if not np.isfinite(count) else f"{count:,.0f}"


def table(records, yardstick, marks, levels=(0.99, 0.999)):
    """Print one line for each who; return {who: (records, shares at the end, reached)}."""
    heads = [f"{m // 1000} k" for m in marks] + ["end", "worst"]
    print(f"{'':28s}" + "".join(f"{h:>8s}" for h in heads)
          + "".join(f"{f'to {100 * x:g} %':>12s}" for x in levels) + "   CPU s a run")  # fmt: skip
    found = {}
    for who in dict.fromkeys(r.who for r in records):
        mine = [r for r in records if r.who == who]
        shares = [yardstick.shares(r) for r in mine]
        columns = [np.median([at(r, s, m) for r, s in zip(mine, shares, strict=True)])
                   for m in marks]  # fmt: skip
        ends = np.array([s[-1] for s in shares])
        to = {x: [reached(r, s, x) for r, s in zip(mine, shares, strict=True)] for x in levels}
        line = "".join(f"{c:8.4f}" for c in [*columns, np.median(ends), ends.min()])
        # Half of the seeds never: the median is never.
        line += "".join(f"{shown(np.quantile(to[x], 0.5, method='higher')):>12s}" for x in levels)
        print(f"{who:28s}{line}   {np.mean([r.seconds for r in mine]):.0f}")
        found[who] = (mine, ends, to)
    return found
