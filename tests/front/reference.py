"""Designs of the tool's own fronts, kept in tests/data, built and evaluated.

``collect.py`` writes the files; values are by public path and by the name of a row, so
that a longer catalogue leaves them as they are.
"""

import dataclasses
import functools
import json
from pathlib import Path

from models.case import Case
from models.points import OperatingPoints, Purpose
from models.results import full_row
from models.topologies import TOPOLOGIES
from models.variables import variables
from optimizer.opened import Opened, opened, read_value
from tests.conformance.designs import demo_case

DATA = Path(__file__).parent.parent / "data"
NAMES = tuple(sorted(p.stem for p in DATA.glob("front_*.json")))


def names(topology: str) -> tuple[str, ...]:
    """Names of the reference designs of a topology."""
    return tuple(n for n in NAMES if n.startswith(f"front_{topology}_"))


@functools.cache
def case() -> Case:
    """The case that the designs were found for."""
    return demo_case()


@functools.cache
def document(name: str) -> dict:
    """The file of a design."""
    return json.loads((DATA / f"{name}.json").read_text(encoding="utf-8"))


def reopened(name: str, changes: dict | None = None, at: Case | None = None) -> Opened:
    """A design, some values changed by public path, evaluated in a case."""
    kept = document(name)
    topology, static, at = TOPOLOGIES[kept["topology"]], kept["structure"], at or case()
    shown = kept["variables"] | (changes or {})
    known = variables(topology.design, at.catalogue.names(), static=static)
    unknown = set(shown) - {v.path for v in known}
    assert not unknown, f"{name} has variables that the topology has not: {sorted(unknown)}"
    values = {v.field: read_value(v, str(shown[v.path])) for v in known}
    return opened(topology, static, values, at, name)


@functools.cache
def reference(name: str) -> Opened:
    """A design as it stands in its file."""
    return reopened(name)


def at_row(whole: Case, row: int, purpose: Purpose = Purpose.WEIGHTED) -> Case:
    """The case with one operating point alone."""
    kept = {"label": (whole.points.label[row],), "purpose": (purpose,)}
    for field in dataclasses.fields(OperatingPoints):
        if field.name not in kept:
            kept[field.name] = getattr(whole.points, field.name)[:, row : row + 1]
    return dataclasses.replace(whole, points=OperatingPoints(**kept))


def full_power(item: Opened) -> tuple[int, float]:
    """Row of full power, and the module power there [W]."""
    row = full_row(item.case)
    return row, float(item.evaluation.settled.p_module[0, row, 0])
