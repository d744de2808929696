"""On what a run was made, as far as its bits or its speed may depend on it."""

from __future__ import annotations

import importlib.metadata
import os
import platform
from typing import Any

import numpy as np

PACKAGES = (
    "array-api-compat", "moocore", "numpy", "pandas", "pvlib", "pydantic", "pymoo", "ray", "scipy",
)  # fmt: skip
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def environment() -> dict[str, Any]:
    """Return versions, platform, processors and linear algebra; no name of machine or user."""
    parts: Any = np.show_config(mode="dicts")
    blas = parts.get("Build Dependencies", {}).get("blas", {})
    return {
        "python": platform.python_version(),
        "packages": {name: _version(name) for name in PACKAGES},
        "system": f"{platform.system()} {platform.release()}",
        "machine": platform.machine(),
        "c_library": " ".join(platform.libc_ver()).strip(),
        "cpus": os.cpu_count(),
        "cpus_allowed": len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else None,
        "simd": list(parts.get("SIMD Extensions", {}).get("found", ())),
        "blas": f"{blas.get('name', '')} {blas.get('version', '')}".strip(),
        "threads": {name: os.environ.get(name) for name in THREADS},
    }


def _version(package: str) -> str | None:
    try:
        return importlib.metadata.version(package)
    except importlib.metadata.PackageNotFoundError:
        return None
