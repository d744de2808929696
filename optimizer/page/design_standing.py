"""Where a design stands against the fronts that its run stored."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Mapping, Sequence

import numpy as np

from models.axes import Array
from models.errors import PinError
from optimizer import pins as pinning
from optimizer.archive import Run, StoredDesign
from optimizer.figures_data import point
from optimizer.objectives import Objective, goals, objectives_of
from optimizer.opened import Opened

SAME = 1e-9  # relative difference of an objective that counts as none


@dataclasses.dataclass(frozen=True)
class Standing:
    """Against one front: ``place`` is "on", "behind", "ahead" or "none" (no front).

    ``gaps`` are the differences to the best design of the front that is at least as good
    in everything else, by objective, in its unit; only for a design behind.
    """

    front: str
    place: str
    gaps: tuple[tuple[Objective, float], ...] = ()

    @property
    def words(self) -> str:
        """The verdict as a sentence without its full stop."""
        if self.place == "none":
            return f"{self.front} has no design"
        if self.place == "on":
            return f"on {self.front}"
        if self.place == "ahead":
            return f"would extend {self.front}"
        told = [t for o, gap in self.gaps if (t := _gap(o, gap))]
        return f"behind {self.front} by {' or '.join(told)}" if told else f"on {self.front}"


def _gap(objective: Objective, gap: float) -> str:
    """Return a gap in words, nothing where it is too small to show."""
    text = objective.text(abs(gap))
    if float(text) == 0.0:
        return ""
    return f"{text} {objective.difference_unit} of {objective.title}".replace("  ", " ")


def standings(run: Run, item: Opened, stored: str) -> tuple[Standing, Standing]:
    """Return where a design stands: on the front of its topology, and of all of them.

    Parameters
    ----------
    run : Run
        The run that the design comes from.
    item : Opened
        The design, changed by hand or not.
    stored : str
        Its name in the run if it is unchanged, else empty.
    """
    return (
        _standing(run, item, item.topology.name, stored),
        _standing(run, item, None, stored),
    )


def _standing(run: Run, item: Opened, topology: str | None, stored: str) -> Standing:
    names, front = _front(run, topology)
    title = "the front of its topology" if topology else "the front of all topologies"
    if not names:
        return Standing(title, "none")
    if stored in names:
        return Standing(title, "on")
    return against(title, front, results_of(item), objectives_of(run))


def against(
    title: str, front: Array, results: Mapping[str, float], objectives: Sequence[Objective]
) -> Standing:
    """Return where results stand against a front (n, objectives), to be minimised."""
    own = np.array([-o.sign * results[o.name] for o in objectives])
    slack = SAME * np.maximum(np.abs(own), 1e-12)
    no_worse = front <= own + slack
    better = front < own - slack
    if not no_worse.all(axis=1).any():
        return Standing(title, "ahead")
    if not (no_worse.all(axis=1) & better.any(axis=1)).any():
        return Standing(title, "on")
    gaps = []
    for j, objective in enumerate(objectives):
        others = np.delete(no_worse, j, axis=1).all(axis=1)
        gaps.append((objective, float(own[j] - front[others, j].min())))
    return Standing(title, "behind", tuple(gaps))


@functools.lru_cache(maxsize=16)
def _front(run: Run, topology: str | None) -> tuple[frozenset[str], Array]:
    """Return the names and objectives of a front; a run is read anew when it changes."""
    found: list[StoredDesign] = run.front_of(topology) if topology else run.common_front()
    values = goals([point(run, d) for d in found], objectives_of(run))
    return frozenset(d.id for d in found), values


def results_of(item: Opened) -> dict[str, float]:
    """Return the results of a design by name, in their units."""
    from models.results import NAMES

    return dict(zip(NAMES, map(float, item.evaluation.columns[0]), strict=True))


def pins_left(run: Run, item: Opened) -> list[str]:
    """Return the pins of a run that a design does not keep, in their written form."""
    shown = {v.path: v.shown(item.values[v.field]) for v in item.variables}
    known = {**shown, **item.static, "topology": item.topology.name, **results_of(item)}
    broken = []
    for text in run.pins:
        try:
            pin = pinning.parse(text)
            kept = pin.path not in known or keeps(pin, known[pin.path])
        except PinError:
            continue  # written by another version
        if not kept:
            broken.append(text)
    return broken


def keeps(pin: pinning.Pin, value: float | str) -> bool:
    """Return whether a value keeps a pin."""
    if isinstance(value, str):
        return (value in pin.values) != (pin.operator == "not in")
    numbers = [pin.number(i) for i in range(len(pin.values))]
    slack = 1e-9 * max(1.0, abs(value))
    if pin.operator == "<=":
        return value <= numbers[0] + slack
    if pin.operator == ">=":
        return value >= numbers[0] - slack
    near = any(abs(value - n) <= pinning.EQUAL * max(abs(n), 1e-12) for n in numbers)
    return near != (pin.operator == "not in")
