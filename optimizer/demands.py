"""What no design of a specification can leave, for pins to be checked against."""

from __future__ import annotations

from models.results import RESULTS
from models.spec import Specification
from optimizer.pins import Demand

_OTHER = "Change the pin, or start a sweep with another limit."
_REACHABLE = "Choose a value that a design can have."


def demands(spec: Specification) -> tuple[Demand, ...]:
    """Return the limits that a specification sets on reported results, and the laws of nature."""
    limits = spec.limits
    asked: list[tuple[str, str, float | None, str]] = [
        ("height_mm", "<=", limits.height_max_mm, "limits.height_max_mm"),
        ("cost", "<=", limits.cost_max, "limits.cost_max"),
        ("ground_leakage_ma", "<=", limits.leakage_total_ma, "limits.leakage_total_ma"),
        ("trd_pct", "<=", limits.trd_max_pct, "limits.trd_max_pct"),
        ("module_ripple_pct", "<=", limits.module_ripple_max_pct, "limits.module_ripple_max_pct"),
        ("box_surface_max_c", "<=", spec.roof.touch_limit_c, "roof.touch_limit_c"),
        ("life_years", ">=", spec.life.wanted_years, "life.wanted_years"),
    ]
    found = [
        Demand(path, operator, bound, f"{key} = {bound:g} in the specification", _OTHER)
        for path, operator, bound, key in asked
        if bound is not None
    ]
    found.append(Demand("worst_margin", "<=", 0.0, "every limit must be met", _REACHABLE))
    for result in RESULTS:
        if result.unit != "°C" and result.name != "worst_margin":
            none = f"{result.name} is never below zero"
            found.append(Demand(result.name, ">=", 0.0, none, _REACHABLE))
        if result.name.endswith("efficiency_pct"):
            full = f"{result.name} never exceeds 100 %"
            found.append(Demand(result.name, "<=", 100.0, full, _REACHABLE))
    return tuple(found)
