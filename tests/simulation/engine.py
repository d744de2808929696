"""The matrices and the time stepping behind ``tests.simulation.netlist``."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

R_OFF = 1e7  # [Ω]
# After a change; the second finds the current of an inductor that a diode has opened at
# rest, without which the trapezoidal rule would alternate its voltage for ever.
EULER_STEPS = 2
TOLERANCE = 1e-6  # [V], [A]: a diode changes state only beyond it

Gates = Mapping[str, Sequence[tuple[float, float]]]
Matrix = np.ndarray
States = tuple[bool, ...]


@dataclasses.dataclass(frozen=True)
class Element:
    """One branch between two nodes; the value in SI."""

    kind: str
    name: str
    a: int
    b: int
    value: float


class Instant(NamedTuple):
    """What one time step leaves behind."""

    dt: float
    unknowns: Matrix
    history: Matrix
    switches: States
    diodes: States


class Engine:
    """The netlist as matrices: history (iL, vC, vL, iC, source) → unknowns → history."""

    def __init__(
        self,
        elements: Sequence[Element],
        mutual: Sequence[tuple[str, str, float]],
        *,
        nodes: int,
        period: float,
        gates: Gates,
        steps: int,
    ) -> None:
        self.period, self.count = period, nodes
        self.r, self.l, self.c, self.v, self.s, self.d = (
            [e for e in elements if e.kind == kind] for kind in "RLCVSD"
        )
        self.size = self.count + len(self.l) + len(self.v)
        self.states = len(self.l) + len(self.c)
        self.inductance = np.diag([e.value for e in self.l]) if self.l else np.zeros((0, 0))
        number = {e.name: i for i, e in enumerate(self.l)}
        for first, second, henry in mutual:
            i, j = number[first], number[second]
            self.inductance[i, j] = self.inductance[j, i] = henry
        self.sources = np.array([e.value for e in self.v])
        self.farads = np.diag([e.value for e in self.c]) if self.c else np.zeros((0, 0))
        self.at_l, self.at_c = self.incidence(self.l), self.incidence(self.c)
        self.at_v, self.at_d = self.incidence(self.v), self.incidence(self.d)
        self.segments = self._grid(gates, steps)
        self.cache: dict[tuple[object, ...], tuple[Matrix, Matrix]] = {}

    def incidence(self, elements: Sequence[Element]) -> Matrix:
        """Return rows that take an element's voltage out of the unknowns."""
        rows = np.zeros((len(elements), self.size))
        for row, element in zip(rows, elements, strict=True):
            if element.a >= 0:
                row[element.a] += 1.0
            if element.b >= 0:
                row[element.b] -= 1.0
        return rows

    def _grid(self, gates: Gates, steps: int) -> list[tuple[float, int, States]]:
        """Return (time step, number of steps, state of every switch) between gate edges."""
        unknown = set(gates) - {e.name for e in self.s}
        if unknown:
            raise ValueError(f"gates for what is no switch: {sorted(unknown)}")
        edges = sorted({t % 1.0 for pulses in gates.values() for p in pulses for t in p})
        marks = [0.0, *(t for t in edges if 1e-9 < t < 1.0 - 1e-9), 1.0]
        kept = [b for a, b in zip([-1.0, *marks], marks, strict=False) if b - a > 1e-9]
        segments = []
        for a, b in itertools.pairwise(kept):
            middle = 0.5 * (a + b)
            state = tuple(
                any((middle - on) % 1.0 < off - on for on, off in gates.get(e.name, ()))
                for e in self.s
            )
            count = max(6, math.ceil((b - a) * steps))
            segments.append(((b - a) * self.period / count, count, state))
        return segments

    def _step(
        self, switches: States, diodes: States, dt: float, euler: bool
    ) -> tuple[Matrix, Matrix]:
        """Return history → unknowns and history → next history."""
        key = (switches, diodes, dt, euler)
        if key not in self.cache:
            self.cache[key] = self._matrices(switches, diodes, 1 / dt if euler else 2 / dt, euler)
        return self.cache[key]

    def _matrices(
        self, switches: States, diodes: States, rate: float, euler: bool
    ) -> tuple[Matrix, Matrix]:
        nodes, nl, nc, nv = self.count, len(self.l), len(self.c), len(self.v)
        currents = slice(nodes, nodes + nl)
        left = self.at_c.T @ (rate * self.farads) @ self.at_c
        closed = [*(True for _ in self.r), *switches, *diodes]
        branches = [*self.r, *self.s, *self.d]
        for row, element, on in zip(self.incidence(branches), branches, closed, strict=True):
            left += np.outer(row, row) / (element.value if on else R_OFF)
        left[:, currents] += self.at_l.T
        left[currents, :] += self.at_l
        left[currents, currents] -= rate * self.inductance
        left[:, nodes + nl :] += self.at_v.T
        left[nodes + nl :, :] += self.at_v
        right = np.zeros((self.size, 2 * (nl + nc) + nv))
        i_l, v_c, v_l, i_c, src = np.split(np.arange(right.shape[1]), np.cumsum([nl, nc, nl, nc]))
        trapezoid = 0.0 if euler else 1.0
        right[:, v_c] = self.at_c.T @ (rate * self.farads)
        right[:, i_c] = trapezoid * self.at_c.T
        right[currents, i_l] = -rate * self.inductance
        right[currents, v_l] = -trapezoid * np.eye(nl)
        right[nodes + nl :, src] = np.eye(nv)
        solve = np.linalg.solve(left, right)
        after = np.zeros((right.shape[1], right.shape[1]))
        after[i_l], after[v_c], after[v_l] = solve[currents], self.at_c @ solve, self.at_l @ solve
        after[i_c] = rate * self.farads @ (self.at_c @ solve)
        after[np.ix_(i_c, v_c)] -= rate * self.farads
        after[np.ix_(i_c, i_c)] -= trapezoid * np.eye(nc)
        after[np.ix_(src, src)] = np.eye(nv)
        return solve, after

    def _wrong(self, unknowns: Matrix, diodes: States) -> int:
        """Return the diode whose state contradicts the solution most, or −1."""
        volts = self.at_d @ unknowns
        values = np.array([e.value for e in self.d])
        on = np.array(diodes)
        worst = np.where(on, -volts / values, 1e3 * volts * (volts > TOLERANCE))
        return int(np.argmax(worst)) if worst.max() > TOLERANCE else -1

    def period_from(
        self, state: Matrix, diodes: States, record: list[Instant] | None
    ) -> tuple[Matrix, Matrix, States]:
        """Return the state after one period, its derivative, and the diodes' states."""
        history = np.concatenate([state, np.zeros(self.states), self.sources])
        tangent = np.eye(len(history))[:, : self.states]
        for dt, count, switches in self.segments:
            euler = EULER_STEPS
            for _ in range(count):
                for _ in range(4 * len(self.d) + 1):
                    solve, after = self._step(switches, diodes, dt, euler > 0)
                    unknowns = solve @ history
                    wrong = self._wrong(unknowns, diodes) if self.d else -1
                    if wrong < 0:
                        break
                    diodes = tuple(on != (i == wrong) for i, on in enumerate(diodes))
                    euler = EULER_STEPS
                else:
                    raise RuntimeError("the diodes find no consistent state")
                history, tangent = after @ history, after @ tangent
                if record is not None:
                    record.append(Instant(dt, unknowns, history, switches, diodes))
                euler = max(euler - 1, 0)
        return history[: self.states], tangent[: self.states], diodes
