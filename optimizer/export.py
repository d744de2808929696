"""Stored designs of a run as one table for other tools: CSV, Parquet or JSON.

Reads the run folder alone: neither the catalogue nor the models are needed.
"""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from models.errors import RipplefrontError
from optimizer.archive import Candidate, Run, design_id
from optimizer.cautions import CAUTIONS
from optimizer.encode import Gene
from optimizer.front import Front, common
from optimizer.sheet import safe_cell
from optimizer.version import VERSION

if TYPE_CHECKING:
    import pyarrow as pa

DESIGNS = ("front", "common", "all")
TEXT, WHOLE, REAL = "text", "whole", "real"


@dataclasses.dataclass(frozen=True)
class ExportColumn:
    """One column of the table; ``kind`` is text, whole or real."""

    name: str
    unit: str
    meaning: str
    kind: str


HEAD = (
    ExportColumn("design", "", "short name of the design, as in: ripplefront sheet", TEXT),
    ExportColumn("topology", "", "circuit from module to grid", TEXT),
    ExportColumn("structure", "", "static choices of the topology", TEXT),
    ExportColumn("on_front", "1", "1 where no design of its structure dominates it", WHOLE),
    ExportColumn("on_common_front", "1", "1 where no design of the run dominates it", WHOLE),
)


def export_columns(run: Run) -> tuple[ExportColumn, ...]:
    """Return the columns: what a design is, every variable of any topology, every result."""
    found: dict[str, list[Gene]] = {}
    for candidate in run.candidates:
        for gene in candidate.genes.genes:
            found.setdefault(gene.variable.path, []).append(gene)
    variables = [
        ExportColumn(
            path,
            " or ".join(dict.fromkeys(g.variable.unit for g in genes)),
            " or ".join(dict.fromkeys(g.variable.meaning for g in genes)),
            _kind(genes),
        )
        for path, genes in found.items()
    ]
    results = [ExportColumn(c.name, c.unit, c.meaning, REAL) for c in run.columns]
    return (*HEAD, *variables, *results)


def _kind(genes: list[Gene]) -> str:
    kinds = {TEXT if g.variable.options else g.variable.kind for g in genes}
    if TEXT in kinds:
        return TEXT
    return WHOLE if kinds == {"whole"} else REAL


def export_frame(run: Run, designs: str = "front") -> pd.DataFrame:
    """Return the table of the stored designs of a run, one design a row.

    Parameters
    ----------
    run : Run
        The run folder.
    designs : str
        ``front``: the front of every structure; ``common``: those that no other design of
        the run dominates; ``all``: also the feasible designs kept behind the fronts.

    Returns
    -------
    DataFrame
        Columns as in ``export_columns``, in the units given there; empty where a
        topology has no such variable.
    """
    owner, row = common(list(run.fronts))
    best = {c.number: set(row[owner == c.number].tolist()) for c in run.candidates}
    parts = [
        _part(run, c, best[c.number], designs)
        for c in run.candidates
        if run.fronts[c.number].size or run.clouds[c.number].size
    ]
    made = {}
    for column in export_columns(run):
        cells = [part.get(column.name, [None] * len(part["design"])) for part in parts]
        made[column.name] = _series([cell for part in cells for cell in part], column.kind)
    return pd.DataFrame(made)


def _series(cells: list[Any], kind: str) -> pd.Series[Any]:
    if kind == TEXT:
        return pd.Series([None if c is None else str(c) for c in cells], dtype=object)
    return pd.Series(cells, dtype="Int64" if kind == WHOLE else "float64")


def _part(run: Run, candidate: Candidate, best: set[int], designs: str) -> dict[str, list[Any]]:
    """Return the cells of one candidate by column name."""
    front, behind = run.fronts[candidate.number], run.clouds[candidate.number]
    rows = sorted(best) if designs == "common" else list(range(front.size))
    stored = front.at(np.array(rows, dtype=np.int64))
    if designs == "all":
        stored = _joined(stored, behind)
    structure = "; ".join(f"{k} = {v}" for k, v in candidate.structure.items())
    marks = [int(i < len(rows)) for i in range(stored.size)]
    cells: dict[str, list[Any]] = {
        "design": [design_id(candidate.name, genes) for genes in stored.genes],
        "topology": [candidate.topology] * stored.size,
        "structure": [structure] * stored.size,
        "on_front": marks,
        "on_common_front": [int(m and rows[i] in best) for i, m in enumerate(marks)],
    }
    values = candidate.genes.values(stored.genes)
    for j, gene in enumerate(candidate.genes.genes):
        cells[gene.variable.path] = _shown(gene, values[:, j]).tolist()
    for j, column in enumerate(run.columns):
        cells[column.name] = stored.columns[:, j].tolist()
    return cells


def _joined(front: Front, behind: Front) -> Front:
    """Return a front and what is kept behind it, no design twice."""
    seen = {genes.tobytes() for genes in front.genes}
    fresh = []
    for i, genes in enumerate(behind.genes):
        if genes.tobytes() not in seen:
            seen.add(genes.tobytes())
            fresh.append(i)
    more = behind.at(np.array(fresh, dtype=np.int64))
    if not front.size:
        return more
    return Front(
        np.concatenate([front.genes, more.genes]),
        np.concatenate([front.objectives, more.objectives]) if more.size else front.objectives,
        np.concatenate([front.columns, more.columns]),
    )


def _shown(gene: Gene, values: NDArray[np.float64]) -> NDArray[Any]:
    """Return values as ``Variable.shown`` gives them, many at once."""
    if gene.variable.options:
        return np.array(gene.variable.options, dtype=object)[np.rint(values).astype(np.int64)]
    if gene.variable.kind == "whole":
        return np.rint(values).astype(np.int64)
    return values / gene.variable.scale


def exported(run: Run, form: str, designs: str = "front") -> bytes:
    """Return the stored designs of a run as the bytes of a file.

    Parameters
    ----------
    run : Run
        The run folder.
    form : str
        One of ``FORMS``; equal runs give equal bytes as csv and json.
    designs : str
        As in ``export_frame``.

    Raises
    ------
    RipplefrontError
        For Parquet where pyarrow is not installed.
    """
    return FORMS[form](run, export_frame(run, designs))


def _csv(run: Run, frame: pd.DataFrame) -> bytes:
    """Return cautions after #, names, units, then one design a line."""
    columns = export_columns(run)
    name = re.sub(r"[^A-Za-z0-9._-]", "_", run.name)
    out = io.StringIO(newline="")
    # Unquoted, so that readers which skip comments know them by their first character.
    out.writelines(f"# {line}\n" for line in (f"run {name}", *CAUTIONS))
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([safe_cell(c.name) for c in columns])
    writer.writerow([safe_cell(c.unit) for c in columns])
    safe = frame.assign(
        **{c.name: frame[c.name].map(safe_cell) for c in columns if c.kind == TEXT}
    )
    safe.to_csv(out, header=False, index=False, lineterminator="\n")
    return out.getvalue().encode()


def _json(run: Run, frame: pd.DataFrame) -> bytes:
    """Return one document; a variable that a topology does not have is left out."""
    cells = frame.astype(object).where(frame.notna(), None)
    designs = [
        {name: value for name, value in zip(frame.columns, row, strict=True) if value is not None}
        for row in cells.itertuples(index=False, name=None)
    ]
    content = {
        "format": "ripplefront.export/1",
        "run": run.name,
        "cautions": list(CAUTIONS),
        "columns": [dataclasses.asdict(c) for c in export_columns(run)],
        "designs": designs,
    }
    return (json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()


def _parquet(run: Run, frame: pd.DataFrame) -> bytes:
    """Return a Parquet file; units and cautions stand in the metadata of its schema."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise RipplefrontError(
            "Parquet needs the package pyarrow, which is not installed.\n"
            "  Install it with: pip install 'ripplefront[parquet]', or export as csv or json."
        ) from None
    table = pa.Table.from_pandas(frame, schema=_schema(run), preserve_index=False)
    out = io.BytesIO()
    pq.write_table(table, out)
    return out.getvalue()


def _schema(run: Run) -> pa.Schema:
    import pyarrow as pa

    columns = export_columns(run)
    types = {TEXT: pa.string(), WHOLE: pa.int64(), REAL: pa.float64()}
    return pa.schema(
        [
            pa.field(c.name, types[c.kind], metadata={"unit": c.unit, "meaning": c.meaning})
            for c in columns
        ],
        metadata={
            "format": "ripplefront.export/1",
            "run": run.name,
            "version": VERSION,
            "cautions": "\n\n".join(CAUTIONS),
            "units": json.dumps({c.name: c.unit for c in columns}, ensure_ascii=False),
        },
    )


FORMS: dict[str, Callable[[Run, pd.DataFrame], bytes]] = {
    "csv": _csv,
    "parquet": _parquet,
    "json": _json,
}
