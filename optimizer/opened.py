"""One design, opened: its values, its evaluation, and edits of it."""

from __future__ import annotations

import dataclasses
import difflib
from collections.abc import Mapping
from typing import Any

import numpy as np

from models.axes import designs
from models.case import Case
from models.errors import RipplefrontError
from models.evaluate import Evaluation, evaluate
from models.topologies.topology import Topology
from models.variables import Variable, build, variables


class EditError(RipplefrontError):
    """A hand-made change of a design names nothing, or leaves the bounds."""


@dataclasses.dataclass(frozen=True)
class Opened:
    """A single design of a topology and structure, evaluated."""

    topology: Topology
    static: Mapping[str, Any]
    variables: tuple[Variable, ...]
    values: Mapping[str, float]  # by field path, SI or row number
    case: Case
    design: Any
    evaluation: Evaluation
    label: str = ""

    @property
    def feasible(self) -> bool:
        """True when every limit is met."""
        return bool(self.evaluation.feasible[0])


def opened(
    topology: Topology,
    static: Mapping[str, Any],
    values: Mapping[str, float],
    case: Case,
    label: str = "",
) -> Opened:
    """Return one design evaluated by the same path as the search."""
    known = variables(topology.design, case.catalogue.names(), static=static)
    design = build(topology.design, {k: designs([v]) for k, v in values.items()}, static)
    return Opened(
        topology, static, known, values, case, design, evaluate(topology, design, case), label
    )


def edited(base: Opened, changes: Mapping[str, str]) -> Opened:
    """Return the design with some values changed by hand and everything evaluated again.

    Parameters
    ----------
    base : Opened
        The design to start from.
    changes : Mapping
        New value as written, by public path: a number in the unit of the path's
        suffix, or the name of a catalogue row or choice.

    Raises
    ------
    EditError
        Unknown path or name (with the nearest one), not a number, out of bounds.
    """
    by_path = {v.path: v for v in base.variables}
    values = dict(base.values)
    for path, text in changes.items():
        if path not in by_path:
            raise EditError(f"unknown variable {path!r}; {_near(path, list(by_path))}")
        values[by_path[path].field] = read_value(by_path[path], text)
    return opened(base.topology, base.static, values, base.case, base.label + " (edited)")


def read_value(variable: Variable, text: str) -> float:
    """Return the SI value or row number that ``text`` stands for."""
    text = text.strip().strip("\"'")
    if variable.options:
        if text not in variable.options:
            hint = _near(text, list(variable.options))
            raise EditError(f"{variable.path} has no choice {text!r}; {hint}")
        return float(variable.options.index(text))
    try:
        value = float(text) * variable.scale
    except ValueError:
        raise EditError(
            f"{variable.path} = {text!r} is not a number; write a plain number in "
            f"{variable.unit or 'units of 1'}"
        ) from None
    slack = 1e-9 * max(abs(variable.lo), abs(variable.hi))
    if not variable.lo - slack <= value <= variable.hi + slack:
        raise EditError(
            f"{variable.path} = {text} is outside its bounds; it must lie between "
            f"{variable.shown(variable.lo):g} and {variable.shown(variable.hi):g} {variable.unit}"
        )
    if variable.kind == "whole" and value != round(value):
        raise EditError(f"{variable.path} = {text} must be a whole number")
    return float(np.clip(value, variable.lo, variable.hi))


def _near(name: str, known: list[str]) -> str:
    found = difflib.get_close_matches(name, known, 3, 0.4)
    return f"did you mean {', '.join(found)}?" if found else "list them with: ripplefront names"
