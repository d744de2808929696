"""All catalogue tables of a specification: those that come along, or the user's own."""

from __future__ import annotations

import difflib
from pathlib import Path

import numpy as np

from models.parts import ceramic, cores, diode, electrolytic, emi_choke, film, transistor
from models.parts.catalogue import Catalogue, Schema, Table, read_table
from models.spec import ComplaintError, Parts

SCHEMAS: dict[str, Schema] = {
    "switches": transistor.SCHEMA,
    "diodes": diode.SCHEMA,
    "cores": cores.CORES,
    "ferrites": cores.FERRITES,
    "powders": cores.POWDERS,
    "film": film.SCHEMA,
    "electrolytic": electrolytic.SCHEMA,
    "ceramic": ceramic.SCHEMA,
    "emi_chokes": emi_choke.SCHEMA,
}


def catalogue(parts: Parts, base_folder: Path) -> Catalogue:
    """Return every table, replaced and thinned out as the specification says.

    Parameters
    ----------
    parts : Parts
        The section of the specification.
    base_folder : Path
        Where relative paths start.

    Raises
    ------
    CatalogueError
        If a file cannot be used, with every mistake found in it.
    ComplaintError
        If an excluded row does not exist, or nothing of a table is left.
    """
    own = {name: getattr(parts, name) for name in SCHEMAS}
    tables = {
        name: read_table(name, schema, base_folder / own[name] if own[name] else None)
        for name, schema in SCHEMAS.items()
    }
    known = [row for table in tables.values() for row in table.rows]
    for row in parts.exclude:
        if row not in known:
            near = difflib.get_close_matches(row, known, 1, 0.4)
            hint = f"did you mean {near[0]!r}?" if near else "name a row of a table"
            raise ComplaintError("parts.exclude", f"no table has a row {row!r}", hint)
    return Catalogue({name: _without(table, parts.exclude) for name, table in tables.items()})


def _without(table: Table, excluded: tuple[str, ...]) -> Table:
    """Return a table without the rows of these names."""
    keep = np.array([row not in excluded for row in table.rows])
    if not keep.any():
        raise ComplaintError(
            "parts.exclude",
            f"nothing is left of the table {table.name}",
            f"keep one of: {', '.join(table.rows)}",
        )
    return table if keep.all() else table.where(keep)
