"""Coupled-inductor boost with diode clamp: high gain with one low-voltage switch a phase.

    module ─┬─ L_k ─ primary ─┬─ D_c ─┬─ secondary ─ D_o ── link
          C_in                S      C_c
            └─────────────────┴───────┴────────────────── link −

One or two phases, half a period apart.  The leakage of the coupled inductor makes the
switch turn on without current and the diodes off without steep slope; what it stores goes
through C_c to the link.  The price is a pulsating input current and an output diode that
rings, which the snubber of ``coupled_boost_snubber`` holds.  Waves and their region are in
``coupled_boost_waves``.
"""

from __future__ import annotations

import dataclasses

from models.axes import POINT, Array, array_namespace, point_max
from models.case import Case
from models.ledger import joined
from models.parts import capacitor, diode, transformer
from models.stages import coupled_boost_limits as limits
from models.stages import coupled_boost_parts as parts
from models.stages import coupled_boost_waves as forms
from models.stages import front_ripple, swing
from models.stages.coupled_boost_snubber import Snubber, snubber, windings_seen
from models.stages.ports import Front, FrontTraits, Link, Output
from models.stages.series_capacitor_boost import HardSwitch
from models.stages.series_capacitor_stress import active_share
from models.stages.stage import Placed
from models.variables import part, real, structure

TRAITS = FrontTraits(
    title="coupled-inductor boost with clamp",
    isolated=False,
    output=Output.LINK,
    regulated=True,
    common_negative=True,
    reverse=False,
)


@dataclasses.dataclass(frozen=True)
class Design:
    """What may be varied of the coupled-inductor boost."""

    phases: int = structure(1, 2, meaning="phases, half a period apart")
    f: Array = real(50, 300, "kHz", "switching frequency of a phase", log=True)
    ripple: Array = real(
        0.2, 2.0, "", "ripple of the magnetising current peak to peak over its mean at full "
        "power; 2 just reaches zero", log=True,
    )  # fmt: skip
    burst: Array = real(1, 40, "%", "share of full power below which it runs in bursts", log=True)
    snubber: Array = real(
        0.5, 8.0, "", "capacitance of the output diode's snubber over that of its junction",
        log=True,
    )  # fmt: skip
    transformer: transformer.Design = part(
        "coupled inductor of each phase", turns_primary=(2, 30), turns_secondary=(3, 120)
    )
    switch: HardSwitch = part("switch of each phase")
    clamp: diode.Design = part("clamp diode of each phase")
    rectifier: diode.Design = part("output diode of each phase")
    clamp_capacitor: capacitor.Film = part("clamp capacitor of each phase", count=(1, 6))
    input: capacitor.Ceramic = part("capacitors at the module")


@dataclasses.dataclass(frozen=True)
class Prepared:
    """Everything about a batch of designs that does not depend on the power."""

    circuit: forms.Circuit
    v_in: Array  # [V]
    v_out: Array  # [V], raised to the least gain
    lift: Array  # [V], of the link above its swing, at load rejection
    least_power: Array  # [W], below it bursts; (design, 1, 1)
    c_clamp: Array  # [F], of one phase
    snubber: Snubber


def inductance(design: Design, *, v_in: Array, v_out: Array, case: Case) -> Array:
    """Return the magnetising inductance of each phase at its primary [H].

    L_m = V·D·N/(r·I_m·f),   D = (V_o − V)/(V_o + n·V),   I_m = P/V + n·P/V_o

    at full power, with V and V_o the weighted means over the operating points and without
    leakage.
    """
    xp = array_namespace(v_in, v_out)
    weight = case.points.weight
    v = xp.sum(weight * v_in, axis=POINT, keepdims=True)
    link = xp.sum(weight * swing.node_mean(v_out), axis=POINT, keepdims=True)
    link = xp.maximum(link, limits.LEAST_GAIN * v)
    n = transformer.ratio(design.transformer)
    duty = (link - v) / (link + n * v)
    i_m = point_max(case.points.p_ac) * (1.0 / v + n / link) / design.phases
    return v * duty / (design.ripple * i_m * design.f)


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
    l_k = transformer.leakage(design.transformer, case)
    n = transformer.ratio(design.transformer)
    between = transformer.winding_capacitance(design.transformer, case)
    return Prepared(
        circuit=forms.Circuit(
            ratio=n,
            l_m=inductance(design, v_in=v_in, v_out=v_out, case=case),
            l_k=l_k,
            f=design.f,
        ),
        v_in=v_in,
        v_out=xp.maximum(v_out, limits.LEAST_GAIN * v_in),
        lift=0.0 * top if v_top is None else xp.maximum(v_top - top, 0.0),
        least_power=design.burst * point_max(case.points.p_ac),
        c_clamp=capacitor.capacitance(design.clamp_capacitor, case),
        snubber=snubber(
            design.snubber,
            diode.device(design.rectifier, case),
            l_ring=n * n * l_k,
            c_windings=windings_seen(between, n),
        ),
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
    placed = Placed(
        (
            parts.wound(at, design.transformer),
            parts.main_switch(at, design.switch.position(), diode.device(design.clamp, case)),
            parts.clamp_diode(at, design.clamp),
            parts.rectifier(at, design.rectifier, prepared.snubber),
            parts.clamp_capacitor(at, design.clamp_capacitor),
            parts.module_port(at, design.input),
            prepared.snubber.place(
                f"{path}.snubber", prepared.snubber.power(at.v_diode, at.rate), design.phases
            ),
        ),
        joined(
            limits.limits(
                at,
                gain=swing.link_ends(prepared.v_out)[0] / at.v_in,
                ripple=parts.switching_ripple(at, design.input) / at.v_in,
            ),
            limits.figures(at, prepared.snubber),
        ),
    )
    return Front(
        placed=placed,
        link_hf_rms=parts.link_current(at),
        f_link=design.phases * design.f,
        active=at.nodes.active,
        windings=0.0 * design.f,
        v_winding=0.0 * p,
        f=design.f,
        l_module=_module_inductance(design, prepared, swing.node_mean(prepared.v_out)),
    )


def setting(path: str, design: Design, prepared: Prepared, p: Array, case: Case) -> parts.Setting:
    """Return the waves at a power with everything that the parts need, see ``place``."""
    xp = array_namespace(p)
    running = xp.maximum(p, prepared.least_power)
    waves = forms.waves(
        prepared.circuit, running / design.phases, v_in=prepared.v_in, v_out=prepared.v_out
    )
    return parts.Setting(
        path=path,
        phases=design.phases,
        circuit=prepared.circuit,
        v_in=prepared.v_in,
        lift=prepared.lift,
        waves=waves,
        nodes=swing.Nodes(active_share(p, running)),
        c_clamp=prepared.c_clamp,
        case=case,
    )


def module_ripple(design: Design, prepared: Prepared, link: Link, p: Array, case: Case) -> Array:
    """Return the ripple at the module over its voltage [1]: past the loops, and of bursts.

    Averaged, the link's swing reaches the magnetising inductance as d/(1 + n) =
    V/(V_o + n·V) of itself.  In discontinuous conduction less passes.

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
    Averaged model, derived here; see ``front_ripple``.
    """
    xp = array_namespace(p)
    v = case.points.v_pv
    c = capacitor.capacitance_at(design.input, v, case)
    loops = front_ripple.past_loops(
        v / (link.v_rms + prepared.circuit.ratio * v) * link.swing,
        inductance=_module_inductance(design, prepared, link.v_rms),
        f=design.f,
        c=c,
        p=p,
        case=case,
    )
    active = active_share(p, xp.maximum(p, prepared.least_power))
    return front_ripple.ripple(
        loops, front_ripple.bursts(active, f=design.f, c=c, p=p, case=case), case
    )


def _module_inductance(design: Design, prepared: Prepared, v_link: Array) -> Array:
    """Return the inductance that the module's current sees, all phases in parallel [H].

    Of the magnetising current I_m the module gives (1 + n·D)/(1 + n) = V_o/(V_o + n·V).
    """
    circuit = prepared.circuit
    drawn = v_link / (v_link + circuit.ratio * prepared.v_in)
    return circuit.l_m / (drawn * design.phases)
