"""Catalogue tables: one row a part or material, unit in the header, ``source`` column.

A CSV header is ``name``, ``source`` or ``quantity [unit]``; values are converted to SI
once, here.  Models gather from columns by integer index: ``table.at("r_on", index)``.
"""

from __future__ import annotations

import csv
import dataclasses
import difflib
import io
import math
import re
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from models.axes import Array, Indices
from models.errors import CatalogueError, Mistake

DATA = Path(__file__).parent / "data"

UNIT_SCALE: dict[str, float] = {
    "1": 1.0, "V": 1.0, "A": 1.0, "W": 1.0, "Ω": 1.0, "h": 1.0, "€": 1.0, "°C": 1.0, "T": 1.0,
    "K/W": 1.0, "mΩ": 1e-3, "µΩ": 1e-6, "nC": 1e-9, "µC": 1e-6, "µJ": 1e-6, "nF": 1e-9,
    "pF": 1e-12, "µF": 1e-6, "µH": 1e-6, "mm": 1e-3, "µm": 1e-6, "mm²": 1e-6, "cm²": 1e-4,
    "mm³": 1e-9, "cm³": 1e-6, "mm⁴": 1e-12, "g": 1e-3, "kg/m³": 1.0, "kW/m³": 1e3, "kHz": 1e3,
    "Hz": 1.0, "K": 1.0, "mΩ·mm²": 1e-9, "Ω·nC": 1e-9, "nC/A": 1e-9, "V/K": 1.0, "Ω·A": 1.0,
    "1/K": 1.0, "1/K²": 1.0, "€/cm²": 1e4, "€/kg": 1.0, "%": 1e-2,
}  # fmt: skip


@dataclasses.dataclass(frozen=True)
class Column:
    """What a column must hold: its unit in the file and the range of sensible values."""

    unit: str
    lo: float = -math.inf  # in the unit of the file
    hi: float = math.inf
    integer: bool = False


@dataclasses.dataclass(frozen=True)
class Schema:
    """The columns of a table; ``texts`` are kept as they stand."""

    columns: Mapping[str, Column]
    texts: tuple[str, ...] = ()


@dataclasses.dataclass(frozen=True)
class Table:
    """One catalogue table in SI units."""

    name: str
    rows: tuple[str, ...]
    columns: Mapping[str, Array]
    texts: Mapping[str, tuple[str, ...]]

    def at(self, column: str, index: Indices) -> Array:
        """Return a column at row numbers; the shape is that of ``index``."""
        return self.columns[column][index]

    def where(self, mask: Array) -> Table:
        """Return the rows at which ``mask`` is true, as a table of the same name."""
        keep = [i for i, wanted in enumerate(mask) if wanted]
        return Table(
            self.name,
            tuple(self.rows[i] for i in keep),
            {k: v[keep] for k, v in self.columns.items()},
            {k: tuple(v[i] for i in keep) for k, v in self.texts.items()},
        )


@dataclasses.dataclass(frozen=True)
class Catalogue:
    """All tables by name."""

    tables: Mapping[str, Table]

    def __getitem__(self, name: str) -> Table:
        """Return one table."""
        return self.tables[name]

    def names(self) -> dict[str, tuple[str, ...]]:
        """Return the row names of every table."""
        return {name: table.rows for name, table in self.tables.items()}


def read_table(name: str, schema: Schema, path: Path | None = None) -> Table:
    """Read and check one table; ``path`` defaults to the one shipped.

    Raises
    ------
    CatalogueError
        With every mistake found: file, row, column, value and remedy.
    """
    path = path or DATA / f"{name}.csv"
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise CatalogueError(
            [Mistake(str(path), 1, 1, f"the table {name} cannot be read: {error}",
                     "give a CSV file in UTF-8")]
        ) from None  # fmt: skip
    return parse_table(name, schema, text, str(path))


def parse_table(name: str, schema: Schema, text: str, file: str) -> Table:
    """Return the table in ``text``; see ``read_table``."""
    lines = [row for row in csv.reader(io.StringIO(text)) if row]
    header = [cell.strip() for cell in lines[0]] if lines else []
    wanted = {f"{key} [{column.unit}]": key for key, column in schema.columns.items()}
    expected = ["name", *wanted, *schema.texts, "source"]
    mistakes = [
        Mistake(file, 1, 1, f"the column {missing!r} is missing", _near(missing, header))
        for missing in expected
        if missing not in header
    ]
    mistakes += [
        Mistake(file, 1, 1, f"unknown column {extra!r}", _near(extra, expected))
        for extra in header
        if extra not in expected
    ]
    if not mistakes and len(lines) < 2:
        mistakes.append(Mistake(file, 1, 1, f"the table {name} has no rows", "add one"))
    if mistakes:
        raise CatalogueError(mistakes)
    values: dict[str, list[float]] = {key: [] for key in schema.columns}
    texts: dict[str, list[str]] = {key: [] for key in ("name", *schema.texts)}
    for number, cells in enumerate(lines[1:], start=2):
        if len(cells) != len(header):
            mistakes.append(
                Mistake(file, number, 1, f"row {number} has {len(cells)} cells, the header "
                        f"{len(header)}", "quote a cell that holds a comma")
            )  # fmt: skip
            continue
        record = dict(zip(header, (cell.strip() for cell in cells), strict=True))
        for key in texts:
            texts[key].append(record[key])
        for title, key in wanted.items():
            value, mistake = _number(file, number, title, record[title], schema.columns[key])
            values[key].append(value)
            mistakes += [mistake] if mistake else []
        if record["name"] in texts["name"][:-1] or not record["name"]:
            mistakes.append(
                Mistake(file, number, 1, f"the name {record['name']!r} is empty or stands twice",
                        "give every row a name of its own")
            )  # fmt: skip
    if mistakes:
        raise CatalogueError(
            mistakes, f"{len(mistakes)} mistake(s) in {file}; nothing was started."
        )
    return Table(
        name,
        tuple(texts.pop("name")),
        {key: np.array(column) for key, column in values.items()},
        {key: tuple(column) for key, column in texts.items()},
    )


def _number(
    file: str, line: int, title: str, cell: str, column: Column
) -> tuple[float, Mistake | None]:
    """Return the SI value of a cell, or a mistake."""
    where = f"row {line}, column {title!r}"
    try:
        value = float(cell)
    except ValueError:
        return math.nan, Mistake(file, line, 1, f"{where}: {cell!r} is not a number",
                                 "write a plain number with a decimal point")  # fmt: skip
    if not (column.lo <= value <= column.hi) or (column.integer and value != round(value)):
        kind = "a whole number " if column.integer else ""
        return math.nan, Mistake(
            file, line, 1, f"{where}: {cell} is outside the accepted range",
            f"must be {kind}from {column.lo:g} to {column.hi:g} {column.unit}",
        )  # fmt: skip
    return value * UNIT_SCALE[column.unit], None


def _near(name: str, known: list[str]) -> str:
    """Return a hint at the nearest of the known names."""
    found = difflib.get_close_matches(name, known, 1, 0.5)
    if found:
        return f"did you mean {found[0]!r}?"
    bare = {re.sub(r" \[.*", "", other): other for other in known}
    near = difflib.get_close_matches(re.sub(r" \[.*", "", name), list(bare), 1, 0.6)
    return f"did you mean {bare[near[0]]!r}?" if near else "see the columns of the shipped table"
