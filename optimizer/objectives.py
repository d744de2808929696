"""What a run was searched for, in words, and the places on a front that it makes."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from models.axes import Array
from optimizer.archive import Run
from optimizer.fronts import FrontPoint
from optimizer.launch import parse_without_files
from optimizer.quantities import significant

SUFFIXES = {"%": "_pct", "kW/l": "_kw_l", "°C": "_c", "years": "_years"}
DECIMALS = {"%": 2, "kW/l": 3, "€": 1, "mm": 1}


@dataclasses.dataclass(frozen=True)
class Objective:
    """What the runs were searched for; ``sign`` is +1 where more is better, else −1."""

    name: str
    unit: str
    sign: float

    @property
    def title(self) -> str:
        """The name in plain words, without its unit."""
        suffix = SUFFIXES.get(self.unit, f"_{self.unit.lower()}")
        return self.name.removesuffix(suffix).replace("_", " ")

    @property
    def axis(self) -> str:
        """Title and unit, for an axis."""
        return f"{self.title} [{self.unit}]" if self.unit != "1" else self.title

    @property
    def difference_unit(self) -> str:
        """Unit of a difference: points for percentages."""
        return {"%": "points", "1": ""}.get(self.unit, self.unit)

    def text(self, value: float) -> str:
        """Return a value without unit, in as many figures as the models bear."""
        if self.unit in DECIMALS:
            return f"{value:.{DECIMALS[self.unit]}f}"
        return significant(value, 4)

    def difference(self, value: float) -> str:
        """Return a difference with its sign; one too small to show is 0."""
        if self.unit not in DECIMALS:
            return f"{'+' if value > 0.0 else '−' if value < 0.0 else ''}" + significant(
                abs(value), 3
            )
        text = f"{abs(value):.{DECIMALS[self.unit]}f}"
        if float(text) == 0.0:
            return text
        return ("+" if value > 0.0 else "−") + text


def objectives_of(run: Run) -> tuple[Objective, ...]:
    """Return what a run was searched for."""
    wanted = parse_without_files(run).objectives
    units = {c.name: c.unit for c in run.columns}
    signs = [*((n, 1.0) for n in wanted.maximise), *((n, -1.0) for n in wanted.minimise)]
    return tuple(Objective(name, units.get(name, "1"), sign) for name, sign in signs)


def goals(points: Sequence[FrontPoint], objectives: Sequence[Objective]) -> Array:
    """Return the objectives of designs (n, m), to be minimised."""
    rows = [[-o.sign * p.results[o.name] for o in objectives] for p in points]
    return np.array(rows).reshape(len(points), len(objectives))


def landmarks(
    points: Sequence[FrontPoint], objectives: Sequence[Objective]
) -> list[tuple[str, int]]:
    """Return the best design of every objective and the knee, by number.

    The knee has the least sum of objectives, each scaled to the front's own extent: on
    a front of two, the design farthest from the chord between the ends.
    """
    values = goals(points, objectives)
    lo = values.min(axis=0)
    extent = np.maximum(values.max(axis=0) - lo, 1e-300)
    best = [(f"best {o.title}", int(values[:, j].argmin())) for j, o in enumerate(objectives)]
    return [*best, ("knee", int(((values - lo) / extent).sum(axis=1).argmin()))]
