"""Designs and a case in; objectives, margins and the whole books out.

This is the one path: search, sheet, page and a design edited by hand all call it.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.axes import POINT, Array, check_axes, point_max
from models.case import Case
from models.errors import ModelError
from models.ledger import Entry, Kind, Ledger, at_least, at_most, joined
from models.results import RESULTS, results, wear_out
from models.settle import Settled
from models.topologies.topology import Topology


@dataclasses.dataclass(frozen=True)
class Evaluation:
    """Everything known about a batch of n designs.

    ``columns`` has shape (n, len(RESULTS)), in the units that ``models.results`` names;
    ``margins`` (n, limits) is the worst of every limit over the operating points, and
    ``objectives`` (n, m) is to be minimised.
    """

    settled: Settled
    ledger: Ledger
    columns: Array
    margin_names: tuple[str, ...]
    margins: Array
    objectives: Array

    @property
    def feasible(self) -> NDArray[np.bool_]:
        """True for each design that meets every limit."""
        return np.asarray((self.margins <= 0.0).all(axis=1))

    def column(self, name: str) -> Array:
        """Return one reported result of every design, shape (n,)."""
        return self.columns[:, [r.name for r in RESULTS].index(name)]


def evaluate(topology: Topology, design: Any, case: Case) -> Evaluation:
    """Return the evaluation of designs of one topology and structure.

    Raises
    ------
    ModelError
        If a booking is not finite or has lost its three axes: a fault of a model.
    """
    settled = topology.place(design, case)
    ledger = settled.books + _overall_limits(settled.books, case)
    _check(ledger)
    names, margins = _margins(ledger, settled.p_module.shape[0])
    columns = np.stack(results(settled, ledger, margins, case), axis=1)
    return Evaluation(
        settled, ledger, columns, names, margins, _objectives(columns, case.spec.objectives)
    )


def _overall_limits(books: Ledger, case: Case) -> Ledger:
    """Return limits of the whole box: life of every part that wears out, cost."""
    wanted = case.spec.life.wanted_years
    limits = [
        at_least(
            f"{path}.life", years, np.full((1, 1, 1), float(wanted)), "years",
            f"wear-out life of {path}",
        )
        for path, years in wear_out(books, case)
    ]  # fmt: skip
    if case.spec.limits.cost_max is not None:
        bound = np.full((1, 1, 1), float(case.spec.limits.cost_max))
        cost = books.total(Kind.COST) + 0.0 * bound
        limits.append(at_most("cost", cost, bound, "€", "cost of all parts, invented prices"))
    return joined(*limits)


def _check(ledger: Ledger) -> None:
    for entry in ledger.entries:
        check_axes(entry.path, entry.value)
        if np.count_nonzero(np.isfinite(entry.value)) < entry.value.size:
            raise ModelError(f"{entry.path} ({entry.kind.value}) is not finite")


def _margins(ledger: Ledger, count: int) -> tuple[tuple[str, ...], Array]:
    """Return the names of all limits and their worst margins (count, limits)."""
    entries = list(ledger.of(Kind.LIMIT))
    margins = np.empty((count, len(entries)))
    for i, entry in enumerate(entries):
        margins[:, i] = point_max(entry.value)[:, 0, 0]
    return tuple(e.path for e in entries), margins


def _objectives(columns: Array, wanted: Any) -> Array:
    """Return the objectives as columns to be minimised."""
    names = [r.name for r in RESULTS]
    ups = [-columns[:, names.index(n)] for n in wanted.maximise]
    downs = [columns[:, names.index(n)] for n in wanted.minimise]
    return np.stack(ups + downs, axis=1)


def worst_point(entry: Entry, design: int, case: Case) -> tuple[int, float]:
    """Return the operating point at which a limit of one design is tightest, and its margin."""
    row = np.broadcast_to(entry.value[:, :, 0], (entry.value.shape[0], entry.value.shape[POINT]))
    line = row[min(design, row.shape[0] - 1)]
    index = int(np.argmax(line))
    return index, float(line[index])
