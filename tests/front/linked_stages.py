"""Stages of front designs with a link, at full power alone, as their topology wires them."""

import dataclasses
import functools
from typing import Any

from models.case import Case
from models.topologies import TOPOLOGIES, linked
from tests.front.reference import NAMES, at_row, document, full_power, reference


@dataclasses.dataclass(frozen=True)
class Full:
    """A design with a link at full power, one operating point."""

    wiring: linked.Wiring
    design: Any
    case: Case
    behind: linked.Behind
    power: float  # [W], of the module
    front: Any

    @property
    def stage(self):
        """Design of the front."""
        return getattr(self.design, self.wiring.name)

    @functools.cached_property
    def parts(self):
        """Parts of the front and the bridge by path."""
        placed = (*self.front.placed.parts, *self.behind.bridge.placed.parts)
        return {part.path: part for part in placed}

    def stress(self, path):
        """Stress of a part of the front."""
        return self.parts[f"{self.wiring.name}.{path}"].stress


def wiring_of(name):
    """The stages of a design's topology; None where it has no such link."""
    place = TOPOLOGIES[document(name)["topology"]].place
    first = place.args[0] if isinstance(place, functools.partial) else None
    return first if isinstance(first, linked.Wiring) else None


def with_stage(slot, *modules):
    """Names of the designs whose front, storage or bridge is one of some modules."""
    found = ((name, wiring_of(name)) for name in NAMES)
    return [name for name, w in found if w is not None and getattr(w, slot) in modules]


@functools.cache
def full(name) -> Full:
    """A design with a link at full power.

    The whole table decides on inductances, so that the row is taken of what it gives.
    """
    item, w = reference(name), wiring_of(name)
    row, power = full_power(item)
    behind = linked.behind(w, item.design, item.case)
    prepared = picked(behind.prepared, row, item.case.points.count)
    case = at_row(item.case, row)
    one = dataclasses.replace(linked.behind(w, item.design, case), prepared=prepared)
    p = item.evaluation.settled.p_module[:, row : row + 1]
    front = w.front.place(w.name, getattr(item.design, w.name), prepared, p, case)
    return Full(w, item.design, case, one, power, front)


def picked(x, row, count):
    """A dataclass of arrays with one operating point kept."""
    if dataclasses.is_dataclass(x) and not isinstance(x, type):
        changes = {f.name: picked(getattr(x, f.name), row, count) for f in dataclasses.fields(x)}
        return dataclasses.replace(x, **changes)
    if isinstance(x, tuple):
        return tuple(picked(one, row, count) for one in x)
    varies = getattr(x, "ndim", 0) == 3 and x.shape[1] == count
    return x[:, row : row + 1] if varies else x


def nodes(one):
    """Voltages of the link at the nodes of its swing [V]."""
    return [float(v) for v in one.behind.prepared.v_out[0, 0]]
