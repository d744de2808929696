"""Transformer or coupled inductor with two windings on a gapped ferrite core."""

from __future__ import annotations

import dataclasses

from models import cost
from models.axes import Array, Indices, array_namespace
from models.case import Case
from models.ledger import Kind, Ledger, at_most, booking, joined
from models.parts import cores
from models.parts.coil import WIRES, Coil, coil, copper, turn_size
from models.parts.cores import Core
from models.parts.part import Fact, Item
from models.parts.wound import T_LIMIT, TOLERANCE, Wound, coil_facts, first, flux_frequency, total
from models.physics.gap import GAP_MIN, gap_length, gapped_inductance
from models.physics.winding import leakage_inductance
from models.stress import TransformerStress, WindingStress
from models.variables import choice, real, row, whole

INTERLEAVING = ("none", "sandwich")  # sandwich: the secondary between primary halves

# Reinforced insulation by triple-insulated wire on the primary, so that no margins are
# lost in the window; common practice, no source.
TIW = 0.2e-3  # [m] added to the diameter
TIW_PRICE = 28.0  # [€/kg] above enamelled wire; invented
TAPE = 0.3e-3  # [m] between windings
V_INSULATION = 1000.0  # [V] peak working voltage of triple insulation; common practice
EPSILON = 8.854e-12 * 3.5  # [F/m], tape and insulation; common practice, no source

# Currents of a flyback's windings do not coexist; the field of each alone, with its own
# layers and harmonics, times this stands for it [1]; weak, common practice, no source.
ALTERNATING = 1.3


@dataclasses.dataclass(frozen=True)
class Design:
    """How a transformer is built; layers follow from the winding breadth."""

    core: Indices = row("cores", "core; powder rings are refused")
    ferrite: Indices = row("ferrites", "ferrite of the core")
    turns_primary: Array = whole(2, 40, "turns of the primary", log=True)
    turns_secondary: Array = whole(4, 200, "turns of the secondary", log=True)
    primary_wire: Indices = choice(*WIRES, meaning="primary: solid wires in parallel, or litz")
    primary_strand: Array = real(
        0.04, 1.2, "mm", "primary: bare diameter of a strand or wire", log=True
    )
    primary_strands: Array = whole(1, 600, "primary: strands, or wires in parallel", log=True)
    secondary_wire: Indices = choice(*WIRES, meaning="secondary: solid wires in parallel, or litz")
    secondary_strand: Array = real(
        0.04, 1.2, "mm", "secondary: bare diameter of a strand or wire", log=True
    )
    secondary_strands: Array = whole(1, 300, "secondary: strands, or wires in parallel", log=True)
    interleaved: Indices = choice(*INTERLEAVING, meaning="order of the windings")


def ratio(design: Design) -> Array:
    """Return the ratio of turns secondary to primary [1], (design, 1, 1)."""
    return design.turns_secondary / design.turns_primary


def leakage(design: Design, case: Case) -> Array:
    """Return the leakage inductance at the primary [H], (design, 1, 1).

    Parts measured have 0.9 to 1.3 times this.

    Source
    ------
    As ``models.physics.winding.leakage_inductance``.
    """
    core = cores.core(design.core, case)
    return _leakage(design, core, _coils(design, core))


def winding_capacitance(design: Design, case: Case) -> Array:
    """Return the capacitance between the windings of one transformer [F].

    C = ε·(facing area)/(distance), one face for each border between the windings; within
    a factor 2.

    Source
    ------
    Plate capacitor; permittivity and distance common practice, no source.
    """
    return _winding_capacitance(design, cores.core(design.core, case))


def _winding_capacitance(design: Design, core: Core) -> Array:
    plates = _interfaces(design) * core.mlt * core.bw
    return EPSILON * plates / (TAPE + 0.5 * TIW)


def _interfaces(design: Design) -> Array:
    """Return the number of borders between primary and secondary [1]."""
    xp = array_namespace(design.turns_primary)
    return xp.astype(design.interleaved, xp.float64) + 1.0


def _leakage(design: Design, core: Core, coils: tuple[Coil, ...]) -> Array:
    xp = array_namespace(core.hw)
    borders = _interfaces(design)
    # No winding is higher than its window; one that does not fit shows in its margin.
    copper_height = xp.minimum(coils[0].build + coils[1].build, core.hw)
    return leakage_inductance(
        design.turns_primary,
        mean_turn=core.mlt,
        breadth=core.bw,
        interfaces=borders,
        copper=copper_height,
        gaps=borders * TAPE,
    )


def _coils(design: Design, core: Core) -> tuple[Coil, Coil]:
    """Return primary and secondary in full layers of the winding breadth."""
    xp = array_namespace(design.turns_primary)
    halves = _interfaces(design)
    return (
        _coil(
            core,
            xp.astype(design.primary_wire, xp.float64),
            wire=(design.primary_strand, design.primary_strands),
            turns=design.turns_primary,
            halves=halves,
            parts=halves,
            insulation=TIW,
        ),
        _coil(
            core,
            xp.astype(design.secondary_wire, xp.float64),
            wire=(design.secondary_strand, design.secondary_strands),
            turns=design.turns_secondary,
            halves=halves,
            parts=xp.ones_like(halves),
            insulation=0.0,
        ),
    )


def _coil(
    core: Core,
    litz: Array,
    *,
    wire: tuple[Array, Array],
    turns: Array,
    halves: Array,
    parts: Array,
    insulation: float,
) -> Coil:
    """Return one winding, wound in ``parts`` sections of whole layers.

    With zero field in its middle (``halves`` = 2) the field of each half counts alone.
    """
    xp = array_namespace(turns)
    size = turn_size(litz, *wire, insulation)
    # A turn wider than the breadth gets a layer of its own and shows in its margin.
    per_layer = xp.maximum(xp.floor(core.bw / size[0] + 1e-9), 1.0)
    layers = parts * xp.ceil(xp.ceil(turns / parts) / per_layer)
    return coil(
        core,
        litz=litz,
        diameter=wire[0],
        strands=wire[1],
        turns=turns,
        layers=layers,
        size=size,
        field_share=1.0 / halves,
    )


@dataclasses.dataclass(frozen=True)
class Transformer(Wound):
    """A placed transformer (all of its pieces together)."""

    design: Design
    stress: TransformerStress
    gap: Array  # [m], (design, 1, 1)
    fringing: Array  # [1]
    inductance: Array  # [H], magnetising, with the gap as ground

    def book(self, t: Array, case: Case) -> Ledger:
        """Return losses by cause, size, price, temperature, limits and figures."""
        path, core = self.path, self.core
        primary, secondary = self.coils
        wire_cost = self._wire(primary) + TIW_PRICE * primary.mass + self._wire(secondary)
        leak = _leakage(self.design, core, (primary, secondary))
        between = _winding_capacitance(self.design, core)
        return joined(
            self.common_books(t, cost.ferrite_core(core.mass, core.v_e), wire_cost, case),
            self._limits(),
            booking(f"{path}.inductance", Kind.FIGURE, self.inductance,
                    "magnetising inductance at the primary", "H"),
            booking(f"{path}.leakage", Kind.FIGURE, leak, "leakage at the primary", "H"),
            booking(f"{path}.gap", Kind.FIGURE, self.gap, "air gap of the centre leg", "m"),
            booking(f"{path}.c_windings", Kind.FIGURE, between,
                    "capacitance between the windings, as plates; within a factor 2", "F"),
            booking(f"{path}.fill", Kind.FIGURE, self._fill(), "share of the copper allowed", ""),
        )  # fmt: skip

    def _wire(self, winding: Coil) -> Array:
        xp = array_namespace(winding.litz)
        litz = cost.litz_wire(winding.mass, winding.diameter)
        return xp.where(winding.litz > 0.5, litz, cost.solid_wire(winding.mass))

    def _fill(self) -> Array:
        """Return the window used, each winding against the fill that its wire allows [1]."""
        primary, secondary = (c.turns * c.area / c.fill_limit for c in self.coils)
        return (primary + secondary) / self.core.a_w

    def _limits(self) -> Ledger:
        """Return what the core, the window, the insulation and the models allow."""
        primary, secondary = self.coils
        core, path = self.core, self.path
        xp = array_namespace(self.gap)
        one = xp.ones_like(self.gap)
        return joined(
            at_most(f"{path}.ferrite", core.powder, 0.5 * one, "", "0 for a ferrite core"),
            at_most(f"{path}.fill", self._fill(), one, "", "copper in the window, of the allowed"),
            at_most(f"{path}.insulation", self.stress.v_insulation, V_INSULATION * one, "V",
                    "peak working voltage across triple-insulated wire"),
            self.window_limits(
                gap=self.gap,
                fringing=self.fringing,
                build=primary.build + secondary.build + _interfaces(self.design) * TAPE,
                occupied=xp.maximum(primary.occupied, secondary.occupied),
            ),
        )  # fmt: skip

    def items(self, t: Array, case: Case) -> tuple[Item, ...]:
        """Return the winding data of the first design."""
        design, rows = self.design, case.catalogue
        sandwich = first(_interfaces(design)) > 1.5
        primary, secondary = self.stress.windings
        build = (
            Fact("core", rows["cores"].rows[int(design.core[0, 0, 0])]),
            Fact("material", rows["ferrites"].rows[int(design.ferrite[0, 0, 0])]),
            Fact("air gap of the centre leg", first(self.gap), "m"),
            Fact("order", "half primary, secondary, half primary" if sandwich
                 else "primary, secondary"),
            *coil_facts("primary", self.coils[0]),
            *coil_facts("secondary", self.coils[1]),
            Fact("window used of the allowed", first(self._fill()), "", 1.0),
            Fact("magnetising inductance", first(self.stress.l_m), "H"),
            Fact("tolerance of the inductance", TOLERANCE),
            Fact("leakage inductance", first(_leakage(design, self.core, self.coils)), "H"),
            Fact("insulation", "reinforced: triple-insulated primary, tape between windings"),
            Fact("tape between windings", TAPE, "m"),
        )  # fmt: skip
        stress = (
            Fact("peak magnetising current", first(self.stress.i_m_peak), "A"),
            Fact("primary rms current", first(_rms(primary)), "A"),
            Fact("secondary rms current", first(_rms(secondary)), "A"),
            Fact("insulation voltage, peak", first(self.stress.v_insulation), "V", V_INSULATION),
            self.flux_fact(t),
            Fact("temperature", first(t), "°C", T_LIMIT),
        )
        what = "gapped ferrite transformer"
        return (Item(self.path, what, self.count, build, stress),)


def _rms(winding: WindingStress) -> Array:
    """Return the rms value of the whole current of a winding [A]."""
    xp = array_namespace(winding.i_dc)
    ripple = total(h * h for h in winding.harmonics)
    return xp.sqrt(winding.i_dc**2 + winding.i_line_rms**2 + ripple)


def place(
    path: str, design: Design, stress: TransformerStress, case: Case, count: int = 1
) -> Transformer:
    """Return a transformer under stress.

    The gap is made for the wanted magnetising inductance; whether the leakage suits the
    stage is the stage's business (``leakage``).  Weakest is the eddy loss of windings
    near a gap that conduct one after the other (±50 %).

    Parameters
    ----------
    path : str
        Dotted path in the topology.
    design : Design
        How it is built.
    stress : TransformerStress
        What it bears, of one piece.
    case : Case
        Catalogue and operating points.
    count : int
        Pieces alike.
    """
    core = cores.core(design.core, case)
    material = cores.ferrite(design.ferrite, case)
    coils = _coils(design, core)
    shape = {"area": core.a_e, "length": core.l_e, "window": core.g, "mu_r": material.mu_r}
    gap, fringing = gap_length(stress.l_m, design.turns_primary, **shape)
    xp = array_namespace(gap)
    held = xp.clip(gap, GAP_MIN, 0.4 * core.g)
    gain = ALTERNATING if stress.alternating else 1.0
    return Transformer(
        path=path,
        count=count,
        core=core,
        material=material,
        coils=coils,
        coppers=(
            copper(coils[0], stress.windings[0], gain),
            copper(coils[1], stress.windings[1], gain),
        ),
        core_loss=cores.core_loss(core, material, design.turns_primary, stress.flux),
        b_peak=stress.l_m * stress.i_m_peak / (design.turns_primary * core.a_min),
        f=flux_frequency(stress.flux),
        design=design,
        stress=stress,
        gap=gap,
        fringing=fringing,
        inductance=gapped_inductance(held, design.turns_primary, **shape),
    )
