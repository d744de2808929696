"""Currents and ripples of the common-ground half bridge, as its parts bear them.

See ``models.stages.common_ground_half_bridge`` for the circuit.  Arrays along the angle
cover half a line cycle; in the other half the grid's voltage and current change sign.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, Indices, array_namespace, line_max
from models.case import Case
from models.parts import inductor, switch
from models.physics.grid import line_product
from models.stages.film_links import Links
from models.stages.grid_filter import GridSide
from models.stress import Flux, InductorStress, WindingStress
from models.variables import choice, part, real

T_LEAST = 100e-9  # [s], least on-time of a switch; common practice, no source
M_HIGHEST = 0.97  # [1], largest modulation index whatever the frequency

# Share of the product of both ripples that their correlation leaves in C₁ [1]: 0.76 to 1
# with carriers aligned, taken at its mean of 0.9.
CORRELATION = 0.9

CARRIERS = ("aligned", "opposed")

# Every so many-th angle is enough for whatever is smooth.
COARSE = slice(None, None, 2)
# And for edges: their mean currents are then within 1.5 % of the switched circuit; against
# 1024 angles losses are 0.3 % off in the mean, 1 % in one of twenty random designs.
EDGES = slice(2, None, 4)


@dataclasses.dataclass(frozen=True)
class Design:
    """Frequency, carriers, switches and chokes of both legs."""

    f: Array = real(40, 250, "kHz", "switching frequency", log=True)
    carriers: Indices = choice(*CARRIERS, meaning="carriers of the two legs")
    leg_a: switch.Design = part("switches of the doubler leg")
    leg_b: switch.Design = part("switches of the grid leg")
    doubler_inductance: Array = real(100, 1000, "µH", "doubler inductance", log=True)
    doubler: inductor.Design = part("doubler inductor")
    choke_inductance: Array = real(100, 5000, "µH", "bridge-side grid inductance", log=True)
    choke: inductor.Design = part("bridge-side grid choke")


def modulation_limit(design: Design, case: Case) -> Array:
    """Return the largest modulation index 1 − 2·f·(t_d + t_min) [1], (design, 1, 1)."""
    xp = array_namespace(design.f)
    t_dead = switch.device(design.leg_b, case).t_dead
    return xp.clip(1.0 - 2.0 * design.f * (t_dead + T_LEAST), 0.5, M_HIGHEST)


def even_current(side: GridSide, links: Links, power: Array, some: slice) -> Array:
    """Return the part of i_b that repeats every half cycle, i_in − C₁·dV₁/dt [A].

    At ``some`` of the angles.
    """
    taken = links.share_1 * side.swing_cosine[..., some]
    return (2.0 * power - taken) / links.v_2[..., some]


def ripple_scale(design: Design, side: GridSide) -> Array:
    """Return half the doubler's ripple, peak to peak, over V₂ [S]."""
    return side.running / (8.0 * design.doubler_inductance * design.f)


def choke_stress(
    design: Design, side: GridSide, *, duty: Array, pp: Array, harmonics: tuple[Array, ...]
) -> InductorStress:
    """Return the stress of the bridge-side choke."""
    xp = array_namespace(pp)
    return InductorStress(
        inductance=design.choke_inductance,
        i_peak=line_max(xp.abs(side.i) + 0.5 * pp),
        winding=WindingStress(
            i_dc=0.0 * side.i_rms, i_line_rms=side.i_rms, f=design.f, harmonics=harmonics
        ),
        flux=(Flux(design.f, design.choke_inductance * pp[..., EDGES], duty),),
    )


def doubler_ripple(design: Design, side: GridSide, links: Links) -> Array:
    """Return the mean square of the doubler's ripple, peak to peak [A²]."""
    pp = links.v_2_rms * (side.running / (4.0 * design.doubler_inductance * design.f))
    return pp * pp


def doubler_stress(
    design: Design, side: GridSide, links: Links, i_peak: Array, mean: Array, line: Array
) -> InductorStress:
    """Return the stress of the doubler inductor: a symmetrical triangle at half duty."""
    xp = array_namespace(mean)
    square = doubler_ripple(design, side, links) / 12.0
    # Shares of the harmonics 1 and 3 in a symmetrical triangle; the even ones are zero.
    first, third = 96.0 / math.pi**4, 96.0 / (81.0 * math.pi**4)
    shares = (first, 0.0, third, 1.0 - first - third)
    return InductorStress(
        inductance=design.doubler_inductance,
        i_peak=i_peak,
        winding=WindingStress(
            i_dc=mean,
            i_line_rms=line,
            f=design.f,
            harmonics=tuple(xp.sqrt(s * square) for s in shares),
        ),
        flux=(
            Flux(
                design.f,
                links.v_2_rms * (side.running / (4.0 * design.f)),
                0.5 + 0.0 * mean,
                active=side.running,
            ),
        ),
    )


def link_squares(
    design: Design, side: GridSide, links: Links, *, y: Array, pp: Array, square: Array
) -> tuple[Array, Array]:
    """Return the mean squares in C₂ and C₁ that do not depend on the front's power [A²].

    With b = ½ − |y| and both halves of the line cycle taken together, the mean square in
    C₂ is that of g/2 (g the even part of i_b), of i·√(¼ + e·b − b²) and of both ripples
    through their lower switches, whose product leaves the polynomial in b below.
    """
    xp = array_namespace(pp)
    aligned = design.carriers == 0
    b = 0.5 - xp.abs(y[..., COARSE])
    i, v_2 = side.i[..., COARSE], links.v_2[..., COARSE]
    current = line_product(i * i, 0.25 + b * (xp.where(aligned, 0.0, 2.0) - b))
    per_volt = side.running / design.f
    scale = per_volt * per_volt / (8.0 * design.doubler_inductance * design.choke_inductance)
    first = xp.where(aligned, 1.0 / 24.0, -1.0 / 12.0)
    third = xp.where(aligned, 1.0 / 3.0, 0.5)
    product = line_product(v_2 * v_2, b * (first + b * b * (third - b * (1.0 / 3.0))))
    doubler_square = doubler_ripple(design, side, links)
    square_2 = current + scale * product + (doubler_square + square) / 24.0
    sign = xp.where(aligned, 2.0, -2.0) * CORRELATION
    product_2 = per_volt / (4.0 * design.doubler_inductance) * line_product(v_2, pp[..., COARSE])
    square_1 = (doubler_square + square + sign * product_2) / 12.0
    return square_2, xp.maximum(square_1, 0.0)
