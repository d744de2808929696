"""What a topology is: a design class, the wiring, and what the engineer must know of it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import numpy as np

from models.axes import Array
from models.case import Case
from models.physics.control import Loop
from models.settle import Settled
from models.spec import Specification


@dataclasses.dataclass(frozen=True)
class Wave:
    """A waveform over the line cycle of one design at one operating point."""

    name: str
    unit: str
    angle: Array  # [rad], one axis
    value: Array  # one axis
    # True for a voltage across a capacitor: its line spectrum belongs on the sheet.
    capacitor: bool = False

    def spectrum(self, count: int = 6) -> tuple[float, ...]:
        """Return amplitudes at 2, 4, … 2·count times line frequency, in the wave's unit.

        The wave must cover the whole line cycle, or half of it where it repeats.
        """
        amplitudes = 2.0 * np.abs(np.fft.rfft(self.value)) / self.value.size
        step = 1 if self.angle[-1] < np.pi else 2
        picked = [k * step for k in range(1, count + 1)]
        return tuple(float(amplitudes[k]) if k < amplitudes.size else 0.0 for k in picked)


@dataclasses.dataclass(frozen=True)
class Detail:
    """What only the sheet of one design shows."""

    waves: tuple[Wave, ...]
    loops: tuple[Loop, ...]
    protections: tuple[str, ...]
    checks: tuple[str, ...]


@dataclasses.dataclass(frozen=True)
class Topology:
    """A candidate: everything about it that is not in its stages."""

    name: str
    title: str
    tag: str  # short, for legends
    source: str
    diagram: str
    isolated: bool
    decoupling: str
    common_mode: str
    design: type
    place: Callable[[Any, Case], Settled]
    detail: Callable[[Any, Settled, Case], Detail]
    # Module voltages at maximum power [V] between which its models were checked.
    module_window: tuple[float, float]
    # Further reasons, in trade words with both numbers, why it cannot serve a specification.
    refusals: Callable[[Specification], tuple[str, ...]]
