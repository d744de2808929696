"""A year at the module as bins of ambient temperature and irradiance, with their hours."""

from __future__ import annotations

import dataclasses
import difflib
import warnings
from pathlib import Path
from typing import Any, NoReturn

import numpy as np
import pandas as pd
from pvlib import iotools, irradiance, solarposition

from models import spec
from models.axes import Array
from models.errors import CatalogueError, Mistake
from models.parts.catalogue import Column, Schema, Table, read_table

PROFILES = Path(__file__).parent / "data" / "climates.csv"
DEFAULT = "temperate"
HOURS_PER_YEAR = 8760.0
ALBEDO = 0.2  # [1], ground in front of the module; common practice, no source

BINS = {
    "ambient": Column("°C", -60.0, 60.0),
    "irradiance": Column("W/m²", 0.0, 1500.0),
    "hours": Column("h", 0.0, 8784.0),
}
PROFILE_SCHEMA = Schema(BINS, texts=("profile", "source"), keyed=False)
BINS_SCHEMA = Schema(BINS, keyed=False)
AMBIENT_STEP, IRRADIANCE_STEP = 5.0, 100.0  # [K], [W/m²], bins of a typical year


@dataclasses.dataclass(frozen=True)
class Climate:
    """Bins of one year; arrays of one axis, hours sum to 8760."""

    ambient: Array  # [°C]
    irradiance: Array  # in the plane of the module [W/m²]
    hours: Array  # [h]

    @property
    def irradiation(self) -> float:
        """Energy in the plane of the module in a year [kWh/m²]."""
        return float((self.irradiance * self.hours).sum()) / 1e3


def climate(section: spec.Climate, base_folder: Path) -> Climate:
    """Return the climate that the specification names.

    Parameters
    ----------
    section : spec.Climate
        The section of the specification.
    base_folder : Path
        Where relative paths start.

    Raises
    ------
    ComplaintError
        If there is no such profile.
    CatalogueError
        If a file cannot be used, with every mistake found.
    """
    if section.csv is not None:
        path = base_folder / section.csv
        return _whole_year(read_table("climate", BINS_SCHEMA, path), str(path))
    if section.tmy is not None:
        return typical_year(base_folder / section.tmy, section.tilt_deg, section.azimuth_deg)
    name = section.profile or DEFAULT
    table = read_table("climates", PROFILE_SCHEMA, PROFILES)
    if name not in profiles():
        near = difflib.get_close_matches(name, profiles(), 1, 0.5)
        hint = f"did you mean {near[0]!r}? " if near else ""
        raise spec.ComplaintError(
            "climate.profile",
            f"there is no climate profile {name!r}",
            f"{hint}profiles: {', '.join(profiles())}",
        )
    mask = np.array([profile == name for profile in table.texts["profile"]])
    return _whole_year(table.where(mask), str(PROFILES))


def profiles() -> tuple[str, ...]:
    """Return the names of the climates that come along, all of them invented."""
    table = read_table("climates", PROFILE_SCHEMA, PROFILES)
    return tuple(dict.fromkeys(table.texts["profile"]))


def typical_year(path: Path, tilt: float, azimuth: float) -> Climate:
    """Return the bins of a typical meteorological year on a tilted module.

    The sky is taken as uniformly bright, which counts a few per cent too little
    irradiation on a module that faces the sun.

    Parameters
    ----------
    path : Path
        A TMY3, PVGIS csv or EPW file.
    tilt, azimuth : float
        Of the module [°]; azimuth 180 is south.

    Raises
    ------
    CatalogueError
        If the file is none of the three, or a value is missing or absurd.
    """
    data, latitude, longitude, shift = _weather(path)
    hourly = _checked(data, path)
    # Files label an hour by its end, start or middle; the sun is taken at the middle.
    middle = data.index + np.timedelta64(shift, "m")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # pandas and pvlib deprecate inside each other
        sun = solarposition.get_solarposition(middle, latitude, longitude)
        plane = irradiance.get_total_irradiance(
            tilt,
            azimuth,
            sun["apparent_zenith"].to_numpy(),
            sun["azimuth"].to_numpy(),
            hourly["dni"],
            hourly["ghi"],
            hourly["dhi"],
            albedo=ALBEDO,
        )["poa_global"]
    sunshine = np.clip(np.nan_to_num(np.asarray(plane, dtype=float)), 0.0, 1500.0)
    return _binned(hourly["temp_air"], sunshine)


def _whole_year(table: Table, file: str) -> Climate:
    """Return the bins of a table whose hours make a year, to the hour."""
    hours = table.columns["hours"]
    if abs(hours.sum() - HOURS_PER_YEAR) > 1.0:
        raise CatalogueError(
            [Mistake(file, 1, 1, f"the hours sum to {hours.sum():g} h, not to 8760 h",
                     "give every hour of the year a bin, nights too")]
        )  # fmt: skip
    hours = hours * (HOURS_PER_YEAR / hours.sum())
    return Climate(table.columns["ambient"], table.columns["irradiance"], hours)


def _weather(path: Path) -> tuple[Any, float, float, int]:
    """Return hourly data, latitude, longitude and the minutes from label to middle."""
    if not path.is_file():
        _refuse(path, "there is no such file", "the path starts at the specification's folder")
    with path.open("rb") as file:
        start = file.read(64).lstrip(b"\xef\xbb\xbf")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # pandas and pvlib deprecate inside each other
            if start.startswith(b"LOCATION,"):
                data, meta = iotools.read_epw(path)
                return data, float(meta["latitude"]), float(meta["longitude"]), 30
            if start.startswith(b"Latitude"):
                data, meta = iotools.read_pvgis_tmy(path, pvgis_format="csv")
                place = meta["inputs"]
                return data, float(place["latitude"]), float(place["longitude"]), 0
            data, meta = iotools.read_tmy3(path)
            return data, float(meta["latitude"]), float(meta["longitude"]), -30
    except (ValueError, KeyError, IndexError, TypeError, AttributeError) as fault:
        reason = str(fault).splitlines()[0] if str(fault) else type(fault).__name__
        _refuse(path, f"it is no typical year that can be read: {reason}",
                "give a TMY3, PVGIS csv or EPW file")  # fmt: skip


def _checked(data: Any, path: Path) -> dict[str, Array]:
    """Return the columns needed; refuse missing columns, hours or values."""
    hourly = {}
    ranges = {"ghi": (-10, 1600), "dni": (-10, 1500), "dhi": (-10, 1200), "temp_air": (-70, 60)}
    for name, (lo, hi) in ranges.items():
        if name not in data:
            _refuse(path, f"it has no column for {name}", "give a TMY3, PVGIS csv or EPW file")
        value = np.asarray(pd.to_numeric(data[name], errors="coerce"), dtype=float)
        bad = np.flatnonzero(~((value >= lo) & (value <= hi)))
        if bad.size:
            _refuse(
                path,
                f"{name} is {value[bad[0]]:g} in hour {bad[0] + 1} of the year, "
                f"and missing or absurd in {bad.size} hours",
                f"values from {lo} to {hi} are expected",
            )
        hourly[name] = value
    if len(data) not in (8760, 8784):
        _refuse(path, f"it has {len(data)} hours", "a year has 8760 hours, or 8784")
    return hourly


def _refuse(path: Path, message: str, remedy: str) -> NoReturn:
    raise CatalogueError([Mistake(str(path), 1, 1, message, remedy)]) from None


def _binned(ambient: Array, sunshine: Array) -> Climate:
    """Return hourly values gathered into bins, each at the mean of its hours."""
    warm = np.floor(ambient / AMBIENT_STEP).astype(int)
    # Dark hours get a bin of their own: no converter runs in them.
    bright = np.where(sunshine > 0.0, 1 + np.floor(sunshine / IRRADIANCE_STEP), 0).astype(int)
    _, which = np.unique(np.stack([warm, bright]), axis=1, return_inverse=True)
    which = which.ravel()
    count = np.bincount(which).astype(float)
    return Climate(
        np.bincount(which, ambient) / count,
        np.bincount(which, sunshine) / count,
        count * (HOURS_PER_YEAR / count.sum()),
    )
