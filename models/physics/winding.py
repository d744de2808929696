"""Alternating-current loss of windings, leakage, and the wire itself."""

from __future__ import annotations

import math

from models.axes import Array, array_namespace
from models.physics.core import MU_0

# Copper, from memory of handbooks: resistivity at 20 °C [Ω·m], temperature coefficient
# [1/K], density [kg/m³].
RHO_CU_20, ALPHA_CU, DENSITY_CU = 1.724e-8, 0.00393, 8960.0


def resistivity(t: Array | float) -> Array | float:
    """Return the resistivity of copper [Ω·m] at ``t`` [°C].

    ρ(T) = 1.724e-8·(1 + 0.00393·(T − 20 °C))

    Source
    ------
    Handbooks (from memory).
    """
    return RHO_CU_20 * (1.0 + ALPHA_CU * (t - 20.0))


def skin_depth(f: Array, rho: Array | float) -> Array:
    """Return the skin depth δ = √(ρ/(π·f·µ0)) [m].

    Parameters
    ----------
    f : Array
        Frequency [Hz], above zero.
    rho : Array or float
        Resistivity [Ω·m].

    Source
    ------
    Textbooks on electromagnetic fields.
    """
    xp = array_namespace(f)
    return xp.sqrt(rho / (math.pi * MU_0 * f))


def layered_factor(thickness: Array, depth: Array, layers: Array) -> Array:
    """Return AC over DC resistance of a winding in full-width layers [1].

    F = ξ·[ (sinh 2ξ + sin 2ξ)/(cosh 2ξ − cos 2ξ)
            + ⅔·(p² − 1)·(sinh ξ − sin ξ)/(cosh ξ + cos ξ) ],   ξ = h/δ

    The field is taken parallel to the layers: a gap near the winding and layers that
    stop short of the window make the real factor larger.  Below ξ = 0.01 the factor is
    that of 0.01, which is 1.

    Parameters
    ----------
    thickness : Array
        Thickness h of one layer [m]; for round wire as by ``round_thickness``.
    depth : Array
        Skin depth δ [m].
    layers : Array
        Number p of layers between zero and full magnetomotive force [1]; 0.5 is a
        single layer with the field on both of its faces.

    Source
    ------
    P. L. Dowell, "Effects of eddy currents in transformer windings", Proc. IEE 113(8),
    1966 (from memory).
    """
    xp = array_namespace(thickness, depth)
    xi = xp.maximum(thickness / depth, 0.01)
    # Past 20 both quotients are 1 within 1e-8 and the hyperbolic functions
    # would overflow.
    x = xp.minimum(xi, 20.0)
    grown = xp.exp(x)
    sinh, cosh = 0.5 * (grown - 1.0 / grown), 0.5 * (grown + 1.0 / grown)
    sin, cos = xp.sin(x), xp.cos(x)
    # The first quotient in single arguments: no difference of nearly equal numbers.
    skin = (sinh * cosh + sin * cos) / (sinh * sinh + sin * sin)
    proximity = (sinh - sin) / (cosh + cos)
    return xi * (skin + 2.0 / 3.0 * (layers * layers - 1.0) * proximity)


def round_thickness(diameter: Array, share: Array) -> Array:
    """Return the foil thickness that stands for a layer of round wires [m].

    h = (π/4)^¾·d·√η

    Parameters
    ----------
    diameter : Array
        Diameter d of bare copper [m].
    share : Array
        Share η of the winding breadth that copper takes in a layer [1].

    Source
    ------
    P. L. Dowell, Proc. IEE 113(8), 1966, in the usual form for round wire (from memory).
    """
    xp = array_namespace(diameter, share)
    return (math.pi / 4.0) ** 0.75 * diameter * xp.sqrt(share)


def strand_skin_factor(diameter: Array, depth: Array) -> Array:
    """Return AC over DC resistance of one round wire alone [1].

    F_s = 1 + y⁴/(48 + 0.8·y⁴) below y = 1.68, else ¼ + y/2 + 3/(32·y),  y = d/(2·δ)

    Within 0.02 % of the Bessel functions below the step and 2.8 % above.

    Parameters
    ----------
    diameter : Array
        Diameter d of the wire [m].
    depth : Array
        Skin depth δ [m].

    Source
    ------
    Series and asymptote of the Bessel solution; textbooks (from memory).
    """
    xp = array_namespace(diameter, depth)
    y = 0.5 * diameter / depth
    y_4 = xp.minimum(y, 1.68) ** 4
    high = xp.maximum(y, 1.68)
    return xp.where(
        y < 1.68, 1.0 + y_4 / (48.0 + 0.8 * y_4), 0.25 + 0.5 * high + 3.0 / 32.0 / high
    )


def strand_field_loss(diameter: Array, depth: Array, rho: Array | float) -> Array:
    """Return loss per length and squared field amplitude across a wire, G [W·m/A²].

    P' = G·Ĥ²,  G = π·ρ·(d/δ)⁴/32·(1 + (d/(3.05·δ))^4.345)^−0.690

    Within 3.5 % of the Bessel functions for d up to 12 skin depths.

    Parameters
    ----------
    diameter : Array
        Diameter d of the wire [m].
    depth : Array
        Skin depth δ [m].
    rho : Array or float
        Resistivity ρ [Ω·m].

    Source
    ------
    Low-frequency limit: textbooks (from memory).  The reduction is a fit made for this
    program to 2π·ρ·Re[z·I₁(z)/I₀(z)], z = (1 + j)·d/(2·δ).
    """
    xp = array_namespace(diameter, depth)
    k = diameter / depth
    high = xp.exp(4.345 * xp.log(k / 3.05))
    return math.pi * rho / 32.0 * k**4 * xp.exp(-0.690 * xp.log1p(high))


def litz_factor(
    diameter: Array, depth: Array, *, strands: Array, bundle: Array, turns_per_breadth: Array
) -> Array:
    """Return AC over DC resistance of a winding of litz [1].

    F = F_s + n·G·(⟨Ĥ²⟩_ext + ⟨Ĥ²⟩_int)/(½·Î²·R′),   R′ = 4·ρ/(n·π·d²)
    ⟨Ĥ²⟩_ext = (N·Î/b)²/3,   ⟨Ĥ²⟩_int = Î²/(8·π²·r_b²)

    Strands share the current alike (perfect transposition) and the field falls straight
    through the winding; uneven twist and gap fields make the real factor larger.

    Parameters
    ----------
    diameter : Array
        Diameter d of bare strands [m].
    depth : Array
        Skin depth δ [m].
    strands : Array
        Number n of strands [1].
    bundle : Array
        Diameter 2·r_b of the bundle [m].
    turns_per_breadth : Array
        Turns that build the field up over its winding breadth, N/b [1/m]; half of it
        where the winding has zero field in its middle (interleaving).

    Source
    ------
    C. R. Sullivan, "Optimal choice for number of strands in a litz-wire transformer
    winding", IEEE Trans. Power Electron. 14(2), 1999, extended by the field inside the
    bundle (from memory).
    """
    field = turns_per_breadth**2 / 3.0 + 0.5 / (math.pi * bundle) ** 2
    # ρ cancels between G and R′: both for ρ = 1.
    per_strand = strand_field_loss(diameter, depth, 1.0) * math.pi / 2.0 * diameter**2
    return strand_skin_factor(diameter, depth) + strands**2 * per_strand * field


def leakage_inductance(
    turns: Array,
    *,
    mean_turn: Array,
    breadth: Array,
    interfaces: Array,
    copper: Array,
    gaps: Array,
) -> Array:
    """Return the leakage inductance at one winding [H].

    L_σ = µ0·N²·MLT/(m²·b)·(Σh_i/3 + Σg_j)

    Measured parts have 0.9 to 1.3 times this (edges, leads).

    Parameters
    ----------
    turns : Array
        Turns N of the winding referred to [1].
    mean_turn : Array
        Mean length of a turn MLT [m].
    breadth : Array
        Winding breadth b [m].
    interfaces : Array
        Number m of borders between the windings [1].
    copper : Array
        Sum Σh of the heights of all winding sections [m].
    gaps : Array
        Sum Σg of all distances between sections [m].

    Source
    ------
    Energy of a straight-sided field; textbooks (from memory).
    """
    return MU_0 * turns**2 * mean_turn / (interfaces**2 * breadth) * (copper / 3.0 + gaps)


def enamelled_diameter(diameter: Array) -> Array:
    """Return the outer diameter [m] of a strand or wire of bare ``diameter`` [m].

    d_o = 79 µm·1.12·(d/79 µm)^0.97, single build

    Source
    ------
    C. R. Sullivan, IEEE Trans. Power Electron. 14(2), 1999 (from memory).
    """
    return 79e-6 * 1.12 * (diameter / 79e-6) ** 0.97


def bundle_diameter(outer: Array, strands: Array) -> Array:
    """Return the diameter [m] of a litz bundle, 1.155·√n·d_o, or of a single wire.

    Parameters
    ----------
    outer : Array
        Outer diameter d_o of a strand [m].
    strands : Array
        Number n of strands [1].

    Source
    ------
    Litz makers' tables (from memory).
    """
    xp = array_namespace(outer, strands)
    return outer * xp.where(strands > 1.5, 1.155 * xp.sqrt(strands), 1.0)
