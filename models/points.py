"""Operating points: what every design is evaluated at.

One table serves objectives (weights), limits (every row) and life (hours).  It is made
from the specification by ``models.spec``; here is only its shape.
"""

from __future__ import annotations

import dataclasses
import enum

from models.axes import Array


class Purpose(enum.Enum):
    """Why a row is in the table."""

    WEIGHTED = "weighted"  # counts in the weighted efficiency
    CORNER = "corner"  # full power at an edge of the window: limits
    HOT = "hot"  # hottest roof, with the derating slope
    IDLE = "idle"  # record-cold open-circuit voltage, 1.2 pu grid, no power
    REJECTION = "rejection"  # grid lost at full power
    CLIMATE = "climate"  # one bin of the year: hours


@dataclasses.dataclass(frozen=True)
class OperatingPoints:
    """The rows; every array has shape (1, rows, 1) and SI units (°C for temperatures)."""

    label: tuple[str, ...]
    purpose: tuple[Purpose, ...]
    v_pv: Array  # module voltage [V]
    p_ac: Array  # active power into the grid [W]; 0 in an idle row
    v_grid: Array  # rms grid voltage [V]
    f_grid: Array  # grid frequency [Hz]
    power_factor: Array  # [1], positive lagging, negative leading
    t_air: Array  # air around the box [°C]
    t_module: Array  # back of the module that the box faces [°C]
    irradiance: Array  # [W/m²]
    kappa: Array  # curvature κ of the module's power at its maximum [1]
    weight: Array  # share in the weighted efficiency; sums to 1
    hours: Array  # hours per year; sums to 8760 over the climate rows
    v_nominal: Array  # nominal grid voltage of the row's grid [V]
    rejection: Array  # 1 in load-rejection rows, else 0
    thermal: Array  # 1 where temperature limits apply (not idle, not rejection)

    @property
    def count(self) -> int:
        """Number of rows."""
        return len(self.label)
