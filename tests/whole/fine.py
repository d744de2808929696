"""The tool's stages at 128 equal angles of half a line cycle instead of their few."""

import contextlib
import math
import sys

from models.stages import flyback_link, full_bridge_freewheel, grid_filter  # noqa: F401
from tests.whole.averaged import HALF

# Slices by which stages leave out angles where few are enough.
SLICES = ("EDGES", "COARSE", "SOME")
EVERY = slice(None)


@contextlib.contextmanager
def replaced(*changes):
    """Give attributes of modules other values for a while: (module, name, value)."""
    before = [(module, name, getattr(module, name)) for module, name, _ in changes]
    try:
        for module, name, value in changes:
            setattr(module, name, value)
        yield
    finally:
        for module, name, value in before:
            setattr(module, name, value)


def all_angles():
    """The changes that make every stage use all of ``HALF`` angles."""
    found = [
        (module, name, EVERY)
        for key, module in sorted(sys.modules.items())
        if key.startswith("models.stages.")
        for name in SLICES
        if hasattr(module, name)
    ]
    found.append((grid_filter, "HALF", HALF))
    found.append((full_bridge_freewheel, "CHORD", 1.0 / math.cos(0.5 * math.pi / HALF)))
    return found
