"""What an LLC resonant stage is built of, and its tank.

    module ─┬─ bridge ── C_r ── L_r ─┐            ┌─ rectifier ── link
          C_in                  primary (L_m) ∥ secondary
            └─ bridge ───────────────┘            └─ rectifier ── link −

L_r is a choke of its own together with the transformer's leakage, or that leakage alone;
either way all of it is counted on the primary's side, which makes the largest gain a
little too high where half of it lies on the other.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, Indices, array_namespace
from models.case import Case
from models.parts import capacitor, ceramic, diode, film, inductor, switch, transformer
from models.variables import alternative, part, real, row, structure, whole

R_GATE = 5.0  # [Ω], of a rectifying transistor; without effect


@dataclasses.dataclass(frozen=True)
class OwnChoke:
    """Most of the resonant inductance is a choke."""

    f_0: Array = real(70, 350, "kHz", "resonant frequency", log=True)
    choke: inductor.Design = part("resonant choke", turns=(2, 12))


@dataclasses.dataclass(frozen=True)
class Leakage:
    """The transformer's leakage is the resonant inductance: it and C_r set the frequency."""


@dataclasses.dataclass(frozen=True)
class Bridge:
    """Four rectifiers."""


@dataclasses.dataclass(frozen=True)
class Doubler:
    """Two rectifiers and two capacitors in series across the link."""

    half: capacitor.Film = part("each half of the doubler's capacitors")


@dataclasses.dataclass(frozen=True)
class Transistor:
    """A transistor as rectifier: it turns without current, its gate resistor is no matter."""

    row: Indices = row("switches", "transistor class or part")
    r_on: Array = real(
        1, 1000, "mΩ", "on-resistance of one die at 25 °C; held to what the row offers", log=True
    )
    parallel: Array = whole(1, 4, "transistors in parallel")
    t_dead: Array = real(10, 300, "ns", "time off at either end of its half sine", log=True)

    def position(self) -> switch.Design:
        """Return the switch position."""
        gate = 0.0 * self.t_dead + R_GATE
        return switch.Design(self.row, self.r_on, self.parallel, gate, self.t_dead)


@dataclasses.dataclass(frozen=True)
class Design:
    """What both uses of the stage have in common."""

    primary: str = structure("full", "half", meaning="full or half bridge at the module")
    resonance: OwnChoke | Leakage = alternative(
        "where the resonant inductance lies", choke=OwnChoke, leakage=Leakage
    )
    resonant: capacitor.Film | capacitor.Ceramic = alternative(
        "resonant capacitor; ceramics of class I", film=film.Design, ceramic=ceramic.Design
    )
    secondary: Bridge | Doubler = alternative(
        "full bridge or voltage doubler", bridge=Bridge, doubler=Doubler
    )
    rectifier: diode.Design | Transistor = alternative(
        "each rectifier", diode=diode.Design, transistor=Transistor
    )
    burst: Array = real(1, 40, "%", "share of full power below which it runs in bursts", log=True)
    transformer: transformer.Design = part(
        "transformer", turns_primary=(2, 16), turns_secondary=(6, 130)
    )
    switch: switch.Design = part("each switch at the module")
    input: capacitor.Ceramic = part("capacitors at the module")


@dataclasses.dataclass(frozen=True)
class Tank:
    """Resonant circuit at the primary, all (design, 1, 1)."""

    ratio: Array  # L_m over L_r [1]
    l_r: Array  # [H], leakage included
    leakage: Array  # [H], of the transformer
    c_r: Array  # [F]
    turns: Array  # secondary over primary [1]
    gain: Array  # link voltage over the reflected one V_r [1]
    drive: float  # V_i' over the module's voltage [1]

    @property
    def l_m(self) -> Array:
        """Magnetising inductance at the primary [H]."""
        return self.ratio * self.l_r

    @property
    def f_0(self) -> Array:
        """Resonant frequency [Hz]."""
        return 1.0 / (2.0 * math.pi * array_namespace(self.l_r).sqrt(self.l_r * self.c_r))

    @property
    def z_0(self) -> Array:
        """Characteristic impedance [Ω]."""
        return array_namespace(self.l_r).sqrt(self.l_r / self.c_r)


def tank(design: Design, ratio: Array, case: Case) -> Tank:
    """Return the resonant circuit of a design.

    The halves of a doubler would act as C = 2·(N_s/N_p)²·C_half in series with C_r for the
    load's share of the current alone; they are left out, which is 2 % off at the limit
    of their ripple.

    Parameters
    ----------
    design : Design
        The stage.
    ratio : Array
        L_m over L_r [1].
    case : Case
        Catalogue.
    """
    turns = transformer.ratio(design.transformer)
    c_r = capacitor.capacitance(design.resonant, case)
    gain = 2.0 * turns if isinstance(design.secondary, Doubler) else turns
    leakage = transformer.leakage(design.transformer, case)
    l_r = leakage
    if isinstance(design.resonance, OwnChoke):
        omega = 2.0 * math.pi * design.resonance.f_0
        l_r = 1.0 / (omega * omega * c_r)
    drive = 1.0 if design.primary == "full" else 0.5
    return Tank(ratio, l_r, leakage, c_r, turns, gain, drive)
