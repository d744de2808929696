"""What no single value can tell: rules between the values of a specification.

Every complaint names both values; a specification that draws none may still be
impossible to meet, which is a result and not a mistake.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence

from models.spec import ComplaintError, Module, Objectives, Specification, Topologies

WARMING = 0.02  # [K·m²/W], air behind a module above ambient per irradiance; assumption
FULL_SUN = 1000.0  # [W/m²]
SHEET_VALUES = ("v_mp_v", "i_mp_a", "v_oc_v", "i_sc_a")


def complaints(
    spec: Specification, *, topologies: Sequence[str] = (), results: Sequence[str] = ()
) -> list[ComplaintError]:
    """Return everything that contradicts itself.

    Parameters
    ----------
    spec : Specification
        With every single value in its range.
    topologies, results : sequence of str
        Known names of topologies and of results; not checked where empty.
    """
    found = [c for i, module in enumerate(spec.module) for c in _module(module, f"module.{i}")]
    return [
        *found,
        *_grids(spec),
        *_climate(spec),
        *_roof(spec),
        *_limits(spec),
        *_topologies(spec.topologies, topologies),
        *_objectives(spec.objectives, results),
    ]


def air_behind(ambient: float, irradiance: float, *, module_side: bool) -> float:
    """Return the temperature of the air around the box [°C]: T_a + 0.02·G behind a module."""
    return ambient + (WARMING * irradiance if module_side else 0.0)


def _module(module: Module, at: str) -> Iterator[ComplaintError]:
    given = [key for key in SHEET_VALUES if getattr(module, key) is not None]
    absent = [key for key in SHEET_VALUES if key not in given]
    if module.listed is not None:
        if given:
            yield ComplaintError(
                f"{at}.listed",
                f"listed = {module.listed!r} and {given[0]} = {getattr(module, given[0]):g} "
                "exclude each other",
                "keep either the row of the list or the data-sheet values",
            )
        return
    if absent:
        yield ComplaintError(
            at,
            f"a module needs {', '.join(SHEET_VALUES)}; missing: {', '.join(absent)}",
            "add the data-sheet values, or listed = a row of the public module list",
        )
        return
    for low, high in (("v_mp_v", "v_oc_v"), ("i_mp_a", "i_sc_a")):
        if not getattr(module, low) < getattr(module, high):
            yield ComplaintError(
                f"{at}.{low}",
                f"{low} = {getattr(module, low):g} is not below {high} = "
                f"{getattr(module, high):g}",
                "the maximum-power point lies below open circuit and short circuit",
            )


def _grids(spec: Specification) -> Iterator[ComplaintError]:
    for i, grid in enumerate(spec.grid):
        if grid.max_transient_pu < grid.window_pu[1]:
            yield ComplaintError(
                f"grid.{i}.max_transient_pu",
                f"max_transient_pu = {grid.max_transient_pu:g} is below the upper end of "
                f"window_pu = [{grid.window_pu[0]:g}, {grid.window_pu[1]:g}]",
                "a transient is at least as high as the continuous window",
            )


def _climate(spec: Specification) -> Iterator[ComplaintError]:
    given = [key for key in ("profile", "csv", "tmy") if getattr(spec.climate, key) is not None]
    if len(given) > 1:
        both = " and ".join(f"{key} = {getattr(spec.climate, key)!r}" for key in given)
        yield ComplaintError(
            f"climate.{given[1]}", f"{both} exclude each other", "keep one of them"
        )


def _roof(spec: Specification) -> Iterator[ComplaintError]:
    roof = spec.roof
    span = roof.hot_ambient_c - roof.full_power_ambient_c
    if span < 0.0:
        yield ComplaintError(
            "roof.hot_ambient_c",
            f"hot_ambient_c = {roof.hot_ambient_c:g} °C is below full_power_ambient_c = "
            f"{roof.full_power_ambient_c:g} °C",
            "the hottest ambient comes with derated power, the other with full power",
        )
    if roof.derating_pct_per_k * span >= 95.0:
        yield ComplaintError(
            "roof.derating_pct_per_k",
            f"derating_pct_per_k = {roof.derating_pct_per_k:g} leaves no power at "
            f"hot_ambient_c = {roof.hot_ambient_c:g} °C, {span:g} K above full power",
            "lower one of them",
        )
    air = air_behind(roof.full_power_ambient_c, FULL_SUN, module_side=roof.module_side)
    for key in ("touch_limit_c", "cable_limit_c"):
        if getattr(roof, key) <= air:
            yield ComplaintError(
                f"roof.{key}",
                f"{key} = {getattr(roof, key):g} °C is not above the air around the box, "
                f"{air:g} °C at full_power_ambient_c = {roof.full_power_ambient_c:g} °C",
                "no box can meet it: raise the limit or lower the ambient",
            )


def _limits(spec: Specification) -> Iterator[ComplaintError]:
    line, total = spec.limits.leakage_line_ma, spec.limits.leakage_total_ma
    if line > total:
        yield ComplaintError(
            "limits.leakage_line_ma",
            f"leakage_line_ma = {line:g} mA is above leakage_total_ma = {total:g} mA",
            "the whole contains the part at line frequency",
        )


def _topologies(section: Topologies, known: Sequence[str]) -> Iterator[ComplaintError]:
    for key in ("include", "exclude"):
        for i, name in enumerate(getattr(section, key)):
            if known and name not in known:
                yield _unknown(f"topologies.{key}.{i}", "topology", name, known)
    for name in sorted(set(section.include) & set(section.exclude)):
        yield ComplaintError(
            "topologies.exclude",
            f"{name!r} stands in include and in exclude",
            "remove it from one of them",
        )


def _objectives(section: Objectives, known: Sequence[str]) -> Iterator[ComplaintError]:
    names = [*section.maximise, *section.minimise]
    for key in ("maximise", "minimise"):
        for i, name in enumerate(getattr(section, key)):
            if known and name not in known:
                yield _unknown(f"objectives.{key}.{i}", "result", name, known)
    if not names:
        yield ComplaintError(
            "objectives",
            "maximise = [] and minimise = [] leave nothing to search for",
            "name at least one result",
        )
    for name in sorted({name for name in names if names.count(name) > 1}):
        yield ComplaintError(
            "objectives", f"{name!r} stands twice in maximise and minimise", "keep it once"
        )


def _unknown(key: str, kind: str, name: str, known: Sequence[str]) -> ComplaintError:
    near = difflib.get_close_matches(name, known, 1, 0.5)
    hint = f"did you mean {near[0]!r}?" if near else "known: " + ", ".join(known)
    return ComplaintError(key, f"there is no {kind} {name!r}", hint)
