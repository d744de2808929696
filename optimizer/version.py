"""The version of the program that is running, and what it runs on."""

from __future__ import annotations

import importlib.metadata
import os
import platform
from typing import Any

try:
    VERSION = importlib.metadata.version("ripplefront")
except importlib.metadata.PackageNotFoundError:  # run from a checkout without installing
    VERSION = "0+checkout"

LIBRARIES = ("numpy", "scipy", "ray", "pymoo", "moocore")  # whose versions may change bits


def environment() -> dict[str, Any]:
    """Return what the bits of a run may depend on: versions and the machine."""
    found: dict[str, Any] = {"python": platform.python_version()}
    for name in LIBRARIES:
        try:
            found[name] = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            found[name] = None
    return found | {"platform": platform.platform(), "cpus": os.cpu_count()}
