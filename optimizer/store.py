"""A run folder: written by one sweep, readable by anybody, complete in itself.

``specification.toml`` and ``catalogue/`` as used · ``manifest.json`` what was asked for ·
``candidates.json`` and ``columns.json`` what genes and results mean · ``status.json`` ·
``journal.jsonl`` · ``checkpoints/`` · ``archive.npz`` and ``front.csv`` what was found.
Nothing in it names a path outside; files are npz without pickles, CSV, JSON and TOML.
"""

from __future__ import annotations

import contextlib
import csv
import datetime
import hashlib
import io
import platform
import re
import struct
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.errors import RunError
from optimizer.files import (
    Lock,
    clear_unfinished,
    sync_folder,
    write_error,
    write_json,
    write_whole,
)
from optimizer.journal import Journal

SCHEMA = 1
KEPT = 2  # checkpoints
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")
Arrays = Mapping[str, NDArray[Any]]
# What the readers of zip and npy files raise on damage, found by flipping bytes.
_DAMAGE = (OSError, ValueError, EOFError, KeyError, TypeError, NotImplementedError, RuntimeError,
           zipfile.BadZipFile, zlib.error, struct.error)  # fmt: skip


class Store:
    """The writing end of a run folder; holds its lock until closed."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        try:
            (folder / "checkpoints").mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise write_error(folder / "checkpoints", error) from error
        self._lock = Lock(folder / "lock")
        try:
            self._journal = Journal(folder / "journal.jsonl")
            self._recover()
        except RunError:
            self._lock.close()
            raise

    def _recover(self) -> None:
        """Clear what a killed writer left; set damaged checkpoints aside and note them."""
        for part in (self.folder, self.folder / "checkpoints"):
            clear_unfinished(part)
        whole = 0
        for _, path in checkpoints(self.folder):
            if _whole(path) is None:
                self.journal("damaged", file=f"checkpoints/{path.name}")
                _set_aside(path)
            else:
                whole += 1
        if not whole and (self.folder / "archive.npz").exists():
            self.journal("restarted", reason="no whole checkpoint is left")

    @property
    def name(self) -> str:
        """Name of the run."""
        return self.folder.name

    def __enter__(self) -> Store:
        """Return itself."""
        return self

    def __exit__(self, *exc: object) -> None:
        """Let go of the folder."""
        self.close()

    def close(self) -> None:
        """Let go of the folder."""
        self._journal.close()
        self._lock.close()

    def journal(self, kind: str, **event: Any) -> None:
        """Append one event with the time."""
        self._journal.append({"event": kind, "at": now(), **event})

    def status(self, content: Mapping[str, Any]) -> None:
        """Replace the status."""
        write_json(self.folder / "status.json", {"schema": SCHEMA, "at": now(), **content})

    def checkpoint(self, number: int, arrays: Arrays) -> None:
        """Write a checkpoint named by its checksum; keep the last two."""
        data = packed({"schema": np.array(SCHEMA), **arrays})
        digest = hashlib.sha256(data).hexdigest()[:32]
        order = max((n for n, _ in checkpoints(self.folder)), default=0) + 1
        write_whole(self.folder / "checkpoints" / f"{order:06d}-{number:06d}-{digest}.npz", data)
        for _, old in checkpoints(self.folder)[:-KEPT]:
            with contextlib.suppress(OSError):
                old.unlink()

    def archive(self, arrays: Arrays, rows: Sequence[Sequence[object]]) -> None:
        """Replace what was found: the arrays, and the front as a table with a unit row."""
        write_whole(self.folder / "archive.npz", packed({"schema": np.array(SCHEMA), **arrays}))
        text = io.StringIO(newline="")
        csv.writer(text).writerows(rows)
        write_whole(self.folder / "front.csv", text.getvalue().encode())


def create(
    root: Path,
    name: str,
    *,
    specification: str,
    catalogue: Mapping[str, str],
    candidates: Sequence[Mapping[str, Any]],
    columns: Sequence[Mapping[str, str]],
    manifest: Mapping[str, Any],
    files: Mapping[str, bytes] | None = None,
) -> Store:
    """Return the store of a new run folder ``root/<name>-<UTC time>``.

    The manifest is written last: a folder without one was never finished, and is no run.

    Parameters
    ----------
    root : Path
        The folder of all runs.
    name : str
        Letters, digits, dot, dash, underscore.
    specification : str
        Text of the specification as used.
    catalogue : Mapping
        Text of every table by file name.
    candidates : Sequence
        One record a candidate: see ``candidate_record``.
    columns : Sequence
        ``name``, ``unit`` and ``meaning`` of every reported result.
    manifest : Mapping
        Seed, settings, versions, pins, parent run and whatever else explains the run.
    files : Mapping, optional
        Content of further files by name, which must be there before the run counts.

    Raises
    ------
    RunError
        If the name will not do or the folder cannot be written.
    """
    if not NAME.fullmatch(name):
        raise RunError(
            f"{name!r} is no name for a run.\n  Use letters, digits, dots, dashes, underscores."
        )
    store = Store(_fresh_folder(root, name))
    folder = store.folder
    write_whole(folder / "specification.toml", specification.encode())
    tables = folder / "catalogue"
    tables.mkdir()
    for file, text in sorted(catalogue.items()):
        write_whole(tables / Path(file).name, text.encode())
    for file, data in (files or {}).items():
        write_whole(folder / Path(file).name, data)
    write_json(folder / "candidates.json", {"schema": SCHEMA, "candidates": list(candidates)})
    write_json(folder / "columns.json", {"schema": SCHEMA, "columns": list(columns)})
    store.journal("created", name=folder.name)
    store.status({"state": "running"})
    write_json(
        folder / "manifest.json",
        {
            "schema": SCHEMA,
            "name": folder.name,
            "created": now(),
            "python": platform.python_version(),
            "numpy": np.__version__,
            "specification_sha256": digest_of(specification),
            "catalogue_sha256": {k: digest_of(v) for k, v in sorted(catalogue.items())},
            **manifest,
        },
    )
    return store


def _fresh_folder(root: Path, name: str) -> Path:
    """Return a new folder; a second run within the same second gets a number."""
    stamp = datetime.datetime.now(datetime.UTC).strftime("%Y%m%dT%H%M%SZ")
    for number in range(1, 1000):
        folder = root / (f"{name}-{stamp}" if number == 1 else f"{name}-{stamp}-{number}")
        try:
            folder.mkdir(parents=True)
            sync_folder(root)
        except FileExistsError:
            continue
        except OSError as error:
            raise write_error(folder, error) from error
        return folder
    raise RunError(f"{root.name} holds a thousand runs named {name}-{stamp}.\n  Wait a second.")


def candidate_record(problem: Any) -> dict[str, Any]:
    """Return what a run folder says of a candidate, from a ``DesignProblem``."""
    return {
        "name": problem.name,
        "topology": problem.topology,
        "structure": dict(problem.structure),
        "variables": problem.genes.record(),
        "limits": list(problem.margin_names),
    }


def checkpoints(folder: Path) -> list[tuple[int, Path]]:
    """Return the checkpoints of a run folder, oldest first, whole or not."""
    found = [
        (int(p.name.split("-")[0]), p)
        for p in (folder / "checkpoints").glob("[0-9]*-*-*.npz")
        if p.name.split("-")[0].isdigit()
    ]
    return sorted(found)


def latest_checkpoint(folder: Path) -> dict[str, NDArray[Any]] | None:
    """Return the arrays of the newest checkpoint that is whole; None without any."""
    for _, path in reversed(checkpoints(folder)):
        data = _whole(path)
        if data is not None:
            return unpacked(data, f"{folder.name}/checkpoints/{path.name}")
    return None


def _whole(path: Path) -> bytes | None:
    """Return a checkpoint, None where it cannot be read or its checksum differs."""
    try:
        data = path.read_bytes()
    except OSError:
        return None
    return data if hashlib.sha256(data).hexdigest()[:32] == path.stem.rsplit("-", 1)[1] else None


def _set_aside(path: Path) -> None:
    """Rename a damaged checkpoint so that it takes the place of no whole one."""
    try:
        path.replace(path.with_name(f"{path.name}.damaged"))
    except OSError as error:
        raise write_error(path, error) from error


def packed(arrays: Arrays) -> bytes:
    """Return arrays as the bytes of an npz file; equal arrays give equal bytes."""
    buffer = io.BytesIO()
    # savez takes names as keywords; its stub knows only plain ones.
    content: Any = dict(arrays)
    np.savez(buffer, allow_pickle=False, **content)
    return buffer.getvalue()


def unpacked(data: bytes, where: str = "stored arrays") -> dict[str, NDArray[Any]]:
    """Return the arrays of an npz file, pickles refused.

    Parameters
    ----------
    data : bytes
        The file.
    where : str
        What to call it in an error.

    Raises
    ------
    RunError
        If it is damaged or of a newer schema.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as file:
            # Before numpy believes a damaged header and asks for absurd memory.
            torn = file.testzip()
            names = file.namelist()
        if torn is not None:
            raise ValueError(f"the checksum of {torn} differs")
        _check_list(data, names)
        with np.load(io.BytesIO(data), allow_pickle=False) as loaded:
            arrays = {name: loaded[name] for name in loaded.files}
        schema = int(arrays.pop("schema"))
    except _DAMAGE as error:
        raise RunError(
            f"{where} cannot be read: damaged ({error}).\n"
            "  Copy the run folder again, or resume the run if it has not ended."
        ) from None
    if schema > SCHEMA:
        raise RunError(
            f"{where} was written by a newer version: schema {schema}, this one reads up to "
            f"{SCHEMA}.\n  Install the newer version."
        )
    return arrays


def _check_list(data: bytes, names: Sequence[str]) -> None:
    """Refuse a zip file whose last record, damaged, hides some of its entries."""
    mark, *_, count, size, offset, comment = struct.unpack("<4s4H2LH", data[-22:])
    beyond = offset == 0xFFFFFFFF  # past 4 GiB another record counts
    end = len(data) - 22
    if (
        mark != b"PK\5\6"
        or comment
        or not (beyond or (count == len(names) and offset + size == end))
    ):
        raise ValueError("its list of arrays is not whole")


def digest_of(text: str) -> str:
    """Return the checksum of a text."""
    return hashlib.sha256(text.encode()).hexdigest()


def now() -> str:
    """Return the time as written in files."""
    return datetime.datetime.now(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
