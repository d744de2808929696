"""A small case with the shipped catalogue, for tests of wound parts."""

import dataclasses
from types import SimpleNamespace
from typing import cast

import numpy as np

from models.axes import designs, points
from models.case import Case
from models.parts.catalogue import Catalogue, read_table
from models.parts.cores import CORES, FERRITES, POWDERS
from models.points import OperatingPoints, Purpose
from models.spec import Specification
from models.variables import Variable

CATALOGUE = Catalogue(
    {
        "cores": read_table("cores", CORES),
        "ferrites": read_table("ferrites", FERRITES),
        "powders": read_table("powders", POWDERS),
    }
)


def row(table: str, *names: str) -> np.ndarray:
    """Return the numbers of rows, along the design axis."""
    rows = CATALOGUE[table].rows
    return np.array([rows.index(n) for n in names]).reshape(-1, 1, 1)


def case(count: int) -> Case:
    """Return a case with ``count`` rows, of which the last has no temperature limit."""
    ones = points(np.ones(count))
    last_idle = points([1.0] * (count - 1) + [0.0]) if count > 1 else ones
    return Case(
        spec=cast(Specification, SimpleNamespace()),  # no wound part reads it
        points=OperatingPoints(
            label=tuple(str(i) for i in range(count)),
            purpose=(Purpose.CORNER,) * count,
            v_pv=35.0 * ones,
            p_ac=300.0 * last_idle,
            v_grid=230.0 * ones,
            f_grid=50.0 * ones,
            power_factor=ones,
            t_air=45.0 * ones,
            t_module=60.0 * ones,
            irradiance=1000.0 * ones,
            kappa=10.0 * ones,
            weight=ones / count,
            hours=0.0 * ones,
            v_nominal=230.0 * ones,
            rejection=0.0 * ones,
            thermal=last_idle,
        ),
        catalogue=CATALOGUE,
    )


def drawn(variables: tuple[Variable, ...], count: int, rng: np.random.Generator) -> dict:
    """Return random designs by field, all kinds of variables over their whole range."""
    found = {}
    for v in variables:
        if v.kind == "real":
            values = np.exp(rng.uniform(np.log(v.lo), np.log(v.hi), count))
        else:
            values = rng.integers(int(v.lo), int(v.hi) + 1, count).astype(float)
        found[v.field] = designs(values)
    return found


def one_of(x: object, i: int) -> object:
    """Return design ``i`` alone out of nested dataclasses of arrays."""
    if dataclasses.is_dataclass(x):
        return dataclasses.replace(
            x, **{f.name: one_of(getattr(x, f.name), i) for f in dataclasses.fields(x)}
        )
    if isinstance(x, tuple):
        return tuple(one_of(e, i) for e in x)
    if isinstance(x, np.ndarray) and x.shape[0] > 1:
        return x[i : i + 1]
    return x
