"""Designs changed by hand and kept under a name, in files of their own.

They stand beside the run folders, in ``named/``, since a run folder has one writer and
is never changed once it has ended.  A file holds where the design started and what was
changed; the design is evaluated again when it is opened.
"""

from __future__ import annotations

import dataclasses
import datetime
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from models.errors import RunError
from optimizer.files import checked, read_json, write_error, write_json

FOLDER = "named"
FORM = "ripplefront.named/1"
SCHEMA = 1
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,59}")
LONGEST_NOTE = 500  # characters


@dataclasses.dataclass(frozen=True)
class Named:
    """A stored design of a run with changes, under a name."""

    name: str
    run: str
    design: str
    changes: Mapping[str, str]  # value as written, by public path
    note: str = ""
    made: str = ""  # UTC


@dataclasses.dataclass(frozen=True)
class Unread:
    """A file among the named designs that cannot be read, and why."""

    name: str
    reason: str


def path_of(root: Path, name: str) -> Path:
    """Return the file of a name in a folder of runs.

    Raises
    ------
    RunError
        If it is no plain name: it would lead elsewhere, or trip over a shell.
    """
    if not NAME.fullmatch(name):
        raise RunError(
            f"a design cannot be named {name[:80]!r}.\n"
            "  Use letters, digits, dots, hyphens and underscores, at most 60; begin with a "
            "letter or digit."
        )
    return root / FOLDER / f"{name}.json"


def save(root: Path, named: Named, *, replace: bool = False) -> None:
    """Write a named design.

    Raises
    ------
    RunError
        If the name is not plain or taken, or the file cannot be written.
    """
    path = path_of(root, named.name)
    if path.exists() and not replace:
        raise RunError(
            f"there is a design named {named.name!r} already.\n"
            "  Choose another name, or remove that one first."
        )
    if len(named.note) > LONGEST_NOTE:
        raise RunError(f"the note is too long: at most {LONGEST_NOTE} characters.\n  Shorten it.")
    if path.parent.is_symlink():
        raise RunError(f"{FOLDER} is a link and is not followed.\n  Make it a plain folder.")
    try:
        path.parent.mkdir(exist_ok=True)
    except OSError as error:
        raise RunError(
            f"the folder {FOLDER} cannot be made: {error.strerror or error}.\n"
            "  Check the permissions of the folder of runs."
        ) from None
    now = datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")
    record: dict[str, Any] = {
        "format": FORM,
        "schema": SCHEMA,
        "run": named.run,
        "design": named.design,
        "changes": dict(named.changes),
        "note": named.note,
        "made": named.made or now,
    }
    write_json(path, record)


def read(root: Path, name: str) -> Named:
    """Return a named design.

    Raises
    ------
    RunError
        If there is none of that name, or its file cannot be read.
    """
    path = path_of(root, name)
    if path.is_symlink() or path.parent.is_symlink() or not path.is_file():
        raise RunError(f"there is no design named {name!r} here.\n  Choose one from the list.")
    record = read_json(path)
    if record.get("format") != FORM:
        raise RunError(
            f"{FOLDER}/{path.name} is no named design of a form that this version reads.\n"
            "  Install the version that wrote it, or remove the file."
        )
    with checked(path):
        return Named(
            name=name,
            run=_text(record, "run"),
            design=_text(record, "design"),
            changes={str(k): _text(record["changes"], k) for k in record["changes"]},
            note=_text(record, "note"),
            made=_text(record, "made"),
        )


def _text(record: Mapping[str, Any], key: str) -> str:
    value = record[key]
    if not isinstance(value, str):
        raise ValueError(f"{key} is no text")
    return value


def every(root: Path) -> list[Named | Unread]:
    """Return all named designs, newest first; unreadable files with the reason, last."""
    folder = root / FOLDER
    names = sorted(p.stem for p in folder.glob("*.json")) if not folder.is_symlink() else []
    found: list[Named] = []
    broken: list[Unread] = []
    for name in names:
        try:
            found.append(read(root, name))
        except RunError as error:
            broken.append(Unread(name, str(error)))
    return [*sorted(found, key=lambda n: n.made, reverse=True), *broken]


def all(root: Path) -> list[Named]:
    """Return the named designs that can be read, newest first."""
    return [n for n in every(root) if isinstance(n, Named)]


def remove(root: Path, name: str) -> None:
    """Remove a named design; one that is gone already stays so.

    Raises
    ------
    RunError
        If it cannot be removed.
    """
    path = path_of(root, name)
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        raise write_error(path, error) from None
