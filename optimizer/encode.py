"""Genes in [0, 1] and the values they stand for.

A real gene maps linearly or logarithmically onto its range; a discrete one is cut into
cells, one a level, and every gene handed to the search sits at the centre of its cell,
so that equal designs have equal bits.  A pin narrows the range or drops levels; genes
then cover what is left, and a gene with one level left is out of the search.
"""

from __future__ import annotations

import dataclasses
import enum
import functools
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.axes import Array
from models.variables import Variable

Whole = NDArray[np.int64]


class Kind(enum.IntEnum):
    """How a gene may move."""

    REAL = 0
    WHOLE = 1  # levels in order: may be averaged and stepped
    ROW = 2  # rows of a table: may be stepped, its order says something at best
    CHOICE = 3  # names without order


@dataclasses.dataclass(frozen=True)
class Space:
    """What the operators know of the genes; every array has one entry a gene.

    ``levels`` is 0 for a real gene; ``centres`` (genes, most levels) holds the gene
    value of every level.  ``log_lo`` and ``log_hi`` are the logarithms of the outer cell
    edges of whole numbers searched on a logarithmic scale, else both 0.
    """

    kinds: Whole
    levels: Whole
    groups: Whole
    centres: Array
    log_lo: Array
    log_hi: Array

    @staticmethod
    def uniform(kinds: Sequence[int], levels: Sequence[int], groups: Sequence[int]) -> Space:
        """Return a space whose levels all have cells of equal width."""
        count = np.asarray(levels, dtype=np.int64)
        flat = np.zeros(count.size)
        return Space(
            np.asarray(kinds, dtype=np.int64),
            count,
            np.asarray(groups, dtype=np.int64),
            _even_centres(count),
            flat,
            flat,
        )

    @property
    def size(self) -> int:
        """Number of genes."""
        return int(self.kinds.size)

    @functools.cached_property
    def real(self) -> NDArray[np.bool_]:
        """True for each gene that moves continuously."""
        return self.levels == 0

    @functools.cached_property
    def free(self) -> Whole:
        """Numbers of the genes that can change at all."""
        return np.flatnonzero(self.levels != 1)

    @functools.cached_property
    def _log(self) -> Whole:
        return np.flatnonzero(self.log_hi > self.log_lo)

    def level(self, genes: Array) -> Whole:
        """Return the level that every gene lies in; 0 for real genes."""
        found = (genes * self.levels).astype(np.int64)
        j = self._log
        if j.size:
            lo, hi = self.log_lo[j], self.log_hi[j]
            # The value is whole: its cell reaches half a unit to either side.
            found[:, j] = np.floor(np.exp(lo + genes[:, j] * (hi - lo)) - np.exp(lo))
        return np.minimum(np.maximum(found, 0), np.maximum(self.levels - 1, 0))

    def snapped(self, genes: Array) -> Array:
        """Return genes reflected into [0, 1], discrete ones at the centre of their cell."""
        inside = np.minimum(np.abs(genes), 1.0) - np.maximum(np.minimum(genes, 2.0) - 1.0, 0.0)
        inside = np.maximum(inside, 0.0)
        centre = self.centres[np.arange(self.size), self.level(inside)]
        return np.where(self.real, inside, centre)


def _even_centres(levels: Whole) -> Array:
    """Return the centres of equal cells, padded to the most levels of any gene."""
    count = np.maximum(levels, 1)[:, None]
    column = np.minimum(np.arange(int(count.max(initial=1)))[None, :], count - 1)
    return (column + 0.5) / count


@dataclasses.dataclass(frozen=True)
class Gene:
    """One variable as it is searched: its range, or its levels, after the pins.

    ``lo`` and ``hi`` are SI; ``allowed`` lists the whole numbers, rows or choices left,
    in ascending order, and is empty for a real variable.
    """

    variable: Variable
    lo: float
    hi: float
    allowed: tuple[int, ...] = ()

    @property
    def levels(self) -> int:
        """Number of separate values; 0 where the variable moves continuously."""
        if self.variable.discrete:
            return len(self.allowed)
        return 1 if self.lo == self.hi else 0

    @property
    def log_levels(self) -> bool:
        """True for a run of whole numbers without gaps that is searched logarithmically."""
        run = (
            len(self.allowed) == self.allowed[-1] - self.allowed[0] + 1 if self.allowed else False
        )
        return self.variable.log and run and self.levels > 1 and self.allowed[0] >= 1


def gene_of(variable: Variable) -> Gene:
    """Return the gene of a variable that nothing pins."""
    if not variable.discrete:
        return Gene(variable, variable.lo, variable.hi)
    allowed = tuple(range(round(variable.lo), round(variable.hi) + 1))
    return Gene(variable, variable.lo, variable.hi, allowed)


@dataclasses.dataclass(frozen=True)
class Genes:
    """The genes of one topology and structure, in the order of its variables."""

    genes: tuple[Gene, ...]

    @staticmethod
    def of(variables: Sequence[Variable]) -> Genes:
        """Return the genes of variables that nothing pins."""
        return Genes(tuple(gene_of(v) for v in variables))

    @functools.cached_property
    def space(self) -> Space:
        """What the operators need to know."""
        kind = {"whole": Kind.WHOLE, "row": Kind.ROW, "choice": Kind.CHOICE, "real": Kind.REAL}
        stages = [g.variable.field.split(".")[0] for g in self.genes]
        order = list(dict.fromkeys(stages))
        levels = np.array([g.levels for g in self.genes], dtype=np.int64)
        centres = _even_centres(levels)
        log_lo, log_hi = np.zeros(levels.size), np.zeros(levels.size)
        for j, gene in enumerate(self.genes):
            if gene.log_levels:
                edges = np.log(np.arange(gene.allowed[0], gene.allowed[-1] + 2) - 0.5)
                log_lo[j], log_hi[j] = edges[0], edges[-1]
                middle = 0.5 * (edges[:-1] + edges[1:])
                centres[j, : gene.levels] = (middle - edges[0]) / (edges[-1] - edges[0])
        return Space(
            np.array([kind[g.variable.kind] for g in self.genes], dtype=np.int64),
            levels,
            np.array([order.index(s) for s in stages], dtype=np.int64),
            centres,
            log_lo,
            log_hi,
        )

    @functools.cached_property
    def _ranges(self) -> tuple[Array, Array, NDArray[np.bool_]]:
        lo = np.array([math.log(g.lo) if self._logarithmic(g) else g.lo for g in self.genes])
        hi = np.array([math.log(g.hi) if self._logarithmic(g) else g.hi for g in self.genes])
        return lo, hi, np.array([self._logarithmic(g) for g in self.genes], dtype=bool)

    @staticmethod
    def _logarithmic(gene: Gene) -> bool:
        return gene.variable.log and gene.levels == 0

    @functools.cached_property
    def _values(self) -> Array:
        """Value of every level, padded with the last one."""
        most = max((g.levels for g in self.genes), default=1)
        rows = [g.allowed or (g.lo,) for g in self.genes]
        return np.array([[*row, *[row[-1]] * (max(most, 1) - len(row))] for row in rows], float)

    def values(self, genes: Array) -> Array:
        """Return the SI values or row numbers that genes (n, genes) stand for, same shape."""
        lo, hi, log = self._ranges
        plain = lo + genes * (hi - lo)
        plain = np.where(log, np.exp(np.where(log, plain, 0.0)), plain)
        # Rounding in exp may step past the range by the last bit.
        plain = np.clip(plain, [g.lo for g in self.genes], [g.hi for g in self.genes])
        level = self._values[np.arange(len(self.genes)), self.space.level(genes)]
        return np.where(self.space.real, plain, level)

    def arrays(self, genes: Array) -> dict[str, Array]:
        """Return values by field path, each (n, 1, 1), as ``models.variables.build`` wants."""
        values = self.values(genes)
        return {g.variable.field: values[:, j].reshape(-1, 1, 1) for j, g in enumerate(self.genes)}

    def encoded(self, values: Array) -> Array:
        """Return the genes of SI values or row numbers (n, genes), nearest where outside.

        ``values(encoded(v))`` is v to the last bit for discrete variables and to a few
        parts in 1e15 for real ones.
        """
        lo, hi, log = self._ranges
        v = np.asarray(values, dtype=float)
        safe = np.where(log, np.log(np.where(log, np.maximum(v, 1e-300), 1.0)), v)
        span = np.where(hi > lo, hi - lo, 1.0)
        genes = np.clip((safe - lo) / span, 0.0, 1.0)
        for j, gene in enumerate(self.genes):
            if gene.levels:
                held = np.array(gene.allowed or (gene.lo,), dtype=float)
                nearest = np.abs(v[:, j, None] - held[None, :]).argmin(axis=1)
                genes[:, j] = self.space.centres[j, nearest]
        return genes

    def outside(self, values: Array) -> tuple[str, ...]:
        """Return the paths of the values (genes,) of one design that the genes cannot hold."""
        again = self.values(self.encoded(np.asarray(values, float)[None, :]))[0]
        wrong = ~np.isclose(again, values, rtol=1e-12, atol=0.0)
        return tuple(g.variable.path for g, bad in zip(self.genes, wrong, strict=True) if bad)

    def record(self) -> list[dict[str, Any]]:
        """Return the genes as plain data for the run folder."""
        return [
            {**dataclasses.asdict(g.variable), "gene_lo": g.lo, "gene_hi": g.hi,
             "allowed": list(g.allowed)}
            for g in self.genes
        ]  # fmt: skip


def genes_from(record: Sequence[Mapping[str, Any]]) -> Genes:
    """Return the genes that ``Genes.record`` wrote."""
    names = [f.name for f in dataclasses.fields(Variable)]
    return Genes(
        tuple(
            Gene(
                Variable(**{**{n: row[n] for n in names}, "options": tuple(row["options"])}),
                row["gene_lo"],
                row["gene_hi"],
                tuple(row["allowed"]),
            )
            for row in record
        )
    )
