"""Interleaved boost with series capacitors: two to four phases, high gain, no transformer.

    in ──┬─ L_1 ─ s_1 ─ D_1 ─┬ x_1 ─ D_2 ─┬ x_2 ─ … ─ D_N ── link
         │         S_1       C_1          C_2
         ├─ L_2 ─ s_2 ───────┘            │
         │         S_2                    │
         └─ L_3 ─ s_3 ────────────────────┘

Each phase charges the capacitor of the next, so that at high gain (M ≥ N²) the switches
block only v_link/N.  The rectifiers are diodes (``DiodeDesign``) or transistors
(``SynchronousDesign``): two design classes, because their variables differ and a
variable without effect only widens the search.

A topology calls ``prepare`` once and ``place`` for every power it tries.
"""

from __future__ import annotations

import dataclasses
from typing import TypeAlias

from models.axes import POINT, Array, Indices, array_namespace
from models.case import Case
from models.ledger import Kind, Ledger, at_least, at_most, booking, joined
from models.parts import capacitor, diode, inductor, switch
from models.parts.part import Part
from models.parts.switch import Design as SwitchPosition
from models.stages import front_ripple, swing
from models.stages import series_capacitor_gain as gain_law
from models.stages import series_capacitor_modes as modes
from models.stages import series_capacitor_parts as parts
from models.stages.ports import FrontTraits, Output
from models.stages.series_capacitor_stress import Conditions
from models.stages.stage import Placed
from models.variables import part, real, row, structure, whole

TRAITS = FrontTraits(
    title="series-capacitor boost",
    isolated=False,
    output=Output.LINK,
    regulated=True,
    common_negative=True,
    reverse=False,
)

# What the stage itself allows; common practice, no source.
DUTY_MAX = 0.9
TIME_MIN = 100e-9  # [s], shortest on and off time
SWING_MAX = 0.10  # switching ripple of the series capacitors over V_1
LEAST_V_1 = 0.05  # V_1 over the link voltage
IMBALANCE_MAX = 1.3  # largest phase current over the mean
RIPPLE_MAX = 0.01  # switching ripple of the module voltage
# From this share of full power on the stage has to run without pauses.
STEADY_FROM = 0.5
PAUSES_MAX = 0.01  # share of time in pauses that counts as none
T_DEAD = 50e-9  # [s], stands in a switch position that has no dead time


@dataclasses.dataclass(frozen=True)
class Design:
    """What both kinds of rectifier have in common."""

    phases: int = structure(2, 3, meaning="phases")
    gating: str = structure(
        "uniform", "equal_current", meaning="all phases alike, or even ones off for at most 1/N"
    )
    f: Array = real(50, 400, "kHz", "switching frequency of a phase", log=True)
    ripple: Array = real(
        0.2, 1.5, "", "choke ripple peak to peak over its mean current at full power", log=True
    )
    burst: Array = real(1, 40, "%", "share of full power below which it runs in bursts", log=True)
    choke: inductor.Design = part("choke of each phase")
    series: capacitor.Film = part("each series capacitor", count=(1, 6))
    input: capacitor.Ceramic = part("capacitors at the module")


@dataclasses.dataclass(frozen=True)
class HardSwitch:
    """A transistor that faces a diode: there is no dead time to choose."""

    row: Indices = row("switches", "transistor class or part")
    r_on: Array = real(
        1, 1000, "mΩ", "on-resistance of one die at 25 °C; held to what the row offers", log=True
    )
    parallel: Array = whole(1, 4, "transistors in parallel")
    r_gate: Array = real(1, 30, "Ω", "gate resistor of each transistor", log=True)

    def position(self) -> SwitchPosition:
        """Return the switch position; its dead time is never used."""
        return SwitchPosition(
            self.row, self.r_on, self.parallel, self.r_gate, 0.0 * self.r_on + T_DEAD
        )


@dataclasses.dataclass(frozen=True)
class DiodeDesign(Design):
    """The stage with diodes: discontinuous conduction at light load."""

    switch: HardSwitch = part("switch of each phase")
    rectifier: diode.Design = part("diode of each phase")

    def position(self) -> SwitchPosition:
        """Return the switch position."""
        return self.switch.position()


@dataclasses.dataclass(frozen=True)
class SynchronousDesign(Design):
    """The stage with transistors as rectifiers: currents may reverse at light load."""

    switch: SwitchPosition = part("switch of each phase")
    rectifier: SwitchPosition = part("synchronous rectifier of each phase")

    def position(self) -> SwitchPosition:
        """Return the switch position."""
        return self.switch


AnyDesign: TypeAlias = DiodeDesign | SynchronousDesign


@dataclasses.dataclass(frozen=True)
class Prepared:
    """Everything about a batch of designs that does not depend on the power."""

    ready: modes.Ready
    inductance: Array  # [H], (design, 1, 1)
    least_power: Array  # [W], below it bursts; (design, 1, 1)


@dataclasses.dataclass(frozen=True)
class Front:
    """The placed stage and what the link behind it needs to know."""

    placed: Placed
    link_hf_rms: Array  # current into the link without its mean [A], (design, point, 1)
    active: Array  # share of time in which it runs [1], (design, point, 1)


def inductance(design: AnyDesign, *, v_in: Array, v_out: Array, case: Case) -> Array:
    """Return the inductance of each phase [H].

    L = V·D·N/(r·I·f) with the current I = P/V of the module at full power, and V, link
    voltage and D at their weighted means over the operating points.

    Parameters
    ----------
    design : DiodeDesign or SynchronousDesign
        The stage.
    v_in, v_out : Array
        Module and link voltage [V].
    case : Case
        Specification, operating points and catalogue.
    """
    xp = array_namespace(v_in, v_out)
    weight = case.points.weight
    v_ref = xp.sum(weight * v_in, axis=POINT, keepdims=True)
    link = xp.sum(weight * swing.node_mean(v_out), axis=POINT, keepdims=True)
    n = design.phases
    gain = xp.maximum(link / v_ref, gain_law.least_gain(n, design.gating))
    off = n / gain if design.gating == "equal_current" else gain_law.off_duty(gain, n)
    full = xp.max(case.points.p_ac, axis=POINT, keepdims=True)
    return v_ref * v_ref * (1.0 - off) * n / (design.ripple * full * design.f)


def prepare(design: AnyDesign, *, v_in: Array, v_out: Array, case: Case) -> Prepared:
    """Return the waves of the stage without their power.

    Parameters
    ----------
    design : DiodeDesign or SynchronousDesign
        The stage.
    v_in : Array
        Module voltage [V], (1, point, 1).
    v_out : Array
        Link voltage [V], at ``axes.swing_nodes`` along the last axis where it swings.
    case : Case
        Specification, operating points and catalogue.
    """
    xp = array_namespace(v_in, v_out)
    wanted = inductance(design, v_in=v_in, v_out=v_out, case=case)
    on = Conditions(
        phases=design.phases,
        gating=design.gating,
        diodes=isinstance(design, DiodeDesign),
        v_in=v_in,
        v_out=v_out,
        l_f=wanted * design.f,
    )
    full = xp.max(case.points.p_ac, axis=POINT, keepdims=True)
    return Prepared(modes.ready(on), wanted, design.burst * full)


def place(path: str, design: AnyDesign, prepared: Prepared, p: Array, case: Case) -> Front:
    """Return the stage at a power.

    Parameters
    ----------
    path : str
        Dotted path of the stage.
    design : DiodeDesign or SynchronousDesign
        The stage.
    prepared : Prepared
        Its waves, from ``prepare``.
    p : Array
        Power at the module [W], (design, point, 1).
    case : Case
        Specification, operating points and catalogue.
    """
    found = modes.stress(prepared.ready, p, prepared.least_power)
    nodes = swing.Nodes(found.active)
    c = capacitor.capacitance(design.series, case)
    setting = parts.Setting(
        path=path,
        f=design.f,
        inductance=prepared.inductance,
        # Peak to peak ripple of every series capacitor [V].
        swing=tuple(swing.highest(q) / (c * design.f) for q in found.c_charge),
        on=prepared.ready.on,
        stress=found,
        nodes=nodes,
        case=case,
    )
    position = design.position()
    own = switch.device(position, case)
    rectifiers: tuple[Part, ...]
    if isinstance(design, SynchronousDesign):
        transistor = switch.device(design.rectifier, case)
        switches = parts.switches(setting, position, own, transistor)
        rectifiers = parts.transistors(setting, design.rectifier, transistor, own)
    else:
        switches = parts.switches(setting, position, own, diode.device(design.rectifier, case))
        rectifiers = parts.diodes(setting, design.rectifier)
    placed = Placed(
        (
            parts.chokes(setting, design.choke),
            *switches,
            *rectifiers,
            *parts.series(setting, design.series, c),
            parts.module_port(setting, design.input),
        ),
        _limits(path, design, setting),
    )
    return Front(placed, parts.link_current(setting), swing.node_mean(found.active))


def burst_ripple(design: AnyDesign, active: Array, p: Array, case: Case) -> Array:
    """Return the module's ripple of bursts: amplitude over voltage of a sine of equal rms [1].

    Parameters
    ----------
    design : DiodeDesign or SynchronousDesign
        The stage.
    active : Array
        Share δ of time in which it runs [1], of ``Front``.
    p : Array
        Power at the module [W], (design, point, 1).
    case : Case
        Specification, operating points and catalogue.
    """
    c = capacitor.capacitance_at(design.input, case.points.v_pv, case)
    return front_ripple.bursts(active, f=design.f, c=c, p=p, case=case)


def _limits(path: str, design: AnyDesign, at: parts.Setting) -> Ledger:
    """Return what the stage allows while it passes power, and its figures."""
    xp = array_namespace(at.inductance)
    s, on, case = at.stress, at.on, at.case
    one = xp.ones_like(at.inductance)
    loaded = case.points.p_ac > 0.0
    duty = swing.highest(swing.largest(s.duty))
    least = swing.lowest(swing.smallest(s.duty))
    on_time = xp.minimum(least, 1.0 - duty) / design.f
    v_1 = swing.lowest(s.v_c[0])
    balance = swing.node_max(swing.largest(s.l_avg) / xp.maximum(sum(s.l_avg), 1e-12))
    bottom, link = at.link
    gain = bottom / on.v_in
    gain_least = gain_law.least_gain(on.phases, on.gating) / gain_law.INSIDE
    steady = swing.node_min(s.active)
    edge = swing.node_min(xp.abs(on.v_out / (on.v_in * on.phases**2) - 1.0))
    full = xp.max(case.points.p_ac, axis=POINT, keepdims=True)
    steady = xp.where(case.points.p_ac > STEADY_FROM * full, steady, 1.0)
    ripple = parts.module_ripple(at, design.input)

    def below(actual: Array) -> Array:
        return xp.where(loaded, actual, 0.0)

    def above(actual: Array, bound: float) -> Array:
        return xp.where(loaded, actual, 2.0 * bound)

    return joined(
        at_most(f"{path}.duty", below(duty), DUTY_MAX * one, "", "largest duty of a switch"),
        at_least(f"{path}.shortest", above(on_time, TIME_MIN), TIME_MIN * one, "s",
                 "shortest on or off time of a switch"),
        at_most(f"{path}.swing", below(swing.largest(at.swing) / xp.maximum(v_1, 1.0)),
                SWING_MAX * one, "", "ripple of a series capacitor over the voltage of the first"),
        at_least(f"{path}.v_1", above(v_1 / link, LEAST_V_1), LEAST_V_1 * one, "",
                 "voltage of the first series capacitor over that of the link"),
        at_most(f"{path}.imbalance", below(balance * on.phases), IMBALANCE_MAX * one, "",
                "largest phase current over the mean"),
        at_least(f"{path}.gain", above(gain, gain_least), gain_least * one, "",
                 "gain against what the gating can give"),
        at_most(f"{path}.pauses", 1.0 - steady, PAUSES_MAX * one, "",
                 "share of time in pauses from half of full power on"),
        at_most(f"{path}.ripple", below(ripple / on.v_in), RIPPLE_MAX * one, "",
                "switching ripple at the module, peak to peak over its voltage"),
        booking(f"{path}.largest_duty", Kind.FIGURE, duty, "largest duty of a switch", ""),
        booking(f"{path}.zone_edge", Kind.FIGURE, edge, "distance of the gain from N², where the "
                "voltages at turn-on jump", ""),
        booking(f"{path}.active", Kind.FIGURE, at.nodes.active, "share of time it runs", ""),
    )  # fmt: skip
