"""One point of a front, as tables and pictures need it."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from models.results import NAMES
from optimizer.quantities import quantity


@dataclasses.dataclass(frozen=True)
class FrontPoint:
    """A design on a front with its results by name, in their units."""

    label: str
    topology: str
    results: dict[str, float]

    @property
    def density(self) -> float:
        """Power density [kW/l]."""
        return self.results["power_density_kw_l"]

    @property
    def efficiency(self) -> float:
        """Weighted efficiency [%]."""
        return self.results["weighted_efficiency_pct"]

    @property
    def hover(self) -> str:
        """What a pointer over the point should say."""
        r = self.results
        return (
            f"{self.label}<br>{self.efficiency:.2f} %, {self.density:.2f} kW/l<br>"
            f"cost {r['cost']:.1f}, life {quantity(r['life_years'], 'years')}, "
            f"height {r['height_mm']:.0f} mm"
        )


def corners(points: Sequence[FrontPoint]) -> list[tuple[str, FrontPoint]]:
    """Return the designs to open first: the ends of a front and its knee.

    The knee is the point farthest from the chord between the ends, both axes scaled
    to the front's own extent.
    """
    if not points:
        return []
    ordered = sorted(points, key=lambda p: p.density)
    first, last = ordered[0], ordered[-1]
    dx = max(last.density - first.density, 1e-9)
    dy = max(first.efficiency - last.efficiency, 1e-9)

    def off_chord(p: FrontPoint) -> float:
        return (p.density - first.density) / dx + (p.efficiency - last.efficiency) / dy

    knee = max(ordered, key=off_chord)
    return [("most efficient", first), ("knee", knee), ("smallest", last)]


def table_columns() -> tuple[str, ...]:
    """Return the results that a front table shows by default."""
    wanted = (
        "power_density_kw_l", "weighted_efficiency_pct", "cost", "life_years", "height_mm",
        "box_surface_max_c", "electrolytics", "loss_full_w",
    )  # fmt: skip
    return tuple(n for n in wanted if n in NAMES)
