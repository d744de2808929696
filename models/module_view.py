"""The voltages at which a converter sees each module of a specification."""

from __future__ import annotations

import dataclasses
import functools

import numpy as np

from models.pv_module import (
    STC_C,
    STC_W_M2,
    PowerPoint,
    SingleDiode,
    power_point,
    single_diode,
)
from models.spec import ComplaintError, Module, Specification

# Conditions that span the window of a module's maximum-power voltage.
WINDOW_CELL_C = np.linspace(-10.0, 70.0, 9)
WINDOW_W_M2 = np.linspace(200.0, 1100.0, 10)


@dataclasses.dataclass(frozen=True)
class ModuleView:
    """What the operating points need of one module."""

    label: str
    diode: SingleDiode
    v_nominal: float  # at maximum power, 1000 W/m², 25 °C [V]
    p_nominal: float  # [W]
    v_low: float  # lowest voltage at maximum power [V]
    v_high: float  # highest [V]
    v_cold: float  # open circuit, full sun, record cold [V]

    def at(self, irradiance: float, cell: float) -> PowerPoint:
        """Return the maximum-power point at one irradiance [W/m²] and cell temperature [°C]."""
        return power_point(self.diode, np.array([float(irradiance)]), np.array([float(cell)]))


def module_views(spec: Specification) -> tuple[ModuleView, ...]:
    """Return every module of the specification with its voltages.

    Raises
    ------
    ComplaintError
        If a module is not in the list or no curve fits it; the key begins with
        ``module.`` and its number from zero.
    """
    views = []
    for i, module in enumerate(spec.module):
        try:
            label = module.name or f"module {i + 1}"
            views.append(module_view(module, label, spec.roof.record_cold_c))
        except ComplaintError as c:
            raise ComplaintError(f"module.{i}.{c.key}", c.message, c.remedy) from None
    return tuple(views)


# Asked for at every step from a specification to its candidates; six variants took 3.7 s of
# processor time without.
@functools.lru_cache(maxsize=64)
def module_view(module: Module, label: str, record_cold: float) -> ModuleView:
    """Return one module with its voltages.

    Parameters
    ----------
    module : Module
        Its section of the specification.
    label : str
        How to call it.
    record_cold : float
        Coldest cell in full sun [°C].
    """
    diode = single_diode(module)
    warm, bright = np.meshgrid(WINDOW_CELL_C, WINDOW_W_M2)
    window = power_point(diode, bright.ravel(), warm.ravel()).v_mp
    low, high = module.window_v or (float(window.min()), float(window.max()))
    points = power_point(diode, np.array([STC_W_M2, STC_W_M2]), np.array([STC_C, record_cold]))
    return ModuleView(
        label,
        diode,
        v_nominal=float(points.v_mp[0]),
        p_nominal=float(points.p_mp[0]),
        v_low=low,
        v_high=high,
        v_cold=float(points.v_oc[1]),
    )


def module_window(spec: Specification) -> tuple[float, float]:
    """Return the lowest and highest maximum-power voltage of all modules [V]."""
    views = module_views(spec)
    return min(v.v_low for v in views), max(v.v_high for v in views)
