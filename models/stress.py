"""What a stage asks of its parts: the one definition of every stress.

Everything is per single part (one switch position, one winding, one capacitor bank),
at every operating point.  Arrays have three axes (design, point, angle); a stress that
a stage hands to a part has already been reduced over the line cycle, except where an
``angle`` axis is named: those arrays keep their angles because the part needs the
product of several of them before it averages.
"""

from __future__ import annotations

import dataclasses

from models.axes import Array


@dataclasses.dataclass(frozen=True)
class Charge:
    """Output charge of one device, as a power law of its voltage.

    Q(V) = q_ref·(V/v_ref)^a,  E(V) = Q(V)·V·a/(a + 1).  ``extra`` is a constant
    capacitance in parallel (layout, winding).  All of shape (design, 1, 1).
    """

    q_ref: Array  # [C]
    v_ref: Array  # [V]
    a: Array  # [1]
    extra: Array | float = 0.0  # [F]


@dataclasses.dataclass(frozen=True)
class Moved:
    """Another device whose voltage rises from ``v_from`` to ``v_to`` on an edge.

    ``q_rr`` is the recovery charge of its body diode at the current ``i_rr`` and 25 °C,
    borne by the switch that turns on; a diode bears its own by ``Commutation``.
    ``hard_ok`` is 0 where that body diode must not be commutated with current in it.
    """

    charge: Charge
    v_from: Array | float  # [V], angle axis allowed
    v_to: Array  # [V], angle axis allowed
    q_rr: Array | None = None  # [C]
    i_rr: Array | float = 1.0  # [A]
    hard_ok: Array | float = 1.0  # [1]


@dataclasses.dataclass(frozen=True)
class Edge:
    """One repeated commutation of a switch; angle axis allowed in every array.

    ``i_on`` is the current the channel takes over at turn-on and ``i_off`` the one it
    gives up at turn-off; values at or below zero mean that the device conducts in
    reverse there and has no overlap loss.  ``v`` is the swing of its own voltage.
    For soft switching an inductance ``l_drive`` carrying ``i_drive`` (positive: towards
    discharging this device) moves the node during the dead time while its other end
    sits at ``v_far`` (measured so that ``v_far`` ≥ v/2 always helps); without
    ``l_drive`` the current stays constant, without ``i_drive`` the edge is hard.
    ``others`` are the devices whose charge moves on the turn-on edge; body diodes among
    them carry ``i_on`` before.  Each edge is one full cycle of the gate.
    """

    rate: Array  # [Hz]
    i_on: Array  # [A]
    i_off: Array  # [A]
    v: Array  # [V]
    others: tuple[Moved, ...] = ()
    i_drive: Array | None = None  # [A]
    l_drive: Array | None = None  # [H]
    v_far: Array | float = 0.0  # [V]


@dataclasses.dataclass(frozen=True)
class SwitchStress:
    """Stress of one switch position, over the whole line cycle."""

    i_rms: Array  # [A]
    i_reverse_dead: Array  # [A], mean current in reverse conduction during dead times
    v_block: Array  # [V], plateau without ringing
    edges: tuple[Edge, ...] = ()


@dataclasses.dataclass(frozen=True)
class Commutation:
    """Turn-off of a diode: current and slope at the zero crossing, per period."""

    rate: Array  # [Hz]
    i: Array  # [A], current just before commutation; ≤ 0 means no recovery
    v: Array  # [V], voltage it then blocks


@dataclasses.dataclass(frozen=True)
class DiodeStress:
    """Stress of one diode position, over the whole line cycle."""

    i_avg: Array  # [A]
    i_rms: Array  # [A]
    v_block: Array  # [V]
    commutations: tuple[Commutation, ...] = ()


@dataclasses.dataclass(frozen=True)
class WindingStress:
    """Current in one winding, split by how the resistance rises with frequency.

    ``i_dc`` and ``i_line_rms`` see the DC resistance.  ``harmonics[n-1]`` is the rms
    value of the n-th harmonic of ``f``, already root-mean-squared over the line cycle;
    the last one holds the rest, so that the sum of squares is the whole ripple.
    """

    i_dc: Array  # [A]
    i_line_rms: Array  # [A]
    f: Array  # [Hz]
    harmonics: tuple[Array, ...]  # [A]


@dataclasses.dataclass(frozen=True)
class Flux:
    """A flux-linkage triangle at switching frequency; angle axis allowed.

    ``linkage_pp`` is volt-seconds peak to peak on the winding named by the stress,
    ``duty`` the share of the period during which it rises.  ``flat`` is the share of
    the period without voltage (discontinuous conduction); the rest falls.
    """

    f: Array  # [Hz]
    linkage_pp: Array  # [V·s]
    duty: Array  # [1]
    flat: Array | float = 0.0  # [1]
    active: Array | float = 1.0  # [1], share of time (burst) in which it occurs


@dataclasses.dataclass(frozen=True)
class InductorStress:
    """Stress of one inductor."""

    inductance: Array  # [H], wanted inductance, (design, 1, 1)
    i_peak: Array  # [A]
    winding: WindingStress
    flux: tuple[Flux, ...]


@dataclasses.dataclass(frozen=True)
class TransformerStress:
    """Stress of one transformer or coupled inductor; flux referred to the primary."""

    l_m: Array  # [H], wanted magnetising inductance at the primary, (design, 1, 1)
    i_m_peak: Array  # [A], primary side
    windings: tuple[WindingStress, WindingStress]  # primary, secondary
    flux: tuple[Flux, ...]
    v_insulation: Array  # [V], between the windings, peak
    # True where primary and secondary conduct one after the other (flyback).
    alternating: bool = False


@dataclasses.dataclass(frozen=True)
class CapacitorStress:
    """Stress of one capacitor bank (all cans together)."""

    v_mean: Array  # [V]
    v_max: Array  # [V]
    v_swing: Array  # [V] peak to peak at twice line frequency
    i_line_rms: Array  # [A] at twice line frequency
    i_hf_rms: Array  # [A] at f_hf
    f_hf: Array  # [Hz]
