"""Coils of inductors and transformers: how they are built and what their copper loses."""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace
from models.parts.cores import Core
from models.physics.harmonics import orders
from models.physics.winding import (
    DENSITY_CU,
    bundle_diameter,
    enamelled_diameter,
    layered_factor,
    litz_factor,
    resistivity,
    round_thickness,
    skin_depth,
)
from models.stress import WindingStress

WIRES = ("solid", "litz")  # names of the choice ``wire``, in the order of its index
LITZ_SHARE = 0.5  # the index above which it is litz

# Largest share of copper in the window [1]; from memory of design handbooks.
FILL_SOLID, FILL_LITZ, FILL_TOROID = 0.55, 0.30, 0.30

LAY = 1.03  # [1], strands are longer than their bundle; from memory, 1.02 to 1.05
T_EDDY = 100.0  # [°C], temperature at which eddy losses are taken


@dataclasses.dataclass(frozen=True)
class Coil:
    """One winding as it is built, all of shape (design, 1, 1), SI."""

    litz: Array  # 1 for litz, 0 for solid wires in parallel
    diameter: Array  # of a bare strand or wire
    strands: Array
    turns: Array
    layers: Array
    occupied: Array  # breadth that the turns of one layer take
    breadth: Array  # breadth there is
    build: Array  # height of all layers
    field_share: Array  # 1, or 0.5 where zero field lies in the middle of the winding
    bundle: Array  # outer diameter of a turn's litz bundle
    area: Array  # bare copper of one turn
    length: Array  # of all turns, with lay

    @property
    def mass(self) -> Array:
        """Mass of copper [kg]."""
        return DENSITY_CU * self.length * self.area

    @property
    def fill_limit(self) -> Array:
        """Largest share of copper in a former's window [1]."""
        return FILL_SOLID + (FILL_LITZ - FILL_SOLID) * self.litz

    def resistance(self, t: Array | float) -> Array:
        """Return the direct-current resistance [Ω] at ``t`` [°C]."""
        return resistivity(t) * self.length / self.area

    def eddy_factor(self, f: Array) -> Array:
        """Return (R_ac − R_dc)/R_dc [1] at ``f`` [Hz] and 100 °C."""
        xp = array_namespace(f)
        depth = skin_depth(f, resistivity(T_EDDY))
        turns_per_layer = self.turns / self.layers
        share = turns_per_layer * self.strands * self.diameter / self.breadth
        solid = layered_factor(
            round_thickness(self.diameter, xp.minimum(share, 1.0)),
            depth,
            self.layers * self.field_share,
        )
        litz = litz_factor(
            self.diameter,
            depth,
            strands=self.strands,
            bundle=self.bundle,
            turns_per_breadth=self.turns * self.field_share / self.breadth,
        )
        return xp.maximum(xp.where(self.litz > LITZ_SHARE, litz, solid) - 1.0, 0.0)


def turn_size(
    litz: Array, diameter: Array, strands: Array, insulation: float = 0.0
) -> tuple[Array, Array]:
    """Return breadth and height that one turn takes in its layer [m].

    Parallel solid wires lie side by side; litz is a round bundle.

    Parameters
    ----------
    litz : Array
        1 for litz, 0 for solid wires [1].
    diameter : Array
        Bare strand or wire [m].
    strands : Array
        Strands, or solid wires in parallel [1].
    insulation : float
        Added to the diameter of every bundle or solid wire [m].
    """
    xp = array_namespace(litz, diameter)
    wire = enamelled_diameter(diameter)
    height = xp.where(litz > LITZ_SHARE, bundle_diameter(wire, strands), wire) + insulation
    return xp.where(litz > LITZ_SHARE, height, height * strands), height


def coil(
    core: Core,
    *,
    litz: Array,
    diameter: Array,
    strands: Array,
    turns: Array,
    layers: Array,
    size: tuple[Array, Array],
    field_share: Array,
) -> Coil:
    """Return a winding on a core.

    Parameters
    ----------
    core : Core
        The core row.
    litz : Array
        1 for litz, 0 for solid wires in parallel [1].
    diameter : Array
        Bare strand or wire [m].
    strands : Array
        Strands, or solid wires in parallel [1].
    turns : Array
        Turns [1].
    layers : Array
        Layers in which they are wound [1].
    size : tuple of Array
        Breadth and height of a turn [m], from ``turn_size``.
    field_share : Array
        1 where the field builds up over the whole winding, 0.5 where over half [1].
    """
    xp = array_namespace(turns)
    lay = xp.where(litz > LITZ_SHARE, LAY, 1.0)
    return Coil(
        litz=litz,
        diameter=diameter,
        strands=strands,
        turns=turns,
        layers=layers,
        occupied=xp.ceil(turns / layers - 1e-9) * size[0],
        breadth=core.bw,
        build=layers * size[1],
        field_share=field_share,
        bundle=size[1],
        area=strands * (math.pi / 4.0) * diameter**2,
        length=turns * core.mlt * lay,
    )


@dataclasses.dataclass(frozen=True)
class Copper:
    """Loss of one winding: R_dc(T)·(direct + ripple) + eddy, all (design, point, 1)."""

    direct: Array  # [A²], mean square of direct and line-frequency current
    ripple: Array  # [A²], mean square of all harmonics
    eddy: Array  # [W], loss of the harmonics above R_dc, at 100 °C

    @property
    def square(self) -> Array:
        """Mean square of the whole current [A²]."""
        return self.direct + self.ripple


def copper(coil: Coil, stress: WindingStress, gain: float = 1.0) -> Copper:
    """Return the copper loss of one winding.

    The eddy part is taken at 100 °C and held: at 60 °C the true one is up to 14 % higher
    for thin strands and 7 % lower for thick ones.

    Parameters
    ----------
    coil : Coil
        The winding.
    stress : WindingStress
        Its current.
    gain : float
        Factor on the loss of all harmonics [1].
    """
    xp = array_namespace(stress.f)
    count = len(stress.harmonics)
    ripple = xp.zeros_like(stress.i_dc)
    weighted = xp.zeros_like(stress.i_dc)
    # The orders ride on the third axis, which the stress has already given up.
    order = xp.reshape(xp.asarray(orders(count)), (1, 1, count))
    factor = coil.eddy_factor(stress.f * order)
    for n, harmonic in enumerate(stress.harmonics):
        square = harmonic * harmonic
        ripple = ripple + square
        weighted = weighted + square * factor[:, :, n : n + 1]
    extra = weighted + (gain - 1.0) * (ripple + weighted)
    return Copper(stress.i_dc**2 + stress.i_line_rms**2, ripple, coil.resistance(T_EDDY) * extra)
