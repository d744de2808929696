"""Dual active bridge: isolated, one frequency, eight transistors, power either way.

Two full bridges drive a transformer and an inductance in series with it.  The phase between
them sets the power, whatever the link does; where module and link part from the turns'
ratio, triangular currents spare the circulating current of a phase shift at part load.
Most edges are soft: at the link the magnetising current helps always, at the module a phase
shift must be large enough.  What is missing of an edge is burnt and booked, no limit.

Below ``burst`` of full power it runs in bursts.  Waves and their region stand in
``dual_active_bridge_waves``.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace, point_max
from models.case import Case
from models.ledger import joined
from models.parts import capacitor, transformer
from models.stages import dual_active_bridge_limits as limits
from models.stages import dual_active_bridge_magnetics as magnetics
from models.stages import dual_active_bridge_parts as parts
from models.stages import dual_active_bridge_waves as forms
from models.stages import front_ripple, swing
from models.stages.dual_active_bridge_circuit import Design, circuit
from models.stages.ports import Front, FrontTraits, Link, Output
from models.stages.series_capacitor_stress import active_share
from models.stages.stage import Placed

__all__ = ["TRAITS", "Design", "Prepared", "module_ripple", "place", "prepare"]

TRAITS = FrontTraits(
    title="dual active bridge",
    isolated=True,
    output=Output.LINK,
    regulated=True,
    common_negative=False,
    reverse=True,
)
LATE = 1.5  # [1], switching periods by which the phase follows the link; common practice
# Gain of the module's voltage loop: a bandwidth of f/120; as in ``front_ripple``.
LOOP = 2.0 * math.pi / 120.0


@dataclasses.dataclass(frozen=True)
class Prepared:
    """Everything about a batch of designs that does not depend on the power."""

    circuit: forms.Circuit
    leakage: Array  # [H], of the transformer
    v_in: Array  # [V]
    v_out: Array  # [V], at the nodes of the swing
    v_top: Array  # [V]
    least_power: Array  # [W], below it bursts; (design, 1, 1)


def prepare(
    design: Design, *, v_in: Array, v_out: Array, case: Case, v_top: Array | None = None
) -> Prepared:
    """Return what does not depend on the power.

    Parameters
    ----------
    design : Design
        The stage.
    v_in : Array
        Module voltage [V], (1, point, 1).
    v_out : Array
        Link voltage [V], at ``axes.swing_nodes`` along the last axis where it swings.
    case : Case
        Specification, operating points and catalogue.
    v_top : Array, optional
        Highest link voltage, load rejection included [V]; else the end of the swing.
    """
    xp = array_namespace(v_in, v_out)
    top = swing.link_ends(v_out)[1]
    return Prepared(
        circuit=circuit(design, v_in=v_in, v_out=v_out, case=case),
        leakage=transformer.leakage(design.transformer, case),
        v_in=v_in,
        v_out=v_out,
        v_top=top if v_top is None else xp.maximum(v_top, top),
        least_power=design.burst * point_max(case.points.p_ac),
    )


def setting(path: str, design: Design, prepared: Prepared, p: Array, case: Case) -> parts.Setting:
    """Return the waves at a power, and all else that parts are placed with."""
    xp = array_namespace(p)
    running = xp.maximum(p, prepared.least_power)
    return parts.Setting(
        path=path,
        design=design,
        circuit=prepared.circuit,
        leakage=prepared.leakage,
        waves=forms.waves(
            prepared.circuit,
            running,
            v_1=prepared.v_in,
            v_2=prepared.v_out / prepared.circuit.ratio,
            triangles=design.modulation == "triangular",
        ),
        v_in=prepared.v_in,
        v_out=prepared.v_out,
        v_top=prepared.v_top,
        nodes=swing.Nodes(active_share(p, running)),
        case=case,
    )


def place(path: str, design: Design, prepared: Prepared, p: Array, case: Case) -> Front:
    """Return the stage at a power.

    Parameters
    ----------
    path : str
        Dotted path of the stage.
    design : Design
        The stage.
    prepared : Prepared
        Of ``prepare``.
    p : Array
        Power at the module [W], (design, point, 1).
    case : Case
        Specification, operating points and catalogue.
    """
    at = setting(path, design, prepared, p, case)
    harmonics = magnetics.harmonic_squares(at.circuit, at.waves, 1.0)
    placed = Placed(
        (
            parts.module_switches(at),
            *magnetics.choke(at, harmonics),
            *parts.blocking(at),
            magnetics.wound(at, harmonics),
            parts.link_switches(at),
            parts.module_port(at),
        ),
        joined(limits.limits(at), limits.figures(at)),
    )
    return Front(
        placed=placed,
        link_hf_rms=parts.link_current(at),
        f_link=2.0 * design.f,
        active=at.nodes.active,
        windings=transformer.winding_capacitance(design.transformer, case),
        v_winding=magnetics.winding_swing(at, harmonics[0]),
        f=design.f,
    )


def module_ripple(design: Design, prepared: Prepared, link: Link, p: Array, case: Case) -> Array:
    """Return the ripple at the module over its voltage [1]: past the loops, and of bursts.

    At held gate times the current drawn is proportional to the link's voltage, whatever the
    module's: the module's own squares drive it in quadrature alone.  The times follow the
    measured link, late by 1.5 switching periods; what is left of the swing drives the
    module's capacitor against the voltage loop:
    |v| = |1 − e^(−j2ωT)|·(P/V)·(v̂/v)/|j2ωC + P/V² + Y|, with Y = 2π·f·C/120.

    Parameters
    ----------
    design : Design
        The stage.
    prepared : Prepared
        Of ``prepare``.
    link : Link
        Voltage of the link.
    p : Array
        Power at the module [W].
    case : Case
        Specification, operating points and catalogue.

    Source
    ------
    Averaged model of the loops, derived here; see ``front_ripple``.
    """
    xp = array_namespace(p)
    points, f = case.points, design.f
    active = active_share(p, xp.maximum(p, prepared.least_power))
    c = capacitor.capacitance_at(design.input, points.v_pv, case)
    double = 4.0 * math.pi * points.f_grid
    late = 2.0 * xp.sin(xp.minimum(0.5 * double * LATE / f, 1.5))
    admittance = xp.hypot(double * c, p / points.v_pv**2 + LOOP * f * c)
    left = late * link.swing / link.v_rms
    loops = left * p / (points.v_pv**2 * admittance)
    bursts = front_ripple.bursts(active, f=f, c=c, p=p, case=case)
    return front_ripple.ripple(loops, bursts, case)
