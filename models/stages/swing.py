"""Averages and extremes over the nodes of the link's swing (``axes.swing_nodes``)."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence

from models.axes import ANGLE, Array, array_namespace

RESTING = 1e-9  # weight of a node at which the stage does not run [1]


def node_mean(x: Array) -> Array:
    """Return the mean over the nodes of the swing; as a product it takes a fifth of the time."""
    xp = array_namespace(x)
    count = x.shape[ANGLE]
    return x if count == 1 else xp.matmul(x, xp.full((count, 1), 1.0 / count))


def node_max(x: Array) -> Array:
    """Return the largest value over the nodes of the swing."""
    return largest([x[:, :, i : i + 1] for i in range(x.shape[ANGLE])])


def node_min(x: Array) -> Array:
    """Return the smallest value over the nodes of the swing."""
    return smallest([x[:, :, i : i + 1] for i in range(x.shape[ANGLE])])


def largest(values: Sequence[Array]) -> Array:
    """Return the largest of several arrays, element by element."""
    return functools.reduce(array_namespace(values[0]).maximum, values)


def smallest(values: Sequence[Array]) -> Array:
    """Return the smallest of several arrays, element by element."""
    return functools.reduce(array_namespace(values[0]).minimum, values)


def total(values: Sequence[Array]) -> Array:
    """Return the sum of several arrays."""
    return sum(values[1:], start=values[0])


def beyond(x: Array) -> float:
    """Return by how much the ends of the swing lie beyond its outer nodes [half range]."""
    return 1.0 / math.cos(0.5 * math.pi / x.shape[ANGLE]) - 1.0 if x.shape[ANGLE] > 1 else 0.0


def highest(x: Array) -> Array:
    """Return the value at the end of the swing where it is largest, taken as straight."""
    top = node_max(x)
    return top + 0.5 * beyond(x) * (top - node_min(x)) if x.shape[ANGLE] > 1 else top


def lowest(x: Array) -> Array:
    """Return the value at the end of the swing where it is smallest, taken as straight."""
    return -highest(-x)


def link_ends(v: Array) -> tuple[Array, Array]:
    """Return the least and the largest voltage of a link; exact, its square is straight [V]."""
    xp = array_namespace(v)
    square = v * v
    return xp.sqrt(xp.maximum(lowest(square), 0.0)), xp.sqrt(highest(square))


class Nodes:
    """Averages over the nodes of the swing, by time and by running time."""

    def __init__(self, active: Array) -> None:
        self.share = active
        self.active = node_mean(active)
        weight = active + RESTING
        self.weight = weight / node_mean(weight)

    def time(self, x: Array) -> Array:
        """Return the average over time, pauses included as zero."""
        return node_mean(self.share * x)

    def running(self, x: Array) -> Array:
        """Return the average while the stage runs."""
        return node_mean(self.weight * x)

    def running_rms(self, x: Array) -> Array:
        """Return the root mean square while the stage runs."""
        return array_namespace(x).sqrt(node_mean(self.weight * x * x))
