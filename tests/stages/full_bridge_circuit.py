"""Full bridges switch by switch over one line cycle, whatever the pattern of their pulses.

Ideal switches change where a centred triangular carrier meets the wanted duty; the choke's
current follows from volt-seconds, integrated exactly (six Gauss nodes in every stretch
between two edges).  Nodes are told as shares of the link voltage, a floating pair at one
half.  Nothing here knows a closed form of the stages under test.
"""

import dataclasses
import itertools
import math

import numpy as np

from tests.simulation.switched_bridge import NODES, PARTIAL, WEIGHTS

BAND = 24  # line harmonics on either side of a multiple of the carrier


@dataclasses.dataclass(frozen=True)
class Plant:
    """What the bridge works on; waves are functions of time."""

    u: object  # [V], fundamental that the bridge makes
    far: object  # [V], at the other end of the choke
    link: object  # [V]
    inductance: float  # [H]
    f: float  # [Hz], carrier
    f_grid: float  # [Hz]

    @property
    def periods(self):
        return round(self.f / self.f_grid)

    @property
    def cycle(self):
        return 1.0 / self.f_grid


def edges(plant, duty):
    """Instants at which a centred pulse of a given duty begins and ends in every period."""
    period = plant.cycle / plant.periods
    start = np.arange(plant.periods) * period
    rise = fall = start + 0.5 * period
    for _ in range(60):
        rise = start + 0.5 * (1.0 - duty(rise)) * period
        fall = start + 0.5 * (1.0 + duty(fall)) * period
    return rise, fall


class Trace:
    """One line cycle: states of the pulses, current, and what follows from both."""

    def __init__(self, plant, pulses, nodes_of):
        """``nodes_of(states, sign)`` gives nodes a and b as shares of the link voltage."""
        self.plant, self.pulses = plant, pulses
        cycle = plant.cycle
        sign_changes = [t for t in np.linspace(0.0, cycle, 20001)[1:-1]
                        if plant.u(t) * plant.u(t + cycle / 20000) < 0.0]  # fmt: skip
        instants = np.concatenate([e for pair in pulses for e in pair] + [sign_changes])
        time = np.unique(np.concatenate([[0.0, cycle], np.clip(instants, 0.0, cycle)]))
        time = time[np.concatenate([[True], np.diff(time) > 1e-14])]
        self.time, width = time, np.diff(time)
        middle = 0.5 * (time[:-1] + time[1:])
        self.nodes = time[:-1, None] + 0.5 * width[:, None] * (NODES + 1.0)
        self.weights = 0.5 * width[:, None] * WEIGHTS / cycle
        self.states = [
            (np.searchsorted(rise, middle) - np.searchsorted(fall, middle))[:, None]
            for rise, fall in pulses
        ]
        self.sign = np.where(plant.u(middle) < 0.0, -1.0, 1.0)[:, None]
        self.v = plant.link(self.nodes)
        self.a, self.b = nodes_of(self.states, self.sign)
        self.voltage = (self.a - self.b) * self.v
        drive = self.voltage - plant.far(self.nodes)
        within = 0.5 * width[:, None] * (drive @ PARTIAL.T)
        ends = np.concatenate([[0.0], np.cumsum(0.5 * width * (drive @ WEIGHTS))])
        drift = ends[-1] / cycle
        current = (ends[:-1, None] + within - drift * self.nodes) / plant.inductance
        shift = -np.sum(current * self.weights)
        self.current = current + shift
        self.ends = (ends - drift * time) / plant.inductance + shift

    def mean(self, x):
        return float(np.sum(x * self.weights))

    def rms(self, x):
        return math.sqrt(self.mean(x * x))

    def at(self, instants):
        """Current at given instants."""
        return np.interp(np.mod(instants, self.plant.cycle), self.time, self.ends)

    def harmonic(self, x, order):
        """Complex amplitude of a line harmonic."""
        omega = 2.0 * math.pi / self.plant.cycle
        return 2.0 * np.sum(x * self.weights * np.exp(-1j * order * omega * self.nodes))

    def around(self, share, multiple):
        """Rms value around a multiple of the carrier of a voltage in shares of the link."""
        # A stretch may hold several turns of the phase: cut it into pieces.
        cuts = np.linspace(0.0, 1.0, 7)
        left, width = self.time[:-1, None], np.diff(self.time)[:, None]
        omega = 2.0 * math.pi / self.plant.cycle
        turns = np.arange(-BAND, BAND + 1)
        amplitudes = np.zeros(len(turns), dtype=complex)
        for begin, end in itertools.pairwise(cuts):
            t = left + width * (begin + 0.5 * (end - begin) * (NODES + 1.0))
            carrier = np.exp(-1j * multiple * self.plant.periods * omega * t)
            weight = 0.5 * (end - begin) * width * WEIGHTS / self.plant.cycle
            values = (share * self.plant.link(t) * carrier * weight).ravel()
            turn = np.exp(-1j * omega * t.ravel())
            phase = turn ** turns[0]
            for k in range(len(turns)):
                amplitudes[k] += 2.0 * np.sum(values * phase)
                phase = phase * turn
        return math.sqrt(0.5 * np.sum(np.abs(amplitudes) ** 2))

    def swing(self):
        """Largest peak-to-peak ripple within a period, the slow part taken off."""
        smooth = 0.0 * self.time
        omega = 2.0 * math.pi / self.plant.cycle
        for order in range(1, 8):
            part = self.harmonic(self.current, order)
            smooth = smooth + np.real(part * np.exp(1j * order * omega * self.time))
        rest, n = self.ends - smooth, self.plant.periods
        number = np.minimum((self.time / self.plant.cycle * n + 1e-9).astype(int), n - 1)
        high, low = np.full(n, -np.inf), np.full(n, np.inf)
        np.maximum.at(high, number, rest)
        np.minimum.at(low, number, rest)
        return float(np.max(high - low))

    def late(self, rises, falls, *, share, t_dead, order):
        """Amplitude of a line harmonic of what late edges take off the bridge's voltage.

        ``rises`` and ``falls``: (instants, sign of the voltage they begin or end); an edge
        is late where the current keeps the voltage as it was.
        """
        total, omega = 0.0, 2.0 * math.pi / self.plant.cycle
        for (instants, sign), missing in ((rises, -1.0), (falls, 1.0)):
            keeps = (self.at(instants) * sign * -missing) > 0.0
            area = missing * sign * share * self.plant.link(instants) * t_dead * keeps
            total = total + np.sum(area * np.exp(-1j * order * omega * instants))
        return 2.0 / self.plant.cycle * total


def bipolar(plant):
    """Diagonals together."""
    pulse = edges(plant, lambda t: 0.5 + 0.5 * plant.u(t) / plant.link(t))
    return Trace(plant, [pulse], lambda s, _: (s[0] + 0.0, 1.0 - s[0]))


def unipolar(plant):
    """Both legs on one carrier with opposite references."""
    legs = [edges(plant, lambda t, k=k: 0.5 + 0.5 * k * plant.u(t) / plant.link(t))
            for k in (1.0, -1.0)]  # fmt: skip
    return Trace(plant, legs, lambda s, _: (s[0] + 0.0, s[1] + 0.0))


def decoupled(plant, floating=0.5):
    """Pulses of the sign of u; in between both nodes float together."""
    pulse = edges(plant, lambda t: np.abs(plant.u(t)) / plant.link(t))

    def nodes_of(states, sign):
        on, up = states[0], 0.5 * (1.0 + sign)
        rest = (1.0 - on) * floating
        return on * up + rest, on * (1.0 - up) + rest

    return Trace(plant, [pulse], nodes_of)
