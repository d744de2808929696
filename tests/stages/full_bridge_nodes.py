"""The floating nodes of full bridges with the nonlinear charges of all devices around them."""

import numpy as np
from scipy.integrate import solve_ivp

from models.parts import switch
from tests.stages.full_bridge_cases import Stage
from tests.stages.grid_cases import transistor

DEVICES = {
    "ac": {"diagonal": transistor(r_on=75e-3), "pair": transistor("SiC 650 V class", 60e-3)},
    "dc": {
        "upper": transistor("SiC 650 V class", 60e-3),
        "lower": transistor(r_on=75e-3),
        "bypass": transistor(r_on=120e-3),
    },
}
# Which device stands where: first node to P and N, second node to P and N, between them.
PLACES = {
    "bipolar": ("switch", "switch", "switch", "switch", None),
    "unipolar": ("switch", "switch", "switch", "switch", None),
    "ac": ("diagonal", "diagonal", "diagonal", "diagonal", "pair"),
    "dc": ("bypass", "lower", None, "lower", "upper"),
}
R_CHANNEL = 5.0  # [Ω]; the energy does not depend on it


def made(kind, point):
    return Stage(kind, point, **DEVICES[kind], ratio=1.25)


def capacitance(charge, v):
    """Slope of the charge of a device [F]."""
    v = np.maximum(v, 1e-3)
    a, q, v_ref = charge.a.item(), charge.q_ref.item(), charge.v_ref.item()
    return a * q / v_ref * (v / v_ref) ** (a - 1.0) + charge.extra


class Nodes:
    """Both floating nodes with the capacitances of all devices around them."""

    def __init__(self, kind, stage):
        case = stage.case
        self.v = stage.link.v_rms.item()
        self.charges = [
            switch.device(getattr(stage.design, name), case).charge if name else None
            for name in PLACES[kind]
        ]

    def _currents(self, x, b, into):
        """Slopes of both nodes for given currents into them."""
        v = self.v
        across = (v - x, x, v - b, b, abs(x - b))
        c = [capacitance(q, u) if q else 0.0 for q, u in zip(self.charges, across, strict=True)]
        matrix = np.array([[c[0] + c[1] + c[4], -c[4]], [-c[4], c[2] + c[3] + c[4]]])
        return np.linalg.solve(matrix, into)

    def settled(self, current=3.0):
        """Voltage at which both nodes meet when a stiff current ends a pulse."""

        def meet(_, y):
            return y[0] - y[1]

        meet.terminal = True
        ran = solve_ivp(
            lambda _, y: self._currents(y[0], y[1], [-current, current]),
            (0.0, 1e-6), [self.v, 0.0], events=meet, rtol=1e-7, atol=1e-4,
        )  # fmt: skip
        self.time = ran.t[-1]
        return ran.y[0, -1]

    def charge(self, current=3.0):
        """Charge that the choke's current takes to bring the nodes together [C]."""
        self.settled(current)
        return current * self.time

    def burnt(self, start, channels):
        """Energy in ``channels``: from P to the first node, from the second to N, between."""

        def slopes(_, y):
            x, b = y[0], y[1]
            i = [on / R_CHANNEL * u
                 for on, u in zip(channels, (self.v - x, b, x - b), strict=True)]  # fmt: skip
            return [
                *self._currents(x, b, [i[0] - i[2], i[2] - i[1]]),
                sum(R_CHANNEL * j * j for j in i),
            ]

        ran = solve_ivp(
            slopes, (0.0, 4e-7), [*start, 0.0], rtol=1e-7, atol=[1e-4, 1e-4, 1e-14],
            method="LSODA",
        )  # fmt: skip
        return ran.y[2, -1]

    def drifted(self, start, i, *, u, inductance, time, held=False):
        """Voltages of both nodes after a dead time in which the choke alone moves them.

        ``held`` keeps the second node at its rail; a node that reaches a rail stays there.
        """

        def slopes(_, y):
            x, b = y[0], y[1]
            moving = self._currents(x, b, [-y[2], y[2]])
            if held:
                c = [capacitance(q, d) for q, d in zip(self.charges[:2], (self.v - x, x),
                                                       strict=True)]  # fmt: skip
                moving = [-y[2] / sum(c), 0.0]
            return [*moving, (x - b - u) / inductance]

        def rail(_, y):
            return min(self.v - y[0], y[0] + 1e-3)

        def meet(_, y):
            return y[0] - y[1] + 1e-3

        rail.terminal, rail.direction = True, -1.0
        meet.terminal, meet.direction = start[0] > start[1], -1.0
        ran = solve_ivp(
            slopes, (0.0, time), [*start, i], events=[rail, meet], rtol=1e-7, atol=1e-6
        )
        return ran.y[0, -1], ran.y[1, -1]
