"""Banks of capacitors of any kind: film, electrolytic or ceramic."""

from __future__ import annotations

from typing import TypeAlias

from models.axes import Array
from models.case import Case
from models.parts import ceramic, electrolytic, film
from models.parts.part import Part
from models.stress import CapacitorStress

Film = film.Design
Electrolytic = electrolytic.Design
Ceramic = ceramic.Design
Design: TypeAlias = film.Design | electrolytic.Design | ceramic.Design

SCHEMAS = {
    film.TABLE: film.SCHEMA,
    electrolytic.TABLE: electrolytic.SCHEMA,
    ceramic.TABLE: ceramic.SCHEMA,
}


def capacitance(design: Design, case: Case) -> Array:
    """Return the rated capacitance of a whole bank [F], a ceramic without bias."""
    return case.catalogue[_table(design)].at("c", design.row) * design.count


def capacitance_at(design: Design, v_bias: Array, case: Case) -> Array:
    """Return the small-signal capacitance of a whole bank [F] at a bias.

    Only class II ceramics depend on the bias; they are counted as aged.

    Parameters
    ----------
    design : Design
        The bank.
    v_bias : Array
        Bias [V].
    case : Case
        Specification, operating points and catalogue.
    """
    if not isinstance(design, ceramic.Design):
        return capacitance(design, case)
    table = case.catalogue[ceramic.TABLE]
    return design.count * ceramic.capacitance(lambda name: table.at(name, design.row), v_bias)


def place(path: str, design: Design, stress: CapacitorStress, case: Case) -> Part:
    """Return a bank under ``stress``, which is that of the whole bank.

    Parameters
    ----------
    path : str
        Dotted path of the part.
    design : Design
        The bank.
    stress : CapacitorStress
        Voltages and currents, see ``models.stress``.
    case : Case
        Specification, operating points and catalogue.
    """
    if isinstance(design, film.Design):
        return film.place(path, design, stress, case)
    if isinstance(design, electrolytic.Design):
        return electrolytic.place(path, design, stress, case)
    return ceramic.place(path, design, stress, case)


def _table(design: Design) -> str:
    if isinstance(design, film.Design):
        return film.TABLE
    return electrolytic.TABLE if isinstance(design, electrolytic.Design) else ceramic.TABLE
