"""Limits that designs use up, and ends of ranges that they stand at, by evaluation.

Margins are not stored with a front: its designs are evaluated again by the one path.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from models.axes import ANGLE, Array, Indices
from models.case import Case
from models.errors import RunError
from models.evaluate import Evaluation, evaluate
from models.ledger import Entry, Kind
from models.results import NAMES
from models.topologies import TOPOLOGIES
from models.variables import Variable, build, variables
from optimizer import pins as pinning
from optimizer.archive import Candidate, Run
from optimizer.encode import Gene
from optimizer.problem import CHUNK, STEP, ColumnLimit

# A limit is active from 2 % below it on: less than any tolerance of a part, and what a
# search that ends leaves unused.
ACTIVE = 0.02
# A real variable stands at an end of its range within this share of the range, on the
# scale that it is searched on.
AT_END = 0.01
# How far inwards a variable is moved to see whether it does anything, same share.
NUDGE = 0.05


@dataclasses.dataclass(frozen=True)
class ActiveLimit:
    """A limit that a design uses up, at the operating point where it is tightest.

    ``kind`` is "limit", or "pin" for a pin on a result, whose ``path`` is its written
    form and which has no ``actual`` and ``bound`` of its own.
    """

    path: str
    meaning: str
    kind: str
    margin: float
    at: str
    unit: str = ""
    sense: str = ""
    actual: float | None = None
    bound: float | None = None


@dataclasses.dataclass(frozen=True)
class ActiveBound:
    """A variable at an end of what the search allowed it.

    ``kind`` is "range" (declared for the topology), "table" (first or last row of a
    catalogue table) or "pin"; ``end`` is "lowest", "highest" or "held".
    """

    path: str
    meaning: str
    kind: str
    end: str
    value: float | str
    unit: str
    pins: tuple[str, ...] = ()
    natural: bool = False  # nothing lies beyond: one piece is the fewest


Limits: TypeAlias = tuple[ActiveLimit, ...]
Bounds: TypeAlias = tuple[ActiveBound, ...]


class Scene:
    """One candidate under the case of its run: what its designs are evaluated against."""

    def __init__(self, run: Run, case: Case, candidate: Candidate) -> None:
        if candidate.topology not in TOPOLOGIES:
            raise RunError(
                f"the topology {candidate.topology} of the run {run.name} is not known to this "
                "version.\n  Open the run with the version in its manifest.json."
            )
        self._topology = TOPOLOGIES[candidate.topology]
        self._candidate, self._case = candidate, case
        known = variables(
            self._topology.design, case.catalogue.names(), static=candidate.structure
        )
        if [v.field for v in known] != [g.variable.field for g in candidate.genes.genes]:
            raise RunError(
                f"the run {run.name} was made by version {run.manifest.get('version')} with "
                f"other variables of {candidate.topology} than this one has.\n"
                "  Open it with that version."
            )
        self._pins = [pinning.parse(text) for text in run.pins]
        self._column_limits = _column_limits(self._pins, candidate, known)

    def _evaluated(self, genes: Array) -> Evaluation:
        """Return designs evaluated in whole steps, so that equal designs have equal bits."""
        spare = -len(genes) % STEP
        padded = np.concatenate([genes, np.repeat(genes[-1:], spare, axis=0)])
        arrays = self._candidate.genes.arrays(padded)
        design = build(self._topology.design, arrays, self._candidate.structure)
        return evaluate(self._topology, design, self._case)

    def binding(self, genes: Array) -> list[tuple[Limits, Bounds]]:
        """Return the active limits, tightest first, and bounds of designs (n, genes)."""
        found = self._evaluated(genes)
        limits = [self._limits(found, i) for i in range(len(genes))]
        return list(zip(limits, self._bounds(genes, found), strict=True))

    def _limits(self, found: Evaluation, row: int) -> Limits:
        active = [
            self._limit(entry, row, float(margin))
            for entry, margin in zip(found.ledger.of(Kind.LIMIT), found.margins[row], strict=True)
            if margin >= -ACTIVE
        ]
        for text in dict.fromkeys(limit.text for limit in self._column_limits):
            mine = [x for x in self._column_limits if x.text == text]
            margin = max(float(x.margin(found.columns[row : row + 1])[0]) for x in mine)
            if margin >= -ACTIVE:
                pin = text.removeprefix("pin: ")
                active.append(ActiveLimit(pin, "", "pin", margin, "every point"))
        return tuple(sorted(active, key=lambda x: -x.margin))

    def _limit(self, entry: Entry, row: int, margin: float) -> ActiveLimit:
        at = int(np.argmax(_of(entry.value, row)))
        label = self._case.points.label[at] if entry.value.shape[1] > 1 else "every point"
        actual, bound = entry.actual, entry.bound
        return ActiveLimit(
            entry.path, entry.meaning, "limit", margin, label, entry.unit, entry.sense,
            None if actual is None else _at(actual, row, at),
            None if bound is None else _at(bound, row, at),
        )  # fmt: skip

    def _bounds(self, genes: Array, found: Evaluation) -> list[Bounds]:
        """Return the variables that stand at an end of their range and do something.

        Names without order have no ends.  A variable that is moved inwards and changes
        neither a result nor a limit (the powder of a ferrite core) is left out.  Whether
        it does hangs on the rows and names chosen beside it in the same part, so one
        design of every such choice is asked.
        """
        values = self._candidate.genes.values(genes)
        ends = list(self._ends(values, genes))
        asked = [self._first(values, j, rows) for j, _, rows in ends]
        felt = self._felt(
            genes, found, [(j, a[0]) for (j, _, _), a in zip(ends, asked, strict=True)]
        )
        active: list[list[ActiveBound]] = [[] for _ in genes]
        for (j, end, rows), (_, which), does in zip(ends, asked, felt, strict=True):
            bound = self._bound(self._candidate.genes.genes[j], end)
            for i in (rows if end == "held" else rows[does[which]]).tolist():
                active[i].append(bound)
        return [tuple(a) for a in active]

    def _ends(self, values: Array, genes: Array) -> Iterator[tuple[int, str, Indices]]:
        """Yield (gene, end, designs that stand there)."""
        every = np.arange(len(genes))
        for j, gene in enumerate(self._candidate.genes.genes):
            free = gene.variable.lo < gene.variable.hi
            if gene.levels == 1 and free:
                yield j, "held", every
            elif free and gene.variable.kind != "choice":
                near = values[:, j] if gene.levels else genes[:, j]
                lo, hi = (gene.lo, gene.hi) if gene.levels else (AT_END, 1.0 - AT_END)
                for end, there in (("lowest", near <= lo), ("highest", near >= hi)):
                    if there.any():
                        yield j, end, np.flatnonzero(there)

    def _first(self, values: Array, j: int, rows: Indices) -> tuple[Indices, Indices]:
        """Return one design for every choice beside gene ``j``, and which is whose."""
        own = self._candidate.genes.genes
        part = _part(own[j])
        beside = [k != j and bool(g.variable.options) and _part(g) == part
                  for k, g in enumerate(own)]  # fmt: skip
        keys = values[rows][:, np.array(beside)]
        _, first, which = np.unique(keys, axis=0, return_index=True, return_inverse=True)
        return rows[first], which.ravel()

    def _felt(
        self, genes: Array, found: Evaluation, asked: Sequence[tuple[int, Indices]]
    ) -> list[NDArray[np.bool_]]:
        """Return for every gene whether the designs asked feel it moved inwards."""
        moved = [genes[rows] for _, rows in asked]
        for (j, _), some in zip(asked, moved, strict=True):
            some[:, j] = self._inward(j, some[:, j])
        every = np.concatenate([*moved, genes[:0]])
        rows = np.concatenate([*(r for _, r in asked), np.zeros(0, dtype=np.int64)])
        felt = np.zeros(len(every), dtype=bool)
        for i in range(0, len(every), CHUNK):
            after = self._evaluated(every[i : i + CHUNK])
            mine = rows[i : i + CHUNK]
            n = len(mine)
            felt[i : i + CHUNK] = (after.columns[:n] != found.columns[mine]).any(axis=1)
            felt[i : i + CHUNK] |= (after.margins[:n] != found.margins[mine]).any(axis=1)
        return np.split(felt, np.cumsum([len(r) for _, r in asked])[:-1]) if asked else []

    def _inward(self, j: int, gene: Array) -> Array:
        """Return gene ``j`` moved off its end: by NUDGE, or to the level beside it."""
        levels = self._candidate.genes.genes[j].levels
        if not levels:
            return np.where(gene < 0.5, NUDGE, 1.0 - NUDGE)
        centres = self._candidate.genes.space.centres[j]
        return np.where(gene < 0.5, centres[1], centres[levels - 2])

    def _bound(self, gene: Gene, end: str) -> ActiveBound:
        variable = gene.variable
        value = gene.hi if end == "highest" else gene.lo
        natural = variable.hi if end == "highest" else variable.lo
        pinned = end == "held" or value != natural
        kind = "pin" if pinned else "table" if variable.options else "range"
        texts = tuple(str(p) for p in self._pins if p.path == variable.path) if pinned else ()
        fewest = variable.kind == "whole" and end == "lowest" and natural <= 1.0
        return ActiveBound(
            variable.path, variable.meaning, kind, end, variable.shown(value), variable.unit,
            texts, fewest and not pinned,
        )  # fmt: skip


def _column_limits(
    pins: Sequence[pinning.Pin], candidate: Candidate, known: tuple[Variable, ...]
) -> tuple[ColumnLimit, ...]:
    """Return the limits that the pins on reported results make."""
    scope = pinning.Scope(candidate.topology, candidate.structure, known)
    on_results = [pin for pin in pins if pin.path in NAMES]
    left = pinning.resolved(on_results, [scope], NAMES)[0]
    return left.limits if left else ()


def _part(gene: Gene) -> str:
    return gene.variable.field.rpartition(".")[0]


def _of(value: Array, row: int) -> Array:
    """Return one design's values over the operating points."""
    own: Array = value[min(row, value.shape[0] - 1)].max(axis=ANGLE - 1)
    return own


def _at(value: Array, row: int, at: int) -> float:
    own = value[min(row, value.shape[0] - 1), :, 0]
    return float(own[min(at, own.size - 1)])
