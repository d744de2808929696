"""What a run folder keeps of a sweep, and how to read it back.

Reading needs neither the catalogue nor the models: variables, units and limits are
written beside the genes.
"""

from __future__ import annotations

import dataclasses
import functools
import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.axes import Array
from models.errors import RunError
from optimizer.budget import Settings
from optimizer.course import Course
from optimizer.encode import Genes, genes_from
from optimizer.files import checked, damaged, read_json, writer
from optimizer.front import Front, common
from optimizer.journal import events
from optimizer.outcome import nearest_states
from optimizer.problem import Problem
from optimizer.store import SCHEMA, unpacked


def archived(course: Course, fronts: Sequence[Front]) -> dict[str, NDArray[Any]]:
    """Return what ``archive.npz`` holds, keyed by candidate number."""
    found: dict[str, NDArray[Any]] = {"barrier": np.array(course.barrier)}
    for c, front in enumerate(fronts):
        found |= {f"c{c}.front.{k}": getattr(front, k) for k in ("genes", "objectives", "columns")}
        mine = [s for i, s in enumerate(course.states) if course.owner(i) == c]
        for k in ("genes", "objectives", "columns"):
            found[f"c{c}.cloud.{k}"] = np.concatenate([getattr(s, f"cloud_{k}") for s in mine])
    for c, island in nearest_states(course).items():
        state = course.states[island]
        for k in ("genes", "margins", "columns"):
            found[f"c{c}.nearest.{k}"] = getattr(state, f"nearest_{k}")
    return found


def design_id(candidate: str, genes: Array) -> str:
    """Return the short name of a design: eight hex digits of its candidate and genes."""
    content = candidate.encode() + np.ascontiguousarray(genes, dtype="<f8").tobytes()
    return hashlib.sha256(content).hexdigest()[:8]


def table_rows(
    problems: Sequence[Problem], fronts: Sequence[Front], folder: Path
) -> list[list[object]]:
    """Return ``front.csv``: names, units, then one design a row, all fronts of candidates."""
    columns = read_json(folder / "columns.json")["columns"]
    heads: list[list[object]] = [
        ["design", "candidate", "on_common_front", *(c["name"] for c in columns)],
        ["", "", "1", *(c["unit"] for c in columns)],
    ]
    owner, row = common(list(fronts))
    best = set(zip(owner.tolist(), row.tolist(), strict=True))
    return heads + [
        [design_id(p.name, f.genes[i]), p.name, int((c, i) in best), *f.columns[i].tolist()]
        for c, (p, f) in enumerate(zip(problems, fronts, strict=True))
        for i in range(f.size)
    ]


@dataclasses.dataclass(frozen=True)
class Candidate:
    """One topology with its static choices, as a run folder knows it."""

    number: int
    name: str
    topology: str
    structure: Mapping[str, Any]
    genes: Genes
    limits: tuple[str, ...]


@dataclasses.dataclass(frozen=True)
class Column:
    """One reported result."""

    name: str
    unit: str
    meaning: str


@dataclasses.dataclass(frozen=True)
class StoredDesign:
    """One design of a run."""

    id: str
    candidate: Candidate
    genes: Array  # (genes,)
    columns: Array  # (results,)

    def arrays(self) -> dict[str, Array]:
        """Return its values by field path, for ``models.variables.build``."""
        return self.candidate.genes.arrays(self.genes[None, :])

    def shown(self) -> dict[str, float | str]:
        """Return its values by public name, in the units that the names end with."""
        values = self.candidate.genes.values(self.genes[None, :])[0].tolist()
        return {
            g.variable.path: g.variable.shown(v)
            for g, v in zip(self.candidate.genes.genes, values, strict=True)
        }


@dataclasses.dataclass(frozen=True)
class NearestDesign:
    """The design that violates the limits of a candidate least, with every margin by name."""

    design: StoredDesign
    margins: Mapping[str, float]


class Run:
    """The reading end of a run folder; it never waits for, nor disturbs, the writer."""

    def __init__(self, folder: Path) -> None:
        self._head(folder)
        found = read_json(folder / "candidates.json")
        with checked(folder / "candidates.json"):
            self.candidates = tuple(_candidate(*item) for item in enumerate(found["candidates"]))

    def _head(self, folder: Path) -> None:
        """Read what says what the run is, and what its results mean."""
        self.folder = folder
        self.manifest = read_json(folder / "manifest.json")
        with checked(folder / "manifest.json"):
            schema = int(self.manifest["schema"])
        if schema > SCHEMA:
            raise RunError(
                f"{folder.name} was written by a newer version: schema {schema}, this one reads "
                f"up to {SCHEMA}.\n  Install the newer version."
            )
        found = read_json(folder / "columns.json")
        with checked(folder / "columns.json"):
            self.columns = tuple(
                Column(str(row["name"]), str(row["unit"]), str(row["meaning"]))
                for row in found["columns"]
            )

    @property
    def name(self) -> str:
        """Name of the run."""
        return self.folder.name

    @property
    def specification(self) -> str:
        """Text of the specification as used."""
        path = self.folder / "specification.toml"
        with checked(path):
            return path.read_text(encoding="utf-8")

    @property
    def settings(self) -> Settings:
        """Settings of the sweep."""
        with checked(self.folder / "manifest.json"):
            return Settings(**self.manifest["settings"])

    @property
    def pins(self) -> tuple[str, ...]:
        """Pins in their written form."""
        return tuple(self.manifest.get("pins", ()))

    @property
    def pid(self) -> int | None:
        """The process that writes the run now."""
        return writer(self.folder / "lock")

    @property
    def status(self) -> dict[str, Any]:
        """The last status, its ``state`` corrected by whether anybody still writes.

        ``running``, ``waiting`` for its turn in a sweep of several runs, ``ended``, or
        ``interrupted`` where the writer died: resume it.
        """
        status = self._status()
        if status.get("state") != "ended" and self.pid is None:
            status = self._status()  # it may have ended between the two looks
        if status.get("state") != "ended":
            held = "waiting" if status.get("state") == "waiting" else "running"
            status["state"] = "interrupted" if self.pid is None else held
        return status

    def _status(self) -> dict[str, Any]:
        try:
            return read_json(self.folder / "status.json")
        except RunError as error:
            reason = str(error).splitlines()[0]
            raise RunError(
                f"{reason}\n  What was found can still be read: ripplefront front {self.name}\n"
                "  Copy the run folder again for the rest."
            ) from None

    def events(self) -> tuple[list[dict[str, Any]], int]:
        """Return the journal and how many of its lines are damaged."""
        return events(self.folder / "journal.jsonl")

    @functools.cached_property
    def _arrays(self) -> dict[str, NDArray[Any]]:
        path = self.folder / "archive.npz"
        try:
            return unpacked(path.read_bytes(), f"{self.name}/{path.name}")
        except FileNotFoundError:
            if self._status().get("state") == "ended":
                raise damaged(path, "it is missing, though the sweep has ended") from None
            return {}  # the sweep has not come that far
        except OSError as error:
            raise damaged(path, error.strerror or str(error)) from None

    def _stored(self, candidate: int, part: str) -> Front:
        prefix = f"c{candidate}.{part}."
        genes, columns = self.candidates[candidate].genes.space.size, len(self.columns)
        if f"{prefix}genes" not in self._arrays:
            return Front.empty(genes, 0, columns)
        names = ("genes", "objectives", "columns")
        with checked(self.folder / "archive.npz"):
            found = Front(*(self._arrays[prefix + name] for name in names))
            if found.genes.shape != (found.size, genes) or found.columns.shape != (
                found.size,
                columns,
            ):
                raise ValueError("its arrays do not fit candidates.json and columns.json")
        return found

    @functools.cached_property
    def fronts(self) -> tuple[Front, ...]:
        """The front of every candidate."""
        return tuple(self._stored(c.number, "front") for c in self.candidates)

    @functools.cached_property
    def clouds(self) -> tuple[Front, ...]:
        """Feasible designs close behind the front of every candidate, in no order."""
        return tuple(self._stored(c.number, "cloud") for c in self.candidates)

    def front_of(self, topology: str) -> list[StoredDesign]:
        """Return the designs of a topology that no structure of it dominates."""
        members = [c for c in self.candidates if c.topology == topology]
        owner, row = common([self.fronts[c.number] for c in members])
        return [
            self._design(members[k], self.fronts[members[k].number], i)
            for k, i in zip(owner.tolist(), row.tolist(), strict=True)
        ]

    def common_front(self) -> list[StoredDesign]:
        """Return the designs that no other of any topology dominates."""
        owner, row = common(list(self.fronts))
        return [
            self._design(self.candidates[k], self.fronts[k], i)
            for k, i in zip(owner.tolist(), row.tolist(), strict=True)
        ]

    def design(self, name: str) -> StoredDesign:
        """Return a design by its short name, or a unique beginning of it.

        Raises
        ------
        RunError
            If none or several designs have it.
        """
        found = {}
        for candidate in self.candidates:
            for part in (self.fronts, self.clouds):
                stored = part[candidate.number]
                for i in range(stored.size):
                    key = design_id(candidate.name, stored.genes[i])
                    if key.startswith(name.lower()):
                        found[key] = self._design(candidate, stored, i)
        if len(found) != 1:
            what = "no design" if not found else f"{len(found)} designs"
            raise RunError(
                f"the run {self.name} has {what} named {name!r}.\n"
                "  List the designs with: ripplefront front " + self.name
            )
        return next(iter(found.values()))

    def nearest(self, candidate: int) -> NearestDesign | None:
        """Return the design of least violation; None where a feasible one was found."""
        key = f"c{candidate}.nearest."
        if self.fronts[candidate].size or key + "genes" not in self._arrays:
            return None
        owner = self.candidates[candidate]
        genes, columns = self._arrays[key + "genes"][0], self._arrays[key + "columns"][0]
        margins = dict(zip(owner.limits, self._arrays[key + "margins"][0].tolist(), strict=True))
        return NearestDesign(
            StoredDesign(design_id(owner.name, genes), owner, genes, columns), margins
        )

    def stored_seeds(self) -> dict[str, Array]:
        """Return the designs (n, genes) that a re-run starts from, by candidate name.

        Raises
        ------
        RunError
            If the run has a parent and its seeds are gone: it would go another way.
        """
        path = self.folder / "seeds.npz"
        if path.exists():
            with checked(path):
                return unpacked(path.read_bytes())
        if "parent" in self.manifest:
            raise RunError(
                f"{self.name} has lost its seeds.npz, the designs that it starts from.\n"
                "  Copy the run folder again, or start the re-run anew."
            )
        return {}

    @staticmethod
    def _design(owner: Candidate, stored: Front, row: int) -> StoredDesign:
        genes = stored.genes[row]
        return StoredDesign(design_id(owner.name, genes), owner, genes, stored.columns[row])


def _candidate(number: int, row: Mapping[str, Any]) -> Candidate:
    genes = genes_from(row["variables"])
    genes.space  # noqa: B018 - a malformed gene shows here, not at the first design
    return Candidate(
        number, row["name"], row["topology"], dict(row["structure"]), genes, tuple(row["limits"])
    )


def open_run(folder: Path) -> Run:
    """Return a run folder, opened for reading.

    Raises
    ------
    RunError
        If it is no run folder, or one of a newer version.
    """
    return Run(folder)
