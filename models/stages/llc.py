"""LLC resonant stage that follows the link by its frequency: isolated, soft switching.

A full or half bridge at the module drives a resonant tank and a transformer; a rectifier
bridge or voltage doubler feeds the link.  Below resonance the gain rises, with more
magnetising current; above it falls.  The waves come out of a table of the steady state in
time (``models.physics.llc_table``), between whose nodes rms and peak values are within
1 % in nineteen of twenty places and within 3 % in 99 of a hundred, worst at light load
near twice the resonance; dead times, drops of the rectifier (1 % of the link) and
capacitances of the windings are left out of them.

Where the frequency would leave its window at light load, the stage runs in bursts.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace, point_max
from models.case import Case
from models.ledger import Kind, Ledger, at_least, at_most, booking, joined
from models.parts import capacitor, transformer
from models.physics import llc_table
from models.stages import front_ripple, llc_limits, swing
from models.stages import llc_parts as parts
from models.stages import llc_tank as tanks
from models.stages.llc_setting import Setting
from models.stages.ports import Front, FrontTraits, Link, Output
from models.stages.series_capacitor_stress import active_share
from models.stages.stage import Placed
from models.variables import part, real, structure

TRAITS = FrontTraits(
    title="LLC resonant stage",
    isolated=True,
    output=Output.LINK,
    regulated=True,
    common_negative=False,
    reverse=False,
)
LATE = 1.5  # [1], switching periods by which the frequency follows the link; common practice


@dataclasses.dataclass(frozen=True)
class Design(tanks.Design):
    """What may be varied of the regulated stage."""

    ratio: Array = real(2.5, 40.0, "", "magnetising over resonant inductance", log=True)


@dataclasses.dataclass(frozen=True)
class FullBridgeDesign(Design):
    """The stage with a full bridge, and a choke whose inductance is free of the transformer.

    From one module a half bridge has twice the current for nothing.
    """

    primary: str = structure("full", meaning="full bridge at the module")
    resonance: tanks.OwnChoke = part("resonant choke and frequency")
    resonant: capacitor.Ceramic = part("resonant capacitors, ceramics of class I")


@dataclasses.dataclass(frozen=True)
class Prepared:
    """Everything about a batch of designs that does not depend on the power."""

    tank: tanks.Tank
    spot: llc_table.Spot
    v_in: Array  # [V]
    v_out: Array  # [V], at the nodes of the swing
    v_top: Array  # [V]
    unit: Array  # V_r²/Z₀ [W], along the nodes
    least_power: Array  # [W], below it bursts; along the nodes
    most: Array  # [W], at the worse end of the swing
    drive: tuple[Array, Array]  # least and largest V_i' over V_r along the swing [1]


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
    tank = tanks.tank(design, design.ratio, case)
    v_r = v_out / tank.gain
    spot = llc_table.locate(design.ratio, tank.drive * v_in / v_r)
    unit = v_r * v_r / tank.z_0
    reach, drives, ends = [], [], swing.link_ends(v_out)
    for v in ends:
        drives.append(tank.drive * tank.gain * v_in / v)
        at_end = llc_table.locate(design.ratio, drives[-1])
        reach.append(at_end.most * (v / tank.gain) ** 2 / tank.z_0)
    return Prepared(
        tank=tank,
        spot=spot,
        v_in=v_in,
        v_out=v_out,
        v_top=ends[1] if v_top is None else xp.maximum(v_top, ends[1]),
        unit=unit,
        least_power=xp.maximum(design.burst * point_max(case.points.p_ac), spot.least * unit),
        most=xp.minimum(*reach),
        drive=(drives[1], drives[0]),
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
    xp = array_namespace(p)
    running = xp.maximum(p, prepared.least_power)
    at = Setting(
        path=path,
        design=design,
        tank=prepared.tank,
        wave=llc_table.wave(prepared.spot, running / prepared.unit),
        v_in=prepared.v_in,
        v_out=prepared.v_out,
        v_top=prepared.v_top,
        power=running,
        nodes=swing.Nodes(active_share(p, running)),
        case=case,
    )
    return front(at, _region(path, prepared, at, p, case))


def front(at: Setting, region: Ledger) -> Front:
    """Return the parts and books of either use of the stage."""
    placed = Placed(
        (
            parts.switches(at),
            *parts.choke(at),
            parts.resonant(at),
            parts.wound(at),
            parts.rectifiers(at),
            *parts.halves(at),
            parts.module_port(at),
        ),
        joined(llc_limits.limits(at), region),
    )
    return Front(
        placed=placed,
        link_hf_rms=parts.link_current(at),
        f_link=2.0 * at.f,
        active=at.nodes.active,
        windings=transformer.winding_capacitance(at.design.transformer, at.case),
        v_winding=parts.winding_swing(at),
        f=at.tank.f_0,
    )


def _region(path: str, prepared: Prepared, at: Setting, p: Array, case: Case) -> Ledger:
    """Return the limits of the table and of the frequency's window."""
    xp = array_namespace(p)
    one = xp.ones_like(prepared.tank.l_r)
    loaded = case.points.p_ac > 0.0
    (least, most) = llc_table.ends()[1]
    low, high = prepared.drive
    power = swing.highest(at.power + 0.0 * prepared.unit)
    frequency = swing.lowest(1.0 / at.wave.period)

    def below(actual: Array) -> Array:
        return xp.where(loaded, actual, 0.0)

    def above(actual: Array, bound: float) -> Array:
        return xp.where(loaded, actual, 2.0 * bound)

    return joined(
        at_most(f"{path}.gain", below(power / prepared.most), one, "",
                "power over the most that the gain passes at the worse end of the swing"),
        at_least(f"{path}.drive_least", above(low, least), least * one, "",
                 "least bridge voltage over the reflected link, region of the table"),
        at_most(f"{path}.drive_most", below(high), most * one, "",
                "largest bridge voltage over the reflected link, region of the table"),
        at_least(f"{path}.f_least", above(frequency, llc_limits.F_LEAST),
                 llc_limits.F_LEAST * one, "", "least frequency over the resonance"),
        booking(f"{path}.drive", Kind.FIGURE, swing.node_mean(1.0 / at.wave.period),
                "mean frequency over the resonance", ""),
    )  # fmt: skip


def module_ripple(design: Design, prepared: Prepared, link: Link, p: Array, case: Case) -> Array:
    """Return the ripple at the module over its voltage [1]: past the loops, and of bursts.

    The frequency follows the measured link, late by 1.5 switching periods.  Near its
    resonance the stage is a transformer of voltages, so that the error of the ratio,
    |1 − e^(−j2ωT)|·v̂/v, stands at the module whole: an upper bound.

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
    Delay of the feed-forward, derived here; see ``front_ripple``.
    """
    xp = array_namespace(p)
    f_0 = prepared.tank.f_0
    angle = (2.0 * math.pi * LATE) * case.points.f_grid / f_0
    late = 2.0 * xp.sin(xp.minimum(angle, 1.5)) * link.swing / link.v_rms
    active = swing.node_mean(active_share(p, xp.maximum(p, prepared.least_power)))
    c = capacitor.capacitance_at(design.input, case.points.v_pv, case)
    bursts = front_ripple.bursts(active, f=f_0, c=c, p=p, case=case)
    return front_ripple.ripple(late, bursts, case)
