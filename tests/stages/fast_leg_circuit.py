"""Triangular current mode in time: one period after another, the node's arcs step by step.

A control that knows the mean current, the valley's law and the bounds of the frequency
finds valley and peak by trial; nothing here knows a closed form of the stage under test.
Power may flow either way; waves are told as they are, not folded.
"""

import dataclasses
import math

import numpy as np

STEP = 0.5e-9  # [s]
STEPS = 4000


@dataclasses.dataclass(frozen=True)
class Plant:
    """Circuit at many angles at once; u and v are arrays, i is the wanted mean."""

    u: np.ndarray  # [V], far end of the choke above the lower rail, 0 … v
    i: np.ndarray  # [A], out of the node, zero or above
    v: np.ndarray  # [V]
    inductance: float
    capacitance: object  # [F], of the node, of its voltage and v
    reverse: np.ndarray  # [A], wanted at the valley
    f_low: float
    f_high: float


@dataclasses.dataclass(frozen=True)
class Periods:
    """What one period does at every angle."""

    period: np.ndarray  # [s]
    charge: np.ndarray  # [A·s] through the choke
    square: np.ndarray  # [A²·s]
    upper: np.ndarray  # [A²·s]
    lower: np.ndarray
    corners: np.ndarray  # [s], [A]: times and currents of the five corners, (2, 5, angles)
    left: np.ndarray  # [V] across the upper switch when it turns on


def _swing(plant, i, *, up):
    """The node from one rail towards the other, until it arrives or the current is gone."""
    v, u = plant.v, plant.u
    node = np.zeros_like(v) if up else v.copy()
    i, time = i.copy(), np.zeros_like(v)
    charge, square = np.zeros_like(v), np.zeros_like(v)
    runs = i < 0.0 if up else i > 0.0
    for _ in range(STEPS):
        if not runs.any():
            break
        # Midpoint rule; the last step is cut where the node arrives.
        slope_i = (node - u) / plant.inductance
        middle = i + 0.5 * STEP * slope_i
        rate = -middle / plant.capacitance(np.clip(node, 0.0, v), v)
        goal = v if up else 0.0 * v
        with np.errstate(divide="ignore", invalid="ignore"):
            needed = np.where(rate == 0.0, STEP, (goal - node) / rate)
            ends = np.where(slope_i == 0.0, STEP, -i / slope_i)
        arrives = (needed >= 0.0) & (needed <= STEP)
        stops = (ends >= 0.0) & (ends <= STEP)
        step = np.where(arrives, needed, np.where(stops, ends, STEP)) * runs
        moved = node + step * rate
        after = i + step * ((0.5 * (node + moved)) - u) / plant.inductance
        charge += step * 0.5 * (i + after)
        square += step * (i * i + i * after + after * after) / 3.0
        time += step
        node, i = np.where(runs, moved, node), np.where(runs, after, i)
        runs = runs & ~arrives & ~stops
    return node, i, time, charge, square


def periods(plant, valley, peak):
    """One period between two currents at every angle."""
    node, start, t_rise, q_rise, s_rise = _swing(plant, valley, up=True)
    left = np.where(valley < 0.0, plant.v - node, plant.v)
    t_up = plant.inductance * (peak - start) / (plant.v - plant.u)
    _, end, t_fall, q_fall, s_fall = _swing(plant, peak, up=False)
    t_down = plant.inductance * (end - valley) / plant.u
    upper = t_up * (start**2 + start * peak + peak**2) / 3.0
    lower = t_down * (end**2 + end * valley + valley**2) / 3.0
    time = np.cumsum([0.0 * t_up, t_rise, t_up, t_fall, t_down], axis=0)
    return Periods(
        period=time[-1],
        charge=q_rise + 0.5 * t_up * (start + peak) + q_fall + 0.5 * t_down * (end + valley),
        square=s_rise + upper + s_fall + lower,
        upper=upper,
        lower=lower,
        corners=np.array([time, [valley, start, peak, end, valley]]),
        left=left,
    )


def controlled(plant):
    """Periods whose mean is the wanted current, and valley and peak."""
    slope = plant.u * (plant.v - plant.u) / (plant.v * plant.inductance)
    wide = np.clip(2.0 * (plant.i + plant.reverse), slope / plant.f_high, slope / plant.f_low)
    guess = plant.i - 0.5 * wide, plant.i + 0.5 * wide
    asked = _solved(plant, np.full(len(plant.i), np.nan), *guess)
    f = 1.0 / asked[0].period
    bound = np.where(
        f > plant.f_high, plant.f_high, np.where(f < plant.f_low, plant.f_low, np.nan)
    )
    x, valley, peak = _solved(plant, bound, *guess)
    # Between a node that swings by itself and a hard turn-on no period has the bound's
    # frequency: there the valley stays next to zero.
    between = np.abs(x.charge / x.period - plant.i) > 1e-3
    if not between.any():
        return x, valley, peak
    still = dataclasses.replace(plant, reverse=np.where(between, 1e-3, plant.reverse))
    return _solved(still, np.where(between, np.nan, bound), np.where(between, 0.0, valley), peak)


def _solved(plant, bound, valley, peak):
    """Newton's steps on valley and peak; ``bound`` is a frequency to hold, where there is one."""
    free = np.isnan(bound)
    valley = np.where(free, np.minimum(-plant.reverse, valley), valley)
    held = np.where(free, 1.0, bound)

    def wrong(low, high):
        x = periods(plant, low, high)
        other = np.where(free, low + plant.reverse, (1.0 / x.period / held - 1.0) * (high - low))
        return x, np.array([x.charge / x.period - plant.i, other])

    for _ in range(12):
        x, error = wrong(valley, peak)
        if np.max(np.abs(error)) < 2e-5:
            break
        d = 1e-3
        by_low = (wrong(valley + d, peak)[1] - error) / d
        by_high = (wrong(valley, peak + d)[1] - error) / d
        det = by_low[0] * by_high[1] - by_low[1] * by_high[0]
        valley = valley - (error[0] * by_high[1] - error[1] * by_high[0]) / det
        peak = peak - (by_low[0] * error[1] - by_low[1] * error[0]) / det
    return x, valley, peak


def harmonics(x, count):
    """Squared rms values of the harmonics of each period, arcs as straight lines."""
    time, current = x.corners
    share = time / x.period
    found = []
    for n in range(1, count + 1):
        turn = 2j * math.pi * n
        total = 0.0
        for k in range(4):
            width = share[k + 1] - share[k]
            safe = np.where(width > 0.0, width, 1.0)
            slope = np.where(width > 0.0, (current[k + 1] - current[k]) / safe, 0.0)
            # A line's integral by parts: ends over the turn, slopes over its square.
            first, last = np.exp(-turn * share[k]), np.exp(-turn * share[k + 1])
            total = total + (current[k] * first - current[k + 1] * last * (width > 0.0)) / turn
            total = total + slope * (first - last) / turn**2
            total = total - np.where(width > 0.0, 0.0, current[k] * first / turn)
        found.append(2.0 * np.abs(total) ** 2)
    return found
