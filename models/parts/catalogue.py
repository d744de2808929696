"""Catalogue tables: one row a part or material, unit in the header, ``source`` column.

A CSV header is ``name``, ``source`` or ``quantity [unit]``; values are converted to SI
once, here.  Models gather from columns by integer index: ``table.at("r_on", index)``.
"""

from __future__ import annotations

import csv
import dataclasses
import difflib
import math
import re
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from models.axes import Array, Indices
from models.errors import CatalogueError, Mistake, MistakesError

# float() also reads "nan", "1_000" and digits of other scripts; a table may not hold them.
PLAIN = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")

DATA = Path(__file__).parent / "data"

UNIT_SCALE: dict[str, float] = {
    "1": 1.0, "V": 1.0, "A": 1.0, "W": 1.0, "Ω": 1.0, "h": 1.0, "€": 1.0, "°C": 1.0, "T": 1.0,
    "K/W": 1.0, "mΩ": 1e-3, "µΩ": 1e-6, "nC": 1e-9, "µC": 1e-6, "µJ": 1e-6, "nF": 1e-9,
    "pF": 1e-12, "µF": 1e-6, "µH": 1e-6, "mm": 1e-3, "µm": 1e-6, "mm²": 1e-6, "cm²": 1e-4,
    "mm³": 1e-9, "cm³": 1e-6, "mm⁴": 1e-12, "g": 1e-3, "kg/m³": 1.0, "kW/m³": 1e3, "kHz": 1e3,
    "Hz": 1.0, "K": 1.0, "W/m²": 1.0, "mΩ·mm²": 1e-9, "Ω·nC": 1e-9, "nC/A": 1e-9, "V/K": 1.0,
    "Ω·A": 1.0, "1/K": 1.0, "1/K²": 1.0, "€/cm²": 1e4, "€/kg": 1.0, "%": 1e-2,
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
    """The columns of a table; ``texts`` are kept as they stand.

    A table is ``keyed`` when every row has a name of its own and a source.
    """

    columns: Mapping[str, Column]
    texts: tuple[str, ...] = ()
    keyed: bool = True


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


def text_of(path: Path, what: str, error: type[MistakesError]) -> str:
    """Return the text of a UTF-8 file, with or without a byte order mark.

    Raises
    ------
    MistakesError
        Of the class ``error``, if there is no such file or it is not such a text.
    """
    try:
        if path.exists() and not path.is_file():
            raise OSError(0, "it is not a file")
        return path.read_text(encoding="utf-8-sig")
    except OSError as fault:
        reason = fault.strerror or str(fault)
    except UnicodeDecodeError as fault:
        reason = f"byte {fault.start + 1} is not UTF-8"
    except ValueError as fault:
        reason = str(fault)
    raise error(
        [Mistake(str(path), 1, 1, f"{what} cannot be read: {reason}", "give a text file in UTF-8")]
    )


def read_table(name: str, schema: Schema, path: Path | None = None) -> Table:
    """Read and check one table; ``path`` defaults to the one shipped.

    Raises
    ------
    CatalogueError
        With every mistake found: file, row, column, value and remedy.
    """
    path = path or DATA / f"{name}.csv"
    return parse_table(name, schema, text_of(path, f"the table {name}", CatalogueError), str(path))


def parse_table(name: str, schema: Schema, text: str, file: str) -> Table:
    """Return the table in ``text``; see ``read_table``."""
    sheet = _Sheet.of(text, file)
    header = [cell.strip() for cell in sheet.rows[0][1]] if sheet.rows else []
    _check_header(name, schema, header, sheet)
    wanted = {f"{key} [{column.unit}]": key for key, column in schema.columns.items()}
    texts: dict[str, list[str]] = {key: [] for key in ("name", *schema.texts)}
    values: dict[str, list[float]] = {key: [] for key in schema.columns}
    mistakes: list[Mistake] = []
    for line, cells in sheet.rows[1:]:
        if len(cells) != len(header):
            mistakes.append(
                sheet.mistake(line, 0, f"row {line} has {len(cells)} cells, the header "
                              f"{len(header)}", "quote a cell that holds a comma")
            )  # fmt: skip
            continue
        record = dict(zip(header, (cell.strip() for cell in cells), strict=True))
        row_name = record.get("name", str(line))
        if not row_name or row_name in texts["name"]:
            mistakes.append(
                sheet.mistake(line, header.index("name"), f"row {line}, column 'name': the name "
                              f"{row_name!r} is empty or stands twice",
                              "give every row a name of its own")
            )  # fmt: skip
        texts["name"].append(row_name)
        for key in schema.texts:
            texts[key].append(record[key])
        for title, key in wanted.items():
            try:
                values[key].append(_number(record[title], schema.columns[key]))
            except _CellError as fault:
                message = f"row {line}, column {title!r}: {record[title]!r} {fault.reason}"
                mistakes.append(sheet.mistake(line, header.index(title), message, fault.remedy))
    sheet.refuse(mistakes)
    return Table(
        name,
        tuple(texts.pop("name")),
        {key: np.array(column) for key, column in values.items()},
        {key: tuple(column) for key, column in texts.items()},
    )


@dataclasses.dataclass(frozen=True)
class _Sheet:
    """The cells of a CSV text, and where they stand in the file."""

    file: str
    lines: tuple[str, ...]
    rows: tuple[tuple[int, list[str]], ...]  # line number in the file, cells

    @classmethod
    def of(cls, text: str, file: str) -> _Sheet:
        lines = tuple(text.removeprefix("\ufeff").replace("\r\n", "\n").split("\n"))
        reader = csv.reader(lines, strict=True)
        rows, line = [], 1
        try:
            for cells in reader:
                if any(cell.strip() for cell in cells):
                    rows.append((line, cells))
                line = reader.line_num + 1
        except csv.Error as fault:
            raise CatalogueError(
                [Mistake(file, line, 1, f"row {line} is not CSV: {fault}",
                         "quote cells in pairs and double a quote inside a cell")]
            ) from None  # fmt: skip
        return cls(file, lines, tuple(rows))

    def mistake(self, line: int, cell: int, message: str, remedy: str) -> Mistake:
        """Return a mistake at a cell of a row."""
        column, seen, quoted = 1, 0, False
        for i, character in enumerate(self.lines[line - 1], start=1):
            if seen == cell:
                break
            quoted ^= character == '"'
            if character == "," and not quoted:
                column, seen = i + 1, seen + 1
        return Mistake(self.file, line, column, message, remedy)

    def refuse(self, mistakes: list[Mistake]) -> None:
        """Raise if there is any mistake."""
        if mistakes:
            raise CatalogueError(
                mistakes, f"{len(mistakes)} mistake(s) in {self.file}; nothing was started."
            )


def _check_header(name: str, schema: Schema, header: list[str], sheet: _Sheet) -> None:
    """Refuse a header that does not hold every column once, or a table without rows."""
    columns = [f"{key} [{column.unit}]" for key, column in schema.columns.items()]
    expected = [*columns, *schema.texts]
    if schema.keyed:
        expected = ["name", *expected, "source"]
    top = sheet.rows[0][0] if sheet.rows else 1
    if not header:
        sheet.refuse([Mistake(sheet.file, 1, 1, f"the table {name} is empty",
                              "its first row must be: " + ",".join(expected))])  # fmt: skip
    if len(header) == 1 and header[0].count(";") >= 1:
        sheet.refuse([sheet.mistake(top, 0, "the header holds one cell with semicolons",
                                    "separate cells by commas, decimals by points")])  # fmt: skip
    mistakes = [
        sheet.mistake(top, len(header), f"the column {missing!r} is missing",
                      _near(missing, [h for h in header if h not in expected]))
        for missing in expected if missing not in header
    ]  # fmt: skip
    for i, title in enumerate(header):
        if title not in expected:
            absent = [e for e in expected if e not in header]
            hint = _near(title, absent or expected)
            mistakes.append(sheet.mistake(top, i, f"unknown column {title!r}", hint))
        elif title in header[:i]:
            mistakes.append(
                sheet.mistake(top, i, f"the column {title!r} stands twice", "remove one of them")
            )
    if not mistakes and len(sheet.rows) < 2:
        mistakes.append(sheet.mistake(top, 0, f"the table {name} has no rows", "add one"))
    sheet.refuse(mistakes)


class _CellError(ValueError):
    """A cell that holds no acceptable number."""

    def __init__(self, reason: str, remedy: str) -> None:
        super().__init__(reason)
        self.reason, self.remedy = reason, remedy


def _number(cell: str, column: Column) -> float:
    """Return the SI value of a cell."""
    value = float(cell) if PLAIN.fullmatch(cell) else math.nan
    if not math.isfinite(value):
        raise _CellError("is not a number", "write a plain number with a decimal point")
    if not (column.lo <= value <= column.hi) or (column.integer and value != round(value)):
        kind = "a whole number " if column.integer else ""
        bounds = [f"at least {column.lo:g}"] if math.isfinite(column.lo) else []
        bounds += [f"at most {column.hi:g}"] if math.isfinite(column.hi) else []
        unit = "" if column.unit == "1" else f" {column.unit}"
        raise _CellError(
            "is outside the accepted range", f"must be {kind}{' and '.join(bounds)}{unit}"
        )
    return value * UNIT_SCALE[column.unit]


def _near(name: str, known: list[str]) -> str:
    """Return a hint at the nearest of the known names."""
    found = difflib.get_close_matches(name, known, 1, 0.5)
    if found:
        return f"did you mean {found[0]!r}?"
    bare = {re.sub(r" \[.*", "", other): other for other in known}
    near = difflib.get_close_matches(re.sub(r" \[.*", "", name), list(bare), 1, 0.6)
    return f"did you mean {bare[near[0]]!r}?" if near else "see the columns of the shipped table"
