"""Steady state of an LLC resonant converter in time, half a period in closed arcs.

Normalised: angle ω₀·t, voltages over the reflected output voltage V_r, currents over
V_r/Z₀, with ω₀ = 1/√(L_r·C_r) and Z₀ = √(L_r/C_r).  What is given are

    vi = V_i'/V_r    half of the bridge's swing over V_r
    p = P·Z₀/V_r²    power
    m = L_m/L_r      magnetising over resonant inductance

A half period γ = π·f₀/f is a row of arcs: N (rectifier still holds the last polarity),
O (rectifier off: L_m joins the resonance), P (new polarity), O.  Which of them have a
length is the mode; the other half is the mirror image.  Ideal devices, no dead time.

Source
------
J. F. Lazar and R. Martinelli, "Steady-state analysis of the LLC series resonant
converter", APEC 2001 (from memory); names of the modes: X. Fang et al., IEEE Trans.
Power Electron., 2012 (from memory).
"""

from __future__ import annotations

import dataclasses
import math
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from models.axes import Array

Flags: TypeAlias = NDArray[np.bool_]
Modes: TypeAlias = NDArray[np.int64]

NONE, PO, NP, OPO, NOP = -1, 0, 1, 2, 3  # modes; NONE: no solution that switches softly
SETTLED = 1e-9  # residual that counts as solved
STEPS, CLIP = 60, 0.3  # most Newton steps and the largest change in one of them
SAMPLES = 16  # instants of an arc at which the rectifier's conditions are tested
SLACK = 1e-3  # by which they may be missed: at the border of two modes both are right


@dataclasses.dataclass(frozen=True)
class Half:
    """Half a period: lengths of its arcs and the state at its beginning, all (n,)."""

    mode: Modes
    vi: Array
    p: Array
    m: Array
    j_0: Array  # tank current; below zero the bridge switches softly
    n: Array  # length of arc N
    o: Array  # of the first O
    a: Array  # of P
    gamma: Array  # of all

    @property
    def v_c(self) -> Array:
        """Capacitor voltage at the end, minus that at the beginning: charge balance."""
        return self.p * self.gamma / (2.0 * self.vi)

    @property
    def lengths(self) -> tuple[Array, Array, Array, Array]:
        """Lengths of N, O, P, O."""
        return self.n, self.o, self.a, self.gamma - self.n - self.o - self.a


State: TypeAlias = tuple[Array, Array, Array]  # tank current, capacitor voltage, magnetising


def _clamped(x: Half, start: State, t: Array, sign: float) -> State:
    """Return the state ``t`` after ``start`` while the rectifier holds L_m at ``sign``."""
    j, v, j_m = start
    drive = x.vi - sign
    c, s = np.cos(t), np.sin(t)
    return (
        j * c + (drive - v) * s,
        drive - (drive - v) * c + j * s,
        j_m + sign * t / x.m,
    )


def _off(x: Half, start: State, t: Array) -> State:
    """Return the state ``t`` after ``start`` while the rectifier is off."""
    j, v, _ = start
    k = 1.0 / np.sqrt(1.0 + x.m)
    c, s = np.cos(k * t), np.sin(k * t)
    now = j * c + k * (x.vi - v) * s
    return now, x.vi - (x.vi - v) * c + (j / k) * s, now


def _begin(x: Half) -> State:
    """Return the state at the beginning; L_m carries the tank's current unless N begins."""
    j_n = x.j_0 * np.cos(x.n) + (x.vi + 1.0 + x.v_c) * np.sin(x.n)
    return x.j_0, -x.v_c, j_n + x.n / x.m


def course(x: Half, share: Array) -> tuple[tuple[State, ...], State]:
    """Return the states of N, O, P, O at shares of their lengths, and the last state.

    Parameters
    ----------
    x : Half
        Half periods, (n,).
    share : Array
        Shares of the arcs' lengths [1], (k,); the states get shape (k, n).

    Source
    ------
    As the module.
    """
    at = share.reshape(-1, 1)
    now = _begin(x)
    n, o, a, rest = x.lengths
    found = [_clamped(x, now, at * n, -1.0)]
    now = _clamped(x, now, n, -1.0)
    found.append(_off(x, now, at * o))
    now = _off(x, now, o)
    found.append(_clamped(x, now, at * a, 1.0))
    now = _clamped(x, now, a, 1.0)
    found.append(_off(x, now, at * rest))
    return tuple(found), _off(x, now, rest)


def _off_voltage(x: Half, v: Array) -> Array:
    """Return the voltage of L_m while the rectifier is off."""
    return (x.vi - v) * x.m / (1.0 + x.m)


def _unknowns(x: Half) -> tuple[Array, Array, Array, Array]:
    """Return what Newton's method varies in the mode of ``x``, four of five."""
    free = x.n if _one_mode(x) in (NP, NOP) else x.a
    return x.j_0, x.o, free, x.gamma


def _with(x: Half, unknowns: tuple[Array, ...]) -> Half:
    j_0, o, free, gamma = unknowns
    if _one_mode(x) in (NP, NOP):
        return dataclasses.replace(x, j_0=j_0, o=o, n=free, a=gamma - o - free, gamma=gamma)
    return dataclasses.replace(x, j_0=j_0, o=o, a=free, gamma=gamma)


def _one_mode(x: Half) -> int:
    return int(x.mode[0])


def _residuals(x: Half) -> Array:
    """Return what has to vanish, (4, n): periodicity and the rectifier's changes."""
    mode = _one_mode(x)
    start = _begin(x)
    at_n = _clamped(x, start, x.n, -1.0)
    at_o = _off(x, at_n, x.o) if mode in (OPO, NOP) else at_n
    at_p = _clamped(x, at_o, x.a, 1.0)
    end = at_p if mode in (NP, NOP) else _off(x, at_p, x.lengths[3])
    opened = _off_voltage(x, at_o[1]) - 1.0 if mode in (OPO, NOP) else x.o
    # N ends where tank and magnetising current meet, by construction; its j_m mirrors.
    closed = at_p[2] + start[2] if mode in (NP, NOP) else at_p[0] - at_p[2]
    return np.stack((opened, closed, end[0] + x.j_0, end[1] - x.v_c))


def _newton(x: Half) -> tuple[Half, Flags]:
    """Return half periods of one mode solved from their guess, and where that worked."""
    for _ in range(STEPS):
        held = _unknowns(x)
        residual = _residuals(x)
        if np.max(np.abs(residual)) < SETTLED:
            break
        columns = []
        for i, value in enumerate(held):
            step = 1e-7 * (1.0 + np.abs(value))
            moved = tuple(u + step if k == i else u for k, u in enumerate(held))
            columns.append((_residuals(_with(x, moved)) - residual) / step)
        jacobian = np.moveaxis(np.stack(columns, axis=1), -1, 0) + 1e-13 * np.eye(4)
        change = np.linalg.solve(jacobian, -residual.T[..., None])[..., 0]
        change = np.clip(change, -CLIP, CLIP).T
        x = _with(x, tuple(u + d for u, d in zip(held, change, strict=True)))
        x = _bounded(x)
    return x, np.max(np.abs(_residuals(x)), axis=0) < SETTLED


def _bounded(x: Half) -> Half:
    """Return half periods with lengths that can be."""
    gamma = np.clip(x.gamma, 0.1, 8.0 * math.pi)
    free = np.clip(x.n if _one_mode(x) in (NP, NOP) else x.a, 0.0, 2.0 * math.pi)
    return _with(x, (np.clip(x.j_0, -50.0, 1.0), np.clip(x.o, 0.0, 2.0 * math.pi), free, gamma))


def _possible(x: Half) -> Flags:
    """Return where current and voltage let the rectifier do what the mode says."""
    (n, o_1, p, o_2), _ = course(x, np.linspace(0.0, 1.0, SAMPLES))
    lengths = x.lengths
    scale = 1.0 + np.max(np.abs(p[0]), axis=0)
    fits = (x.j_0 <= 0.0) & (np.min(np.stack(lengths), axis=0) >= -1e-9)
    fits &= (lengths[0] <= 0.0) | np.all(n[0] - n[2] <= SLACK * scale, axis=0)
    fits &= np.all(p[0] - p[2] >= -SLACK * scale, axis=0)
    for length, off in ((lengths[1], o_1), (lengths[3], o_2)):
        inside = np.all(np.abs(_off_voltage(x, off[1])) <= 1.0 + SLACK, axis=0)
        fits &= (length <= 1e-9) | inside
    return fits


def _guesses(vi: Array, p: Array, m: Array) -> list[Half]:
    """Return starting points of every mode, the likeliest first."""
    none = np.zeros_like(vi)
    idle = 2.0 * np.sqrt(1.0 + m) * np.arccos(np.clip(vi * m / (1.0 + m), 0.0, 1.0))

    def half(mode: int, gamma: Array, *, n: float = 0.0, o: Array, a: Array) -> Half:
        modes = np.full(vi.shape, mode)
        return Half(modes, vi, p, m, -gamma / (2.0 * m) - 0.05, none + n, o, a, gamma)

    found = []
    for scale in (1.0, 1.25, 1.6, 2.1, 0.85, 0.65):
        gamma = none + math.pi * scale
        found.append(half(PO, gamma, o=none, a=none + 0.95 * math.pi * min(scale, 1.0)))
    for scale in (0.95, 0.8, 0.6, 0.45, 0.3):
        gamma = none + math.pi * scale
        found.append(half(NP, gamma, n=0.15, o=none, a=gamma - 0.15))
    for a in (0.3, 0.8, 1.4, 2.2, 2.8, 0.1):
        for scale in (1.0, 0.8, 1.3):
            for base in (idle, none + math.pi):
                gamma = np.maximum(scale * base, a + 0.1)
                o = np.maximum(0.5 * (gamma - a), 0.05) if base is idle else none + 0.05
                found.append(half(OPO, gamma, o=o, a=none + a))
    for n in (0.03, 0.2):
        for scale in (1.0, 1.15, 1.4, 0.8):
            gamma = np.maximum(idle, 0.3) * scale
            found.append(half(NOP, gamma, n=n, o=0.25 * gamma, a=0.75 * gamma - n))
    return found


def solve(vi: Array, p: Array, m: Array) -> Half:
    """Return the half periods of operating points; mode NONE where none switches softly.

    Parameters
    ----------
    vi, p, m : Array
        Drive, power and inductance ratio [1], all (n,).

    Source
    ------
    As the module; Newton's method from several starts.
    """
    return _first_of(_guesses(vi, p, m))


def follow(x: Half, p: Array) -> Half:
    """Return the half periods at another power near that of ``x``, in whatever mode.

    Parameters
    ----------
    x : Half
        Solved half periods, (n,).
    p : Array
        Power [1], (n,).

    Source
    ------
    As ``solve``.
    """
    near = dataclasses.replace(x, p=p)
    none = np.zeros_like(p)
    modes = tuple(np.full(p.shape, k) for k in (PO, NP, OPO, NOP))
    begun = np.maximum(x.n, 0.02)
    return _first_of(
        [
            dataclasses.replace(near, mode=modes[PO], n=none, o=none),
            dataclasses.replace(near, mode=modes[NP], n=begun, o=none, a=x.gamma - begun),
            dataclasses.replace(near, mode=modes[OPO], n=none),
            dataclasses.replace(near, mode=modes[NOP], n=begun, a=x.gamma - begun - x.o),
        ]
    )


def _first_of(guesses: list[Half]) -> Half:
    """Return the first solution that any guess leads to, point by point."""
    found = dataclasses.replace(guesses[0], mode=np.full(guesses[0].vi.shape, NONE))
    for guess in guesses:
        (left,) = np.nonzero(found.mode == NONE)
        if left.size == 0:
            break
        tried, settled = _newton(_taken(guess, left))
        good = settled & _possible(tried)
        found = _put(found, left[good], _taken(tried, np.nonzero(good)[0]))
    return found


def _taken(x: Half, index: NDArray[np.int64]) -> Half:
    return Half(*(getattr(x, f.name)[index] for f in dataclasses.fields(x)))


def _put(x: Half, index: NDArray[np.int64], values: Half) -> Half:
    changed = {f.name: getattr(x, f.name).copy() for f in dataclasses.fields(x)}
    for name, array in changed.items():
        array[index] = getattr(values, name)
    return Half(**changed)
