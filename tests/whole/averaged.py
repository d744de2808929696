"""A converter with a direct-current link in time, averaged over switching periods alone.

Grid and filter follow from complex arithmetic, with the resistance that the filter's losses
stand for; link, ripple port and module are integrated.  Currents are where fast loops want
them, the port's late by its current loop; a slow loop sets the grid's current once in half a
line cycle, so that the mean of the stored energy is held.  Nothing here knows a closed form
of the swing, and losses count where they arise.
"""

import cmath
import dataclasses
import math

import numpy as np
from scipy.integrate import solve_ivp

HALF = 128  # angles of half a line cycle at which waves are told
SETTLING = 12  # half line cycles until the waves repeat
OFFSET = 0.5  # share of an offset of the mean energy that one half cycle takes back


@dataclasses.dataclass(frozen=True)
class Grid:
    """What the bridge feeds; arrays (row,)."""

    omega: float  # [rad/s]
    v: np.ndarray  # [V], rms
    p: np.ndarray  # [W]
    factor: np.ndarray  # power factor, negative where the current leads
    l_bridge: float
    l_grid: float
    c: float
    r: np.ndarray  # [Ω], in the line, for all losses of the filter

    def phasors(self, scale):
        """Voltage and current of the bridge and of the grid, the current scaled."""
        phi = np.copysign(np.arccos(np.abs(self.factor)), self.factor)
        grid = scale * self.p / (self.v * np.abs(self.factor)) * np.exp(-1j * phi)
        middle = self.v + (self.r + 1j * self.omega * self.l_grid) * grid
        current = grid + 1j * self.omega * self.c * middle
        return middle + 1j * self.omega * self.l_bridge * current, current, grid


@dataclasses.dataclass(frozen=True)
class Port:
    """Ripple port at the link."""

    c: float  # [F], storage
    v: np.ndarray  # [V], rms of the storage that is held
    inner: float  # [rad/s], current loop
    outer: float  # [rad/s], voltage loop at the link
    active: np.ndarray  # 1 where it runs


@dataclasses.dataclass(frozen=True)
class Converter:
    """Grid, link and what stands around it; arrays (row,)."""

    grid: Grid
    c: float  # [F], link
    v: np.ndarray  # [V], rms of the link that is held
    p_front: np.ndarray  # [W], into the link
    # Mean losses of the bridge that follow i², |i| and nothing [W].
    p_bridge: tuple[np.ndarray, np.ndarray, np.ndarray]
    p_storage: np.ndarray  # [W], loss of storage and port
    port: Port | None = None
    # Power into the link at its voltage, of a front that does not regulate [V] → [W].
    given: object = None
    c_module: float = 0.0  # [F], of the module's side, seen from the link of such a front

    def drawn(self, t, u, i):
        """Power that bridge and filter draw, and what of it pulsates as the grid does [W].

        ``u`` and ``i`` are the bridge's phasors.
        """
        turn = cmath.exp(1j * self.grid.omega * t)
        current = (i * turn).imag / np.abs(i)
        square, linear, constant = self.p_bridge
        loss = 2.0 * square * current * current + 0.5 * math.pi * linear * np.abs(current)
        mean, pulsating = (u * np.conj(i)).real, -(u * i * (turn * turn)).real
        return mean + pulsating + loss + (constant + self.p_storage), pulsating

    def slopes(self, t, y, u, i_bridge):
        """Slopes of link, storage and the port's current."""
        v, *rest = y.reshape(3 if self.port else 1, -1)
        drawn, pulsating = self.drawn(t, u, i_bridge)
        front = self.p_front if self.given is None else self.given(v)
        if self.port is None:
            return (front - drawn) / ((self.c + self.c_module) * v)
        v_r, i = rest
        # The feed-forward knows what pulsates, the loop at the link does the rest.
        trim = self.port.outer * self.c * self.v * (v - self.v)
        wanted = self.port.active * (trim - pulsating) / v_r
        return np.concatenate(
            [
                (front - drawn - v_r * i) / ((self.c + self.c_module) * v),
                i / self.port.c,
                self.port.inner * (wanted - i),
            ]
        )

    def energy(self, y):
        """Energy in link and storage [J]."""
        v, *rest = y.reshape(3 if self.port else 1, -1)
        stored = 0.5 * (self.c + self.c_module) * v * v
        return stored + 0.5 * self.port.c * rest[0] ** 2 if self.port else stored

    def offset(self, y):
        """Energy above the mean that is held [J], of states along the last axis."""
        v, *rest = y.reshape(3 if self.port else 1, len(self.v), -1)
        link = 0.5 * self.c * (np.mean(v * v, axis=-1) - self.v**2)
        if self.port is None:
            return link
        storage = 0.5 * self.port.c * (np.mean(rest[0] ** 2, axis=-1) - self.port.v**2)
        return np.where(self.port.active > 0.0, storage, link)


def lossless(x: Converter) -> Converter:
    """Return the same without losses behind the front."""
    none = 0.0 * x.v
    lost = x.p_front - x.grid.p
    given = x.given
    return dataclasses.replace(
        x,
        grid=dataclasses.replace(x.grid, r=none),
        p_front=x.grid.p,
        p_bridge=(none, none, none),
        p_storage=none,
        given=given and (lambda v: given(v) - lost),
    )


@dataclasses.dataclass(frozen=True)
class Waves:
    """A line cycle that repeats; arrays (row, angle) over half of it but for ``repeats``."""

    theta: np.ndarray  # [rad], (angle,)
    v: np.ndarray  # [V], link
    i_link: np.ndarray  # [A], into the link's capacitor
    u: np.ndarray  # [V], bridge
    i: np.ndarray  # [A], bridge
    i_grid: np.ndarray  # [A], rms, (row,)
    v_storage: np.ndarray | None  # [V]
    i_port: np.ndarray | None  # [A]
    p_grid: np.ndarray  # [W], (row,)
    repeats: float  # largest difference of the states of both halves, over their size


def settled(x: Converter) -> Waves:
    """Return the last of many line cycles."""
    half = math.pi / x.grid.omega
    inside = (np.arange(HALF) + 0.5) * (half / HALF)
    scale, y, last = np.ones_like(x.v), _start(x), None
    for k in range(SETTLING + 1):
        t = k * half + inside
        ran = solve_ivp(
            x.slopes, (k * half, (k + 1) * half), y, t_eval=[*t, (k + 1) * half],
            args=x.grid.phasors(scale)[:2], rtol=1e-6, atol=1e-6, method="LSODA",
        )  # fmt: skip
        end, seen = ran.y[:, -1], ran.y[:, :-1]
        if k == SETTLING:
            repeats = float(np.max(np.abs(seen - last) / np.max(np.abs(last))))
            return _told(x, t, seen, scale, repeats)
        drift = (x.energy(end) - x.energy(y)) + OFFSET * x.offset(seen)
        scale = scale + drift / (x.grid.p * half)
        y, last = end, seen
    raise AssertionError("unreachable")


def _start(x):
    if x.port is None:
        return x.v.copy()
    return np.concatenate([x.v, x.port.v, 0.0 * x.v])


def _told(x, t, y, scale, repeats):
    states = y.reshape(3 if x.port else 1, len(x.v), -1)
    u, i, grid = (p[:, None] for p in x.grid.phasors(scale))
    turn = math.sqrt(2.0) * np.exp(1j * x.grid.omega * t)
    told = x.grid.phasors(scale)[:2]
    slope = np.stack([x.slopes(at, one, *told) for at, one in zip(t, y.T, strict=True)], axis=-1)
    power = np.real(x.grid.v * np.conj(grid[:, 0]))
    # An even or an odd half cycle: told as that in which the grid is positive.
    sign = 1.0 if round(t[0] * x.grid.omega / math.pi - 0.5 / HALF) % 2 == 0 else -1.0
    return Waves(
        theta=x.grid.omega * (t - t[0]) + 0.5 * math.pi / HALF,
        v=states[0],
        i_link=x.c * slope[: len(x.v)],
        u=sign * np.imag(u * turn),
        i=sign * np.imag(i * turn),
        i_grid=np.abs(grid[:, 0]),
        v_storage=states[1] if x.port else None,
        i_port=states[2] if x.port else None,
        p_grid=power,
        repeats=repeats,
    )
