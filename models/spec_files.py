"""Reading a specification: every mistake at once, with its place, value and remedy."""

from __future__ import annotations

import dataclasses
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
from models.spec_words import shown_path, words

TEMPLATE = Path(__file__).parent / "data" / "specification.toml"


def read_specification(
    path: Path, *, topologies: Sequence[str] = (), results: Sequence[str] = ()
) -> Specification:
    """Return the specification in a TOML file.

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
    """Return the specification in ``text``; see ``read_specification``."""
    source = _Source(file, tuple(text.split("\n")), _values(text, file), text)
    try:
        spec = Specification.model_validate(source.values)
    except ValidationError as fault:
        found = [source.explained(error) for error in fault.errors() if not _echo(error)]
        raise _refusal(found, file, "; further checks follow once these are mended") from None
    found = [
        source.mistake(_path(c.key), f"{shown_path(_path(c.key))}: {c.message}", c.remedy)
        for c in complaints(spec, topologies=topologies, results=results)
    ]
    found += [] if found else _outside(spec, base_folder, source)
    if found:
        raise _refusal(found, file, "")
    return spec


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


def _outside(spec: Specification, base_folder: Path, source: _Source) -> list[Mistake]:
    """Return the mistakes in what the specification names: modules, climate, tables."""
    found: list[Mistake] = []
    for check in (
        lambda: module_views(spec),
        lambda: climate(spec.climate, base_folder),
        lambda: catalogue(spec.parts, base_folder),
    ):
        try:
            check()
        except ComplaintError as c:
            path = _path(c.key)
            found.append(source.mistake(path, f"{shown_path(path)}: {c.message}", c.remedy))
        except CatalogueError as fault:
            found += fault.mistakes
    return found


@dataclasses.dataclass(frozen=True)
class _Source:
    """A TOML text that has been read, to say where in it something stands."""

    file: str
    lines: tuple[str, ...]
    values: dict[str, Any]
    text: str

    def mistake(self, path: toml_positions.Path, message: str, remedy: str) -> Mistake:
        """Return a mistake at a path, or at the nearest thing around it that stands there."""
        places = toml_positions.positions(self.text)
        while path and path not in places:
            path = path[:-1]
        line, column = places.get(path, (1, 1))
        return Mistake(self.file, line, column, message, remedy, self.lines[line - 1])

    def explained(self, error: Any) -> Mistake:
        """Return a mistake that pydantic found, in the words of the trade."""
        path: toml_positions.Path = tuple(error["loc"])
        message, remedy = words(path, error)
        return self.mistake(path, message, remedy)


def _path(key: str) -> toml_positions.Path:
    return tuple(int(step) if step.isdigit() else step for step in key.split("."))
