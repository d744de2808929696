"""Pins: what the engineer has decided, as ``PATH OP VALUE``.

A pin on a variable narrows its gene, one on a static choice or on ``topology`` leaves
candidates out, one on a reported result becomes a further limit.
"""

from __future__ import annotations

import dataclasses
import difflib
import itertools
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from models.errors import PinError
from models.variables import Variable
from optimizer.encode import Gene, Genes
from optimizer.problem import ColumnLimit

# A result pinned with = may differ by this share: search meets no real number exactly.
EQUAL = 0.005
_FORM = re.compile(r"\s*([A-Za-z][\w.]*)\s*(<=|>=|=|\bnot\s+in\b|\bin\b)\s*([^<>=\s].*?)\s*")
_REMEDY = (
    "  Write PATH OP VALUE, for example:  box.height_mm <= 25   electrolytics = none\n"
    "  topology not in [flyback]   cost <= 60   (OP is one of <= >= = in not in)"
)


@dataclasses.dataclass(frozen=True)
class Pin:
    """One decision; ``values`` has one entry unless the operator takes a list."""

    path: str
    operator: str
    values: tuple[str, ...]

    def __str__(self) -> str:
        """Return the written form."""
        value = f"[{', '.join(self.values)}]" if "in" in self.operator else self.values[0]
        return f"{self.path} {self.operator} {value}"

    def number(self, index: int = 0) -> float:
        """Return a value as a number; ``none`` counts none.

        Raises
        ------
        PinError
            If it is no number.
        """
        text = self.values[index]
        if text.lower() == "none":
            return 0.0
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not -1e300 < value < 1e300:
            raise PinError(
                f"the pin '{self}' compares {self.path} with {text!r}, which is no number.\n"
                "  Write a plain number in the unit that the name ends with."
            )
        return value


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


def parse(text: str) -> Pin:
    """Return the pin that ``text`` writes.

    Raises
    ------
    PinError
        If it does not have the form, or a list where none belongs.
    """
    match = _FORM.fullmatch(text)
    if not match:
        raise PinError(f"the pin {text!r} cannot be read.\n{_REMEDY}")
    path, operator, value = match[1], " ".join(match[2].split()), match[3]
    listed = value.startswith("[") and value.endswith("]")
    if listed != ("in" in operator):
        wanted = "takes a list in [ ]" if "in" in operator else "takes one value, not a list"
        raise PinError(f"the pin {text!r}: {operator} {wanted}.\n{_REMEDY}")
    names = [part.strip() for part in value[1:-1].split(",")] if listed else [value]
    if not all(names):
        raise PinError(f"the pin {text!r} has an empty value in its list.\n{_REMEDY}")
    return Pin(path, operator, tuple(names))


def resolved(
    pins: Sequence[Pin], scopes: Sequence[Scope], results: Sequence[str]
) -> list[Pinned | None]:
    """Return what the pins leave of every candidate, None where they exclude it.

    ``results`` names the columns of an evaluation in their order.

    Raises
    ------
    PinError
        If a pin names nothing, suits no kind of value, contradicts another or leaves no
        candidate.
    """
    known = _known(scopes, results)
    for pin in pins:
        if pin.path not in known:
            near = difflib.get_close_matches(pin.path, sorted(known), 1, 0.4)
            hint = f"did you mean {near[0]}?" if near else "ripplefront names lists them all."
            raise PinError(
                f"the pin '{pin}' names nothing that can be pinned: {pin.path}.\n  {hint}"
            )
    limits = _limits(pins, results)
    found: list[Pinned | None] = []
    for scope in scopes:
        if all(_serves(pin, scope, scopes) for pin in pins):
            found.append(Pinned(Genes(tuple(_gene(v, pins) for v in scope.variables)), limits))
        else:
            found.append(None)
    if scopes and not any(found):
        outside = ", ".join(f"'{p}'" for p in pins if p.path in known - set(results))
        raise PinError(
            f"the pins leave no candidate: {outside}.\n  Drop one of them, or allow more values."
        )
    return found


def _known(scopes: Sequence[Scope], results: Sequence[str]) -> set[str]:
    paths = {v.path for s in scopes for v in s.variables}
    return {"topology", *results, *paths, *(p for s in scopes for p in s.structure)}


def _chosen(pin: Pin, value: str, known: Iterable[str]) -> bool:
    """Return whether a name passes an = / in / not in pin; other names must exist."""
    names = sorted(set(known))
    for wanted in pin.values:
        if wanted not in names:
            near = difflib.get_close_matches(wanted, names, 1, 0.4)
            hint = f"did you mean {near[0]}?" if near else f"choose among {', '.join(names[:12])}."
            raise PinError(f"the pin '{pin}': {pin.path} is never {wanted!r}.\n  {hint}")
    if pin.operator in ("<=", ">="):
        raise PinError(f"the pin '{pin}' compares names.\n  Use =, in or not in for {pin.path}.")
    return (value in pin.values) != (pin.operator == "not in")


def _serves(pin: Pin, scope: Scope, scopes: Sequence[Scope]) -> bool:
    if pin.path == "topology":
        return _chosen(pin, scope.topology, (s.topology for s in scopes))
    if pin.path in scope.structure:
        options = (str(s.structure[pin.path]) for s in scopes if pin.path in s.structure)
        return _chosen(pin, str(scope.structure[pin.path]), options)
    return True


def _gene(variable: Variable, pins: Sequence[Pin]) -> Gene:
    """Return the gene of a variable after all pins on it."""
    mine = [pin for pin in pins if pin.path == variable.path]
    gene = _narrowed(variable, mine)
    if gene is None:
        raise _clash(variable, mine)
    return gene


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
                f"the pin '{pin}' lists values of {variable.path}, which varies continuously.\n"
                "  Use <=, >= or =."
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
                f"the pin '{pin}' leaves no value: {variable.path} reaches from {lo} to {hi}.\n"
                "  Choose a value inside that range."
            )
    for one, two in itertools.combinations(mine, 2):
        if _narrowed(variable, [one, two]) is None:
            return _contradiction(one, two)
    every = ", ".join(f"'{pin}'" for pin in mine)
    return PinError(f"the pins {every} together leave no value.\n  Drop one of them.")


def _contradiction(one: Pin, two: Pin) -> PinError:
    return PinError(f"the pins '{one}' and '{two}' contradict each other.\n  Drop one of them.")


def _limits(pins: Sequence[Pin], results: Sequence[str]) -> tuple[ColumnLimit, ...]:
    """Return the limits that pins on reported results make."""
    found: list[tuple[Pin, ColumnLimit]] = []
    for pin in pins:
        if pin.path not in results:
            continue
        if "in" in pin.operator:
            raise PinError(
                f"the pin '{pin}' lists values of {pin.path}, which is a number.\n"
                "  Use <=, >= or =."
            )
        column, bound = list(results).index(pin.path), pin.number()
        band = EQUAL * abs(bound) if pin.operator == "=" else 0.0
        for sign in {"<=": (1.0,), ">=": (-1.0,), "=": (1.0, -1.0)}[pin.operator]:
            edge = bound + sign * band
            for other, limit in found:
                opposite = limit.column == column and limit.sign != sign
                if opposite and sign * (limit.bound - edge) > 0.0:
                    raise _contradiction(other, pin)
            found.append((pin, ColumnLimit(column, sign, edge, f"pin: {pin}")))
    return tuple(limit for _, limit in found)
