"""The designs of a run as arrays for the area "Fronts": selections, fronts, bins."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.axes import Array
from optimizer.archive import Run
from optimizer.front import staircase
from optimizer.page.fronts_view import Brush, direction
from optimizer.page.library import Library
from optimizer.page.memory import Memory
from optimizer.quantities import LONGEST_YEARS
from optimizer.selection import spread

Rows = NDArray[np.int64]
Mask = NDArray[np.bool_]
KEPT_BYTES = 300_000_000  # of the boards looked at last
BINS = 32  # of a histogram
CELLS = (150, 90)  # of the picture behind the fronts, across and up
# Shares of designs beyond the ends of a histogram, counted in its last bins: a life without
# wear is stored as 999 years, and would squeeze all others into one bar.
TAILS = (0.002, 0.98)


@dataclasses.dataclass(frozen=True, eq=False)
class Board:
    """The feasible designs of a run.

    Parameters
    ----------
    run : Run
        The run as it was opened.
    units : Mapping
        Unit of every reported quantity and of every variable with numbers, by name.
    results : Mapping
        Values (designs,) of the reported quantities.
    topologies : tuple of str
        Names of the topologies of the run.
    kind : NDArray
        Number of the topology of every design.
    ids : NDArray
        Short names of the designs.
    owner, cloud, row : NDArray
        Where every design is stored: candidate, whether behind its front, row.
    """

    run: Run
    units: Mapping[str, str]
    results: Mapping[str, Array]
    topologies: tuple[str, ...]
    kind: Rows
    ids: NDArray[Any]
    owner: Rows
    cloud: Mask
    row: Rows
    _variables: dict[str, Array] = dataclasses.field(default_factory=dict)
    _slots: dict[str, tuple[Array, Rows]] = dataclasses.field(default_factory=dict)

    @property
    def size(self) -> int:
        """Number of designs."""
        return len(self.ids)

    @property
    def weight(self) -> int:
        """Bytes that it takes now."""
        slots = [at for _, at in self._slots.values()]
        arrays = [*self.results.values(), *self._variables.values(), *slots]
        return sum(a.nbytes for a in arrays)

    def of(self, name: str) -> Array:
        """Return the values of a quantity or variable; NaN where a design has none."""
        if name in self.results:
            return self.results[name]
        if name not in self._variables:
            self._variables[name] = self._variable(name)
        return self._variables[name]

    def slots(self, name: str) -> tuple[Array, Rows]:
        """Return the edges of the bins of a quantity, and the bin of every design; −1 of none.

        They do not depend on what is selected, so that a brush need not find them again.
        Lives beyond a century, which no law supports, count as one.
        """
        if name not in self._slots:
            values = self.of(name)
            if self.units.get(name) == "years":
                values = np.minimum(values, LONGEST_YEARS)
            self._slots[name] = slotted(values)
        return self._slots[name]

    def _variable(self, name: str) -> Array:
        found = np.full(self.size, np.nan)
        for candidate in self.run.candidates:
            at = [j for j, g in enumerate(candidate.genes.genes) if g.variable.path == name]
            for parts, behind in ((self.run.fronts, False), (self.run.clouds, True)):
                mine = (self.owner == candidate.number) & (self.cloud == behind)
                if at and mine.any():
                    genes = parts[candidate.number].genes[self.row[mine]]
                    scale = candidate.genes.genes[at[0]].variable.scale
                    found[mine] = candidate.genes.values(genes)[:, at[0]] / scale
        return found


class Boards:
    """The boards of the runs looked at last."""

    def __init__(self, library: Library) -> None:
        self._library, self._kept = library, Memory(KEPT_BYTES, lambda board: board.weight)

    def of(self, run: Run) -> Board:
        """Return the board of a run as it was opened."""
        board: Board = self._kept.get(run, lambda: made(self._library, run))
        return board


def made(library: Library, run: Run) -> Board:
    """Return the board of a run; designs that break a limit are left out."""
    listing = library.listing(run)
    table = listing.table
    names = [c.name for c in run.columns]
    good = np.ones(len(table), dtype=bool)
    if "worst_margin" in names:
        good = table["worst_margin"].to_numpy() <= 0.0
    topologies = tuple(dict.fromkeys(c.topology for c in run.candidates))
    kinds = np.array([topologies.index(c.topology) for c in run.candidates], dtype=np.int64)
    owner = listing.owner[good]
    return Board(
        run=run,
        units={**variable_units(run), **{c.name: c.unit for c in run.columns}},
        results={n: np.ascontiguousarray(table[n].to_numpy(dtype=float)[good]) for n in names},
        topologies=topologies,
        kind=kinds[owner] if owner.size else np.zeros(0, dtype=np.int64),
        ids=table["design"].to_numpy()[good],
        owner=owner,
        cloud=listing.cloud[good],
        row=listing.row[good],
    )


def variable_units(run: Run) -> dict[str, str]:
    """Return the units of the variables that are numbers, by path."""
    return {
        g.variable.path: g.variable.unit or "1"
        for c in run.candidates
        for g in c.genes.genes
        if not g.variable.options
    }


def selected(board: Board, brushes: Sequence[Brush], hidden: Sequence[str] = ()) -> Mask:
    """Return which designs stand inside all brushes and are of no hidden topology."""
    kept = np.array([name not in hidden for name in board.topologies], dtype=bool)
    inside: Mask = kept[board.kind] if board.size else np.zeros(0, dtype=bool)
    for brush in brushes:
        if brush.name not in board.units:
            continue
        values = board.of(brush.name)
        inside = inside & (values >= brush.lo) & (values <= brush.hi)
    return inside


def front_rows(board: Board, inside: Mask, x: str, y: str, most: int) -> dict[str, Rows]:
    """Return the rows of the front in the plane of two quantities, by topology.

    Parameters
    ----------
    board : Board
        The designs.
    inside : NDArray
        Which of them count.
    x, y : str
        The quantities, each with its own better direction.
    most : int
        Designs of a front at most; those that cover least of the plane are left out.
    """
    goals = np.stack([-direction(n) * board.of(n) for n in (x, y)], axis=1)
    inside = inside & np.isfinite(goals).all(axis=1)
    found = {}
    for k, name in enumerate(board.topologies):
        rows = np.flatnonzero(inside & (board.kind == k))
        if not rows.size:
            continue
        rows = rows[staircase(goals[rows])]
        rows = rows[spread(goals[rows], most)]
        found[name] = rows[np.argsort(board.of(x)[rows], kind="stable")]
    return found


@dataclasses.dataclass(frozen=True)
class Bins:
    """A quantity in bins: edges (bins + 1,), all designs and the selected ones in each."""

    edges: Array
    every: Rows
    selected: Rows


def bins(board: Board, name: str, inside: Mask) -> Bins:
    """Return a histogram whose end bins hold whatever lies beyond them."""
    edges, at = board.slots(name)
    every, some = (np.bincount(a + 1, minlength=BINS + 1)[1:] for a in (at, at[inside]))
    return Bins(edges, every, some)


def slotted(values: Array) -> tuple[Array, Rows]:
    """Return the edges of bins, and the bin of every value; −1 of one that is no number."""
    found = np.full(len(values), -1, dtype=np.int64)
    finite = np.isfinite(values)
    if not finite.any():
        return np.linspace(0.0, 1.0, BINS + 1), found
    lo, hi = span(values[finite])
    at = (values[finite] - lo) * (BINS / (hi - lo))
    found[finite] = np.clip(at, 0, BINS - 1).astype(np.int64)
    return np.linspace(lo, hi, BINS + 1), found


def span(values: Array) -> tuple[float, float]:
    """Return where a histogram begins and ends: without tails that would squeeze the rest."""
    ends = (float(values.min()), float(values.max()))
    kept = tuple(float(v) for v in np.quantile(values, TAILS))
    lo = kept[0] if kept[0] - ends[0] > kept[1] - kept[0] else ends[0]
    hi = kept[1] if ends[1] - kept[1] > kept[1] - kept[0] else ends[1]
    if hi <= lo:
        wide = abs(lo) * 0.01 or 0.5
        return lo - wide, hi + wide
    return lo, hi


def cells(
    board: Board, inside: Mask, axes: tuple[str, str], frame: Sequence[float], colour: str = ""
) -> Array:
    """Return the picture behind the fronts (up, across), NaN where nothing stands.

    Parameters
    ----------
    board : Board
        The designs.
    inside : NDArray
        Which of them count.
    axes : tuple of str
        Quantities across and up.
    frame : Sequence of float
        Across from, across to, up from, up to.
    colour : str
        Quantity of which every cell has the mean; empty for the number of designs.
    """
    wide, high = CELLS
    x, y = (board.of(n) for n in axes)
    across = (x - frame[0]) * (wide / (frame[1] - frame[0]))
    up = (y - frame[2]) * (high / (frame[3] - frame[2]))
    kept = inside & (across >= 0) & (across < wide) & (up >= 0) & (up < high)
    at = up[kept].astype(np.int64) * wide + across[kept].astype(np.int64)
    count = np.bincount(at, minlength=wide * high).astype(float)
    value = count
    if colour:
        total = np.bincount(at, weights=board.of(colour)[kept], minlength=wide * high)
        value = total / np.maximum(count, 1.0)
    return np.where(count > 0.0, value, np.nan).reshape(high, wide)


def thinned(inside: Mask, most: int) -> Rows:
    """Return at most so many rows, taken evenly."""
    rows = np.flatnonzero(inside)
    return rows[:: max(-(-rows.size // most), 1)]
