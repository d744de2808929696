"""Bridge of one fast leg in triangular current mode and one leg at line frequency.

The choke's current passes zero in every period, far enough for its reverse to turn the
node of the fast leg before a switch turns on.  The frequency follows along the line angle
between two bounds: at the lower one, around zero crossings, the reverse current is too
small to turn the node all the way, and the rest is burnt; at the upper one, at light load,
more current circulates than the node needs.  See ``fast_leg_line`` for the circuit and
``fast_leg_triangle`` for the period.  Any power factor.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace, line_max, line_mean
from models.case import Case
from models.ledger import Kind, Ledger, at_most, booking, joined
from models.parts import inductor, switch
from models.physics.harmonics import triangle_harmonics
from models.stages import fast_leg_line as line_leg
from models.stages import fast_leg_triangle as triangle
from models.stages import full_bridge_waves as waves
from models.stages.fast_leg_triangle import Period
from models.stages.full_bridge_freewheel import shortest_pulse
from models.stages.grid_filter import GridSide, Ripple
from models.stages.ports import Bridge, BridgeTraits, CommonMode, Link, Output
from models.stages.stage import Placed
from models.stages.unfolder import Transistor
from models.stress import Edge, Flux, InductorStress, SwitchStress, WindingStress
from models.variables import part, real

TRAITS = BridgeTraits(
    "one fast leg, triangular current", CommonMode.LINE, takes=Output.LINK, reactive=True
)
# From the arrival of the node to the turn-on of the switch [s]; common practice, no source.
T_DETECT = 30e-9
# Every second of the period's angles is enough for edges and core loss.
SOME = slice(1, None, 2)


@dataclasses.dataclass(frozen=True)
class Design:
    """Law of the control, switches and choke."""

    i_reverse: Array = real(0.1, 3, "A", "least reverse current at the end of a period", log=True)
    f_low: Array = real(20, 80, "kHz", "lowest frequency, around zero crossings", log=True)
    f_high: Array = real(100, 1000, "kHz", "highest frequency; above, more current circulates",
                         log=True)  # fmt: skip
    fast: switch.Design = part(
        "the two switches of the fast leg; dead time is the longest wait for the node",
        t_dead=(50, 1500),
    )
    line: Transistor = part("the two switches of the leg at line frequency")
    choke_inductance: Array = real(20, 500, "µH", "bridge-side inductance", log=True)
    choke: inductor.Design = part("bridge-side choke")


@dataclasses.dataclass(frozen=True)
class _Means:
    """Of the current of one choke over the line cycle."""

    ripple: Array  # [A²], mean square of what is not fundamental, along the angle
    square: Array  # [A²], of all
    harmonics: tuple[Array, ...]  # [A], rms, of the frequency's multiples


def modulation_limit(design: Design, case: Case) -> Array:
    """Return the largest modulation index [1], (design, 1, 1).

    At the grid's peak the frequency falls as far as the shortest pulse asks.
    """
    return waves.largest_index(design.f_low, switch.device(design.fast, case).t_dead)


def place(path: str, design: Design, side: GridSide, link: Link, case: Case) -> Bridge:
    """Return the placed bridge and what filter, link and earth need to know of it.

    Parameters
    ----------
    path : str
        Dotted path of the stage.
    design : Design
        How it is built.
    side : GridSide
        Voltage and current that the grid wants.
    link : Link
        Voltage of the link.
    case : Case
        Specification, operating points and catalogue.
    """
    device = switch.device(design.fast, case)
    law = triangle.Law(design.choke_inductance, design.i_reverse, design.f_low, design.f_high)
    x = triangle.period(law, side, link, triangle.node_capacitance(device.charge, link.v_rms))
    means = _means(x, side)
    late = shortest_pulse(design.f_low, device.t_dead)
    m_max = modulation_limit(design, case)
    placed = Placed(
        (
            switch.place(
                f"{path}.fast", design.fast, _fast(design, device, x, side, link), case, count=2
            ),
            line_leg.place(
                f"{path}.line", design.line, side, link,
                square=means.square, inductance=design.choke_inductance, case=case,
            ),
            inductor.place(
                f"{path}.choke", design.choke, _choke_stress(design, x, means, side), case
            ),
        ),
        _books(path, x, side, device.t_dead)
        + line_leg.books(path, side, link, m_max=m_max, late=late),
    )  # fmt: skip
    sent = _ripple(design, x, means, side=side, link=link, late=late)
    v_earth, f_earth = line_leg.earth_steps(side, link)
    return Bridge(
        placed=placed,
        ripple=sent,
        link_hf_rms=_link_current(x, side),
        f_link=sent.f,
        v_earth_line=line_leg.earth_line(side, link, case),
        v_earth_hf=v_earth,
        f_earth=f_earth,
    )


def _means(x: Period, side: GridSide) -> _Means:
    """Return mean squares, and harmonics of the triangle with the whole of the ripple."""
    xp = array_namespace(x.i)
    ripple = side.running * xp.maximum(x.square - x.i * x.i, 0.0)
    pp = xp.sqrt(12.0 * ripple[..., SOME])
    split = triangle_harmonics(pp, x.duty[..., SOME], 4)
    return _Means(
        ripple,
        side.i_rms * side.i_rms + line_mean(ripple),
        tuple(xp.sqrt(line_mean(s)) for s in split),
    )


def _fast(
    design: Design, device: switch.Device, x: Period, side: GridSide, link: Link
) -> SwitchStress:
    """Return the stress of either fast switch, for half of the cycle active and passive.

    The control turns a switch on when its node has arrived, so that it conducts in reverse
    for the delay of that detection alone.  Currents at turn-off are within 5 % of those of
    48 angles.
    """
    xp = array_namespace(x.f)
    v = link.v_rms
    # Half the angles would miss 4 % of the mean frequency, which is worth its own mean.
    some = x.f[..., SOME]
    rate = some * (0.5 * side.running * line_mean(x.f) / line_mean(some))
    valley, peak, far = x.valley[..., SOME], x.peak[..., SOME], v * x.duty[..., SOME]
    others = (switch.moved(device, 0.0, v),)
    active = Edge(
        rate=rate,
        i_on=valley,
        i_off=peak,
        v=v,
        others=others,
        i_drive=-valley,
        l_drive=design.choke_inductance,
        v_far=far,
    )
    passive = Edge(
        rate=rate,
        i_on=-peak,
        i_off=-valley,
        v=v,
        others=others,
        i_drive=peak,
        l_drive=design.choke_inductance,
        v_far=v - far,
    )
    arrived = x.i_arrived[0][..., SOME] + x.i_arrived[1][..., SOME]
    # Where nothing turns the node, the passive switch lets go first and its diode conducts.
    waiting = xp.maximum(valley, 0.0) * device.t_dead
    return SwitchStress(
        i_rms=xp.sqrt(0.5 * side.running * line_mean(x.square_active + x.square_passive)),
        i_reverse_dead=line_mean(rate * (arrived * T_DETECT + waiting)),
        v_block=link.v_max,
        edges=(active, passive),
    )


def _choke_stress(design: Design, x: Period, means: _Means, side: GridSide) -> InductorStress:
    """Return the stress of the choke.

    Eddy losses rise as the frequency's square, so that the ripple counts at its rms
    frequency.
    """
    xp = array_namespace(x.f)
    # The idle bridge has no ripple, but a frequency.
    ripple = means.ripple + 1e-12
    f = xp.sqrt(line_mean(ripple * x.f * x.f) / line_mean(ripple))
    linkage = design.choke_inductance * (x.peak - x.valley)
    return InductorStress(
        inductance=design.choke_inductance,
        i_peak=side.running * line_max(xp.maximum(x.peak, -x.valley)),
        winding=WindingStress(
            i_dc=0.0 * side.i_rms, i_line_rms=side.i_rms, f=f, harmonics=means.harmonics
        ),
        flux=(Flux(x.f[..., SOME], linkage[..., SOME], x.duty[..., SOME], active=side.running),),
    )  # fmt: skip


def _books(path: str, x: Period, side: GridSide, t_dead: Array) -> Ledger:
    """Return the figures of the period and the limit on the wait for the node."""
    xp = array_namespace(x.f)
    wait = side.running * line_max(xp.maximum(*x.t_arc))
    return joined(
        waves.ripple_books(path, side.running * line_max(x.peak - x.valley)),
        booking(f"{path}.f_highest", Kind.FIGURE, line_max(x.f),
                "highest frequency along the angle", "Hz"),
        booking(f"{path}.reverse", Kind.FIGURE, side.running * line_max(-x.valley),
                "largest reverse current at the end of a period", "A"),
        at_most(f"{path}.wait", wait, t_dead, "s", "longest swing of the node against the wait"),
    )  # fmt: skip


def _link_current(x: Period, side: GridSide) -> Array:
    """Return the rms current at switching frequency drawn from the link [A].

    The switch between link and node a is the active one where power flows into the grid
    and the passive one where it flows back; the charge of the nodes is left out.
    """
    xp = array_namespace(x.i)
    forward = x.forward > 0.0
    drawn = xp.where(forward, x.square_active, x.square_passive)
    mean = xp.where(forward, x.duty, 1.0 - x.duty) * x.i
    return side.running * xp.sqrt(xp.maximum(line_mean(drawn - mean * mean), 0.0))


def _ripple(
    design: Design, x: Period, means: _Means, *, side: GridSide, link: Link, late: Array
) -> Ripple:
    """Return what goes into the filter besides the fundamental.

    A filter without damping passes the ripple on as 1/f², so that f⁻⁴ is averaged with
    its mean square for the one frequency that stands for all; with damping less depends
    on the frequency and the grid's ripple comes out a little high.  Near zero crossings the
    frequency changes between two angles: f comes out up to 8 % low, 5 % high where the
    current leads far.  The highest frequency counts as it is allowed, reached or not.
    """
    xp = array_namespace(x.f)
    ripple = means.ripple + 1e-12
    inverse = 1.0 / (x.f * x.f)
    f = xp.sqrt(xp.sqrt(line_mean(ripple) / line_mean(ripple * inverse * inverse)))
    reactance = 2.0 * math.pi * f * design.choke_inductance
    return Ripple(
        f=f,
        voltages=tuple(n * reactance * i for n, i in enumerate(means.harmonics[:3], start=1)),
        v_worst=side.running * link.v_rms * (math.sqrt(2.0) / math.pi),
        v_node=side.running * link.v_rms,
        dead_time=line_leg.crossing_voltages(side, link, late),
        band=(design.f_low, design.f_high),
    )
