"""A switched circuit given as a netlist, simulated in time to its periodic steady state.

Nothing of any closed form enters: elements, connections and gate times are all it
knows.  Switches and diodes are resistors of two values.  Time steps by the trapezoidal
rule, with two backward-Euler steps after every change of a switch or diode, which kill
the rule's ringing; gate edges fall on the time grid, diode edges within one step.  The
steady state is found by shooting (Newton's method on the map over one period, whose
derivative is carried along with the solution)::

    boost = Netlist()
    boost.source("in", "a", "0", 20.0)
    boost.inductor("l", "a", "s", 100e-6)
    boost.switch("q", "s", "0")
    boost.diode("d", "s", "o")                   # anode, cathode
    boost.capacitor("c", "o", "0", 100e-6)
    boost.resistor("load", "o", "0", 40.0)
    waves = steady_state(boost, period=1e-5, gates={"q": [(0.0, 0.5)]}, start={"c": 40.0})
    waves.rms("i:q"), waves.mean("v:o"), waves.peak("v:q"), waves.before("i:q", 0.5)

Node "0" is ground.  Gates are (on, off) in fractions of the period and may run past 1.
``start`` gives capacitor voltages and inductor currents by element name; absent means
zero.  Waves are named ``i:element`` and ``v:element`` (from its first to its second
node) and ``v:node`` (elements and nodes therefore need different names).  A source's
current is positive out of its first node.  The second inductor of a pair is coupled by
``couple("l1", "l2", mutual)``, first nodes dotted.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping

import numpy as np

from tests.simulation.engine import R_OFF, Element, Engine, Gates, Instant, Matrix

R_ON = 1e-4  # [Ω]
SETTLED = 1e-7  # relative change over a period that counts as steady
WANDERS = 2e-3  # … that is accepted after the last Newton step: below what tests compare


class Netlist:
    """Elements and the nodes between them; ground is number −1 and has no equation."""

    def __init__(self) -> None:
        self.nodes: dict[str, int] = {"0": -1}
        self.elements: list[Element] = []
        self.mutual: list[tuple[str, str, float]] = []

    def _add(self, kind: str, name: str, a: str, b: str, value: float) -> None:
        for node in (a, b):
            self.nodes.setdefault(node, len(self.nodes) - 1)
        self.elements.append(Element(kind, name, self.nodes[a], self.nodes[b], value))

    def resistor(self, name: str, a: str, b: str, ohms: float) -> None:
        """Add a resistor."""
        self._add("R", name, a, b, ohms)

    def inductor(self, name: str, a: str, b: str, henry: float) -> None:
        """Add an inductor."""
        self._add("L", name, a, b, henry)

    def couple(self, first: str, second: str, henry: float) -> None:
        """Couple two inductors by a mutual inductance."""
        self.mutual.append((first, second, henry))

    def capacitor(self, name: str, a: str, b: str, farad: float) -> None:
        """Add a capacitor."""
        self._add("C", name, a, b, farad)

    def source(self, name: str, a: str, b: str, volt: float) -> None:
        """Add a constant voltage source, positive at its first node."""
        self._add("V", name, a, b, volt)

    def switch(self, name: str, a: str, b: str, r_on: float = R_ON) -> None:
        """Add a gated switch, which conducts both ways while it is on."""
        self._add("S", name, a, b, r_on)

    def diode(self, name: str, anode: str, cathode: str, r_on: float = R_ON) -> None:
        """Add a diode without threshold voltage."""
        self._add("D", name, anode, cathode, r_on)


@dataclasses.dataclass(frozen=True)
class Waves:
    """One period: ``step`` are the shares of the period, values stand at their ends."""

    step: Matrix
    value: Mapping[str, Matrix]

    def mean(self, name: str) -> float:
        """Return the average over the period."""
        return float(self.step @ self.value[name])

    def rms(self, name: str) -> float:
        """Return the root mean square."""
        return math.sqrt(float(self.step @ self.value[name] ** 2))

    def ripple_rms(self, name: str) -> float:
        """Return the root mean square about the average."""
        return math.sqrt(max(self.rms(name) ** 2 - self.mean(name) ** 2, 0.0))

    def peak(self, name: str) -> float:
        """Return the largest value."""
        return float(self.value[name].max())

    def valley(self, name: str) -> float:
        """Return the smallest value."""
        return float(self.value[name].min())

    def swing(self, name: str) -> float:
        """Return the value peak to peak."""
        return self.peak(name) - self.valley(name)

    def before(self, name: str, time: float) -> float:
        """Return the value at the end of the step that ends at ``time`` (share of T)."""
        wanted = time % 1.0 or 1.0
        ends = np.cumsum(self.step)
        return float(self.value[name][int(np.argmin(abs(ends - wanted)))])

    def after(self, name: str, time: float) -> float:
        """Return the value at the end of the step that begins at ``time`` (share of T)."""
        starts = np.cumsum(self.step) - self.step
        return float(self.value[name][int(np.argmin(abs(starts - time % 1.0)))])

    def product(self, first: str, second: str) -> float:
        """Return the average of the product of two waves, such as a power."""
        return float(self.step @ (self.value[first] * self.value[second]))


def _waves(net: Netlist, engine: Engine, record: list[Instant]) -> Waves:
    """Return what was recorded, by name."""
    dts, unknowns, histories, switches, diodes = (np.array(x) for x in zip(*record, strict=True))
    value = {f"v:{n}": unknowns[:, i] for n, i in net.nodes.items() if i >= 0}
    volts = unknowns @ engine.incidence(net.elements).T
    value |= {f"v:{e.name}": volts[:, k] for k, e in enumerate(net.elements)}
    for k, e in enumerate(engine.l):
        value[f"i:{e.name}"] = unknowns[:, engine.count + k]
    for k, e in enumerate(engine.v):
        value[f"i:{e.name}"] = -unknowns[:, engine.count + len(engine.l) + k]
    for k, e in enumerate(engine.c):
        value[f"i:{e.name}"] = histories[:, engine.states + len(engine.l) + k]
    for group, states in ((engine.s, switches), (engine.d, diodes)):
        for k, e in enumerate(group):
            ohms = np.where(states[:, k], e.value, R_OFF)
            value[f"i:{e.name}"] = value[f"v:{e.name}"] / ohms
    for e in engine.r:
        value[f"i:{e.name}"] = value[f"v:{e.name}"] / e.value
    return Waves(dts / engine.period, value)


def steady_state(
    net: Netlist,
    *,
    period: float,
    gates: Gates,
    start: Mapping[str, float] | None = None,
    steps: int = 3000,
    warm: int = 5,
    iterations: int = 20,
) -> Waves:
    """Return one period [s] of the circuit in its periodic steady state.

    ``warm`` periods are run first so that the diodes fall into their order.

    Raises
    ------
    RuntimeError
        If shooting does not settle: the circuit has no such state, or diodes chatter.
    """
    engine = Engine(
        net.elements,
        net.mutual,
        nodes=len(net.nodes) - 1,
        period=period,
        gates=gates,
        steps=steps,
    )
    names = [e.name for e in (*engine.l, *engine.c)]
    unknown = set(start or {}) - set(names)
    if unknown:
        raise ValueError(f"start values for what stores nothing: {sorted(unknown)}")
    state = np.array([(start or {}).get(name, 0.0) for name in names], dtype=float)
    diodes = tuple(False for _ in engine.d)
    for _ in range(warm):
        state, _, diodes = engine.period_from(state, diodes, None)
    for turn in range(iterations):
        end, tangent, after = engine.period_from(state, diodes, None)
        change = np.max(abs(end - state) / (abs(state) + 1.0))
        # Diodes turn at steps of time: some circuits wander by the last step for ever.
        if change < (SETTLED if turn < iterations - 1 else WANDERS):
            record: list[Instant] = []
            engine.period_from(state, diodes, record)
            return _waves(net, engine, record)
        jacobian = tangent - np.eye(len(state))
        state = state + np.linalg.lstsq(jacobian, state - end, rcond=1e-12)[0]
        # One period past the Newton step lets the diodes find their order again.
        state, _, diodes = engine.period_from(state, after, None)
    raise RuntimeError(f"not periodic after {iterations} iterations")
