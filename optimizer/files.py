"""Files that survive a crash: written whole or not at all, one writer at a time."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import json
import os
import time
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from models.errors import RunError

LOCK_TRIES, LOCK_WAIT = 20, 0.01  # [s]; a reader that looks who writes holds a lock so briefly


def write_whole(path: Path, data: bytes) -> None:
    """Replace a file so that a reader, or a crash, sees the old one or the new one.

    Raises
    ------
    RunError
        If the folder is not writable or the disk is full; the old file stays.
    """
    temporary = path.with_name(f".{path.name}.new")
    try:
        handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
        try:
            _write_all(handle, data)
            os.fsync(handle)
        finally:
            os.close(handle)
        os.replace(temporary, path)
        sync_folder(path.parent)
    except OSError as error:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)
        raise write_error(path, error) from error


def _write_all(handle: int, data: bytes) -> None:
    view = memoryview(data)
    while view:
        view = view[os.write(handle, view) :]


def sync_folder(folder: Path) -> None:
    """Make a rename in a folder lasting."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_error(path: Path, error: OSError) -> RunError:
    """Return the error that a user can act on."""
    where = f"{path.parent.name}/{path.name}".lstrip("/")
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return RunError(
            f"the disk is full: {where} was not written; nothing already stored was changed.\n"
            "  Free some space, then resume the run or repeat the command."
        )
    return RunError(
        f"{where} cannot be written: {error.strerror or error}.\n"
        "  Check the permissions of the folder, or give another one."
    )


def write_json(path: Path, content: Any) -> None:
    """Replace a JSON file; see ``write_whole``."""
    text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False)
    write_whole(path, (text + "\n").encode())


def clear_unfinished(folder: Path) -> None:
    """Remove what a writer that was killed left half written in a folder."""
    for path in folder.glob(".*.new"):
        with contextlib.suppress(OSError):
            path.unlink()


def read_json(path: Path) -> dict[str, Any]:
    """Return the content of a JSON file that holds one object.

    Raises
    ------
    RunError
        If it is missing or damaged.
    """
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise RunError(
            f"{path.parent.name} has no {path.name}: it is no run folder, or not all of one.\n"
            "  Name a folder that a sweep wrote, or copy the whole folder again."
        ) from None
    # A hostile file may nest deeper than the parser follows.
    except (OSError, ValueError, RecursionError) as error:
        raise damaged(path, str(error)) from None
    if not isinstance(content, dict):
        raise damaged(path, f"it holds a {type(content).__name__}, not an object")
    return content


def damaged(path: Path, reason: str) -> RunError:
    """Return the error for a file of a run folder that cannot be what a sweep wrote."""
    return RunError(
        f"{path.parent.name}/{path.name} cannot be read: {reason}.\n"
        "  Copy the run folder again, or start the sweep anew."
    )


@contextlib.contextmanager
def checked(path: Path) -> Iterator[None]:
    """Turn what a malformed file provokes into an error that names the file."""
    try:
        yield
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, OSError) as error:
        reason = f"the entry {error} is missing" if isinstance(error, KeyError) else str(error)
        raise damaged(path, reason) from None


class Lock:
    """The one writer of a run folder, held until closed or until the process dies."""

    def __init__(self, path: Path) -> None:
        try:
            self._handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as error:
            raise write_error(path, error) from error
        try:
            self._take(path)
            self.give(os.getpid())
        except OSError as error:
            os.close(self._handle)
            raise write_error(path, error) from error
        except RunInUseError:
            os.close(self._handle)
            raise

    def _take(self, path: Path) -> None:
        for _ in range(LOCK_TRIES):
            try:
                fcntl.flock(self._handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                time.sleep(LOCK_WAIT)
            else:
                return
        pid = os.pread(self._handle, 200, 0).decode(errors="replace").split()
        raise RunInUseError(
            f"the run {path.parent.name} is being written by process "
            f"{pid[0] if pid else 'unknown'}.\n"
            f"  Wait for it, or stop it with: ripplefront stop {path.parent.name}"
        )

    def fileno(self) -> int:
        """Return the open file; a process that inherits it holds the lock as well."""
        return self._handle

    def give(self, pid: int) -> None:
        """Write down that a process holds the lock now."""
        owner = f"{pid} {started(pid)}\n".encode()
        os.pwrite(self._handle, owner, 0)
        os.ftruncate(self._handle, len(owner))

    def close(self) -> None:
        """Let go of the folder."""
        os.close(self._handle)


class RunInUseError(RunError):
    """Another process writes this run folder."""

    exit_code = 5


def started(pid: int) -> str:
    """Return the start time of a process in clock ticks, so that a reused pid is told apart."""
    try:
        stat = Path(f"/proc/{pid}/stat").read_text(encoding="ascii", errors="replace")
    except OSError:
        return ""
    return stat.rpartition(")")[2].split()[19]


def writer(path: Path) -> int | None:
    """Return the process that holds a lock file, None if nobody does.

    Looking takes a shared lock for an instant, so that several readers never take one
    another for the writer; a writer that comes at that instant tries again.
    """
    try:
        handle = os.open(path, os.O_RDONLY)
    except OSError:
        return None
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            words = os.pread(handle, 200, 0).split()
            return int(words[0]) if words and words[0].isdigit() else 0
        except OSError:
            return None  # a file system without locks has no lock held either
        return None
    finally:
        os.close(handle)


def line_of(event: dict[str, Any]) -> bytes:
    """Return an event as one line of JSON that carries its own length and checksum."""
    body = json.dumps(event, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    head = f'{{"length":{len(body)},"crc32":"{zlib.crc32(body.encode()):08x}","event":'
    return f"{head}{body}}}\n".encode()


def lines_in(data: bytes) -> Iterator[tuple[dict[str, Any] | None, int]]:
    """Yield (event, end) of every line, the event None where the line is damaged.

    A last line without its newline is damaged by definition.
    """
    first = 0
    while first < len(data):
        found = data.find(b"\n", first)
        end = len(data) if found < 0 else found + 1
        yield (None if found < 0 else _event(data[first:found])), end
        first = end


def _event(line: bytes) -> dict[str, Any] | None:
    try:
        record = json.loads(line)
        start = line.index(b'"event":') + len(b'"event":')
        body = line[start:-1]
        whole = len(body) == record["length"] and f"{zlib.crc32(body):08x}" == record["crc32"]
    except (ValueError, KeyError, TypeError):
        return None
    event: dict[str, Any] = record["event"]
    return event if whole else None
