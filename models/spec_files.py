"""Reading a specification: every mistake at once, with its place, value and remedy."""

from __future__ import annotations

import dataclasses
import functools
import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from models import toml_positions
from models.catalogues import catalogue
from models.climate import climate
from models.errors import CatalogueError, Mistake, SpecError
from models.module_view import module_views
from models.parts.catalogue import text_of
from models.spec import ComplaintError, Specification
from models.spec_rules import complaints
from models.spec_text import text_of as variant_text
from models.spec_variants import Combination, Finding, blame, combinations, same
from models.spec_words import shown_path, words

TEMPLATE = Path(__file__).parent / "data" / "specification.toml"


@dataclasses.dataclass(frozen=True)
class Variant:
    """One specification of a file, complete in itself; the only one has no name."""

    name: str
    text: str
    spec: Specification


def read_variants(
    path: Path, *, topologies: Sequence[str] = (), results: Sequence[str] = ()
) -> tuple[Variant, ...]:
    """Return the specifications in a TOML file: one for each of its variants.

    Parameters
    ----------
    path : Path
        The file; paths in it start at its folder.
    topologies, results : sequence of str
        Known names, to check those in the file; not checked where empty.

    Raises
    ------
    SpecError
        With every mistake found, in the order of the file; those in tables and
        weather files that it names follow.
    """
    text = text_of(path, "the specification", SpecError)
    return parse_variants(text, str(path), path.parent, topologies=topologies, results=results)


def parse_variants(
    text: str,
    file: str,
    base_folder: Path,
    *,
    topologies: Sequence[str] = (),
    results: Sequence[str] = (),
) -> tuple[Variant, ...]:
    """Return the specifications in ``text``; see ``read_variants``."""
    source = _Source(file, tuple(text.split("\n")), _values(text, file), text)
    made, wrong = combinations(source.values)
    specs: list[Specification] = []
    findings: list[list[Finding]] = []
    for combination in made:
        try:
            specs.append(Specification.model_validate(combination.values))
            findings.append([])
        except ValidationError as fault:
            findings.append([_explained(e) for e in fault.errors() if not _echo(e)])
    found = [source.complaint(c) for c in wrong] + source.placed(made, findings)
    if found:
        raise _refusal(found, file, "; further checks follow once these are mended")
    findings = [
        [_finding(c) for c in complaints(s, topologies=topologies, results=results)] for s in specs
    ]
    found = source.placed(made, findings) or _outside(made, specs, base_folder, source)
    found += [] if found else [source.complaint(c) for c in same(made, specs)]
    if found:
        raise _refusal(found, file, "")
    return tuple(
        Variant(c.name, variant_text(text, c, Path(file).name), s)
        for c, s in zip(made, specs, strict=True)
    )


def read_specification(
    path: Path, *, topologies: Sequence[str] = (), results: Sequence[str] = ()
) -> Specification:
    """Return the only specification in a TOML file; otherwise as ``read_variants``."""
    text = text_of(path, "the specification", SpecError)
    return parse_specification(
        text, str(path), path.parent, topologies=topologies, results=results
    )


def parse_specification(
    text: str,
    file: str,
    base_folder: Path,
    *,
    topologies: Sequence[str] = (),
    results: Sequence[str] = (),
) -> Specification:
    """Return the only specification in ``text``; see ``read_specification``."""
    found = parse_variants(text, file, base_folder, topologies=topologies, results=results)
    if len(found) > 1:
        source = _Source(file, tuple(text.split("\n")), {}, text)
        message = f"the file holds {len(found)} variants, but one specification is needed here"
        raise SpecError([source.mistake(("variant", 0), message, "keep one of them in the file")])
    return found[0].spec


def _echo(error: Any) -> bool:
    """Tell whether a list is called too short only because an item of it is wrong."""
    return bool(error["type"] == "too_short" and error["input"])


def template() -> str:
    """Return a commented specification with every section, to begin from."""
    return TEMPLATE.read_text(encoding="utf-8")


def _values(text: str, file: str) -> dict[str, Any]:
    """Return the values in the text, or refuse what is not TOML."""
    try:
        return tomllib.loads(text)
    except ValueError as fault:
        reason = str(fault)
    except RecursionError:
        reason = "lists or tables are nested too deeply"
    place = re.search(r"\(at line (\d+), column (\d+)\)", reason)
    lines = text.split("\n")
    line, column = (int(place[1]), int(place[2])) if place else (len(lines), 1)
    reason = re.sub(r" \(at .*?\)$", "", reason)
    # The parser stops behind an unfinished line; the mistake stands in the one before.
    if place and column == 1 and line > 1 and not lines[line - 1].strip():
        line, column = line - 1, len(lines[line - 2]) + 1
    shown = lines[line - 1] if line <= len(lines) else ""
    raise SpecError(
        [Mistake(file, line, column, f"this is not TOML: {reason}",
                 "texts stand in quotes, numbers and true or false do not", shown)],
        f"1 mistake in {file}; nothing was started; further checks follow once it is mended.",
    )  # fmt: skip


def _refusal(found: list[Mistake], file: str, more: str) -> SpecError:
    own = sorted((m for m in found if m.file == file), key=lambda m: (m.line, m.column))
    others = [m for m in found if m.file != file]
    count = f"{len(found)} mistake{'s' if len(found) > 1 else ''}"
    return SpecError([*own, *others], f"{count} in {file}; nothing was started{more}.")


def _outside(
    made: Sequence[Combination],
    specs: Sequence[Specification],
    base_folder: Path,
    source: _Source,
) -> list[Mistake]:
    """Return the mistakes in what the specifications name: modules, climate, tables."""
    found: list[Mistake] = []
    findings: list[list[Finding]] = [[] for _ in specs]
    good: set[tuple[object, ...]] = set()  # a module takes a tenth of a second
    for spec, own in zip(specs, findings, strict=True):
        for key, check in (
            ((spec.module, spec.roof), functools.partial(module_views, spec)),
            ((spec.climate,), functools.partial(climate, spec.climate, base_folder)),
            ((spec.parts,), functools.partial(catalogue, spec.parts, base_folder)),
        ):
            if key in good:
                continue
            try:
                check()
                good.add(key)
            except ComplaintError as c:
                own.append(_finding(c))
            except CatalogueError as fault:
                found += [m for m in fault.mistakes if m not in found]
    return [*source.placed(made, findings), *found]


def _finding(complaint: ComplaintError) -> Finding:
    path = _path(complaint.key)
    return Finding(path, f"{shown_path(path)}: {complaint}", complaint.remedy, between=True)


def _explained(error: Any) -> Finding:
    """Return what pydantic found, in the words of the trade."""
    path: toml_positions.Path = tuple(error["loc"])
    return Finding(path, *words(path, error))


@dataclasses.dataclass(frozen=True)
class _Source:
    """A TOML text that has been read, to say where in it something stands."""

    file: str
    lines: tuple[str, ...]
    values: dict[str, Any]
    text: str

    @functools.cached_property
    def places(self) -> dict[toml_positions.Path, toml_positions.Place]:
        """Where everything stands."""
        return toml_positions.positions(self.text)

    def mistake(self, path: toml_positions.Path, message: str, remedy: str) -> Mistake:
        """Return a mistake at a path, or at the nearest thing around it that stands there."""
        while path and path not in self.places:
            path = path[:-1]
        line, column = self.places.get(path, (1, 1))
        return Mistake(self.file, line, column, message, remedy, self.lines[line - 1])

    def complaint(self, complaint: ComplaintError) -> Mistake:
        """Return what is wrong with a variant itself."""
        return self.mistake(_path(complaint.key), str(complaint), complaint.remedy)

    def placed(
        self, made: Sequence[Combination], findings: Sequence[Sequence[Finding]]
    ) -> list[Mistake]:
        """Return every finding once, as the mistake of a variant or of the file itself."""
        blamed = blame(made, findings, self.places)
        return list(dict.fromkeys(self.mistake(f.path, f.message, f.remedy) for f in blamed))


def _path(key: str) -> toml_positions.Path:
    return tuple(int(step) if step.isdigit() else step for step in key.split("."))
