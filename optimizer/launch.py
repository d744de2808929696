"""From a specification, or from a run folder, to everything that a sweep or a sheet needs."""

from __future__ import annotations

import dataclasses
import shutil
import tomllib
import uuid
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from models.axes import Array
from models.case import Case
from models.catalogues import SCHEMAS
from models.errors import NoCandidateError, PinError, RipplefrontError, RunError
from models.evaluate import evaluate
from models.operating import make_case
from models.parts.catalogue import DATA
from models.results import NAMES, RESULTS
from models.spec import Climate, Parts, Specification
from models.spec_files import Variant, read_variants
from models.topologies import TOPOLOGIES, exclusions
from models.variables import structures, variables
from optimizer import pins as pinning
from optimizer.archive import Run, StoredDesign, open_run
from optimizer.budget import Settings
from optimizer.cautions import CAUTIONS
from optimizer.demands import demands
from optimizer.environment import environment
from optimizer.files import read_json, write_json
from optimizer.opened import Opened, opened
from optimizer.problem import DesignProblem
from optimizer.store import SCHEMA, Store, candidate_record, create, packed
from optimizer.variants import folder_name
from optimizer.variants import settings_for as settings_for
from optimizer.version import VERSION


@dataclasses.dataclass(frozen=True)
class Prepared:
    """A specification made ready for a sweep."""

    text: str
    base: Path
    case: Case
    pins: tuple[str, ...]
    problems: tuple[DesignProblem, ...]
    excluded: Mapping[str, tuple[str, ...]]
    variant: str = ""

    @property
    def spec(self) -> Specification:
        """The specification itself."""
        return self.case.spec


def specifications(path: Path) -> tuple[Variant, ...]:
    """Return the variants of the specification in a file, with every name checked."""
    return read_variants(path, topologies=tuple(TOPOLOGIES), results=NAMES)


def prepared_variants(path: Path, extra_pins: Sequence[str] = ()) -> list[Prepared]:
    """Return everything that a sweep needs, for each variant of the specification in ``path``.

    A specification without variants gives a list of one.

    Raises
    ------
    SpecError, CatalogueError, PinError
        For mistakes in the files and pins.
    NoCandidateError
        If every topology is excluded from a variant; with its name and the reasons.
    """
    ready, barren = [], []
    for variant in specifications(path):
        try:
            ready.append(_variant(variant, path.parent, extra_pins))
        except NoCandidateError as error:
            barren.append(str(error))
    if barren:
        raise NoCandidateError("\n".join(barren))
    return ready


def _variant(variant: Variant, base: Path, extra_pins: Sequence[str]) -> Prepared:
    held = [pinning.parse(p, "in the specification") for p in variant.spec.pins.hold]
    pins = [*held, *map(pinning.parse, extra_pins)]
    try:
        return _prepared(variant.text, base, make_case(variant.spec, base), pins, variant.name)
    except PinError as error:
        if not variant.name:
            raise
        raise PinError(f"variant {variant.name!r}: {error}") from None


def prepared(path: Path, extra_pins: Sequence[str] = ()) -> Prepared:
    """Return what a sweep over the only specification in ``path`` needs."""
    found = prepared_variants(path, extra_pins)
    if len(found) > 1:
        raise RipplefrontError(
            f"{path} holds {len(found)} variants, but one specification is needed here.\n"
            "  Keep one of them in the file."
        )
    return found[0]


def _prepared(
    text: str, base: Path, case: Case, pins: Sequence[pinning.Pin], variant: str
) -> Prepared:
    excluded = exclusions(case.spec)
    if all(excluded.values()):
        lines = [f"  {name}: {'; '.join(why)}" for name, why in excluded.items()]
        whom = f"variant {variant!r}" if variant else "this specification"
        raise NoCandidateError(
            f"no topology can serve {whom}.\n"
            + "\n".join(lines)
            + "\n  Change what stands in the way; the candidates: ripplefront topologies"
        )
    names = case.catalogue.names()
    scopes = [
        pinning.Scope(topology.name, static, variables(topology.design, names, static=static))
        for topology in TOPOLOGIES.values()
        if not excluded[topology.name]
        for static in structures(topology.design)
    ]
    every = list(dict.fromkeys(pins))
    found = pinning.resolved(every, scopes, NAMES, demands(case.spec))
    problems = tuple(
        DesignProblem(
            TOPOLOGIES[scope.topology],
            scope.structure,
            genes=left.genes,
            case=case,
            evaluate_designs=evaluate,
            limits=left.limits,
        )
        for scope, left in zip(scopes, found, strict=True)
        if left is not None
    )
    return Prepared(text, base, case, tuple(map(str, every)), problems, excluded, variant)


def new_stores(ready: Sequence[Prepared], settings: Sequence[Settings], root: Path) -> list[Store]:
    """Return the stores of the run folders of a sweep, one a variant; each knows the others.

    Where one cannot be made, on a full disk for one, none is left.
    """
    key = uuid.uuid4().hex
    stores: list[Store] = []
    try:
        for each, own in zip(ready, settings, strict=True):
            sweep = {"id": key, "variant": each.variant, "runs": []}
            stores.append(new_store(each, own, root, sweep=sweep))
        names = [store.name for store in stores]
        for store in stores:
            manifest = read_json(store.folder / "manifest.json")
            manifest["sweep"]["runs"] = names
            write_json(store.folder / "manifest.json", manifest)
    except BaseException:
        for store in stores:
            store.close()
            shutil.rmtree(store.folder, ignore_errors=True)
        raise
    return stores


def new_store(
    ready: Prepared,
    settings: Settings,
    root: Path,
    more: Mapping[str, Any] | None = None,
    *,
    sweep: Mapping[str, Any] | None = None,
    seeds: Mapping[str, Array] | None = None,
) -> Store:
    """Return the store of a new run folder that explains itself.

    Parameters
    ----------
    ready : Prepared
        What is to be searched.
    settings : Settings
        Budget and seed.
    root : Path
        The folder of all runs.
    more : Mapping, optional
        What else explains the run, for its manifest.
    sweep : Mapping, optional
        ``id``, ``variant`` and ``runs`` of the sweep that it belongs to.
    seeds : Mapping, optional
        Designs (n, genes) to start from, by candidate name.
    """
    spec = ready.spec
    files = {"cautions.txt": "\n\n".join([*CAUTIONS, ""]).encode()}
    if seeds is not None:
        files["seeds.npz"] = packed({"schema": np.array(SCHEMA), **seeds})
    return create(
        root,
        folder_name(spec.project.name, ready.variant),
        specification=ready.text,
        catalogue=_tables(spec, ready.base),
        candidates=[candidate_record(p) for p in ready.problems],
        columns=[dataclasses.asdict(r) for r in RESULTS],
        files=files,
        manifest={
            "version": VERSION,
            "environment": environment(),
            "settings": dataclasses.asdict(settings),
            "pins": list(ready.pins),
            "excluded": {k: list(v) for k, v in ready.excluded.items() if v},
            **({"sweep": dict(sweep)} if sweep else {}),
            **(more or {}),
        },
    )


def _tables(spec: Specification, base: Path) -> dict[str, str]:
    """Return the text of every table as used, and of the weather file if there is one."""
    found = {}
    for name in SCHEMAS:
        own = getattr(spec.parts, name, None)
        path = base / own if own else DATA / f"{name}.csv"
        found[f"{name}.csv"] = path.read_text(encoding="utf-8-sig")
    weather = spec.climate.csv or spec.climate.tmy
    if weather:
        suffix = Path(weather).suffix
        found[f"climate{suffix}"] = _any_text((base / weather).read_bytes())
    return found


def _any_text(data: bytes) -> str:
    """Return the text of a weather file; older ones are not in UTF-8."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def stored_case(run: Run) -> Case:
    """Return the case of a run from its own folder alone: specification, tables, weather."""
    folder = run.folder
    spec = parse_without_files(run)
    parts = Parts(
        **{n: f"catalogue/{n}.csv" for n in SCHEMAS if n in Parts.model_fields},
        exclude=spec.parts.exclude,
    )
    climate = spec.climate
    for key in ("csv", "tmy"):
        own = getattr(climate, key)
        if own:
            moved = f"catalogue/climate{Path(own).suffix}"
            climate = Climate(**{**climate.model_dump(), key: moved})
    return make_case(spec.model_copy(update={"parts": parts, "climate": climate}), folder)


def parse_without_files(run: Run) -> Specification:
    """Return the specification of a run without looking for the files it once named."""
    try:
        return Specification.model_validate(tomllib.loads(run.specification))
    except (ValueError, OSError) as error:
        first = str(error).splitlines()[0]
        raise RunError(
            f"{run.name}/specification.toml cannot be used: {first}.\n"
            "  Copy the run folder again; its files must not be edited."
        ) from None


def resumable(run: Run) -> Prepared:
    """Return what an interrupted run needs to go on, from its own folder alone."""
    return prepared_again(run, [pinning.parse(p) for p in run.pins])


def prepared_again(run: Run, pins: Sequence[pinning.Pin]) -> Prepared:
    """Return a run's specification made ready under ``pins`` alone, from its own folder."""
    variant = run.manifest.get("sweep", {}).get("variant", "")
    return _prepared(run.specification, run.folder, stored_case(run), pins, variant)


def open_design(run: Run, stored: StoredDesign, case: Case | None = None) -> Opened:
    """Return a stored design, evaluated again by the one path."""
    name = stored.candidate.topology
    if name not in TOPOLOGIES:
        raise RunError(
            f"the topology {name} of the run {run.name} is not known to this version.\n"
            "  Open the run with the version in its manifest.json."
        )
    case = case or stored_case(run)
    static = stored.candidate.structure
    values = {k: float(v.ravel()[0]) for k, v in stored.arrays().items()}
    try:
        known = {
            v.field
            for v in variables(TOPOLOGIES[name].design, case.catalogue.names(), static=static)
        }
    except KeyError:
        known = set()
    if known != set(values):
        raise RunError(
            f"the run {run.name} was made by version {run.manifest.get('version')} with other "
            f"variables of {name} than this one has.\n  Open it with that version."
        )
    return opened(TOPOLOGIES[name], static, values, case, stored.id)


def _made(folder: Path) -> tuple[int, str]:
    """Return when a run was made: its candidates are written once, all else changes later."""
    try:
        return (folder / "candidates.json").stat().st_mtime_ns, folder.name
    except OSError:
        return 0, folder.name


def find_run(root: Path, name: str) -> Run:
    """Return the run of a name, of a unique beginning of it, of a path, or the ``latest``."""
    path = Path(name)
    if (path / "manifest.json").exists():
        return open_run(path)
    folders = sorted((p.parent for p in root.glob("*/manifest.json")), key=_made)
    if not folders:
        raise RunError(
            f"there is no run in {root}.\n  Start one with: ripplefront sweep FILE, "
            "or name the folder with --runs."
        )
    if name == "latest":
        return open_run(folders[-1])
    exact = [f for f in folders if f.name == name]
    found = exact or [f for f in folders if f.name.startswith(name)]
    if len(found) == 1:
        return open_run(found[0])
    known = ", ".join(f.name for f in (found or folders)[-5:])
    raise RunError(
        f"{'no run' if not found else f'{len(found)} runs'} in {root} named {name!r}.\n"
        f"  There are: {known}"
    )
