"""Two or more runs side by side, and what the later ones gave up against the earlier.

Everything is read from the run folders; nothing is evaluated again.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from models.errors import RunError
from optimizer.archive import Run, StoredDesign
from optimizer.figures_data import point, titles
from optimizer.front import frame_of
from optimizer.fronts import FrontPoint
from optimizer.launch import parse_without_files
from optimizer.objectives import Objective, goals, landmarks, objectives_of
from optimizer.price import Price, price
from optimizer.unrest import ALL, larger, unrest

# What a specification says of itself and of the search, not of the product.
ASIDE = ("project.", "sweep.", "pins.", "parts.")


@dataclasses.dataclass(frozen=True)
class Corner:
    """A design to look at first, and where on the front it stands."""

    where: str
    point: FrontPoint


@dataclasses.dataclass(frozen=True)
class Side:
    """One topology, or all together, in one run.

    ``share`` is the hypervolume as part of what the designs of all compared runs
    together reach [1], in the frame that they span; None where no run has any design.
    """

    topology: str
    front: tuple[FrontPoint, ...]
    corners: tuple[Corner, ...]
    share: float | None


@dataclasses.dataclass(frozen=True)
class Facts:
    """One run as it is set beside others."""

    name: str
    state: str
    reason: str
    version: str
    seed: int
    designs: int
    planned: int
    seconds: float
    pins: tuple[str, ...]
    parent: str
    sides: Mapping[str, Side]


@dataclasses.dataclass(frozen=True)
class Difference:
    """A field in which the runs differ, with the value of every run."""

    field: str
    values: tuple[str, ...]


@dataclasses.dataclass(frozen=True)
class Pair:
    """One run against the one before it: the price for every topology."""

    before: str
    after: str
    added: tuple[str, ...]
    dropped: tuple[str, ...]
    prices: tuple[Price, ...]
    remarks: tuple[str, ...]


@dataclasses.dataclass(frozen=True)
class Comparison:
    """Runs side by side."""

    objectives: tuple[Objective, ...]
    topologies: tuple[str, ...]
    titles: Mapping[str, str]
    runs: tuple[Facts, ...]
    differences: tuple[Difference, ...]
    pairs: tuple[Pair, ...]


def compared(runs: Sequence[Run]) -> Comparison:
    """Return two or more runs side by side, with the price of what was pinned in between.

    A run whose parent is among them is held against its parent, any other against the
    first run that has none.

    Raises
    ------
    RunError
        For fewer than two different runs, or runs with different objectives.
    """
    names = [run.name for run in runs]
    if len(runs) < 2 or len(set(names)) < len(names):
        raise RunError(
            f"a comparison needs two or more different runs, not {', '.join(names) or 'none'}.\n"
            "  List them with: ripplefront runs"
        )
    objectives = _common_objectives(runs)
    topologies = tuple(dict.fromkeys(c.topology for run in runs for c in run.candidates))
    sides = _sides(runs, objectives, topologies)
    facts = tuple(_facts(run, sides[run.name]) for run in runs)
    differences = differing(runs)
    by_name = {run.name: run for run in runs}
    pairs = tuple(
        _pair(by_name[before], by_name[after], sides, objectives, differences)
        for before, after in _pairs(facts)
    )
    named = {name: title for run in runs for name, title in titles(run).items()}
    return Comparison(objectives, topologies, named, facts, differences, pairs)


def _common_objectives(runs: Sequence[Run]) -> tuple[Objective, ...]:
    first = objectives_of(runs[0])
    for run in runs[1:]:
        other = objectives_of(run)
        if set(other) != set(first):
            raise RunError(
                f"{runs[0].name} and {run.name} were searched for different things: "
                f"{_spoken(first)} against {_spoken(other)}.\n"
                "  Their fronts lie in different planes and have no price against each other; "
                "compare runs with the same [objectives]."
            )
    return first


def _spoken(objectives: Iterable[Objective]) -> str:
    return ", ".join(f"{'most' if o.sign > 0 else 'least'} {o.title}" for o in objectives)


def _sides(
    runs: Sequence[Run], objectives: Sequence[Objective], topologies: Sequence[str]
) -> dict[str, dict[str, Side]]:
    """Return the fronts of every run by topology, hypervolumes in one frame for all runs."""
    found: dict[str, dict[str, Side]] = {run.name: {} for run in runs}
    for topology in (ALL, *topologies):
        fronts = [[point(run, d) for d in _front(run, topology)] for run in runs]
        values = [goals(front, objectives) for front in fronts]
        frame = frame_of(np.concatenate(values))
        whole = frame.hypervolume(np.concatenate(values)) if frame else 0.0
        for run, front, mine in zip(runs, fronts, values, strict=True):
            share = frame.hypervolume(mine) / whole if frame and whole > 0.0 else None
            corners = tuple(_corners(front, objectives))
            found[run.name][topology] = Side(topology, tuple(front), corners, share)
    return found


def _front(run: Run, topology: str) -> list[StoredDesign]:
    return run.common_front() if topology == ALL else run.front_of(topology)


def _corners(points: Sequence[FrontPoint], objectives: Sequence[Objective]) -> list[Corner]:
    if not points:
        return []
    return [Corner(where, points[i]) for where, i in landmarks(points, objectives)]


def _facts(run: Run, sides: Mapping[str, Side]) -> Facts:
    status = run.status
    return Facts(
        run.name,
        str(status.get("state", "")),
        str(status.get("reason", "")),
        str(run.manifest.get("version", "")),
        run.settings.seed,
        int(status.get("designs", 0)),
        run.settings.evaluations,
        float(status.get("seconds", status.get("elapsed", 0.0))),
        run.pins,
        parent_of(run),
        sides,
    )


def parent_of(run: Run) -> str:
    """Return the name of the run that a run was started from; empty without one."""
    parent = run.manifest.get("parent") or ""
    return str(parent.get("run", "") if isinstance(parent, Mapping) else parent)


def _pairs(facts: Sequence[Facts]) -> list[tuple[str, str]]:
    """Return (before, after): every run but the base against its parent, else the base."""
    names = [f.name for f in facts]
    base = next((f.name for f in facts if f.parent not in names), names[0])
    return [
        (f.parent if f.parent in names and f.parent != f.name else base, f.name)
        for f in facts
        if f.name != base
    ]


def differing(runs: Sequence[Run]) -> tuple[Difference, ...]:
    """Return every field of specification, catalogue and version in which runs differ."""
    flattened = [flat(parse_without_files(run).model_dump(mode="json")) for run in runs]
    for found, run in zip(flattened, runs, strict=True):
        tables = run.manifest.get("catalogue_sha256", {})
        found |= {f"catalogue {name}": f"table {digest[:8]}" for name, digest in tables.items()}
        found["version"] = str(run.manifest.get("version", ""))
    fields = dict.fromkeys(field for found in flattened for field in found)
    return tuple(
        Difference(field, values)
        for field in fields
        if not field.startswith(ASIDE)
        for values in [tuple(found.get(field, "–") for found in flattened)]
        if len(set(values)) > 1
    )


def flat(value: Any, path: str = "") -> dict[str, str]:
    """Return nested plain data as text by dotted path; rows of tables are counted from 1."""
    if isinstance(value, Mapping):
        pieces = [flat(v, f"{path}.{k}" if path else str(k)) for k, v in value.items()]
    elif isinstance(value, list) and any(isinstance(v, Mapping) for v in value):
        pieces = [flat(v, f"{path}[{i}]") for i, v in enumerate(value, 1)]
    else:
        listed = ", ".join(map(str, value)) if isinstance(value, list) else str(value)
        return {path: "not set" if value is None or listed == "" else listed}
    return {k: v for piece in pieces for k, v in piece.items()}


def _pair(
    before: Run,
    after: Run,
    sides: Mapping[str, Mapping[str, Side]],
    objectives: Sequence[Objective],
    differences: Sequence[Difference],
) -> Pair:
    old, new = set(before.pins), set(after.pins)
    restless = [unrest(run) for run in (before, after)]
    prices = tuple(
        price(
            topology,
            sides[before.name][topology].front,
            sides[after.name][topology].front,
            objectives,
            noise=larger([u.get(topology, {}) for u in restless]),
        )
        for topology in sides[before.name]
    )
    added = tuple(p for p in after.pins if p not in old)
    dropped = tuple(p for p in before.pins if p not in new)
    pair = Pair(before.name, after.name, added, dropped, prices, ())
    return dataclasses.replace(pair, remarks=tuple(_remarks(pair, differences)))


def _remarks(pair: Pair, differences: Sequence[Difference]) -> list[str]:
    """Return what must be said of a price before anybody believes it."""
    found = []
    if differences:
        fields = ", ".join(d.field for d in differences[:4])
        found.append(
            f"Not the price of a pin alone: the runs differ in more than pins ({fields}"
            f"{', …' if len(differences) > 4 else ''})."
        )
    elif pair.dropped:
        found.append(
            f"Not the price of a pin: {pair.after} dropped pins of {pair.before} "
            f"({', '.join(pair.dropped)})."
        )
    elif not pair.added:
        found.append("No pin lies between these runs: what differs is search and chance.")
    if any(p.better for p in pair.prices) and not differences and not pair.dropped:
        found.append(
            f"A pin can only cost. Where {pair.after} is better than {pair.before}, "
            f"{pair.before} had not converged: give it more designs and compare again."
        )
    tables = [t for p in pair.prices for t in p.tables]
    if any(t.noise is None for t in tables):
        found.append(
            "How far a front was from convergence is not known for every topology here; "
            "small differences of those may be chance."
        )
    return found
