"""Core rows and core materials of the catalogue, and the loss they make of a flux."""

from __future__ import annotations

import dataclasses

from models.axes import ANGLE, Array, Indices, array_namespace, line_mean
from models.case import Case
from models.parts.catalogue import Column, Schema
from models.physics.core import SteinmetzTerm, triangle_loss
from models.stress import Flux

# Box dimensions are those of the wound part as it stands on the board: E and ETD cores
# lie on horizontal formers, so that their least dimension is the height; PQ and RM cores
# stand, toroids lie.
CORES = Schema(
    {
        "a_e": Column("mm²", 1.0, 2000.0),
        "l_e": Column("mm", 5.0, 500.0),
        "v_e": Column("mm³", 50.0, 1e6),
        "a_min": Column("mm²", 1.0, 2000.0),
        "a_w": Column("mm²", 1.0, 5000.0),
        "mlt": Column("mm", 5.0, 500.0),
        "g": Column("mm", 1.0, 500.0),
        "bw": Column("mm", 1.0, 500.0),
        "hw": Column("mm", 0.2, 100.0),
        "box_l": Column("mm", 3.0, 300.0),
        "box_w": Column("mm", 3.0, 300.0),
        "box_h": Column("mm", 3.0, 300.0),
        "mass": Column("g", 0.1, 5000.0),
        "powder": Column("1", 0.0, 1.0, integer=True),
    },
    texts=("family", "standard"),
)
# p, alpha, beta: two Steinmetz terms at 100 kHz, 0.1 T, 100 °C, fitted to loss limits;
# factor: typical over limit; b_max: design limit of the flux density at 100 °C.
FERRITES = Schema(
    {
        "p1": Column("kW/m³", 1.0, 5000.0),
        "alpha1": Column("1", 1.0, 3.5),
        "beta1": Column("1", 1.5, 3.5),
        "p2": Column("kW/m³", 0.0, 5000.0),
        "alpha2": Column("1", 1.0, 3.5),
        "beta2": Column("1", 1.5, 3.5),
        "t_m": Column("°C", 0.0, 150.0),
        "c": Column("1/K²", 0.0, 1e-3),
        "factor": Column("1", 0.3, 1.5),
        "mu_r": Column("1", 100.0, 20000.0),
        "b_max": Column("T", 0.05, 0.45),
        "f_min": Column("kHz", 1.0, 5000.0),
        "f_max": Column("kHz", 1.0, 10000.0),
    }
)
# a, b, c: permeability under bias; price: of a kilogram, over that of sendust.
POWDERS = Schema(
    {
        "mu_i": Column("1", 5.0, 550.0),
        "a": Column("1", 1e-3, 1.0),
        "b": Column("1", 0.0, 1.0),
        "c": Column("1", 0.5, 4.0),
        "p": Column("kW/m³", 1.0, 20000.0),
        "alpha": Column("1", 1.0, 3.5),
        "beta": Column("1", 1.5, 3.5),
        "density": Column("kg/m³", 1000.0, 9000.0),
        "price": Column("1", 0.1, 20.0),
    }
)

# An angle axis longer than this is thinned to every fourth angle for the core loss: the
# mean of a periodic function over the coarser even grid is within 0.1 %, or 0.2 % where
# the ripple has a kink at the zero crossing (tested).
ANGLES_ENOUGH, THIN = 16, 4


@dataclasses.dataclass(frozen=True)
class Core:
    """Rows of the table of cores, all of shape (design, 1, 1), SI."""

    a_e: Array
    l_e: Array
    v_e: Array
    a_min: Array
    a_w: Array  # usable window; of a toroid the bore
    mlt: Array  # mean length of a turn
    g: Array  # length of the window along the leg
    bw: Array  # winding breadth; of a toroid the circumference of the bore
    hw: Array  # winding height
    box_l: Array
    box_w: Array
    box_h: Array
    mass: Array
    powder: Array  # 1 for a powder core, else 0

    @property
    def r_th(self) -> Array:
        """Thermal resistance to free air [K/W], 53·V_e^−0.54 with V_e in cm³.

        Within 25 % of data-sheet values of ETD cores; taken for toroids too.

        Source
        ------
        Ferrite handbook practice (from memory).
        """
        return 53.0 * (self.v_e * 1e6) ** -0.54


def core(index: Indices, case: Case) -> Core:
    """Return the rows of the table of cores at ``index``."""
    table = case.catalogue["cores"]
    return Core(**{f.name: table.at(f.name, index) for f in dataclasses.fields(Core)})


@dataclasses.dataclass(frozen=True)
class Material:
    """What a core is made of, all of shape (design, 1, 1)."""

    terms: tuple[SteinmetzTerm, ...]  # at 100 °C
    t_m: Array  # [°C]
    c: Array  # [1/K²]
    mu_r: Array  # [1], of the ferrite
    b_max: Array  # [T] at 100 °C, of the ferrite
    f_min: Array  # [Hz], band of the ferrite's loss fit
    f_max: Array  # [Hz]


def ferrite(index: Indices, case: Case) -> Material:
    """Return the ferrites at ``index``, with typical (not limit) losses."""
    table = case.catalogue["ferrites"]
    factor = table.at("factor", index)
    terms = tuple(
        SteinmetzTerm(
            factor * table.at(f"p{i}", index),
            table.at(f"alpha{i}", index),
            table.at(f"beta{i}", index),
        )
        for i in (1, 2)
    )
    rest = ("t_m", "c", "mu_r", "b_max", "f_min", "f_max")
    return Material(terms, *(table.at(name, index) for name in rest))


def with_powder(material: Material, index: Indices, powder: Array, case: Case) -> Material:
    """Return the material of the core: ``material``, or a powder where ``powder`` is 1."""
    xp = array_namespace(powder)
    table = case.catalogue["powders"]
    is_powder = powder > 0.5
    first, second = material.terms
    one = SteinmetzTerm(
        xp.where(is_powder, table.at("p", index), first.p),
        xp.where(is_powder, table.at("alpha", index), first.alpha),
        xp.where(is_powder, table.at("beta", index), first.beta),
    )
    two = dataclasses.replace(second, p=xp.where(is_powder, 0.0, second.p))
    # Powder losses hardly depend on temperature: no curvature.
    flat = xp.where(is_powder, 0.0, material.c)
    return dataclasses.replace(material, terms=(one, two), c=flat)


def core_loss(core: Core, material: Material, turns: Array, fluxes: tuple[Flux, ...]) -> Array:
    """Return the core loss at 100 °C [W], averaged over the line cycle.

    Every flux triangle is counted for itself; losses of several add, which is low where
    two of them run at one frequency in phase.

    Parameters
    ----------
    core : Core
        The core row.
    material : Material
        What it is made of.
    turns : Array
        Turns of the winding that the flux linkages belong to [1].
    fluxes : tuple of Flux
        Flux-linkage triangles.
    """
    xp = array_namespace(core.v_e)
    per_linkage = 1.0 / (turns * core.a_e)
    total = xp.zeros_like(core.v_e)
    for flux in fluxes:
        density = triangle_loss(
            material.terms,
            _thinned(flux.f),
            _thinned(flux.linkage_pp) * per_linkage,
            _thinned(flux.duty),
            _thinned_or_number(flux.flat),
        )
        total = total + line_mean(density * _thinned_or_number(flux.active))
    return total * core.v_e


def _thinned(x: Array) -> Array:
    """Return every fourth angle of a long angle axis."""
    if x.shape[ANGLE] <= ANGLES_ENOUGH or x.shape[ANGLE] % THIN:
        return x
    return x[:, :, ::THIN]


def _thinned_or_number(x: Array | float) -> Array | float:
    return x if isinstance(x, int | float) else _thinned(x)
