"""Blocks: the parts and stages of a design, and how good ones are put together.

Nearly every random converter fails, but each part of it meets its own limits in many of
them.  While nothing feasible is known, every block keeps the genes of the designs in
which it did best, and new designs are composed from these and from whole designs.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from models.axes import Array
from optimizer.encode import Space
from optimizer.operators import difference, moved

if TYPE_CHECKING:
    from optimizer.problem import Outcome, Problem

# Measured on two converters of 52 and 79 genes, 69 and 122 limits, a dozen seeds each: the
# first feasible design comes after about 2,000 designs.  Without the loads the larger one
# needed 3,300 or, mostly, more than 6,000; without crossing parents 3,300 and 2,700.
FOUNDERS = 384  # random designs at first
PARENTS = 64  # designs of least violation kept
CHILDREN = 64
BEST = 24  # designs kept for every block
CROSSED = 0.4  # of the children: blocks of two parents
DIFFERED = 0.2  # differential variation of whole designs; the rest take kept blocks
RENEWED, REFRESHED = 0.4, 0.1  # chance of a block that violates a limit, or none
# Limits that all losses bring about together: they say nothing about one part.
SHARED = frozenset({"temperature", "junction", "touch", "cable"})


@dataclasses.dataclass(frozen=True)
class Blocks:
    """Which genes and limits lie in which block, outer blocks first.

    ``genes`` (blocks, genes) and ``limits`` (blocks, limits) are true inside; a stage
    holds all that its parts hold.
    """

    names: tuple[str, ...]
    genes: NDArray[np.bool_]
    limits: NDArray[np.bool_]

    @staticmethod
    def of(fields: Sequence[str], limits: Sequence[str]) -> Blocks:
        """Return the blocks that dotted paths of genes make, with the limits of each."""
        homes = [field.rpartition(".")[0] for field in fields]
        parts = {
            ".".join(home.split(".")[:depth])
            for home in homes
            if home
            for depth in range(1, home.count(".") + 2)
        }
        names = tuple(sorted(parts, key=lambda name: (name.count("."), name)))
        own = [limit.rpartition(".")[2] not in SHARED for limit in limits]
        inside = np.array(
            [[within(limit, name) for limit in limits] for name in names], dtype=bool
        )
        return Blocks(
            names,
            np.array([[within(home, name) for home in homes] for name in names], dtype=bool),
            inside & np.array(own, dtype=bool),
        )

    def violated(self, margins: Array) -> NDArray[np.bool_]:
        """Return (n, blocks), true for each block that violates a limit of its own."""
        found: NDArray[np.bool_] = ((margins > 0.0) @ self.limits.T.astype(float)) > 0.0
        return found

    def scores(self, outcome: Outcome) -> Array:
        """Return (n, blocks), the lower the better: own violation and load on the whole."""
        excess = np.log1p(np.maximum(outcome.margins, 0.0))
        own: Array = excess @ self.limits.T
        return own if outcome.loads is None else own + np.log1p(outcome.loads)


def within(path: str, block: str) -> bool:
    """Return whether a path lies in a block, ``a.switch_1`` in ``a.switch`` as well."""
    return path == block or path.startswith((f"{block}.", f"{block}_"))


def blocks_of(problem: Problem) -> Blocks | None:
    """Return the blocks of a problem, None where it names none."""
    found = getattr(problem, "blocks", None)
    return found if isinstance(found, Blocks) and found.names else None


@dataclasses.dataclass(frozen=True)
class Kept:
    """The best designs of every block: ``genes`` (blocks, kept, genes) and their scores."""

    genes: Array
    scores: Array

    def with_more(self, genes: Array, scores: Array) -> Kept:
        """Return the best of these and of designs (n, genes) with scores (n, blocks)."""
        every = np.concatenate([self.scores, scores.T], axis=1)
        best = np.argsort(every, axis=1, kind="stable")[:, :BEST]
        rows = [
            np.concatenate([old, genes])[order]
            for old, order in zip(self.genes, best, strict=True)
        ]
        return Kept(np.stack(rows), np.take_along_axis(every, best, axis=1))


def composed(
    rng: np.random.Generator,
    space: Space,
    blocks: Blocks,
    *,
    kept: Kept,
    parents: Array,
    margins: Array,
) -> Array:
    """Return new designs from blocks that did well, most where a parent breaks limits.

    Parameters
    ----------
    rng : Generator
        Random numbers.
    space : Space
        The genes.
    blocks : Blocks
        Their blocks.
    kept : Kept
        Genes to take a block from.
    parents, margins : Array
        Whole designs (n, genes), the better first, and their margins.
    """
    n, crossed, differed = len(parents), int(CROSSED * CHILDREN), int(DIFFERED * CHILDREN)
    kept_from = crossed + differed
    a = rng.integers(0, n, (2, CHILDREN)).min(axis=0)
    broken = blocks.violated(margins[a])
    made = parents[a]
    made[:crossed] = _crossed(rng, blocks, made[:crossed], parents[rng.integers(0, n, crossed)])
    three = parents[rng.integers(0, n, (3, differed))]
    made[crossed:kept_from] = difference(rng, space, made[crossed:kept_from], *three)
    made[kept_from:] = _renewed(rng, blocks, made[kept_from:], broken[kept_from:], kept)
    inside = broken @ blocks.genes
    rate = np.where(inside, 2.0, 0.5) / space.size
    row, column = np.nonzero(rng.random(made.shape) < rate)
    sign = np.where(rng.random(row.size) < 0.5, -1.0, 1.0)
    step = sign * 10.0 ** rng.uniform(-2.5, -0.3, row.size)
    made[row, column] = moved(rng, space, made, row, column, step)
    return space.snapped(made)


def _crossed(rng: np.random.Generator, blocks: Blocks, a: Array, b: Array) -> Array:
    """Return the first parents with some blocks of the second."""
    take = rng.random((len(a), len(blocks.names))) < 0.3
    return np.where(take @ blocks.genes, b, a)


def _renewed(
    rng: np.random.Generator, blocks: Blocks, base: Array, broken: NDArray[np.bool_], kept: Kept
) -> Array:
    """Return designs with some blocks out of those kept, a part after its stage."""
    shape = broken.shape
    bold = rng.choice([0.0, 0.5, 1.0], (shape[0], 1), p=[0.2, 0.4, 0.4])
    take = rng.random(shape) < bold * np.where(broken, RENEWED, REFRESHED)
    donor = rng.integers(0, kept.scores.shape[1], (2, *shape)).min(axis=0)
    made = base.copy()
    for block, inside in enumerate(blocks.genes):
        row = np.flatnonzero(take[:, block])
        made[row] = np.where(inside, kept.genes[block, donor[row, block]], made[row])
    return made
