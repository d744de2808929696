"""Pins: what the engineer has decided, as ``PATH OP VALUE``.

A pin on a variable narrows its gene, one on a static choice or on ``topology`` leaves
candidates out, one on a reported result becomes a further limit.
"""

from __future__ import annotations

import dataclasses
import difflib
import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from models.errors import PinError
from models.variables import Variable
from optimizer.encode import Gene, Genes
from optimizer.pin_form import Pin as Pin
from optimizer.pin_form import parse as parse
from optimizer.problem import ColumnLimit

# A result pinned with = may differ by this share: search meets no real number exactly.
EQUAL = 0.005
# Variables that are reported as a result of another name, in the same unit.
SAME = {"box.height_mm": "height_mm"}


@dataclasses.dataclass(frozen=True)
class Scope:
    """One candidate as pins see it."""

    topology: str
    structure: Mapping[str, Any]
    variables: tuple[Variable, ...]


@dataclasses.dataclass(frozen=True)
class Pinned:
    """What the pins leave of one candidate."""

    genes: Genes
    limits: tuple[ColumnLimit, ...]


@dataclasses.dataclass(frozen=True)
class Demand:
    """What holds for a reported result anyhow: a limit asked for, or a law of nature."""

    path: str
    operator: str  # "<=" or ">="
    bound: float
    reason: str
    remedy: str


def resolved(
    pins: Sequence[Pin],
    scopes: Sequence[Scope],
    results: Sequence[str],
    demands: Sequence[Demand] = (),
) -> list[Pinned | None]:
    """Return what the pins leave of every candidate, None where they exclude it.

    Parameters
    ----------
    pins : Sequence of Pin
        Every decision, whoever made it.
    scopes : Sequence of Scope
        The candidates.
    results : Sequence of str
        The columns of an evaluation in their order.
    demands : Sequence of Demand, optional
        What no design can leave; pins are checked against it.

    Raises
    ------
    PinError
        If a pin names nothing, suits no kind of value, contradicts another or a demand,
        applies to no candidate left, or leaves none.
    """
    _check_names(pins, _known(scopes, results))
    limits = _limits(pins, results)
    _check_ranges(pins, results, demands)
    genes = [tuple(_narrowed(v, _on(v, pins)) for v in scope.variables) for scope in scopes]
    passing = [*_structural(pins, scopes), *_variable(pins, scopes, genes)]
    left = set(range(len(scopes))).intersection(*(serve for _, serve in passing))
    if scopes and not left:
        raise _leaves_none(passing)
    _check_objects(pins, scopes, results, passing=passing, left=left)
    return [
        Pinned(Genes(tuple(g for g in mine if g is not None)), limits) if c in left else None
        for c, mine in enumerate(genes)
    ]


def _on(variable: Variable, pins: Sequence[Pin]) -> list[Pin]:
    return [pin for pin in pins if pin.path == variable.path]


def _known(scopes: Sequence[Scope], results: Sequence[str]) -> set[str]:
    paths = {v.path for s in scopes for v in s.variables}
    return {"topology", *results, *paths, *(p for s in scopes for p in s.structure)}


def _check_names(pins: Sequence[Pin], known: set[str]) -> None:
    for pin in pins:
        if pin.path not in known:
            near = difflib.get_close_matches(pin.path, sorted(known), 1, 0.4)
            hint = f"did you mean {near[0]}?" if near else "ripplefront names lists them all."
            raise PinError(
                f"the pin {pin.named} names nothing that can be pinned: {pin.path}.\n  {hint}"
            )


# Pins with the candidates, by number, that they leave.
_Passing = tuple[tuple[Pin, ...], frozenset[int]]


def _structural(pins: Sequence[Pin], scopes: Sequence[Scope]) -> list[_Passing]:
    """Return which candidates each pin on the topology or a static choice leaves.

    Candidates without that choice stay, but those with it may not all go.
    """
    found: list[_Passing] = []
    for path in ["topology", *dict.fromkeys(p for s in scopes for p in s.structure)]:
        mine = [
            ((pin,), frozenset(c for c, s in enumerate(scopes) if _serves(pin, s, scopes)))
            for pin in pins
            if pin.path == path
        ]
        owners = {c for c, s in enumerate(scopes) if path in s.structure or path == "topology"}
        inside = [(pin, serve & owners) for pin, serve in mine]
        if owners and not owners.intersection(*(serve for _, serve in inside)):
            raise _leaves_none(inside)
        found += mine
    return found


def _variable(
    pins: Sequence[Pin], scopes: Sequence[Scope], genes: Sequence[Sequence[Gene | None]]
) -> list[_Passing]:
    """Return which candidates the pins on each variable leave.

    A range that differs from candidate to candidate may leave some out; pins that leave
    no value anywhere are refused.
    """
    found = []
    for path in dict.fromkeys(pin.path for pin in pins):
        owners = {
            c: (variable, gene)
            for c, (scope, mine) in enumerate(zip(scopes, genes, strict=True))
            for variable, gene in zip(scope.variables, mine, strict=True)
            if variable.path == path
        }
        if not owners:
            continue
        without = {c for c, (_, gene) in owners.items() if gene is None}
        mine = tuple(pin for pin in pins if pin.path == path)
        if len(without) == len(owners):
            raise _clash(next(iter(owners.values()))[0], mine)
        found.append((mine, frozenset(range(len(scopes))) - without))
    return found


def _leaves_none(passing: Sequence[_Passing]) -> PinError:
    """Return the error that names the fewest pins that leave no candidate together."""
    for count in range(1, len(passing) + 1):
        for some in itertools.combinations(passing, count):
            if not frozenset.intersection(*(serve for _, serve in some)):
                return _none_left([pin for pins, _ in some for pin in pins])
    raise ValueError("some candidate is left")


def _none_left(pins: Sequence[Pin]) -> PinError:
    if len(pins) == 2:
        return _contradiction(pins[0], pins[1])
    names = ", ".join(pin.named for pin in pins)
    verb = "leaves" if len(pins) == 1 else "leave"
    many = "pin" if len(pins) == 1 else "pins"
    return PinError(f"the {many} {names} {verb} no candidate.\n  Drop one, or allow more values.")


def _check_objects(
    pins: Sequence[Pin], scopes: Sequence[Scope], results: Sequence[str], *,
    passing: Sequence[_Passing], left: set[int],
) -> None:  # fmt: skip
    """Refuse a pin on what no candidate that the others leave has."""
    having = {
        pin.path: {
            c for c, s in enumerate(scopes)
            if pin.path in s.structure or any(v.path == pin.path for v in s.variables)
        }
        for pin in pins
        if pin.path != "topology" and pin.path not in results
    }  # fmt: skip
    for pin in pins:
        owners = having.get(pin.path, left)
        if not scopes or owners & left:
            continue
        guilty = [one[0] for one, serve in passing if pin not in one and not owners & serve]
        others = guilty[0].named if guilty else "what the other pins leave"
        raise PinError(
            f"the pins {pin.named} and {others} contradict each other: no candidate that the "
            f"second leaves has {pin.path}.\n  Drop one of them."
        )


def _chosen(pin: Pin, value: str, known: Iterable[str]) -> bool:
    """Return whether a name passes an = / in / not in pin; other names must exist."""
    names = sorted(set(known))
    for wanted in pin.values:
        if wanted not in names:
            near = difflib.get_close_matches(wanted, names, 1, 0.4)
            hint = f"did you mean {near[0]}?" if near else f"choose among {', '.join(names[:12])}."
            raise PinError(f"the pin {pin.named}: {pin.path} is never {wanted!r}.\n  {hint}")
    if pin.operator in ("<=", ">="):
        raise PinError(
            f"the pin {pin.named} compares names.\n  Use =, in or not in for {pin.path}."
        )
    return (value in pin.values) != (pin.operator == "not in")


def _serves(pin: Pin, scope: Scope, scopes: Sequence[Scope]) -> bool:
    if pin.path == "topology":
        return _chosen(pin, scope.topology, (s.topology for s in scopes))
    if pin.path in scope.structure:
        options = (str(s.structure[pin.path]) for s in scopes if pin.path in s.structure)
        return _chosen(pin, str(scope.structure[pin.path]), options)
    return True


def _narrowed(variable: Variable, mine: Sequence[Pin]) -> Gene | None:
    """Return the gene that pins leave, None where they leave no value."""
    if variable.discrete:
        allowed = range(round(variable.lo), round(variable.hi) + 1)
        left = tuple(k for k in allowed if all(_level_serves(pin, variable, k) for pin in mine))
        return Gene(variable, float(left[0]), float(left[-1]), left) if left else None
    lo, hi = variable.lo, variable.hi
    for pin in mine:
        if "in" in pin.operator:
            raise PinError(
                f"the pin {pin.named} lists values of {variable.path}, "
                "which varies continuously.\n  Use <=, >= or =."
            )
        value = pin.number() * variable.scale
        lo = lo if pin.operator == "<=" else max(lo, value)
        hi = hi if pin.operator == ">=" else min(hi, value)
    return Gene(variable, lo, hi) if lo <= hi else None


def _level_serves(pin: Pin, variable: Variable, level: int) -> bool:
    if variable.options:
        return _chosen(pin, variable.options[level], variable.options)
    numbers = [pin.number(i) for i in range(len(pin.values))]
    if pin.operator == "<=":
        return level <= numbers[0]
    if pin.operator == ">=":
        return level >= numbers[0]
    return (level in numbers) != (pin.operator == "not in")


def _clash(variable: Variable, mine: Sequence[Pin]) -> PinError:
    """Return the error that names the pin out of range, or the two that clash."""
    for pin in mine:
        if _narrowed(variable, [pin]) is None:
            lo, hi = variable.shown(variable.lo), variable.shown(variable.hi)
            return PinError(
                f"the pin {pin.named} leaves no value: {variable.path} reaches "
                f"from {lo} to {hi}.\n  Choose a value inside that range."
            )
    for one, two in itertools.combinations(mine, 2):
        if _narrowed(variable, [one, two]) is None:
            return _contradiction(one, two)
    every = ", ".join(pin.named for pin in mine)
    return PinError(f"the pins {every} together leave no value.\n  Drop one of them.")


def _contradiction(one: Pin, two: Pin) -> PinError:
    return PinError(
        f"the pins {one.named} and {two.named} contradict each other.\n  Drop one of them."
    )


def _limits(pins: Sequence[Pin], results: Sequence[str]) -> tuple[ColumnLimit, ...]:
    """Return the limits that pins on reported results make."""
    found: list[ColumnLimit] = []
    for pin in pins:
        if pin.path not in results:
            continue
        if "in" in pin.operator:
            raise PinError(
                f"the pin {pin.named} lists values of {pin.path}, which is a number.\n"
                "  Use <=, >= or =."
            )
        column, (lo, hi) = list(results).index(pin.path), _range(pin, results)
        for sign, edge in ((1.0, hi), (-1.0, lo)):
            if math.isfinite(edge):
                found.append(ColumnLimit(column, sign, edge, f"pin: {pin}"))
    return tuple(found)


def _range(pin: Pin, results: Sequence[str]) -> tuple[float, float]:
    """Return the lowest and highest number that a pin with <=, >= or = leaves."""
    bound = pin.number()
    band = EQUAL * abs(bound) if pin.operator == "=" and pin.path in results else 0.0
    lo = -math.inf if pin.operator == "<=" else bound - band
    hi = math.inf if pin.operator == ">=" else bound + band
    return lo, hi


def _check_ranges(pins: Sequence[Pin], results: Sequence[str], demands: Sequence[Demand]) -> None:
    """Refuse pins on results that contradict each other, or what holds anyhow."""
    met: list[tuple[str, Pin, tuple[float, float]]] = []
    for pin in pins:
        path = SAME.get(pin.path, pin.path)
        if path not in results or "in" in pin.operator:
            continue
        lo, hi = _range(pin, results)
        for demand in demands:
            high = demand.operator == "<="
            if demand.path == path and (lo > demand.bound if high else hi < demand.bound):
                raise PinError(
                    f"the pin {pin.named} cannot be met: {demand.reason}.\n  {demand.remedy}"
                )
        for _, other, (low, top) in (m for m in met if m[0] == path):
            if lo > top or hi < low:
                raise _contradiction(other, pin)
        met.append((path, pin, (lo, hi)))
