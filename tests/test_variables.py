"""Design variables: declared once, one public name each."""

import dataclasses

import numpy as np
import pytest

from models.axes import Array, Indices, designs
from models.errors import ModelError
from models.variables import (
    alternative,
    build,
    choice,
    part,
    real,
    row,
    structure,
    structures,
    variables,
    whole,
)


@dataclasses.dataclass(frozen=True)
class Choke:
    turns: Array = whole(3, 150, "turns")
    core: Indices = row("cores", "core")


@dataclasses.dataclass(frozen=True)
class Stage:
    phases: int = structure(1, 2, meaning="phases")
    f: Array = real(40, 400, "kHz", "switching frequency", log=True)
    carriers: Indices = choice("aligned", "opposed", meaning="carrier phase")
    choke: Choke = part("choke", turns=(5, 60))


@dataclasses.dataclass(frozen=True)
class Converter:
    boost: Stage
    clamp: Stage


TABLES = {"cores": ("E20", "RM8", "PQ26")}


def test_every_structure_combination_is_listed_by_path():
    assert structures(Converter) == [
        {"boost.phases": a, "clamp.phases": b} for a in (1, 2) for b in (1, 2)
    ]


def test_public_names_carry_the_unit_and_bounds_are_si():
    found = {v.path: v for v in variables(Converter, TABLES, static={})}
    assert list(found)[:4] == [
        "boost.f_khz",
        "boost.carriers",
        "boost.choke.turns",
        "boost.choke.core",
    ]
    assert (found["boost.f_khz"].lo, found["boost.f_khz"].hi) == (40e3, 400e3)
    assert (found["boost.choke.turns"].lo, found["boost.choke.turns"].hi) == (5, 60)
    assert found["boost.choke.core"].shown(1) == "RM8"
    assert found["boost.f_khz"].shown(1e5) == pytest.approx(100)


def test_a_design_is_built_from_paths():
    values = {v.field: designs([v.lo, v.hi]) for v in variables(Converter, TABLES, static={})}
    made = build(Converter, values, {"boost.phases": 2, "clamp.phases": 1})
    assert made.boost.phases == 2
    assert made.boost.choke.core.dtype == np.int64
    assert made.clamp.f.shape == (2, 1, 1)


def test_an_undeclared_field_is_refused():
    @dataclasses.dataclass(frozen=True)
    class Wrong:
        f: float = 1.0

    with pytest.raises(ModelError, match="no declared variable"):
        variables(Wrong, TABLES, static={})


@dataclasses.dataclass(frozen=True)
class Diodes:
    rated: Array = real(1, 20, "A", "rated current")


@dataclasses.dataclass(frozen=True)
class Transistors:
    r_on: Array = real(1, 100, "mΩ", "on-resistance", log=True)
    drive: str = structure("soft", "hard", meaning="drive")


@dataclasses.dataclass(frozen=True)
class Rectified:
    rectifier: Diodes | Transistors = alternative(
        "rectifier", diode=Diodes, synchronous=Transistors
    )


def test_only_the_variables_of_the_chosen_alternative_exist():
    combinations = structures(Rectified)
    assert combinations == [
        {"rectifier": "diode"},
        {"rectifier": "synchronous", "rectifier.drive": "soft"},
        {"rectifier": "synchronous", "rectifier.drive": "hard"},
    ]
    found = [[v.path for v in variables(Rectified, {}, static=s)] for s in combinations]
    assert found == [
        ["rectifier.rated_a"],
        ["rectifier.r_on_mohm"],
        ["rectifier.r_on_mohm"],
    ]
    made = build(Rectified, {"rectifier.r_on": designs([5e-3])}, combinations[2])
    assert isinstance(made.rectifier, Transistors)
    assert made.rectifier.drive == "hard"
