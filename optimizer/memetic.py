"""Polish: the real genes of designs spread along the front, improved by gradient steps.

Many small problems advance in step with one another, so that the differences of all of
them are evaluated as one batch.
"""

from __future__ import annotations

import dataclasses
import queue
import threading
from collections.abc import Callable
from typing import Any

import numpy as np
from scipy.optimize import minimize

from models.axes import Array
from optimizer.encode import Space, Whole
from optimizer.problem import Outcome

ITERATIONS = 12
POINTS = 24  # about as many points does a descent of that length look at
STEP = 1e-6  # of a gene, for forward differences: half the digits, above rounding noise
FREE = 10.0  # [extents] that an end of the front may give away of the other objectives
ALIKE = 1e-3  # [extents of the front] by which the other objectives may get worse
SLACK = 1e-4  # margins kept clear of zero, so that a step along a bent limit stays inside


class _HaltedError(Exception):
    """The batch that a search waits for will not come."""


@dataclasses.dataclass
class _Asked:
    """One search's wish for a batch, and the channel for the answer."""

    index: int
    genes: Array | None  # None: this search has ended, with the result below
    result: Array | None = None


def starts(objectives: Array, count: int, rng: np.random.Generator) -> Whole:
    """Return rows spread along a front, both ends always among them."""
    order = np.argsort(objectives[:, 0], kind="stable")
    inner = np.sort(rng.random(max(count - 2, 0))) * (order.size - 1)
    ends = np.array([0, order.size - 1])
    return order[np.unique(np.concatenate([ends, inner.astype(np.int64)]))]


def polished(
    genes: Array,
    objectives: Array,
    *,
    space: Space,
    held: Array,
    evaluate: Callable[[Array], Outcome],
) -> tuple[Array, Outcome | None]:
    """Return designs improved from ``genes``, one each, and what they come to.

    Design i improves objective i mod m while no other gets worse and every margin is
    met, by sequential quadratic programming over its real genes.  The best design in an
    objective goes on in that one, whatever it costs in the others: it alone can make the
    front longer.

    Parameters
    ----------
    genes, objectives : Array
        Feasible designs (n, genes) and their objectives (n, m).
    space : Space
        The genes.
    held : Array
        NaN for each gene that may move.
    evaluate : Callable
        Evaluates a batch.

    Source
    ------
    D. Kraft, "A software package for sequential quadratic programming", DFVLR-FB 88-28,
    1988 (from memory), as SciPy implements it.
    """
    reals = np.flatnonzero(space.real & np.isnan(held))
    if not reals.size or not len(genes):
        return genes[:0], None
    extent = np.maximum(objectives.max(axis=0) - objectives.min(axis=0), 1e-9)
    asked: queue.SimpleQueue[_Asked] = queue.SimpleQueue()
    answers: list[queue.SimpleQueue[Array | None]] = [queue.SimpleQueue() for _ in genes]
    m = objectives.shape[1]
    main, room = np.arange(len(genes)) % m, np.zeros(len(genes))
    ends = objectives.argmin(axis=0)
    main[ends], room[ends] = np.arange(m), FREE
    searches = [
        _Search(
            i, genes[i], _Aim(objectives[i] / extent, int(main[i]), float(room[i])), reals,
            extent, asked, answers[i],
        )
        for i in range(len(genes))
    ]  # fmt: skip
    threads = [threading.Thread(target=search.run, daemon=True) for search in searches]
    for thread in threads:
        thread.start()
    try:
        found = _serve(len(genes), asked, answers, evaluate)
    finally:
        for channel in answers:
            channel.put(None)
        for thread in threads:
            thread.join()
    made = space.snapped(np.stack([found[i] for i in range(len(genes))]))
    return made, evaluate(made)


def _serve(
    count: int,
    asked: queue.SimpleQueue[_Asked],
    answers: list[queue.SimpleQueue[Array | None]],
    evaluate: Callable[[Array], Outcome],
) -> dict[int, Array]:
    """Answer all searches, one batch a round, until each has ended; return the results."""
    found: dict[int, Array] = {}
    while len(found) < count:
        wishes = sorted((asked.get() for _ in range(count - len(found))), key=lambda w: w.index)
        open_ = [(w.index, w.genes) for w in wishes if w.genes is not None]
        found.update({w.index: w.result for w in wishes if w.result is not None})
        if not open_:
            continue
        batch = np.concatenate([genes for _, genes in open_])
        outcome = evaluate(batch)
        values = np.concatenate([outcome.objectives, outcome.margins], axis=1)
        first = 0
        for index, genes in open_:
            answers[index].put(values[first : first + len(genes)])
            first += len(genes)
    return found


@dataclasses.dataclass(frozen=True)
class _Aim:
    """Where a search starts, in extents, what it improves, and what the others may lose."""

    start: Array
    main: int
    room: float


class _Search:
    """One design's descent; it runs in a thread of its own, but only while it is answered."""

    def __init__(
        self,
        index: int,
        genes: Array,
        aim: _Aim,
        reals: Whole,
        extent: Array,
        asked: queue.SimpleQueue[_Asked],
        answers: queue.SimpleQueue[Array | None],
    ) -> None:
        self._index, self._genes, self._reals = index, genes, reals
        self._extent, self._asked, self._answers = extent, asked, answers
        self._main = aim.main
        m = aim.start.size
        self._others = np.array([k for k in range(m) if k != aim.main], dtype=np.int64)
        self._bound = aim.start[self._others] + aim.room
        self._best = (float(aim.start[aim.main]), genes[reals])
        self._at: tuple[bytes, Array, Array] = (b"", aim.start, aim.start)

    def run(self) -> None:
        """Descend, then hand in the best design met that keeps to all bounds.

        The last point of a descent often breaks a limit by a little where an earlier one
        does not; without progress the start is handed in.
        """
        room: Any = {"type": "ineq", "fun": self._room, "jac": self._room_slope}
        goal: Any = self._goal
        try:
            with np.errstate(all="ignore"):
                minimize(
                    goal,
                    self._genes[self._reals],
                    jac=self._goal_slope,
                    bounds=[(0.0, 1.0)] * self._reals.size,
                    method="SLSQP",
                    constraints=room,
                    options={"maxiter": ITERATIONS, "ftol": 1e-6},
                )
        except (_HaltedError, ValueError, ArithmeticError, np.linalg.LinAlgError):
            pass  # what was met so far stands
        finally:
            result = self._genes.copy()
            result[self._reals] = self._best[1]
            self._asked.put(_Asked(self._index, None, result))

    def _goal(self, x: Array) -> float:
        # A hundredfold, so that the solver's tolerance means a ten-thousandth of the front.
        return 100.0 * float(self._both(x)[0][self._main])

    def _goal_slope(self, x: Array) -> Array:
        return 100.0 * self._both(x)[1][self._main]

    def _room(self, x: Array) -> Array:
        v = self._both(x)[0]
        m = self._others.size + 1
        return np.concatenate([self._bound - v[self._others], -v[m:] - SLACK])

    def _room_slope(self, x: Array) -> Array:
        s = self._both(x)[1]
        return -np.concatenate([s[self._others], s[self._others.size + 1 :]])

    def _both(self, x: Array) -> tuple[Array, Array]:
        """Return objectives (in extents) and margins, and their slopes, asking once a point."""
        key = np.ascontiguousarray(x).tobytes()
        if key != self._at[0]:
            inside = np.clip(np.nan_to_num(x, nan=0.5), 0.0, 1.0)
            step = np.where(inside + STEP > 1.0, -STEP, STEP)
            batch = np.repeat(self._genes[None, :], x.size + 1, axis=0)
            batch[:, self._reals] = inside
            batch[np.arange(1, x.size + 1), self._reals] += step
            self._asked.put(_Asked(self._index, batch))
            values = self._answers.get()
            if values is None:
                raise _HaltedError
            scaled = values.copy()
            scaled[:, : self._extent.size] /= self._extent
            slope = ((scaled[1:] - scaled[0]) / step[:, None]).T
            self._at = (key, scaled[0], slope)
            self._note(inside, scaled[0])
        return self._at[1], self._at[2]

    def _note(self, x: Array, values: Array) -> None:
        """Remember a point that is better than the start and keeps to all bounds."""
        m = self._extent.size
        worse = (values[self._others] > self._bound + ALIKE).any() or (values[m:] > 0.0).any()
        if values[self._main] < self._best[0] and not worse:
            self._best = (float(values[self._main]), x.copy())
