"""What an island is: arrays only, so that a checkpoint or a worker can hold all of it."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.axes import Array
from optimizer.blocks import Kept, blocks_of
from optimizer.encode import Whole
from optimizer.front import Front
from optimizer.operators import OPERATORS
from optimizer.problem import Problem

SEEN = 1 << 16  # most slots of the table of designs made lately


@dataclasses.dataclass(frozen=True)
class Tuning:
    """Sizes of an island; the defaults are the measured best of the portfolio."""

    population: int = 100
    offspring: int = 300
    first_sample: int = 8  # populations sampled at random before the first selection
    archive: int = 1500  # designs an island's archive holds at most
    cloud: int = 2000  # feasible designs near the front kept for pictures and warm starts
    polish_every: int = 7000  # [evaluations] between two polishes of one island
    polish_points: int = 8
    polish_share: float = 0.4  # of the evaluations that polishing may take
    front: int = 3000  # designs kept of the front of a candidate
    seen: int = SEEN  # slots of the table of designs made lately, a power of two
    own: int = 0  # evaluations an island looks for a feasible design before others help it
    relaxed: int = 0  # evaluations over which limits become strict, see intake.allowed


# Entries of State.clock.
GENERATION, EVALUATIONS, FEASIBLE, FAILED, POLISHED, POLISH_NEXT, APART, SEEDED = range(8)
ENTRIES = 8


@dataclasses.dataclass
class State:
    """Everything an island is; arrays only."""

    key: Whole  # seed, candidate, island
    clock: Whole
    held: Array  # NaN where a gene is free, else the value a sub-run keeps it at
    seeds: Array  # designs to evaluate first
    genes: Array
    objectives: Array
    margins: Array
    front_genes: Array
    front_objectives: Array
    front_columns: Array
    cloud_genes: Array
    cloud_objectives: Array
    cloud_columns: Array
    seen: NDArray[np.uint32]
    scale: Array  # typical excess over every limit in the first sample
    credit: Array  # successes and trials of every operator
    nearest_genes: Array  # (0 or 1, genes): the design of least violation so far
    nearest_margins: Array
    nearest_columns: Array
    block_genes: Array  # (blocks, kept, genes): what did best in every block, see blocks.py;
    block_scores: Array  # (blocks, kept): empty once a feasible design is known

    @property
    def evaluations(self) -> int:
        """Designs evaluated so far."""
        return int(self.clock[EVALUATIONS])

    @property
    def front(self) -> Front:
        """The archive."""
        return Front(self.front_genes, self.front_objectives, self.front_columns)

    @property
    def kept(self) -> Kept:
        """The best designs of every block."""
        return Kept(self.block_genes, self.block_scores)

    def copied(self) -> State:
        """Return a state that shares no array with this one."""
        return State(**{k: v.copy() for k, v in self.arrays().items()})

    def arrays(self) -> dict[str, NDArray[Any]]:
        """Return the arrays by name."""
        return {f.name: getattr(self, f.name) for f in dataclasses.fields(self)}


def state_from(arrays: Mapping[str, NDArray[Any]]) -> State:
    """Return the state whose arrays ``State.arrays`` gave, those of older versions too."""
    found = dict(arrays)
    missing = ENTRIES - len(found["clock"])
    if missing > 0:
        found["clock"] = np.pad(found["clock"], (0, missing))
    return State(**found)


def founded(
    key: tuple[int, int, int], problem: Problem, seeds: Array | None = None,
    held: Array | None = None, slots: int = SEEN,
) -> State:  # fmt: skip
    """Return an island on which nothing has happened yet."""
    v = problem.space.size
    m, g, c = problem.sizes
    blocks = blocks_of(problem)
    b = len(blocks.names) if blocks else 0
    rows = {
        "genes": v, "objectives": m, "margins": g,
        "front_genes": v, "front_objectives": m, "front_columns": c,
        "cloud_genes": v, "cloud_objectives": m, "cloud_columns": c,
        "nearest_genes": v, "nearest_margins": g, "nearest_columns": c,
    }  # fmt: skip
    clock = np.zeros(ENTRIES, dtype=np.int64)
    clock[SEEDED] = seeds is not None and len(seeds) > 0
    return state_from(
        {
            "key": np.array(key, dtype=np.int64),
            "clock": clock,
            "held": np.full(v, np.nan) if held is None else held,
            "seeds": np.zeros((0, v)) if seeds is None else seeds,
            **{name: np.zeros((0, width)) for name, width in rows.items()},
            "seen": np.zeros(slots, dtype=np.uint32),
            "scale": np.ones(g),
            "block_genes": np.zeros((b, 0, v)),
            "block_scores": np.zeros((b, 0)),
            "credit": np.full((2, len(OPERATORS)), 1e-3),
        }
    )


def retired(state: State) -> State:
    """Return an island that will never be advanced again: what it found, without its means."""
    found = state.arrays()
    for name in ("genes", "objectives", "margins", "seen", "seeds"):
        found[name] = found[name][:0].copy()
    for name in ("block_genes", "block_scores"):
        found[name] = found[name][:, :0].copy()
    return state_from(found)
