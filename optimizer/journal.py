"""The journal of a run: one line an event, only ever appended to."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path
from typing import Any

from models.errors import RunError
from optimizer.files import line_of, lines_in, write_error

Event = dict[str, Any]


class Journal:
    """Appends events; a torn last line left by a crash is cut off first."""

    def __init__(self, path: Path) -> None:
        self._path = path
        try:
            self._handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
            self._end = _whole_length(path.read_bytes())
            os.ftruncate(self._handle, self._end)
        except OSError as error:
            raise write_error(path, error) from error

    def append(self, event: Event) -> None:
        """Add one event and make it lasting.

        Raises
        ------
        RunError
            If it cannot be written; what was there stays readable.
        """
        line = line_of(event)
        try:
            written = 0
            while written < len(line):
                written += os.pwrite(self._handle, line[written:], self._end + written)
            os.fsync(self._handle)
        except OSError as error:
            # What was written of the line would follow a shorter next one as rubbish.
            with contextlib.suppress(OSError):
                os.ftruncate(self._handle, self._end)
            raise write_error(self._path, error) from error
        self._end += len(line)

    def close(self) -> None:
        """Close the file."""
        os.close(self._handle)


def events(path: Path) -> tuple[list[Event], int]:
    """Return all events of a journal and how many lines were damaged and left out.

    A torn last line is not counted: every crash may leave one.
    """
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return [], 0
    except OSError as error:
        raise RunError(
            f"{path.parent.name}/{path.name} cannot be read: {error.strerror}.\n"
            "  Check its permissions."
        ) from None
    lines = list(lines_in(data))
    damaged = sum(event is None for event, _ in lines[:-1])
    return [event for event, _ in lines if event is not None], damaged


def _whole_length(data: bytes) -> int:
    """Return the length up to the end of the last undamaged line."""
    ends = [end for event, end in lines_in(data) if event is not None]
    return ends[-1] if ends else 0
