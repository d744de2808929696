"""What all converters with a link share: their losses by place, and waves put into rows."""

import dataclasses
import math

import numpy as np

from models.ledger import Kind
from tests.whole.averaged import Grid

# Causes of loss that go by the square and by the size of the bridge's current; copper of
# chokes stands in the line as a resistance, and the rest does not move along the cycle.
SQUARE, LINEAR, LINE = "conduction", ("overlap", "recovery", "dead_time"), "copper_dc"


@dataclasses.dataclass(frozen=True)
class Lost:
    """Losses from link to grid [W], arrays (row,)."""

    line: np.ndarray
    bridge: tuple[np.ndarray, np.ndarray, np.ndarray]  # by i², by |i|, by neither
    link: np.ndarray

    @property
    def all(self):
        return self.line + sum(self.bridge) + self.link


def weighted(case):
    """Rows that count in the weighted efficiency."""
    return np.flatnonzero(case.points.weight[0, :, 0] > 0.0)


def at_rows(x, rows):
    """The one design's values at rows."""
    return np.broadcast_to(x, (1, max(x.shape[1], rows.max() + 1), x.shape[2]))[0, rows, 0]


def lost(item, rows, still=None):
    """Losses by where they arise and what they follow.

    ``still`` gives, by the beginning of a path, the share of a loss that goes by the square
    of a current which flows steadily beside the bridge's own.
    """
    entries = item.evaluation.ledger.of(Kind.LOSS)
    found = {entry.path: at_rows(entry.value, rows) for entry in entries}
    zero = np.zeros(len(rows))
    line, square, linear, constant, link = (zero.copy() for _ in range(5))
    for path, x in found.items():
        if path.startswith("link"):
            link += x
        if not path.startswith(("bridge.", "filter.")):
            continue
        steady = next((s for begin, s in (still or {}).items() if path.startswith(begin)), zero)
        cause = path.rpartition(".")[2]
        if cause not in (SQUARE, LINE, *LINEAR):
            steady = 1.0
        constant += steady * x
        rest = line if cause == LINE else linear if cause in LINEAR else square
        rest += (1.0 - steady) * x
    return Lost(line, (square, linear, constant), link)


def grid_of(item, side, rows, still=None):
    """The grid's side for the simulation, and the losses from link to grid, see ``lost``."""
    points, losses = item.case.points, lost(item, rows, still)
    grid = Grid(
        omega=side.omega[0, 0, 0],
        v=points.v_grid[0, rows, 0],
        p=points.p_ac[0, rows, 0],
        factor=points.power_factor[0, rows, 0],
        l_bridge=side.l_bridge.item(),
        l_grid=item.design.filter.inductance.item(),
        c=side.c.item(),
        r=losses.line / at_rows(side.i_grid, rows) ** 2,
    )
    return grid, losses


def filled(x, rows, n, wave):
    """An array (1, point, angle) with some rows replaced by ``wave`` (row, angle)."""
    found = np.array(np.broadcast_to(x, (1, n, wave.shape[1])))
    found[0, rows, :] = wave
    return found


def put(x, rows, n, value):
    """An array (1, point, 1) with some rows replaced by ``value`` (row,)."""
    found = np.array(np.broadcast_to(x, (1, n, 1)))
    found[0, rows, 0] = value
    return found


def rms(x):
    return np.sqrt(np.mean(x * x, axis=-1))


def side_again(side, waves, rows, n):
    """The grid's side with voltage, current and power of the simulation."""
    power = waves.u * waves.i
    mean = power.mean(axis=1)
    second = 2.0 * np.mean(power * np.exp(2j * waves.theta), axis=1)
    # From where the energy has its mean.
    taken = np.cumsum(mean[:, None] - power, axis=1) * (math.pi / power.shape[1])
    taken -= taken.mean(axis=1, keepdims=True)
    pulsation = dataclasses.replace(
        side.power,
        p=put(side.power.p, rows, n, mean),
        s_p=put(side.power.s_p, rows, n, np.abs(second)),
        cosine=put(side.power.cosine, rows, n, -np.real(second)),
        sine=put(side.power.sine, rows, n, np.imag(second)),
    )
    return dataclasses.replace(
        side,
        u=filled(side.u, rows, n, waves.u),
        i=filled(side.i, rows, n, waves.i),
        u_peak=put(side.u_peak, rows, n, math.sqrt(2.0) * rms(waves.u)),
        i_rms=put(side.i_rms, rows, n, rms(waves.i)),
        i_grid=put(side.i_grid, rows, n, waves.i_grid),
        power=pulsation,
        swing_sine=filled(side.swing_sine, rows, n, 2.0 * taken),
        swing_cosine=filled(side.swing_cosine, rows, n, mean[:, None] - power),
    )
