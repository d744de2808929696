"""The price of a pin: what one front gives up against another, level by level.

Fronts are read as staircases: at a level of one objective counts the best design of the
other that reaches at least this level.  Nothing is interpolated between designs and
nothing extended past a front's end.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Mapping, Sequence

from optimizer.fronts import FrontPoint
from optimizer.objectives import Objective

LEVELS = 7  # round levels that both fronts reach, at most
STEPS = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)


@dataclasses.dataclass(frozen=True)
class Attained:
    """The design of a front that counts at a level."""

    design: str
    value: float
    cost: float | None


@dataclasses.dataclass(frozen=True)
class Row:
    """One level: what each front attains there; a loss is positive where ``after`` is worse."""

    level: float
    before: Attained | None
    after: Attained | None
    loss: float | None
    noise: float | None

    @property
    def in_noise(self) -> bool:
        """True where the loss is smaller than what the fronts themselves still moved."""
        return self.loss is not None and self.noise is not None and abs(self.loss) < self.noise

    @property
    def better(self) -> bool:
        """True where the later run reaches what the earlier did not, beyond the noise."""
        if self.loss is None:
            return self.before is None
        return self.loss < 0.0 and not self.in_noise

    @property
    def note(self) -> str:
        """What must be said of the row in words; empty where the numbers say it all."""
        if self.after is None:
            return "not reachable after"
        if self.before is None:
            return "not reachable before"
        if self.in_noise:
            return "within the noise"
        return "after is better" if self.better else ""


@dataclasses.dataclass(frozen=True)
class Table:
    """Losses of ``of`` at equal ``at``; ``noise`` in the unit of ``of``, None if not known."""

    at: Objective
    of: Objective
    rows: tuple[Row, ...]
    noise: float | None

    @property
    def losses(self) -> list[float]:
        """The losses at all levels that both fronts reach."""
        return [r.loss for r in self.rows if r.loss is not None]

    @property
    def mean(self) -> float | None:
        """Mean loss over these levels."""
        return sum(self.losses) / len(self.losses) if self.losses else None


@dataclasses.dataclass(frozen=True)
class Price:
    """What one topology, or all together, gave up from one run to another."""

    topology: str
    before: tuple[FrontPoint, ...]
    after: tuple[FrontPoint, ...]
    tables: tuple[Table, ...]
    remarks: tuple[str, ...] = ()

    @property
    def better(self) -> bool:
        """True where the later run is better anywhere, beyond the noise."""
        found_first = bool(self.after) and not self.before
        return found_first or any(r.better for t in self.tables for r in t.rows)


def attained(
    points: Sequence[FrontPoint], at: Objective, of: Objective, level: float
) -> Attained | None:
    """Return the best design in ``of`` that is no worse than ``level`` in ``at``."""
    slack = 1e-12 * abs(level)
    reach = [p for p in points if at.sign * (p.results[at.name] - level) >= -slack]
    if not reach:
        return None
    best = max(reach, key=lambda p: (of.sign * p.results[of.name], at.sign * p.results[at.name]))
    return Attained(best.label, best.results[of.name], best.results.get("cost"))


def levels(
    before: Sequence[FrontPoint], after: Sequence[FrontPoint], at: Objective
) -> list[float]:
    """Return round levels that both fronts reach, the last such, and the end of the longer.

    They begin at the first design of either front: to reach at least a level, the other
    then offers its own first design.
    """
    sides = [sorted(at.sign * p.results[at.name] for p in side) for side in (before, after)]
    first, last = min(side[0] for side in sides), min(side[-1] for side in sides)
    found = [*_round_levels(first, last), last, max(side[-1] for side in sides)]
    return [at.sign * u for u, _ in itertools.groupby(found)]


def _round_levels(first: float, last: float) -> list[float]:
    """Return at most LEVELS multiples of a round step from ``first`` to short of ``last``."""
    span = last - first
    if span <= 1e-9 * max(abs(first), abs(last)):
        return []
    power = math.floor(math.log10(span / LEVELS))
    for step in (s * 10.0**p for p in (power, power + 1) for s in STEPS):
        lowest, highest = math.ceil(first / step - 1e-9), math.floor(last / step + 1e-9)
        if highest - lowest + 1 <= LEVELS:
            found = [round(k * step, 12) for k in range(lowest, highest + 1)]
            return [u for u in found if first - 1e-9 * span <= u < last - 0.4 * step]
    return []


def table(
    before: Sequence[FrontPoint], after: Sequence[FrontPoint], at: Objective, of: Objective,
    *, noise: float | None,
) -> Table:  # fmt: skip
    """Return the losses of one objective at equal levels of another."""
    rows: list[Row] = []
    for level in levels(before, after, at):
        old, new = attained(before, at, of, level), attained(after, at, of, level)
        loss = of.sign * (old.value - new.value) if old and new else None
        if rows and (rows[-1].before, rows[-1].after) == (old, new):
            rows.pop()  # the same two designs reach further: that says more
        rows.append(Row(level, old, new, loss, noise))
    return Table(at, of, tuple(rows), noise)


def price(
    topology: str,
    before: Sequence[FrontPoint],
    after: Sequence[FrontPoint],
    objectives: Sequence[Objective],
    *,
    noise: Mapping[str, float],
) -> Price:
    """Return what the front ``after`` gives up against ``before``, both ways of every pair.

    Parameters
    ----------
    topology : str
        Whose fronts; empty for all topologies together.
    before, after : Sequence of FrontPoint
        The two fronts.
    objectives : Sequence of Objective
        What both runs were searched for.
    noise : Mapping
        By objective, how far a front may still move, in its unit; empty if not known.
    """
    if not before or not after:
        missing = [w for w, side in (("before", before), ("after", after)) if not side]
        said = f"no feasible design {' or '.join(missing)}: there is nothing to set beside."
        return Price(topology, tuple(before), tuple(after), (), (said,))
    tables = tuple(
        table(before, after, at, of, noise=noise.get(of.name))
        for at, of in itertools.permutations(objectives, 2)
    )
    return Price(topology, tuple(before), tuple(after), tables)
