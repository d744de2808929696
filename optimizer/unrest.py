"""How far the fronts of a run may still move: the noise of every comparison."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from models.axes import Array
from optimizer.archive import Run
from optimizer.front import frame_of
from optimizer.objectives import objectives_of

ALL = ""  # in place of a topology: all of them together


def unrest(run: Run) -> dict[str, dict[str, float]]:
    """Return by topology how far its front may still move, in the unit of each objective.

    The evidence of a sweep says by which share δ a front's hypervolume V moved towards
    the end, or by which independent seeds disagreed.  A front that spans a frame of w
    extents, and loses δ·V, is on average δ·V/w of the extent off; w is 1.1.  A topology
    of which the evidence says nothing is left out.
    """
    names = [o.name for o in objectives_of(run)]
    evidence = {row["topology"]: _share(row) for row in run.status.get("evidence", ())}
    found = {}
    for topology in (*dict.fromkeys(c.topology for c in run.candidates), ALL):
        share = evidence.get(topology)
        fronts = [run.fronts[c.number].objectives for c in run.candidates
                  if topology in (c.topology, ALL)]  # fmt: skip
        if share is not None:
            found[topology] = _shift(share, np.concatenate(fronts), names)
    found = {topology: shift for topology, shift in found.items() if shift}
    return {ALL: larger(list(found.values())), **found}


def _share(row: Mapping[str, Any]) -> float | None:
    """Return the larger of what moved and what seeds disagreed about, None if not known."""
    known = [row[key] for key in ("moved", "disagreement") if row.get(key) is not None]
    return max(map(float, known)) if known else None


def _shift(share: float, objectives: Array, names: Sequence[str]) -> dict[str, float]:
    frame = frame_of(objectives)
    if frame is None:
        return {}
    mean = share * frame.hypervolume(objectives) / 1.1
    return {n: mean * float(e) for n, e in zip(names, frame.extent, strict=True)}


def larger(pieces: Sequence[Mapping[str, float]]) -> dict[str, float]:
    """Return the largest value by key; {} if there is none anywhere."""
    names = dict.fromkeys(name for piece in pieces for name in piece)
    return {n: max(piece.get(n, 0.0) for piece in pieces) for n in names}
