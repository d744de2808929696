"""Inductor: gapped ferrite or powder ring, solid wire or litz."""

from __future__ import annotations

import dataclasses

from models import cost
from models.axes import Array, Indices, array_namespace
from models.case import Case
from models.ledger import Kind, Ledger, at_least, at_most, booking, joined
from models.parts import cores
from models.parts.coil import FILL_TOROID, WIRES, coil, copper, turn_size
from models.parts.part import Fact, Item
from models.parts.wound import T_LIMIT, TOLERANCE, Wound, coil_facts, first, flux_frequency
from models.physics.core import bias_permeability, powder_inductance
from models.physics.gap import GAP_MIN, gap_length, gapped_inductance
from models.stress import InductorStress
from models.variables import choice, real, row, whole


@dataclasses.dataclass(frozen=True)
class Design:
    """How an inductor is built; the gap follows from the inductance that is wanted."""

    core: Indices = row("cores", "core; a powder ring makes a powder choke")
    ferrite: Indices = row("ferrites", "ferrite, where the core is one")
    powder: Indices = row("powders", "powder, where the core is one")
    wire: Indices = choice(*WIRES, meaning="solid wires in parallel, or litz")
    strand: Array = real(0.04, 1.2, "mm", "bare diameter of a strand or wire", log=True)
    strands: Array = whole(1, 600, "strands, or wires in parallel", log=True)
    layers: Array = whole(1, 8, "layers of the winding")
    turns: Array = whole(3, 150, "turns", log=True)


@dataclasses.dataclass(frozen=True)
class Inductor(Wound):
    """A placed inductor (all of its pieces together)."""

    design: Design
    stress: InductorStress
    gap: Array  # [m], (design, 1, 1); of a powder core without meaning
    fringing: Array  # [1]
    inductance: Array  # [H], with the gap as ground; of a powder core at the peak current

    def book(self, t: Array, case: Case) -> Ledger:
        """Return losses by cause, size, price, temperature, limits and figures."""
        xp = array_namespace(t)
        winding, path = self.coils[0], self.path
        powders = case.catalogue["powders"]
        powder = self.core.powder > 0.5
        core_cost = xp.where(
            powder,
            cost.powder_core(self.core.mass) * powders.at("price", self.design.powder),
            cost.ferrite_core(self.core.mass, self.core.v_e),
        )
        wire_cost = xp.where(
            winding.litz > 0.5,
            cost.litz_wire(winding.mass, winding.diameter),
            cost.solid_wire(winding.mass),
        )
        turns = self.design.turns
        b_dc = self.stress.inductance * self.stress.winding.i_dc / (turns * self.core.a_e)
        gap = xp.where(powder, 0.0, self.gap)
        return joined(
            self.common_books(t, core_cost, wire_cost, case),
            self._limits(),
            booking(f"{path}.inductance", Kind.FIGURE, self.inductance, "inductance", "H"),
            booking(f"{path}.gap", Kind.FIGURE, gap, "air gap of the centre leg", "m"),
            booking(f"{path}.b_dc", Kind.FIGURE, b_dc, "flux density of the mean current; raises "
                    "ferrite loss by up to 1.3 times at 0.1 T, which is not counted", "T"),
            booking(f"{path}.fill", Kind.FIGURE, self._fill(), "copper over winding window", ""),
        )  # fmt: skip

    def _fill(self) -> Array:
        winding = self.coils[0]
        return winding.turns * winding.area / self.core.a_w

    def _fill_limit(self) -> Array:
        xp = array_namespace(self.gap)
        return xp.where(self.core.powder > 0.5, FILL_TOROID, self.coils[0].fill_limit)

    def _limits(self) -> Ledger:
        """Return what the core, the window and the models allow."""
        winding, path, wanted = self.coils[0], self.path, self.stress.inductance
        soft = self.inductance + (1.0 - self.core.powder) * wanted
        return joined(
            at_most(f"{path}.fill", self._fill(), self._fill_limit(), "", "copper in the window"),
            at_least(f"{path}.inductance", soft, wanted, "H",
                     "inductance of a powder core at the peak current"),
            self.window_limits(
                gap=self.gap,
                fringing=self.fringing,
                build=winding.build,
                occupied=winding.occupied,
            ),
        )  # fmt: skip

    def items(self, t: Array, case: Case) -> tuple[Item, ...]:
        """Return the winding data of the first design."""
        core_row, index = self.design, case.catalogue
        powder = first(self.core.powder) > 0.5
        table, chosen = ("powders", core_row.powder) if powder else ("ferrites", core_row.ferrite)
        gap = Fact("air gap of the centre leg", first(self.gap), "m")
        build = (
            Fact("core", index["cores"].rows[int(core_row.core[0, 0, 0])]),
            Fact("material", index[table].rows[int(chosen[0, 0, 0])]),
            *(() if powder else (gap,)),
            *coil_facts("", self.coils[0]),
            Fact("copper in the window", first(self._fill()), "", first(self._fill_limit())),
            Fact("inductance", first(self.stress.inductance), "H"),
            Fact("tolerance of the inductance", TOLERANCE),
            Fact("insulation", "functional: enamel and former"),
        )
        current = self.stress.winding
        stress = (
            Fact("peak current", first(self.stress.i_peak), "A"),
            Fact("direct current", first(current.i_dc), "A"),
            Fact("rms current, line frequency", first(current.i_line_rms), "A"),
            Fact("rms current, ripple", first(self.coppers[0].ripple) ** 0.5, "A"),
            Fact("peak flux density", first(self.b_peak), "T") if powder else self.flux_fact(t),
            Fact("temperature", first(t), "°C", T_LIMIT),
        )  # fmt: skip
        what = "powder-core inductor" if powder else "gapped ferrite inductor"
        return (Item(self.path, what, self.count, build, stress),)


def place(
    path: str, design: Design, stress: InductorStress, case: Case, count: int = 1
) -> Inductor:
    """Return an inductor under stress.

    On a ferrite core the gap is made for the wanted inductance.  On a powder core the
    turns decide, and the incremental inductance at the peak current must reach the
    wanted one; away from the peak it is larger and the ripple smaller than assumed.
    Several wires in parallel share the current alike, which close loops of solid wires
    do not quite.

    Parameters
    ----------
    path : str
        Dotted path in the topology.
    design : Design
        How it is built.
    stress : InductorStress
        What it bears, of one piece.
    case : Case
        Catalogue and operating points.
    count : int
        Pieces alike.
    """
    xp = array_namespace(stress.i_peak)
    core = cores.core(design.core, case)
    material = cores.ferrite(design.ferrite, case)
    material = cores.with_powder(material, design.powder, core.powder, case)
    powders = case.catalogue["powders"]
    density = powders.at("density", design.powder)
    core = dataclasses.replace(
        core, mass=xp.where(core.powder > 0.5, density * core.v_e, core.mass)
    )
    litz = xp.astype(design.wire, xp.float64)
    winding = coil(
        core,
        litz=litz,
        diameter=design.strand,
        strands=design.strands,
        turns=design.turns,
        layers=design.layers,
        size=turn_size(litz, design.strand, design.strands),
        field_share=xp.ones_like(litz),
    )
    shape = {"area": core.a_e, "length": core.l_e, "window": core.g, "mu_r": material.mu_r}
    gap, fringing = gap_length(stress.inductance, design.turns, **shape)
    held = xp.clip(gap, GAP_MIN, 0.4 * core.g)
    gapped = gapped_inductance(held, design.turns, **shape)
    bias = bias_permeability(
        design.turns * stress.i_peak / core.l_e,
        a=powders.at("a", design.powder),
        b=powders.at("b", design.powder),
        c=powders.at("c", design.powder),
    )
    soft = powder_inductance(
        design.turns, core.a_e, core.l_e, powders.at("mu_i", design.powder) * bias
    )
    return Inductor(
        path=path,
        count=count,
        core=core,
        material=material,
        coils=(winding,),
        coppers=(copper(winding, stress.winding),),
        core_loss=cores.core_loss(core, material, design.turns, stress.flux),
        b_peak=stress.inductance * stress.i_peak / (design.turns * core.a_min),
        f=flux_frequency(stress.flux),
        design=design,
        stress=stress,
        gap=gap,
        fringing=fringing,
        inductance=xp.where(core.powder > 0.5, soft, gapped),
    )
