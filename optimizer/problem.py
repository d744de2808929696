"""What the search asks of a problem, and a topology as one.

Designs are evaluated in chunks of a few sizes, the last one padded, so that a design has
the same bits whatever batch it came in and a compiled backend compiles a few times.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from models.axes import Array
from models.errors import ModelError
from models.ledger import Kind, Ledger
from models.variables import build
from optimizer.blocks import Blocks, within
from optimizer.encode import Genes, Space

# Designs at once: more spread the calls over more designs, fewer keep the arrays in cache;
# measured best of 64 to 1024.  Sizes are multiples of STEP, so that vector units find no
# odd ends and a design has the same bits in every size.
CHUNK, STEP = 256, 32
# A design that could not be computed: worse than any other, but finite.
FAILED_OBJECTIVE = 1e9
FAILED_MARGIN = 1e3
LOAD = 5.0  # [W]; hardly a part of a good module-level inverter loses more


@dataclasses.dataclass(frozen=True)
class Outcome:
    """What an evaluation found about n designs.

    ``objectives`` (n, m) are minimised, ``margins`` (n, limits) feasible at or below
    zero, ``columns`` (n, results) reported; ``failed`` (n,) marks designs without result.
    ``loads`` (n, blocks), where the problem has blocks, is what each block burdens the
    whole with, in units that a good design has about one of.
    """

    objectives: Array
    margins: Array
    columns: Array
    failed: NDArray[np.bool_]
    loads: Array | None = None


class Problem(Protocol):
    """Anything that can be searched.

    One with an attribute ``blocks: Blocks`` tells which genes and limits lie in which
    part; its first feasible design is then found by putting good parts together.
    """

    @property
    def name(self) -> str:
        """Name of the candidate, unique in a sweep."""

    @property
    def topology(self) -> str:
        """Name that several structures share."""

    @property
    def space(self) -> Space:
        """The genes."""

    @property
    def sizes(self) -> tuple[int, int, int]:
        """Numbers of objectives, margins and columns."""

    def evaluate(self, genes: Array) -> Outcome:
        """Return what designs (n, genes) come to; the same bits in every batch."""


@dataclasses.dataclass(frozen=True)
class ColumnLimit:
    """A pin on a reported result: sign · (column − bound)/scale must not exceed zero."""

    column: int
    sign: float
    bound: float
    text: str

    def margin(self, columns: Array) -> Array:
        """Return the dimensionless margin (n,), feasible at or below zero."""
        scale = max(abs(self.bound), 1e-3) if self.bound else 1.0
        return self.sign * (columns[:, self.column] - self.bound) / scale


class Evaluated(Protocol):
    """What ``models.evaluate.evaluate`` returns, as far as the search looks."""

    @property
    def objectives(self) -> Array:
        """Objectives (n, m), minimised."""

    @property
    def margins(self) -> Array:
        """Margins (n, limits)."""

    @property
    def columns(self) -> Array:
        """Reported results (n, results)."""

    @property
    def margin_names(self) -> tuple[str, ...]:
        """Names of the limits."""

    @property
    def ledger(self) -> Ledger:
        """The books; losses are read from them."""


@dataclasses.dataclass
class Failures:
    """Designs that could not be computed: how many, and the first few with their reason."""

    count: int = 0
    first: list[dict[str, Any]] = dataclasses.field(default_factory=list)

    def add(self, genes: Array, reason: str) -> None:
        """Note one failed design."""
        self.count += 1
        if len(self.first) < 20:
            self.first.append({"genes": genes.tolist(), "reason": reason.splitlines()[0]})


class DesignProblem:
    """One topology with one set of static choices, under one case.

    Parameters
    ----------
    topology : Any
        An entry of ``models.topologies``: ``name`` and ``design`` are used.
    structure : Mapping
        Static choices by dotted path.
    genes : Genes
        The variables left to the search.
    case : Any
        Handed to ``evaluate_designs`` as it is.
    evaluate_designs : Callable
        ``models.evaluate.evaluate`` or anything shaped like it.
    limits : Sequence of ColumnLimit
        Pins on reported results; they become further margins.
    """

    def __init__(
        self,
        topology: Any,
        structure: Mapping[str, Any],
        *,
        genes: Genes,
        case: Any,
        evaluate_designs: Callable[[Any, Any, Any], Evaluated],
        limits: Sequence[ColumnLimit] = (),
    ) -> None:
        self._topology = topology
        self.structure = dict(structure)
        self.genes = genes
        self.limits = tuple(limits)
        self.failures = Failures()
        self._case = case
        self._evaluate_designs = evaluate_designs
        probe = self._evaluated(np.full((1, genes.space.size), 0.5))
        self.margin_names = (*probe.margin_names, *(limit.text for limit in self.limits))
        self.blocks = Blocks.of([g.variable.field for g in genes.genes], self.margin_names)
        self.sizes: tuple[int, int, int] = (
            probe.objectives.shape[1],
            len(self.margin_names),
            probe.columns.shape[1],
        )

    @property
    def name(self) -> str:
        """Topology and structure in one word."""
        return candidate_name(self.topology, self.structure)

    @property
    def topology(self) -> str:
        """Name of the topology."""
        return str(self._topology.name)

    @property
    def space(self) -> Space:
        """The genes as the operators see them."""
        return self.genes.space

    @property
    def objective_names(self) -> tuple[str, ...]:
        """Names of the results that are the objectives, in their order."""
        wanted = self._case.spec.objectives
        return (*wanted.maximise, *wanted.minimise)

    def design(self, genes: Array) -> Any:
        """Return the nested design that genes (n, genes) stand for."""
        return build(self._topology.design, self.genes.arrays(genes), self.structure)

    def evaluate(self, genes: Array) -> Outcome:
        """Return what the designs come to, chunk by chunk."""
        pieces = max(1, -(-len(genes) // CHUNK))
        size = _whole(-(-len(genes) // pieces))
        return _joined([self._chunk(genes[i : i + size]) for i in range(0, len(genes), size)])

    def _evaluated(self, genes: Array) -> Evaluated:
        padded = np.concatenate(
            [genes, np.repeat(genes[-1:], _whole(len(genes)) - len(genes), axis=0)]
        )
        return self._evaluate_designs(self._topology, self.design(padded), self._case)

    def _chunk(self, genes: Array) -> Outcome:
        n = len(genes)
        try:
            found = self._evaluated(genes)
        except (ModelError, FloatingPointError) as error:
            return self._one_by_one(genes, str(error))
        extra = [limit.margin(found.columns)[:, None] for limit in self.limits]
        return Outcome(
            found.objectives[:n],
            np.concatenate([found.margins, *extra], axis=1)[:n],
            found.columns[:n],
            np.zeros(n, dtype=bool),
            self._loads(found)[:n],
        )

    def _loads(self, found: Evaluated) -> Array:
        """Return the most heat of every block at any operating point, in units of ``LOAD``."""
        total = np.zeros((len(found.objectives), len(self.blocks.names)))
        for entry in found.ledger.of(Kind.LOSS):
            most = entry.value.max(axis=(1, 2))
            inside = [within(entry.path, name) for name in self.blocks.names]
            total += most[:, None] * np.array(inside, dtype=float)
        return total / LOAD

    def _one_by_one(self, genes: Array, reason: str) -> Outcome:
        """Return the outcome of a chunk in which a design failed: only that one is lost."""
        if len(genes) == 1:
            self.failures.add(genes[0], reason)
            m, g, c = self.sizes
            return Outcome(
                np.full((1, m), FAILED_OBJECTIVE),
                np.full((1, g), FAILED_MARGIN),
                np.zeros((1, c)),
                np.ones(1, dtype=bool),
                np.full((1, len(self.blocks.names)), FAILED_MARGIN),
            )
        half = len(genes) // 2
        return _joined([self._chunk(genes[:half]), self._chunk(genes[half:])])


def _joined(pieces: Sequence[Outcome]) -> Outcome:
    """Return several outcomes as one."""
    loads = [p.loads for p in pieces if p.loads is not None]
    return Outcome(
        np.concatenate([p.objectives for p in pieces]),
        np.concatenate([p.margins for p in pieces]),
        np.concatenate([p.columns for p in pieces]),
        np.concatenate([p.failed for p in pieces]),
        np.concatenate(loads) if loads else None,
    )


def _whole(count: int) -> int:
    """Return ``count`` rounded up to whole steps."""
    return -(-count // STEP) * STEP


def candidate_name(topology: str, structure: Mapping[str, Any]) -> str:
    """Return the name of a topology with its static choices: ``flyback[stage.phases=2]``."""
    choices = ", ".join(f"{path}={value}" for path, value in structure.items())
    return f"{topology}[{choices}]" if choices else topology
