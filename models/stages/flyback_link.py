"""Flyback with active clamp as the stage in front of a direct-current link.

    module ──┬── L_k ── primary ──┬── S ── ground      secondary ── D_o ── link
           C_in      C_c ── S_c ──┘

One or two phases, half a period apart.  Circuit, drive of the clamp switch and waves are
those of ``flyback``; but here the power is constant over the line cycle and the output is
a link that may swing, which the duty follows.  The diode's voltage rings with the leakage,
held by a snubber.  Drops of diode and resistances are left out of the waves.

At light load a phase is shed, then the stage runs in bursts.
"""

from __future__ import annotations

import dataclasses

from models.axes import POINT, Array, array_namespace, point_max, point_min
from models.case import Case
from models.parts import capacitor, diode, switch, transformer
from models.stages import coupled_boost_snubber as damping
from models.stages import flyback, front_ripple, swing
from models.stages import flyback_link_limits as limits
from models.stages import flyback_link_parts as parts
from models.stages.flyback_waves import Circuit, complementary, short_pulse
from models.stages.ports import Front, FrontTraits, Link, Output
from models.stages.stage import Placed
from models.variables import part, real

TRAITS = FrontTraits(
    title="active-clamp flyback on a link",
    isolated=True,
    output=Output.LINK,
    regulated=True,
    common_negative=False,
    reverse=False,
)


@dataclasses.dataclass(frozen=True)
class Design(flyback.Design):
    """What may be varied of the flyback on a link."""

    magnetising: Array = real(
        0.3, 1.0, "",
        "1: magnetising current just reaches zero at full power and lowest voltages; short "
        "pulse: it flows for this share of the period there; complementary: it swings by "
        "this share of its mean, up and down",
    )  # fmt: skip
    least_load: Array = real(
        0.03, 0.5, "",
        "a phase runs with no less than this share of its rated power; below, phases are "
        "shed, then the stage runs in bursts",
        log=True,
    )  # fmt: skip
    snubber: Array = real(
        0.5, 8.0, "", "capacitance of the diode's snubber over that of its junction", log=True
    )
    input: capacitor.Ceramic = part("capacitors at the module")


@dataclasses.dataclass(frozen=True)
class Prepared:
    """Everything about a batch of designs that does not depend on the power."""

    circuit: Circuit
    ratio: Array  # n [1]
    v_in: Array  # [V]
    v_out: Array  # [V], at the nodes of the swing
    lift: Array  # [V], of the link above its swing, at load rejection
    snubber: damping.Snubber


def circuit(design: Design, *, v_in: Array, v_out: Array, case: Case) -> Circuit:
    """Return inductances, clamp capacitance and pulse length of a phase.

    L_b = V²·D²/(2·(P/N)·f), D = V_r/(V_r + V), just ends at zero current at full power
    and the lowest of all D·V; with the variable x, L_m = x²·L_b (short pulse) or L_b/x.

    Parameters
    ----------
    design : Design
        The stage.
    v_in, v_out : Array
        Module voltage, and that of the link at the nodes of its swing [V].
    case : Case
        Specification, operating points and catalogue.

    Source
    ------
    Balance of power in discontinuous conduction; textbooks.
    """
    xp = array_namespace(v_in, v_out)
    points, x = case.points, design.magnetising
    n = transformer.ratio(design.transformer)
    rated = point_max(points.p_ac)
    least = swing.link_ends(v_out)[0] / n
    drive = v_in * least / (v_in + least)
    full = points.p_ac >= 0.99 * rated
    lowest = point_min(xp.where(full, drive, point_max(drive)))
    border = lowest * lowest / (2.0 * flyback.LAYOUT * rated / design.phases * design.f)
    mean = xp.sum(points.weight * swing.node_mean(v_out), axis=POINT, keepdims=True) / n
    l_k = transformer.leakage(design.transformer, case)
    c = capacitor.capacitance_at(design.clamp_capacitor, mean, case)
    return Circuit(
        l_m=border * x * x if design.clamp == "short_pulse" else border / x,
        l_k=l_k,
        c_clamp=c,
        f=design.f,
        t_pulse=flyback.PULSE_ANGLE * xp.sqrt(l_k * c),
    )


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
    n = transformer.ratio(design.transformer)
    made = circuit(design, v_in=v_in, v_out=v_out, case=case)
    top = swing.link_ends(v_out)[1]
    between = transformer.winding_capacitance(design.transformer, case)
    return Prepared(
        circuit=made,
        ratio=n,
        v_in=v_in,
        v_out=v_out,
        lift=0.0 * top if v_top is None else xp.maximum(v_top - top, 0.0),
        snubber=damping.snubber(
            design.snubber,
            diode.device(design.rectifier, case),
            l_ring=n * n * made.l_k,
            c_windings=damping.windings_seen(between, n),
        ),
    )


def setting(design: Design, prepared: Prepared, p: Array, case: Case) -> parts.LinkPhase:
    """Return the waves at a power with everything that the parts need, see ``place``."""
    run = flyback.running(design, p, case)
    short = design.clamp == "short_pulse"
    power = run.p_run / run.phases
    v_in, v_r = prepared.v_in, prepared.v_out / prepared.ratio
    waves = (short_pulse if short else complementary)(prepared.circuit, power, v_in=v_in, v_r=v_r)
    return parts.LinkPhase(
        circuit=prepared.circuit,
        waves=waves,
        short=short,
        ratio=prepared.ratio,
        v_in=v_in,
        v_r=v_r,
        v_r_peak=swing.link_ends(prepared.v_out)[1] / prepared.ratio,
        i_in=power / v_in + 0.0 * v_r,
        busy=run.share * run.phases / design.phases,
        runs=case.points.p_ac > 0.0,
        phases=design.phases,
        run=run,
        lift=prepared.lift,
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
    one = setting(design, prepared, p, case)
    main, clamp = switch.device(design.main, case), switch.device(design.clamp_switch, case)
    ripple = parts.switching_ripple(one, design.input, case)
    placed = Placed(
        (
            *parts.switches(path, one, design, case),
            parts.wound(path, one, design, case),
            parts.rectifier(path, one, design, prepared.snubber, case),
            parts.clamp_capacitor(path, one, design, case),
            parts.module_port(path, one, design.input, ripple, case),
            prepared.snubber.place(
                f"{path}.snubber", parts.ringing(one, prepared.snubber), design.phases
            ),
        ),
        limits.limits(path, one, t_dead=main.t_dead + clamp.t_dead, ripple=ripple, case=case)
        + limits.figures(path, one, main, clamp, prepared.snubber),
    )
    between = transformer.winding_capacitance(design.transformer, case)
    return Front(
        placed=placed,
        link_hf_rms=parts.link_current(one),
        f_link=one.f_sum,
        active=one.run.share,
        windings=design.phases * between,
        v_winding=parts.winding_swing(one),
        f=design.f,
    )


def module_ripple(design: Design, prepared: Prepared, link: Link, p: Array, case: Case) -> Array:
    """Return the ripple at the module over its voltage [1]: past the loops, and of bursts.

    Averaged, the link's swing reaches the magnetising inductance of a complementary drive
    as d/n = V/(V_o + n·V) of itself, and the module gives D = V_o/(V_o + n·V) of its
    current.  With short pulses a percent of the link moves the energy of a period by a tenth
    of one, through the valley of the current; late by 1.5 periods, that is left out.

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
    v, n = case.points.v_pv, prepared.ratio
    run = flyback.running(design, p, case)
    c = capacitor.capacitance_at(design.input, v, case)
    drive = v / (link.v_rms + n * v)
    loops = 0.0 * drive
    if design.clamp == "complementary":
        duty = 1.0 - n * drive
        loops = front_ripple.past_loops(
            drive * link.swing,
            inductance=prepared.circuit.l_m / (duty * run.phases),
            f=design.f, c=c, p=p, case=case,
        )  # fmt: skip
    pauses = front_ripple.bursts(run.share, f=design.f, c=c, p=p, case=case)
    return front_ripple.ripple(loops, pauses, case)
