"""LLC resonant stage at its resonance: an isolated transformer of direct voltages.

It switches at one frequency, and the link follows the module's voltage by a fixed ratio,
whatever the load.  Stages behind it must take the link as it comes, and what swings there
stands at the module too.  The frequency is trimmed to the resonance of the piece at hand.

The link falls by the losses' share of the voltage under load, which is left out: the
power is right, the voltage 1 to 2 % high at full load.
"""

from __future__ import annotations

import dataclasses

from models.axes import Array, array_namespace, point_max
from models.case import Case
from models.ledger import Ledger, at_most
from models.parts import capacitor
from models.physics.llc_resonance import at_resonance
from models.stages import front_ripple, llc, swing
from models.stages import llc_tank as tanks
from models.stages.llc_setting import Setting
from models.stages.ports import Front, FrontTraits, Link, Output
from models.stages.series_capacitor_stress import active_share
from models.variables import real

TRAITS = FrontTraits(
    title="LLC resonant stage of fixed ratio",
    isolated=True,
    output=Output.LINK,
    regulated=False,
    common_negative=False,
    reverse=False,
)
STRAY_MAX = 0.02  # [1], of the link from the ratio; what the drop under load may be


@dataclasses.dataclass(frozen=True)
class Design(tanks.Design):
    """What may be varied of the stage of fixed ratio."""

    ratio: Array = real(4.0, 100.0, "", "magnetising over resonant inductance", log=True)


@dataclasses.dataclass(frozen=True)
class Prepared:
    """Everything about a batch of designs that does not depend on the power."""

    tank: tanks.Tank
    v_in: Array  # [V]
    v_out: Array  # [V], at the nodes of the swing
    v_top: Array  # [V]
    least_power: Array  # [W], below it bursts; (design, 1, 1)


def follows(design: Design, case: Case) -> Array:
    """Return the link's voltage over the module's [1], (design, 1, 1).

    Parameters
    ----------
    design : Design
        The stage.
    case : Case
        Catalogue.
    """
    tank = tanks.tank(design, design.ratio, case)
    return tank.drive * tank.gain


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
        Link voltage [V], ``follows`` times the module's; nodes along the last axis.
    case : Case
        Specification, operating points and catalogue.
    v_top : Array, optional
        Highest link voltage, load rejection included [V]; else the end of the swing.
    """
    xp = array_namespace(v_in, v_out)
    top = swing.link_ends(v_out)[1]
    return Prepared(
        tank=tanks.tank(design, design.ratio, case),
        v_in=v_in,
        v_out=v_out,
        v_top=top if v_top is None else xp.maximum(v_top, top),
        least_power=design.burst * point_max(case.points.p_ac),
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
        Power at the module [W], (design, point, 1); along the angle if it pulsates.
    case : Case
        Specification, operating points and catalogue.
    """
    xp = array_namespace(p)
    tank = prepared.tank
    running = xp.maximum(p, prepared.least_power) + 0.0 * prepared.v_out
    v_r = prepared.v_out / tank.gain
    at = Setting(
        path=path,
        design=design,
        tank=tank,
        wave=at_resonance(running * tank.z_0 / (v_r * v_r), tank.ratio),
        v_in=prepared.v_in,
        v_out=prepared.v_out,
        v_top=prepared.v_top,
        power=running,
        nodes=swing.Nodes(active_share(p, running)),
        case=case,
    )
    return llc.front(at, _region(path, prepared, case))


def _region(path: str, prepared: Prepared, case: Case) -> Ledger:
    """Return how far the link may be off the ratio."""
    xp = array_namespace(prepared.v_out)
    tank = prepared.tank
    ratio = swing.node_mean(prepared.v_out) / (tank.drive * tank.gain * prepared.v_in)
    stray = xp.where(case.points.p_ac > 0.0, xp.abs(ratio - 1.0), 0.0)
    return at_most(f"{path}.follows", stray, STRAY_MAX + 0.0 * tank.l_r, "",
                   "mean link voltage off the fixed ratio")  # fmt: skip


def module_ripple(design: Design, prepared: Prepared, link: Link, p: Array, case: Case) -> Array:
    """Return the ripple at the module over its voltage [1]: all of the link's, and of bursts.

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
    Fixed ratio; see ``front_ripple``.
    """
    xp = array_namespace(p)
    active = active_share(p, xp.maximum(p, prepared.least_power))
    c = capacitor.capacitance_at(design.input, case.points.v_pv, case)
    bursts = front_ripple.bursts(active, f=prepared.tank.f_0, c=c, p=p, case=case)
    return front_ripple.ripple(link.swing / link.v_rms, bursts, case)
