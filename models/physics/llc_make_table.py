"""Work out the table of ``models.physics.llc_table``: ``python -m models.physics.llc_make_table``.

Prints the checksum that ``llc_table.CHECKSUM`` has to name.  Takes half a minute.
"""

from __future__ import annotations

import dataclasses
import hashlib
import math
import sys
from pathlib import Path

import numpy as np

from models.axes import Array
from models.errors import ModelError
from models.physics.llc_modes import NONE, Half, course, follow, solve
from models.physics.llc_table import F_MOST, SPREAD

RATIOS = np.geomspace(2.5, 40.0, 15)  # m
# vi: even steps up to 1; above it the waves change with the root of vi − 1.
DRIVES = np.concatenate((np.linspace(0.5, 1.0, 21), 1.0 + 0.4 * (np.arange(1, 17) / 16.0) ** 2))
LOADS = 28  # nodes along the power
P_LEAST, P_MOST = 0.01, 0.9  # least and most power of the table
FROM = 0.03  # power that every drive and ratio can pass: there the search begins
STRIDE = 1.06  # factor between two powers on the way to the ends
REFINE = 8  # halvings of the last stride
INSIDE = 0.985  # most power tabulated over that at the peak of the gain, where γ turns
SHARPNESS = 4.0  # of the smooth change from the peak to P_MOST
SAMPLES = 129  # instants of an arc for peaks
NODES = 16  # Gauss nodes of an arc for means
NOTHING = 1e-9  # length of an arc that is none but for rounding


def bounds() -> tuple[Half, Array, Array]:
    """Return solved half periods at ``FROM`` and the least and most power [1] of each node.

    Source
    ------
    Search along the power, ours.
    """
    drive, ratio = (x.ravel() for x in np.meshgrid(DRIVES, RATIOS))
    start = solve(drive, np.full(drive.shape, FROM), ratio)
    _refuse_gaps(start)
    top = _reach(start, STRIDE, 1.6 * P_MOST, f_most=math.inf)
    low = _reach(top, 1.0 / STRIDE, P_LEAST, f_most=F_MOST)
    most = ((INSIDE * top.p) ** -SHARPNESS + P_MOST**-SHARPNESS) ** (-1.0 / SHARPNESS)
    return start, np.maximum(low.p, P_LEAST), most


def _reach(now: Half, factor: float, end: float, f_most: float) -> Half:
    """Return the last solution on the way to a power, short of it if there is none."""
    step = np.full(now.p.shape, factor)
    ratio = np.max(np.abs(np.log(end / now.p)))
    strides = math.ceil(ratio / abs(math.log(factor)))
    for turn in range(strides + REFINE):
        tried = follow(now, now.p * step)
        good = (tried.mode != NONE) & (tried.gamma > math.pi / f_most)
        now = _chosen(good, tried, now)
        step = np.sqrt(step) if turn >= strides else np.where(good, step, np.sqrt(step))
    return now


def _chosen(good: Array, one: Half, other: Half) -> Half:
    names = [f.name for f in dataclasses.fields(one)]
    return Half(*(np.where(good, getattr(one, n), getattr(other, n)) for n in names))


def _refuse_gaps(x: Half) -> None:
    (lost,) = np.nonzero(x.mode == NONE)
    if lost.size:
        i = lost[0]
        raise ModelError(
            f"no solution at vi = {x.vi[i]:.3f}, p = {x.p[i]:.4f}, m = {x.m[i]:.2f} "
            f"and {lost.size - 1} more points"
        )


def quantities(x: Half) -> dict[str, Array]:
    """Return what is tabulated of half periods [1], see ``llc_table.Wave``.

    Parameters
    ----------
    x : Half
        Half periods, (n,).

    Source
    ------
    Integrals over the arcs by Gauss's rule.
    """
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    share, weights = 0.5 * (1.0 + nodes), 0.5 * weights.reshape(-1, 1)
    arcs, _ = course(x, share)
    begins = np.cumsum((np.zeros_like(x.gamma), *x.lengths[:3]), axis=0)
    j_square, s_square = 0.0 * x.gamma, 0.0 * x.gamma
    j_wave, s_wave = 0.0j * x.gamma, 0.0j * x.gamma
    for (j, _, j_m), begin, length in zip(arcs, begins, x.lengths, strict=True):
        angle = math.pi * (begin + share.reshape(-1, 1) * length) / x.gamma
        weight = weights * length / x.gamma
        turn = np.exp(-1j * angle)
        j_square += np.sum(weight * j * j, axis=0)
        s_square += np.sum(weight * (j - j_m) ** 2, axis=0)
        j_wave += np.sum(weight * j * turn, axis=0)
        s_wave += np.sum(weight * (j - j_m) * turn, axis=0)
    fine, _ = course(x, np.linspace(0.0, 1.0, SAMPLES))

    def peak(index: int) -> Array:
        # An arc of no length keeps no magnetising current apart from the tank's.
        both = zip(fine, x.lengths, strict=True)
        there = [np.abs(arc[index]) * (length > NOTHING) for arc, length in both]
        return np.max(np.stack(there), axis=(0, 1))

    return {
        "period": x.gamma / math.pi,
        "off": -x.j_0,
        "tank": np.sqrt(j_square),
        "tank_1": math.sqrt(2.0) * np.abs(j_wave),
        "secondary": np.sqrt(s_square),
        "secondary_1": math.sqrt(2.0) * np.abs(s_wave),
        "tank_peak": peak(0),
        "capacitor_peak": peak(1),
        "magnetising_peak": peak(2),
        "commutated": np.where(x.n > 0.0, np.abs(fine[0][0][0] - fine[0][2][0]), 0.0),
    }


def load(share: Array, low: Array, most: Array) -> Array:
    """Return the power [1] at a share 0 … 1 of the way from the least to the most.

    p = p_low + (p_most − p_low)·(R^t − 1)/(R − 1),  t = 1 − (1 − share)²: dense near no
    load, and near the peak of the gain, where the period changes with the root of what
    is left; straight in p_low and p_most, so that nodes of different range mix well.

    Parameters
    ----------
    share, low, most : Array
        Share of the way, least and most power [1].

    Source
    ------
    Ours.
    """
    way = 1.0 - (1.0 - share) ** 2
    return low + (most - low) * (SPREAD**way - 1.0) / (SPREAD - 1.0)


def table() -> dict[str, Array]:
    """Return every array of the file [1].

    Source
    ------
    As the module.
    """
    start, low, most = bounds()
    shape = (len(RATIOS), len(DRIVES))
    rows, now = [], start
    for index in range(LOADS):
        now = _walk(now, load(np.full(low.shape, index / (LOADS - 1)), low, most))
        rows.append(quantities(now))
    axes = {"ratio": RATIOS, "drive": DRIVES}
    ends = {"least": low.reshape(shape), "most": most.reshape(shape)}
    waves = {
        name: np.stack([row[name] for row in rows], axis=-1).reshape(*shape, LOADS)
        for name in rows[0]
    }
    return axes | ends | waves


def _walk(x: Half, wanted: Array) -> Half:
    """Return the half periods at another power, in small strides where it is far."""
    strides = max(1, math.ceil(np.max(np.abs(np.log(wanted / x.p))) / math.log(STRIDE)))
    factor = (wanted / x.p) ** (1.0 / strides)
    for _ in range(strides):
        x = follow(x, x.p * factor)
        _refuse_gaps(x)
    return x


def main(path: str) -> None:
    """Write the table [1] to a path and print its checksum.

    Source
    ------
    As the module.
    """
    narrow = {name: array.astype(np.float32) for name, array in table().items()}
    np.savez_compressed(path, allow_pickle=False, **narrow)
    sys.stdout.write(hashlib.sha256(Path(path).read_bytes()).hexdigest() + "\n")


if __name__ == "__main__":
    main(sys.argv[1])
