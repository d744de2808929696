"""Waves of an LLC resonant converter between the nodes of a table.

``models/data/llc_table.npz`` holds the steady state of ``llc_modes`` on a grid of
inductance ratio, drive and power; ``python -m models.physics.llc_make_table`` makes it.
Between the nodes it is taken as straight.  Everything is normalised as there.
"""

from __future__ import annotations

import dataclasses
import functools
import hashlib
import io
import math
from pathlib import Path

import numpy as np

from models.axes import Array, Indices, array_namespace
from models.errors import ModelError

FILE = Path(__file__).parent.parent / "data" / "llc_table.npz"
CHECKSUM = "c66294328ba0ddf438af395c5e7fabd6750695d07b47bd83fd7db9b4dee15055"
F_MOST = 2.2  # f/f₀ above which nothing is tabulated [1]

SPREAD = 50.0  # how much denser the powers of the table lie near the least than the most


@dataclasses.dataclass(frozen=True)
class Wave:
    """One operating point, normalised; rms values over the period [1]."""

    period: Array  # f₀/f
    off: Array  # current that the bridge turns off
    tank: Array  # rms current of the tank …
    tank_1: Array  # … and of its fundamental
    secondary: Array  # rms current of the secondary, at the primary …
    secondary_1: Array
    tank_peak: Array
    capacitor_peak: Array  # voltage, without the mean that a half bridge adds
    magnetising_peak: Array
    commutated: Array  # current that the rectifier still carries as the bridge turns over


NAMES = tuple(f.name for f in dataclasses.fields(Wave))


@dataclasses.dataclass(frozen=True)
class Grid:
    """The table in memory, waves flat in the order (ratio, drive, load)."""

    ratio: Array  # nodes, geometric
    drive: Array  # nodes, see ``_drive_cell``
    loads: int
    least: Array  # (ratio·drive,)
    most: Array
    waves: tuple[Array, ...]


@functools.cache
def grid() -> Grid:
    """Return the table [1].

    Raises
    ------
    ModelError
        If the file is not the one this code was written for.

    Source
    ------
    ``models.physics.llc_make_table``.
    """
    content = FILE.read_bytes()
    if hashlib.sha256(content).hexdigest() != CHECKSUM:
        raise ModelError(
            f"{FILE.name} has another checksum than llc_table.CHECKSUM: install the package "
            "again, or make the table and write its checksum there"
        )
    with np.load(io.BytesIO(content), allow_pickle=False) as file:
        data = {name: np.asarray(file[name], dtype=np.float64) for name in file.files}
    return Grid(
        data["ratio"],
        data["drive"],
        data["period"].shape[-1],
        data["least"].ravel(),
        data["most"].ravel(),
        tuple(data[name].ravel() for name in NAMES),
    )


@dataclasses.dataclass(frozen=True)
class Spot:
    """Where drive and ratio lie in the table, and the power that can be passed there."""

    corners: tuple[Indices, ...]  # four, of the nodes around
    weights: tuple[Array, ...]
    least: Array  # [1], least power in steady running
    most: Array  # [1], at the peak of the gain or the end of the table


def ends() -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the least and largest ratio and drive of the table [1].

    Source
    ------
    ``models.physics.llc_make_table``.
    """
    found = grid()
    return (float(found.ratio[0]), float(found.ratio[-1])), (
        float(found.drive[0]),
        float(found.drive[-1]),
    )


def locate(ratio: Array, drive: Array) -> Spot:
    """Return where points lie in the table; beyond its ends the end stands for them.

    Parameters
    ----------
    ratio : Array
        Magnetising over resonant inductance m [1].
    drive : Array
        Half of the bridge's swing over the reflected output voltage vi [1].

    Source
    ------
    Bilinear interpolation; textbooks.
    """
    xp = array_namespace(ratio, drive)
    nodes = grid()
    i, u = _cell(xp.log(ratio), *np.log(nodes.ratio[[0, -1]]), count=len(nodes.ratio))
    j, w = _drive_cell(drive, nodes.drive)
    base = i * len(nodes.drive) + j
    corners = (base, base + 1, base + len(nodes.drive), base + len(nodes.drive) + 1)
    weights = ((1.0 - u) * (1.0 - w), (1.0 - u) * w, u * (1.0 - w), u * w)
    least, most = (
        sum(xp.asarray(table)[c] * k for c, k in zip(corners, weights, strict=True))
        for table in (nodes.least, nodes.most)
    )
    return Spot(corners, weights, least, most)


def _cell(x: Array, low: float, high: float, *, count: int) -> tuple[Indices, Array]:
    """Return the node below and the share of the way to the next."""
    xp = array_namespace(x)
    place = xp.clip((x - low) * ((count - 1) / (high - low)), 0.0, count - 1.0)
    below = xp.minimum(xp.floor(place), count - 2.0)
    return xp.astype(below, xp.int64), place - below


def _drive_cell(drive: Array, nodes: Array) -> tuple[Indices, Array]:
    """Return the same for the drive: even steps up to 1, even steps of √(vi − 1) above."""
    xp = array_namespace(drive)
    below = int(np.searchsorted(nodes, 1.0 - 1e-6))
    above = len(nodes) - 1 - below
    low, high = float(nodes[0]), float(nodes[-1])
    left = xp.clip((drive - low) * (below / (1.0 - low)), 0.0, float(below))
    root = xp.sqrt(xp.clip((drive - 1.0) / (high - 1.0), 0.0, 1.0))
    node = xp.minimum(xp.floor(left + above * root), len(nodes) - 2.0)
    index = xp.astype(node, xp.int64)
    start, end = xp.asarray(nodes)[index], xp.asarray(nodes)[index + 1]
    return index, xp.clip((drive - start) / (end - start), 0.0, 1.0)


def wave(spot: Spot, p: Array) -> Wave:
    """Return the waves at a power; beyond the ends of ``spot`` the end stands for it.

    Parameters
    ----------
    spot : Spot
        From ``locate``.
    p : Array
        Power P·Z₀/V_r² [1].

    Source
    ------
    Linear interpolation in the measure of ``llc_make_table.load``.
    """
    xp = array_namespace(p, spot.most)
    nodes = grid()
    held = xp.clip(p, spot.least, spot.most)
    part = (held - spot.least) / (spot.most - spot.least)
    way = xp.log(1.0 + (SPREAD - 1.0) * part) * (1.0 / math.log(SPREAD))
    share = 1.0 - xp.sqrt(xp.maximum(1.0 - way, 0.0))
    below, up = _cell(share, 0.0, 1.0, count=nodes.loads)
    first = tuple(c * nodes.loads + below for c in spot.corners)
    index = (*first, *(at + 1 for at in first))
    weights = (*(k * (1.0 - up) for k in spot.weights), *(k * up for k in spot.weights))

    def between(table: Array) -> Array:
        here = xp.asarray(table)
        value = xp.take(here, index[0]) * weights[0]
        for at, weight in zip(index[1:], weights[1:], strict=True):
            value = value + xp.take(here, at) * weight
        return value

    return Wave(*(between(table) for table in nodes.waves))
