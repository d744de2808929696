"""Interleaved boost: one to four phases straight into the link.

    module ─┬──┬─ L_1 ─ s_1 ─┬─ D_1 ─┬── link
            │  │            S_1      │
          C_in ├─ L_N ─ s_N ─┬─ D_N ─┘
            │               S_N
            └────────────────┴────────── link −

Cheapest and with a continuous input current; duty and the voltage of the switches, which
block the whole link, bound the gain to about eight.  The rectifiers are diodes
(``DiodeDesign``: discontinuous at light load) or transistors (``SynchronousDesign``: the
current may reverse, so that the switch turns on softly).  Several phases are shed as the
grid's power falls.  Waves and their region are in ``interleaved_boost_waves``.
"""

from __future__ import annotations

import dataclasses
from typing import TypeAlias

from models.axes import POINT, Array, array_namespace, point_max
from models.case import Case
from models.parts import capacitor, diode, inductor, switch
from models.parts.part import Part
from models.parts.switch import Design as SwitchPosition
from models.stages import front_ripple, swing
from models.stages import interleaved_boost_limits as limits
from models.stages import interleaved_boost_parts as parts
from models.stages import interleaved_boost_waves as forms
from models.stages.ports import Front, FrontTraits, Link, Output
from models.stages.series_capacitor_boost import HardSwitch
from models.stages.series_capacitor_stress import active_share
from models.stages.stage import Placed
from models.variables import alternative, part, real, structure

ROUNDING = 1e-9  # of a load that just fills its phases

TRAITS = FrontTraits(
    title="interleaved boost",
    isolated=False,
    output=Output.LINK,
    regulated=True,
    common_negative=True,
    reverse=False,
)


@dataclasses.dataclass(frozen=True)
class Single:
    """One phase."""

    @property
    def phases(self) -> int:
        """Phases that are built."""
        return 1

    def running(self, load: Array) -> Array:
        """Return the phases that run [1] at a share of full power [1]."""
        return array_namespace(load).ones_like(load)


@dataclasses.dataclass(frozen=True)
class Interleaved:
    """Several phases, of which as many run as the load needs."""

    phases: int = structure(2, 3, 4, meaning="phases")
    shed: Array = real(
        30, 120, "%", "share of its part of full power that a phase carries before another starts"
    )

    def running(self, load: Array) -> Array:
        """Return the phases that run [1] at a share of full power [1]."""
        xp = array_namespace(load)
        return xp.clip(xp.ceil(load * self.phases / self.shed - ROUNDING), 1.0, self.phases)


@dataclasses.dataclass(frozen=True)
class Design:
    """What both kinds of rectifier have in common."""

    layout: Single | Interleaved = alternative("phases", single=Single, interleaved=Interleaved)
    f: Array = real(50, 500, "kHz", "switching frequency of a phase", log=True)
    ripple: Array = real(
        0.15, 2.2, "", "choke ripple peak to peak over its mean current at full power", log=True
    )
    burst: Array = real(1, 40, "%", "share of full power below which it runs in bursts", log=True)
    choke: inductor.Design = part("choke of each phase")
    input: capacitor.Ceramic = part("capacitors at the module")


@dataclasses.dataclass(frozen=True)
class DiodeDesign(Design):
    """The stage with diodes."""

    switch: HardSwitch = part("switch of each phase")
    rectifier: diode.Design = part("diode of each phase")

    def position(self) -> SwitchPosition:
        """Return the switch position."""
        return self.switch.position()


@dataclasses.dataclass(frozen=True)
class SynchronousDesign(Design):
    """The stage with transistors as rectifiers."""

    switch: SwitchPosition = part("switch of each phase")
    rectifier: SwitchPosition = part("synchronous rectifier of each phase")

    def position(self) -> SwitchPosition:
        """Return the switch position."""
        return self.switch


AnyDesign: TypeAlias = DiodeDesign | SynchronousDesign


@dataclasses.dataclass(frozen=True)
class Prepared:
    """Everything about a batch of designs that does not depend on the power."""

    inductance: Array  # [H], of a phase, (design, 1, 1)
    v_in: Array  # [V]
    v_out: Array  # [V], raised to the least gain
    v_top: Array  # [V], highest of the link, load rejection included
    phases: Array  # that run [1], (design, point, 1)
    least_power: Array  # [W], below it bursts; (design, 1, 1)


def inductance(design: AnyDesign, *, v_in: Array, v_out: Array, case: Case) -> Array:
    """Return the inductance of each phase [H].

    L = V·D·N/(r·I·f) with the current I = P/V of the module at full power, and V and link
    voltage at their weighted means over the operating points.
    """
    xp = array_namespace(v_in, v_out)
    weight = case.points.weight
    v = xp.sum(weight * v_in, axis=POINT, keepdims=True)
    link = xp.sum(weight * swing.node_mean(v_out), axis=POINT, keepdims=True)
    duty = 1.0 - v / xp.maximum(link, limits.LEAST_GAIN * v)
    current = point_max(case.points.p_ac) / v
    return v * duty * design.layout.phases / (design.ripple * current * design.f)


def prepare(
    design: AnyDesign, *, v_in: Array, v_out: Array, case: Case, v_top: Array | None = None
) -> Prepared:
    """Return what does not depend on the power.

    Which phases run follows from the power into the grid, so that losses do not move it.

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
    v_top : Array, optional
        Highest link voltage, load rejection included [V]; else the end of the swing.
    """
    xp = array_namespace(v_in, v_out)
    full = point_max(case.points.p_ac)
    end = swing.link_ends(v_out)[1]
    held = xp.maximum(v_out, limits.LEAST_GAIN * v_in)
    return Prepared(
        inductance=inductance(design, v_in=v_in, v_out=v_out, case=case),
        v_in=v_in,
        v_out=held,
        v_top=xp.maximum(
            end if v_top is None else xp.maximum(v_top, end), limits.LEAST_GAIN * v_in
        ),
        phases=design.layout.running(case.points.p_ac / full),
        least_power=design.burst * full,
    )


def place(path: str, design: AnyDesign, prepared: Prepared, p: Array, case: Case) -> Front:
    """Return the stage at a power.

    Parameters
    ----------
    path : str
        Dotted path of the stage.
    design : DiodeDesign or SynchronousDesign
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
            parts.chokes(at, design.choke),
            *_devices(at, design),
            parts.module_port(at, design.input),
        ),
        limits.books(
            at,
            gain=swing.link_ends(prepared.v_out)[0] / prepared.v_in,
            ripple=parts.switching_ripple(at, design.input) / prepared.v_in,
        ),
    )
    return Front(
        placed=placed,
        link_hf_rms=parts.link_current(at),
        f_link=at.waves.phases * design.f,
        active=at.nodes.active,
        windings=0.0 * design.f,
        v_winding=0.0 * p,
        f=design.f,
        l_module=prepared.inductance / prepared.phases,
    )


def setting(
    path: str, design: AnyDesign, prepared: Prepared, p: Array, case: Case
) -> parts.Setting:
    """Return the waves at a power with everything that the parts need, see ``place``."""
    xp = array_namespace(p)
    running = xp.maximum(p, prepared.least_power)
    waves = forms.waves(
        prepared.inductance * design.f,
        prepared.phases,
        running,
        v_in=prepared.v_in,
        v_out=prepared.v_out,
        diodes=isinstance(design, DiodeDesign),
    )
    return parts.Setting(
        path=path,
        phases=design.layout.phases,
        f=design.f,
        inductance=prepared.inductance,
        v_in=prepared.v_in,
        v_top=prepared.v_top,
        waves=waves,
        nodes=swing.Nodes(active_share(p, running)),
        case=case,
    )


def _devices(at: parts.Setting, design: AnyDesign) -> tuple[Part, Part]:
    """Return switches and rectifiers."""
    position = design.position()
    own = switch.device(position, at.case)
    if isinstance(design, SynchronousDesign):
        transistor = switch.device(design.rectifier, at.case)
        return (
            parts.switches(at, position, own, transistor),
            parts.transistors(at, design.rectifier, transistor, own),
        )
    return (
        parts.switches(at, position, own, diode.device(design.rectifier, at.case)),
        parts.diodes(at, design.rectifier),
    )


def module_ripple(
    design: AnyDesign, prepared: Prepared, link: Link, p: Array, case: Case
) -> Array:
    """Return the ripple at the module over its voltage [1]: past the loops, and of bursts.

    The link's swing reaches the chokes as (1 − D) of itself.

    Parameters
    ----------
    design : DiodeDesign or SynchronousDesign
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
    As ``front_ripple``.
    """
    xp = array_namespace(p)
    v = case.points.v_pv
    c = capacitor.capacitance_at(design.input, v, case)
    loops = front_ripple.past_loops(
        v / link.v_rms * link.swing,
        inductance=prepared.inductance / prepared.phases,
        f=design.f, c=c, p=p, case=case,
    )  # fmt: skip
    active = active_share(p, xp.maximum(p, prepared.least_power))
    return front_ripple.ripple(
        loops, front_ripple.bursts(active, f=design.f, c=c, p=p, case=case), case
    )
