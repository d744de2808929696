"""Two half-bridge legs on a swinging link, switch by switch, over one line cycle.

The switches are ideal and change where a centred triangular carrier meets the duty; the
currents follow from volt-seconds, integrated exactly (six Gauss nodes in every stretch
between two edges).  Nothing here knows a closed form of the stage under test.
"""

import dataclasses
import math
from collections.abc import Callable

import numpy as np

NODES, WEIGHTS = np.polynomial.legendre.leggauss(6)
# Integral of the polynomial through the nodes from the left end up to each node.
_BASIS = np.linalg.inv(np.vander(NODES, increasing=True))
_POWERS = np.arange(1, 7)
PARTIAL = ((NODES[:, None] ** _POWERS - (-1.0) ** _POWERS) / _POWERS) @ _BASIS

Wave = Callable[[np.ndarray], np.ndarray]


@dataclasses.dataclass(frozen=True)
class LegPlan:
    """One leg: duty of the upper switch, far end of its inductor against the lower rail."""

    duty: Wave
    far: Wave  # [V]
    inductance: float  # [H]
    mean: float  # [A], mean current over the line cycle
    shift: float = 0.0  # of the carrier, in periods


@dataclasses.dataclass(frozen=True)
class LegTrace:
    """What one leg did."""

    upper: np.ndarray  # state of the upper switch in every stretch
    current: np.ndarray  # [A] at the nodes
    ends: np.ndarray  # [A] at the ends of the stretches
    i_rise: np.ndarray  # [A] when the upper switch turns on
    i_fall: np.ndarray  # [A] when it turns off
    rise: np.ndarray  # [s], when it turns on
    fall: np.ndarray  # [s]


@dataclasses.dataclass(frozen=True)
class Trace:
    """One line cycle."""

    time: np.ndarray  # [s], ends of the stretches
    nodes: np.ndarray  # [s]
    weights: np.ndarray  # share of the cycle
    legs: tuple[LegTrace, ...]

    def mean(self, x):
        """Mean over the line cycle of values at the nodes."""
        return float(np.sum(x * self.weights))

    def rms(self, x):
        return math.sqrt(self.mean(x * x))

    def swing(self, leg, periods):
        """Largest peak-to-peak value within a period, the fundamental taken off."""
        cycle = self.time[-1]
        ends = self.legs[leg].ends
        base = 2.0 * math.pi / cycle
        values = self.legs[leg].current
        smooth = self.mean(values) + 0.0 * self.time
        for h in range(1, 8):
            part = 2.0 * np.sum(values * self.weights * np.exp(-1j * h * base * self.nodes))
            smooth = smooth + np.real(part * np.exp(1j * h * base * self.time))
        rest = ends - smooth
        number = np.minimum((self.time / cycle * periods + 1e-9).astype(int), periods - 1)
        high, low = np.full(periods, -np.inf), np.full(periods, np.inf)
        np.maximum.at(high, number, rest)
        np.minimum.at(low, number, rest)
        return float(np.max(high - low))


def _edges(plan, period, periods):
    """Instants at which the upper switch turns on and off."""
    start = (np.arange(periods) + plan.shift) * period
    rise = fall = start + 0.5 * period
    for _ in range(60):
        rise = start + 0.5 * (1.0 - plan.duty(rise)) * period
        fall = start + 0.5 * (1.0 + plan.duty(fall)) * period
    return rise, fall


def simulate(plans, v_link: Wave, *, cycle: float, periods: int) -> Trace:
    """Return one line cycle of all legs on one link voltage."""
    period = cycle / periods
    edges = [_edges(plan, period, periods) for plan in plans]
    instants = np.unique(np.mod(np.concatenate([e for pair in edges for e in pair]), cycle))
    time = np.concatenate([[0.0], instants, [cycle]])
    time = time[np.concatenate([[True], np.diff(time) > 1e-14])]
    width = np.diff(time)
    nodes = time[:-1, None] + 0.5 * width[:, None] * (NODES + 1.0)
    weights = 0.5 * width[:, None] * WEIGHTS / cycle
    middle = 0.5 * (time[:-1] + time[1:])
    legs = tuple(
        _leg(plan, pair, v_link, grid=(time, nodes, width, middle), cycle=cycle)
        for plan, pair in zip(plans, edges, strict=True)
    )
    return Trace(time, nodes, weights, legs)


def _leg(plan, pair, v_link, *, grid, cycle):
    time, nodes, width, middle = grid
    rise, fall = pair
    upper = np.zeros_like(middle)
    for turn in (-cycle, 0.0, cycle):
        upper += np.searchsorted(rise + turn, middle) - np.searchsorted(fall + turn, middle)
    voltage = upper[:, None] * v_link(nodes) - plan.far(nodes)
    within = 0.5 * width[:, None] * (voltage @ PARTIAL.T)
    whole = 0.5 * width * (voltage @ WEIGHTS)
    ends = np.concatenate([[0.0], np.cumsum(whole)])
    # What sampling leaves of volt-seconds over a cycle would drift away; take it off.
    drift = ends[-1] / cycle
    linkage = ends[:-1, None] + within - drift * nodes
    current = linkage / plan.inductance
    shift = plan.mean - np.sum(current * 0.5 * width[:, None] * WEIGHTS) / cycle
    at_ends = (ends - drift * time) / plan.inductance + shift

    def at(instant):
        return np.interp(np.mod(instant, cycle), time, at_ends)

    return LegTrace(upper[:, None], current + shift, at_ends, at(rise), at(fall), rise, fall)
