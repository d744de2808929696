"""What the machine is told before long computations."""

from __future__ import annotations

import ctypes
import sys

# Parameters of mallopt and values in bytes, from malloc.h of the GNU C library (from
# memory): blocks up to MAPPED are kept in the heap, which is trimmed above KEPT.
TRIM_THRESHOLD, MAP_THRESHOLD = -1, -3
KEPT, MAPPED = 1 << 28, 1 << 26


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
