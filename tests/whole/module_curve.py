"""The module of a row by its single-diode curve, scaled to a maximum-power point."""

import dataclasses

import numpy as np

from models.module_view import module_views
from models.pv_module import _conditions

LABORATORY_C = 25.0


@dataclasses.dataclass(frozen=True)
class Curve:
    """Current over voltage."""

    v: np.ndarray  # [V], rising
    i: np.ndarray  # [A]

    def current(self, v):
        return np.interp(v, self.v, self.i)

    def power(self, v):
        return v * self.current(v)


def curve(case, row, v_mp, p_mp):
    """Curve of a weighted row's sun, its maximum moved to ``v_mp`` and ``p_mp``.

    Scaling both axes keeps the curvature at the maximum.
    """
    diode = module_views(case.spec)[0].diode
    sun, cell = np.array([case.points.irradiance[0, row, 0]]), np.array([LABORATORY_C])
    i_light, i_0, r_s, r_sh, a = (float(x[0]) for x in _conditions(diode, sun, cell))
    junction = np.linspace(0.0, a * np.log1p(i_light / i_0), 20001)
    i = i_light - i_0 * np.expm1(junction / a) - junction / r_sh
    v = junction - i * r_s
    best = int(np.argmax(v * i))
    return Curve(v * (v_mp / v[best]), i * (p_mp / v_mp / i[best]))
