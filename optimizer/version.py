"""The version of the program that is running."""

from __future__ import annotations

import importlib.metadata

try:
    VERSION = importlib.metadata.version("ripplefront")
except importlib.metadata.PackageNotFoundError:  # run from a checkout without installing
    VERSION = "0+checkout"
