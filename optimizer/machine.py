"""What the machine is told before long computations, and where it may keep their files."""

from __future__ import annotations

import contextlib
import ctypes
import fcntl
import os
import shutil
import sys
import tempfile
from pathlib import Path

# Parameters of mallopt and values in bytes, from malloc.h of the GNU C library (from
# memory): blocks up to MAPPED are kept in the heap, which is trimmed above KEPT.
TRIM_THRESHOLD, MAP_THRESHOLD = -1, -3
KEPT, MAPPED = 1 << 28, 1 << 26
PREFIX, UNBORN = "rf-", "rf."  # names of temporary folders, and of those not yet locked
SHORT = 30  # letters of a folder's name that leave room for sockets below (107 in all)


def keep_memory() -> bool:
    """Let the process keep the memory of large temporary arrays; return whether it does.

    By default the GNU C library asks the system anew for every block above 128 kB and
    gives it back at once, so that each such array is paged in again: measured 1.05 to
    1.25 times the time of an evaluation.  Other libraries are left as they are.
    """
    if not sys.platform.startswith("linux"):
        return False
    try:
        mallopt = ctypes.CDLL(None).mallopt
    except (OSError, AttributeError):
        return False
    return bool(mallopt(MAP_THRESHOLD, MAPPED)) and bool(mallopt(TRIM_THRESHOLD, KEPT))


def claimed_folder() -> tuple[Path, int]:
    """Return a new temporary folder under a short name, and its lock, held and open.

    Folders that nobody holds any more, left by processes that were killed, are removed.
    """
    base = tempfile.gettempdir()
    root = Path(base if len(base) <= SHORT else "/tmp")
    for old in root.glob(PREFIX + "*"):
        with contextlib.suppress(OSError):
            # One without a lock was made anew by a process that died later than its folder.
            lock = os.open(old / "lock", os.O_RDWR | os.O_CREAT, 0o600)
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
                shutil.rmtree(old, ignore_errors=True)
            finally:
                os.close(lock)
    made = Path(tempfile.mkdtemp(prefix=UNBORN, dir=root))
    lock = os.open(made / "lock", os.O_RDWR | os.O_CREAT, 0o600)
    fcntl.flock(lock, fcntl.LOCK_EX)
    # It takes its lasting name locked: nobody else ever sees it free.
    return made.rename(root / (PREFIX + made.name.removeprefix(UNBORN))), lock
