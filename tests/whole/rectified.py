"""A flyback with unfolder in time, averaged over switching periods alone.

The module by its single-diode curve feeds its capacitors, and a ripple port if there is
one; the flyback draws what the grid's sine and the capacitor before the unfolder ask for,
in bursts of half line cycles at light load.  Its losses count in proportion to its power.
A slow loop sets the grid's current once in a pattern of half cycles.
"""

import dataclasses
import math

import numpy as np
from scipy.integrate import solve_ivp

from tests.whole.averaged import HALF
from tests.whole.module_curve import Curve

HALVES = 24  # half line cycles at least until the waves repeat


@dataclasses.dataclass(frozen=True)
class Port:
    """Ripple port at the module."""

    c: float  # [F], storage
    low: float  # [V], lowest of the storage that is held
    inner: float  # [rad/s], current loop
    outer: float  # [rad/s], voltage loop at the module


@dataclasses.dataclass(frozen=True)
class Converter:
    """One operating point."""

    omega: float
    v_grid: float  # [V], rms
    i_grid: float  # [A], rms while it runs
    drop: float  # [Ω], of the unfolder
    c_ahead: float  # [F], before the unfolder
    share: float  # of half line cycles that run
    loss: float  # [1], over what is given to the unfolder
    idle: float  # [W], whatever the power
    c: float  # [F], across the module
    module: Curve
    v: float  # [V], mean of the module that is held
    power: float  # [W], of the module
    port: Port | None = None

    def drawn(self, t, scale, runs):
        """Power that the flyback draws [W]."""
        sine, cosine = np.abs(np.sin(self.omega * t)), np.cos(self.omega * t)
        cosine = cosine * np.sign(np.sin(self.omega * t))
        i = scale * math.sqrt(2.0) * self.i_grid
        top = math.sqrt(2.0) * self.v_grid + self.drop * i
        given = top * sine * (i * sine + self.omega * self.c_ahead * top * cosine)
        return self.idle + runs * (1.0 + self.loss) * np.maximum(given, 0.0)

    def slopes(self, t, y, scale, runs):
        """Slopes of the module's voltage, of the storage and of the port's current."""
        v, drawn = y[0], self.drawn(t, scale, runs)
        if self.port is None:
            return [(self.module.current(v) - drawn / v) / self.c]
        _, v_r, i = y
        # Faster than the grid's loop the duty stands still, so that the stage draws a current.
        trim = self.port.outer * self.c * (v - self.v)
        wanted = (self.power - drawn) / self.v + trim
        return [
            (self.module.current(v) - drawn / self.v - i) / self.c,
            v * i / (self.port.c * v_r),
            self.port.inner * (wanted - i),
        ]


@dataclasses.dataclass(frozen=True)
class Waves:
    """The last pattern; arrays (half cycle, angle), and which half cycles run."""

    runs: np.ndarray
    v: np.ndarray  # [V], module
    i_c: np.ndarray  # [A], into the module's capacitor
    p: np.ndarray  # [W], from the module
    v_storage: np.ndarray | None
    i_port: np.ndarray | None
    drifts: float  # change of the states over the pattern, over their size


def settled(x: Converter) -> Waves:
    """Return the last of several patterns: one half cycle runs, the others pause."""
    runs = np.eye(1, round(1.0 / x.share))[0]
    half, count = math.pi / x.omega, len(runs)
    inside = (np.arange(HALF) + 0.5) * (half / HALF)
    scale, y = 1.0, _start(x, count)
    for k in range(patterns := -(-HALVES // count)):
        start, seen = y, []
        for n, on in enumerate(runs):
            ran = solve_ivp(
                x.slopes, (n * half, (n + 1) * half), y, args=(scale, on),
                t_eval=[*(n * half + inside), (n + 1) * half], rtol=1e-7, atol=1e-7,
                method="LSODA",
            )  # fmt: skip
            y = ran.y[:, -1]
            seen.append(ran.y[:, :-1])
        states = np.stack(seen, axis=1)
        if k == patterns - 1:
            return _told(x, states, runs, scale, float(np.max(np.abs(y / start - 1.0)[:2])))
        scale = scale + _correction(x, states, start, y) / (x.power * count * half)
    raise AssertionError("unreachable")


def _start(x, count):
    """States at the beginning of the half cycle that runs, the storage filled by the pauses."""
    if x.port is None:
        return np.array([x.v])
    filled = x.power / x.omega * (math.pi * (count - 1) + 0.5)
    return np.array([x.v, math.sqrt(x.port.low**2 + 2.0 * filled / x.port.c), 0.0])


def _correction(x, states, start, end):
    """Energy that the grid should take more in the next pattern [J]."""
    if x.port is None:
        return x.c * x.v * (0.5 * (states[0].mean() - x.v) + (end[0] - start[0]))
    drift = 0.5 * x.port.c * (end[1] ** 2 - start[1] ** 2)
    return drift + 0.25 * x.port.c * (states[1].min() ** 2 - x.port.low**2)


def _told(x, states, runs, scale, drifts):
    half = math.pi / x.omega
    t = (np.arange(len(runs))[:, None] + (np.arange(HALF) + 0.5) / HALF) * half
    v = states[0]
    i_pv = x.module.current(v)
    port = states[2] if x.port else 0.0
    over = x.v if x.port else v
    return Waves(
        runs=runs,
        v=v,
        i_c=i_pv - x.drawn(t, scale, runs[:, None]) / over - port,
        p=v * i_pv,
        v_storage=states[1] if x.port else None,
        i_port=states[2] if x.port else None,
        drifts=drifts,
    )
