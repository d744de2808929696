"""The specification: what an engineer asks for, as written in a TOML file.

A key carries its unit as suffix; values are never converted here.  Ranges are those
within which the models mean anything.  What no field can check alone stands in
``models.spec_rules``; reading a file with all its mistakes in ``models.spec_files``.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field


class ComplaintError(Exception):
    """What is wrong with a value, said before its place in a file is known.

    ``key`` is the dotted path below the section or specification that is checked.
    """

    def __init__(self, key: str, message: str, remedy: str) -> None:
        super().__init__(message)
        self.key, self.message, self.remedy = key, message, remedy


Technology = Literal["silicon", "cdte", "cis"]
GridKind = Literal["line_neutral", "split_phase", "line_line_wye"]


def _tuple(value: Any) -> Any:
    """Return a TOML array as a tuple, so that a frozen section stays frozen."""
    return tuple(value) if isinstance(value, list) else value


def _rising(lo: float, hi: float) -> Callable[[tuple[float, float]], tuple[float, float]]:
    """Return the check that two numbers rise and stay within a range."""

    def check(pair: tuple[float, float]) -> tuple[float, float]:
        if not lo <= pair[0] < pair[1] <= hi:
            raise ValueError(
                f"[{pair[0]:g}, {pair[1]:g}] must be two rising numbers from {lo:g} to {hi:g}"
            )
        return pair

    return check


def _power_factor(value: float) -> float:
    if not 0.8 <= abs(value) <= 1.0:
        raise ValueError(f"{value:g} is outside the accepted range, 0.8 to 1 or -1 to -0.8")
    return value


Names = Annotated[tuple[str, ...], BeforeValidator(_tuple)]
RunName = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9 _.-]*$", max_length=60)]
VoltageWindow = Annotated[
    tuple[float, float], BeforeValidator(_tuple), AfterValidator(_rising(8.0, 150.0))
]
GridWindow = Annotated[
    tuple[float, float], BeforeValidator(_tuple), AfterValidator(_rising(0.7, 1.2))
]


def number(default: Any, lo: float, hi: float, unit: str, meaning: str) -> Any:
    """Return a field for a number from ``lo`` to ``hi``; ``...`` has no default."""
    return Field(default, ge=lo, le=hi, description=meaning, json_schema_extra={"unit": unit})


def text(default: Any, meaning: str) -> Any:
    """Return a field for a text, a choice, a switch or a list of texts."""
    return Field(default, description=meaning)


class Section(BaseModel):
    """A section of the file: frozen, no unknown keys, no conversion, no NaN."""

    model_config = ConfigDict(frozen=True, strict=True, extra="forbid", allow_inf_nan=False)


class Project(Section):
    """What the run is called."""

    name: RunName = text(
        "design", "name of the run; letters, digits, space, dot, dash, underscore"
    )
    note: str = text("", "free text, kept with the run")


class Module(Section):
    """One photovoltaic module: either data-sheet values or a row of the public list."""

    name: str = text("", "what the module is called in tables")
    listed: str | None = text(None, "row of the public CEC module list, instead of the values")
    v_mp_v: float | None = number(None, 8, 120, "V", "voltage at maximum power, 1000 W/m², 25 °C")
    i_mp_a: float | None = number(None, 0.5, 25, "A", "current at maximum power")
    v_oc_v: float | None = number(None, 10, 150, "V", "open-circuit voltage")
    i_sc_a: float | None = number(None, 0.5, 27, "A", "short-circuit current")
    i_sc_pct_per_c: float = number(0.05, -0.1, 0.2, "%/°C", "temperature coefficient of I_sc")
    v_oc_pct_per_c: float = number(-0.28, -0.6, -0.1, "%/°C", "temperature coefficient of V_oc")
    p_mp_pct_per_c: float | None = number(
        None, -0.7, -0.1, "%/°C", "temperature coefficient of the power; decides if given"
    )
    cells_in_series: int = number(60, 16, 180, "1", "cells in one string, not half-cells in all")
    technology: Technology = text("silicon", "cell material, for its band gap")
    noct_c: float = number(45, 35, 60, "°C", "cell at 800 W/m², 20 °C ambient, 1 m/s wind")
    window_v: VoltageWindow | None = text(
        None, "lowest and highest voltage at maximum power; computed if left out"
    )


class Grid(Section):
    """One grid that the product must serve."""

    voltage_v: float = number(..., 100, 277, "V", "nominal rms voltage between the terminals")
    frequency_hz: Literal[50, 60] = text(..., "nominal frequency")
    kind: GridKind = text("line_neutral", "what the two terminals are")
    window_pu: GridWindow = text((0.88, 1.10), "continuous window, share of nominal")
    max_transient_pu: float = number(1.2, 1.1, 1.5, "1", "highest voltage to withstand at idle")


class Output(Section):
    """What the inverter delivers and how its efficiency is weighted."""

    rated_power_w: float = number(..., 150, 600, "W", "rated continuous power into the grid")
    power_factor: Annotated[float, AfterValidator(_power_factor)] = text(
        1.0, "outside the weighted points; positive lagging, negative leading, 0.8 to 1 in size"
    )
    weighting: Literal["cec", "european"] = text("cec", "load points and weights")
    three_voltages: bool = text(False, "weigh at lowest, nominal and highest module voltage")


class Climate(Section):
    """The year: at most one of profile, csv and tmy."""

    profile: str | None = text(None, "named profile that comes along; 'temperate' if all are out")
    csv: str | None = text(None, "file of bins: ambient, irradiance, hours")
    tmy: str | None = text(None, "typical year: TMY3, PVGIS csv or EPW")
    tilt_deg: float = number(25, 0, 90, "°", "tilt of the module, for a typical year")
    azimuth_deg: float = number(180, 0, 360, "°", "azimuth, 180 is south, for a typical year")


class Roof(Section):
    """Where the box hangs."""

    full_power_ambient_c: float = number(45, 20, 60, "°C", "hottest ambient at full power")
    hot_ambient_c: float = number(55, 20, 75, "°C", "hottest ambient, with derated power")
    derating_pct_per_k: float = number(2, 0, 10, "%/K", "power given up above the former")
    touch_limit_c: float = number(100, 50, 120, "°C", "hottest wall of the box")
    cable_limit_c: float = number(105, 60, 125, "°C", "hottest cable entry and connector")
    record_cold_c: float = number(-20, -50, 20, "°C", "coldest cell in sunlight on record")
    emissivity: float = number(0.85, 0.05, 0.98, "1", "of the wall of the box")
    module_side: bool = text(True, "the box hangs behind the module, in its warm air")
    capacitance_nf_per_kw: float = number(
        150, 10, 1000, "nF/kW", "module to earth, per kilowatt of module; more when wet"
    )


class Life(Section):
    """How long it must last."""

    wanted_years: float = number(25, 1, 50, "years", "computed wear-out life of every part")
    electrolytic_cap_years: float = number(
        20, 1, 50, "years", "ceiling of an electrolytic's computed life, if used"
    )
    use_cap: bool = text(False, "hold electrolytics to that ceiling")


class Limits(Section):
    """Limits of the product; those left out do not bind."""

    height_max_mm: float | None = number(None, 10, 200, "mm", "outer height of the box")
    cost_max: float | None = number(None, 1, 10_000, "€", "all parts; prices are invented")
    leakage_line_ma: float = number(10, 0.1, 300, "mA", "ground current at line frequency, rms")
    leakage_total_ma: float = number(30, 0.1, 300, "mA", "ground current in all, rms")
    trd_max_pct: float = number(3, 0.5, 10, "%", "total rated-current distortion")
    module_ripple_max_pct: float | None = number(
        None, 0.1, 20, "%", "voltage ripple at the module, amplitude, full power"
    )
    junction_margin_k: float = number(25, 0, 75, "K", "between junctions and their rating")


class Topologies(Section):
    """Which candidates take part."""

    include: Names = text((), "only these; all if empty")
    exclude: Names = text((), "not these")
    isolation: Literal["any", "isolated", "non_isolated"] = text("any", "transformer or none")
    decoupling: Names = text((), "only these ways to store the line-frequency energy")


class Objectives(Section):
    """What a better design is; names of results, see ``ripplefront names``."""

    maximise: Names = text(
        ("power_density_kw_l", "weighted_efficiency_pct"), "the more the better"
    )
    minimise: Names = text((), "less is better")


class Pins(Section):
    """What is decided already."""

    hold: Names = text((), "pins in written form, as in 'box.height_mm <= 25'")


class Parts(Section):
    """Own tables instead of those that come along; paths start at this file's folder."""

    switches: str | None = text(None, "transistors")
    diodes: str | None = text(None, "diodes")
    cores: str | None = text(None, "core shapes")
    ferrites: str | None = text(None, "ferrite materials")
    powders: str | None = text(None, "powder materials")
    film: str | None = text(None, "film capacitors")
    electrolytic: str | None = text(None, "electrolytic capacitors")
    ceramic: str | None = text(None, "ceramic capacitors")
    emi_chokes: str | None = text(None, "chokes of the grid filter")
    exclude: Names = text((), "row names that no design may use")


class Sweep(Section):
    """How long to search, all variants together."""

    designs: int | None = number(
        None, 1_000, 1_000_000_000, "1", "designs to evaluate in all; as many as fit into the time"
    )
    time_limit_h: float | None = number(None, 0.01, 720, "h", "stop after this time")
    seed: int = number(1, 0, 2**31 - 1, "1", "same seed, same fronts")
    workers: int | None = number(None, 0, 512, "1", "processes; all cores if left out, 0: no Ray")


class Specification(Section):
    """Everything that is asked for."""

    project: Project = Project()
    module: Annotated[tuple[Module, ...], BeforeValidator(_tuple)] = Field(
        ..., min_length=1, max_length=8, description="modules to serve, one [[module]] each"
    )
    grid: Annotated[tuple[Grid, ...], BeforeValidator(_tuple)] = Field(
        ..., min_length=1, max_length=8, description="grids to serve, one [[grid]] each"
    )
    output: Output
    climate: Climate = Climate()
    roof: Roof = Roof()
    life: Life = Life()
    limits: Limits = Limits()
    topologies: Topologies = Topologies()
    objectives: Objectives = Objectives()
    pins: Pins = Pins()
    parts: Parts = Parts()
    sweep: Sweep = Sweep()
