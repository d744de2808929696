"""Parts of the series-capacitor boost: its stress, averaged over the link's swing.

Losses of switching edges are evaluated at the running mean of current and voltage over
the swing (rms for the voltage).  Against a sum over the nodes the energy of charges,
∝ v^1.5, is 0 to 0.4 % high, up to 4 % where off windows begin to overlap along the swing
and up to 27 % where the conduction mode changes along it; v·i at turn-off is −1 to +5 %
off, ±8 % and, next to the least gain of equal-current gating, up to 15 % high.
"""

from __future__ import annotations

import dataclasses
import functools
import math

from models.axes import Array, array_namespace
from models.case import Case
from models.parts import capacitor, diode, inductor, switch
from models.parts.part import Part
from models.physics.harmonics import triangle_harmonics
from models.stages.series_capacitor_stress import Conditions, Stress
from models.stages.swing import Nodes, highest, largest, link_ends, lowest, node_mean, total
from models.stress import (
    CapacitorStress,
    Charge,
    Commutation,
    DiodeStress,
    Edge,
    Flux,
    InductorStress,
    Moved,
    SwitchStress,
    WindingStress,
)

HARMONICS = 3  # entries of the choke's ripple spectrum
V_LEAST = 1.0  # [V], divisor floor


@dataclasses.dataclass(frozen=True)
class Setting:
    """What every part of one stage is placed with."""

    path: str
    f: Array  # [Hz]
    inductance: Array  # [H]
    swing: tuple[Array, ...]  # switching ripple of C_1 … peak to peak [V]
    on: Conditions
    stress: Stress
    nodes: Nodes
    case: Case

    @functools.cached_property
    def rate(self) -> Array:
        """Switching edges per second, pauses left out [Hz]."""
        return self.f * self.nodes.active

    @functools.cached_property
    def link(self) -> tuple[Array, Array]:
        """Least and largest voltage of the link [V]."""
        return link_ends(self.on.v_out)

    @functools.cached_property
    def turn_on(self) -> tuple[Array, ...]:
        """Current of S_k at turn-on [A]."""
        return tuple(self.nodes.running(i) for i in self.stress.s_on)

    @functools.cached_property
    def turn_off(self) -> tuple[Array, ...]:
        """Current of S_k at turn-off [A], not below zero."""
        xp = array_namespace(self.f)
        return tuple(xp.maximum(self.nodes.running(i), 0.0) for i in self.stress.s_off)

    @functools.cached_property
    def v_on(self) -> tuple[Array, ...]:
        """Voltage of S_k before turn-on [V]."""
        return tuple(self.nodes.running_rms(v) for v in self.stress.v_on)

    @functools.cached_property
    def v_off(self) -> tuple[Array, ...]:
        """Voltage of S_k after turn-off [V]."""
        return tuple(self.nodes.running_rms(v) for v in self.stress.v_off)

    def blocked(self, plateau: Array, k: int) -> Array:
        """Return a blocking voltage with the ripple of the capacitors beside phase k [V].

        No device blocks more than the higher of link and module voltage.
        """
        xp = array_namespace(plateau)
        beside = [*self.swing[k - 1 if k else 0 : k + 1]]
        ceiling = xp.maximum(self.link[1], self.on.v_in)
        return xp.minimum(highest(plateau) + 0.5 * sum(beside), ceiling)


def chokes(at: Setting, design: inductor.Design) -> Part:
    """Return the chokes of all phases as pieces alike.

    Each bears the root mean square of all phases' currents and the largest peak; with
    unequal currents the hottest is a little hotter.  Ripple off the triangle (two
    slopes while off) is spread over the harmonics as a triangle of equal rms value.
    """
    xp = array_namespace(at.inductance)
    s, n, nodes = at.stress, at.on.phases, at.nodes
    mean_square = nodes.time(total([i * i for i in s.l_avg])) * (1.0 / n)
    square = nodes.time(total(s.l_square)) * (1.0 / n)
    variance = xp.maximum(square - mean_square, 0.0)
    duty, idle = nodes.running(s.duty[0]), nodes.running(s.idle)
    ripple = triangle_harmonics(xp.sqrt(12.0 * variance), duty, HARMONICS)
    # Odd and even phases differ in equal-current gating, else all are alike.
    groups = (0, 1) if at.on.gating == "equal_current" else (0,)
    flux = tuple(
        Flux(
            f=at.f,
            linkage_pp=at.inductance * nodes.running_rms(s.l_ripple[k]),
            duty=duty if k == 0 else nodes.running(s.duty[k]),
            flat=idle,
            active=nodes.active * (len(range(k, n, len(groups))) / n),
        )
        for k in groups
    )
    winding = WindingStress(
        i_dc=xp.sqrt(mean_square),
        i_line_rms=xp.zeros_like(at.inductance),
        f=at.f,
        harmonics=tuple(xp.sqrt(h) for h in ripple),
    )
    stress = InductorStress(at.inductance, highest(largest(s.l_peak)), winding, flux)
    return inductor.place(f"{at.path}.choke", design, stress, at.case, count=n)


def switches(
    at: Setting,
    design: switch.Design,
    own: switch.Device,
    rectifier: switch.Device | diode.DiodeDevice,
) -> tuple[Part, ...]:
    """Return S_1 … S_N.

    The turn-off acts at another voltage than the turn-on where off windows overlap;
    its current is scaled so that voltage times current is right.
    """
    xp = array_namespace(at.inductance)
    s, nodes = at.stress, at.nodes
    placed = []
    for k in range(at.on.phases):
        soft = isinstance(rectifier, switch.Device)
        edge = Edge(
            rate=at.rate,
            i_on=at.turn_on[k],
            i_off=at.turn_off[k] * (at.v_off[k] / xp.maximum(at.v_on[k], V_LEAST)),
            v=at.v_on[k],
            others=_moved(at, own.charge, rectifier, k),
            i_drive=-at.turn_on[k] if soft else None,
            l_drive=at.inductance if soft else None,
            v_far=at.v_on[k] - at.on.v_in,
        )
        reverse = xp.maximum(-at.turn_on[k], 0.0) * at.rate * own.t_dead
        stress = SwitchStress(
            i_rms=xp.sqrt(nodes.time(s.s_square[k])),
            i_reverse_dead=reverse,
            v_block=at.blocked(s.s_block[k], k),
            edges=(edge,),
        )
        placed.append(switch.place(f"{at.path}.switch_{k + 1}", design, stress, at.case))
    return tuple(placed)


def _moved(
    at: Setting, own: Charge, rectifier: switch.Device | diode.DiodeDevice, k: int
) -> tuple[Moved, ...]:
    """Return the other devices whose voltage moves as S_k turns on: D_k and D_(k−1).

    Within 5 % of the loss in a simulation with capacitances, where no off windows
    overlap; where they do, the node of the next phase gives way and the simulated
    loss is about a tenth lower.
    """
    if isinstance(rectifier, switch.Device):
        found = [switch.moved(rectifier, 0.0, at.v_on[k])]
    else:
        found = [Moved(rectifier.charge, 0.0, at.v_on[k])]
    if k:
        s, running = at.stress, at.nodes.running_rms
        found.append(Moved(rectifier.charge, running(s.d_held[k - 1]), running(s.d_left[k - 1])))
        found += [
            Moved(own, running(held), running(left))
            for held, left in zip(s.s_held, s.s_left, strict=True)
        ]
    return tuple(found)


def diodes(at: Setting, design: diode.Design) -> tuple[Part, ...]:
    """Return D_1 … D_N as diodes."""
    xp = array_namespace(at.inductance)
    s, nodes = at.stress, at.nodes
    average = nodes.time(s.d_avg)
    return tuple(
        diode.place(
            f"{at.path}.diode_{k + 1}",
            design,
            DiodeStress(
                i_avg=average,
                i_rms=xp.sqrt(nodes.time(s.d_square[k])),
                v_block=at.blocked(s.d_block[k], k),
                commutations=(Commutation(at.rate, at.turn_on[k], at.v_on[k]),),
            ),
            at.case,
        )
        for k in range(at.on.phases)
    )


def transistors(
    at: Setting, design: switch.Design, rectifier: switch.Device, own: switch.Device
) -> tuple[Part, ...]:
    """Return D_1 … D_N as transistors: soft turn-on after S_k turns off, as in a boost."""
    xp = array_namespace(at.inductance)
    s, nodes = at.stress, at.nodes
    placed = []
    for k in range(at.on.phases):
        edge = Edge(
            rate=at.rate,
            i_on=xp.zeros_like(at.rate),
            i_off=-at.turn_on[k],
            v=at.v_off[k],
            others=(Moved(own.charge, 0.0, at.v_off[k]),),
            i_drive=at.turn_off[k],
            l_drive=at.inductance,
            v_far=at.on.v_in,
        )
        waiting = rectifier.t_dead * at.turn_off[k] + own.t_dead * xp.maximum(at.turn_on[k], 0.0)
        stress = SwitchStress(
            i_rms=xp.sqrt(nodes.time(s.d_square[k])),
            i_reverse_dead=at.rate * waiting,
            v_block=at.blocked(s.d_block[k], k),
            edges=(edge,),
        )
        placed.append(switch.place(f"{at.path}.rectifier_{k + 1}", design, stress, at.case))
    return tuple(placed)


def series(at: Setting, design: capacitor.Film, c: Array) -> tuple[Part, ...]:
    """Return C_1 … C_(N−1); the line-frequency swing of the link reaches them too."""
    xp = array_namespace(at.inductance)
    omega = 4.0 * math.pi * at.case.points.f_grid
    placed = []
    for k, v in enumerate(at.stress.v_c):
        top, bottom = highest(v), lowest(v)
        stress = CapacitorStress(
            v_mean=node_mean(v),
            v_max=top + 0.5 * at.swing[k],
            v_swing=top - bottom,
            i_line_rms=omega * c * (top - bottom) * (0.5 / math.sqrt(2.0)),
            i_hf_rms=xp.sqrt(at.nodes.time(at.stress.c_square[k])),
            f_hf=at.f,
        )
        placed.append(capacitor.place(f"{at.path}.series_{k + 1}", design, stress, at.case))
    return tuple(placed)


def module_port(at: Setting, design: capacitor.Ceramic) -> Part:
    """Return the capacitors at the module; pauses count as ripple of their current."""
    xp = array_namespace(at.inductance)
    s, zero = at.stress, xp.zeros_like(at.rate)
    current = s.power / at.on.v_in
    drawn = at.nodes.share * current
    square = at.nodes.time(s.in_square + current * current) - node_mean(drawn * drawn)
    stress = CapacitorStress(
        v_mean=at.on.v_in + zero,
        v_max=at.on.v_in + 0.5 * module_ripple(at, design),
        v_swing=zero,
        i_line_rms=zero,
        i_hf_rms=xp.sqrt(xp.maximum(square, 0.0)),
        f_hf=at.on.phases * at.f,
    )
    return capacitor.place(f"{at.path}.input", design, stress, at.case)


def module_ripple(at: Setting, design: capacitor.Ceramic) -> Array:
    """Return the switching ripple at the module, peak to peak [V].

    ΔV = Δi/(8·f·C): as if it were a triangle at the frequency of one phase, up to N
    times too much where the phases' ripples cancel down to N·f.
    """
    c = capacitor.capacitance_at(design, at.on.v_in, at.case)
    return highest(at.stress.in_ripple) / (8.0 * at.f * c)


def link_current(at: Setting) -> Array:
    """Return the rms current into the link without its mean at every instant [A]."""
    xp = array_namespace(at.inductance)
    s, share = at.stress, at.nodes.share
    mean = share * s.d_avg
    square = at.nodes.time(s.d_square[-1]) - node_mean(mean * mean)
    return xp.sqrt(xp.maximum(square, 0.0))
