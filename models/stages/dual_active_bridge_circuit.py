"""What a dual active bridge is built of, and the circuit that this makes.

    module ─┬─ bridge ── C_b ── L_s ─┐            ┌── C_b' ── bridge ─── link
          C_in                   primary (L_m) ∥ secondary
            └─ bridge ───────────────┘            └───────── bridge ─── link −

L_s is a choke of its own together with the transformer's leakage, or that leakage alone;
either way all of it is counted on the module's side.  C_b and C_b' keep direct current,
which unequal edges of either bridge would drive, out of both windings.
"""

from __future__ import annotations

import dataclasses

from models.axes import POINT, Array, array_namespace, point_max
from models.case import Case
from models.parts import capacitor, inductor, transformer
from models.parts.switch import Design as SwitchPosition
from models.stages import swing
from models.stages.dual_active_bridge_waves import Circuit, inductance
from models.variables import alternative, part, real, structure


@dataclasses.dataclass(frozen=True)
class OwnChoke:
    """Most of the series inductance is a choke."""

    shift: Array = real(
        0.04, 0.26, "", "phase shift at full power over half a period, 0.25 for 45°", log=True
    )
    choke: inductor.Design = part("series choke", turns=(2, 30))


@dataclasses.dataclass(frozen=True)
class Leakage:
    """The transformer's leakage is the series inductance: it sets the phase shift."""


@dataclasses.dataclass(frozen=True)
class Design:
    """What may be varied of the dual active bridge."""

    modulation: str = structure(
        "phase_shift", "triangular", meaning="phase shift alone, or triangular currents where "
        "they are possible and smaller",
    )  # fmt: skip
    series: OwnChoke | Leakage = alternative(
        "where the series inductance lies", choke=OwnChoke, leakage=Leakage
    )
    f: Array = real(60, 300, "kHz", "switching frequency", log=True)
    magnetising: Array = real(
        0.03, 1.0, "", "peak magnetising current over the module's current at full power", log=True
    )
    burst: Array = real(1, 40, "%", "share of full power below which it runs in bursts", log=True)
    transformer: transformer.Design = part(
        "transformer", turns_primary=(2, 30), turns_secondary=(4, 150)
    )
    switch: SwitchPosition = part("each switch at the module")
    rectifier: SwitchPosition = part("each switch at the link")
    blocking: capacitor.Ceramic = part("capacitors in series with the primary")
    blocking_link: capacitor.Film = part("capacitors in series with the secondary", count=(1, 4))
    input: capacitor.Ceramic = part("capacitors at the module")


def circuit(design: Design, *, v_in: Array, v_out: Array, case: Case) -> Circuit:
    """Return turns and inductances.

    The phase shift of an own choke and the magnetising current are those at full power
    with module and link at the weighted means of their voltages.

    Parameters
    ----------
    design : Design
        The stage.
    v_in, v_out : Array
        Module and link voltage [V].
    case : Case
        Specification, operating points and catalogue.
    """
    xp = array_namespace(v_in, v_out)
    n = transformer.ratio(design.transformer)
    weight, full = case.points.weight, point_max(case.points.p_ac)
    v_1 = xp.sum(weight * v_in, axis=POINT, keepdims=True)
    link = xp.sum(weight * swing.node_mean(v_out), axis=POINT, keepdims=True)
    v_2 = link / n
    leakage = transformer.leakage(design.transformer, case)
    l_s = leakage
    if isinstance(design.series, OwnChoke):
        l_s = inductance(full, design.series.shift, v_1=v_1, v_2=v_2, f=design.f)
    i_m = design.magnetising * full / v_1
    return Circuit(ratio=n, l_s=l_s, l_m=v_2 / (4.0 * design.f * i_m), f=design.f)
