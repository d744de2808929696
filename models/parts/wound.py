"""What a placed inductor and a placed transformer share: heat, losses and books."""

from __future__ import annotations

import dataclasses
import functools
import operator
from collections.abc import Iterable

from models import cost
from models.axes import Array, array_namespace, line_max, point_max
from models.case import Case
from models.ledger import Kind, Ledger, at_least, at_most, booking, joined
from models.parts.coil import LITZ_SHARE, Coil, Copper
from models.parts.cores import Core, Material
from models.parts.part import Anchor, Fact
from models.physics.core import saturation, temperature_factor
from models.physics.gap import CLEARANCE, FRINGING_MAX, GAP_MIN, GAP_SHARE_MAX, KEPT_FREE
from models.physics.winding import ALPHA_CU
from models.stress import Flux

WALL = 0.9e-3  # [m], wall of the former under the winding; common practice, no source

# Resistance inside the box over that in free air, closed and potted [1]; common
# practice, no source.
K_CLOSED, K_POTTED = 1.2, 0.45

# Inductance of gapped cores in series production [1]; from memory of data sheets.
TOLERANCE = 0.05

WIRES_MAX = 8.0  # [1], in the hand of a winder; common practice, no source
T_LIMIT = 125.0  # [°C], formers and enamel of class F, with reserve; common practice
T_RUNAWAY = 300.0  # [°C], where a part is put whose losses outgrow its cooling


@dataclasses.dataclass(frozen=True)
class Wound:
    """A wound part: coils on a core with the stress they bear."""

    path: str
    count: int
    core: Core
    material: Material
    coils: tuple[Coil, ...]
    coppers: tuple[Copper, ...]
    core_loss: Array  # [W] at 100 °C, one piece, (design, point, 1)
    b_peak: Array  # [T], (design, point, 1)
    f: Array  # [Hz], of the flux, (design, 1, 1)

    @property
    def anchor(self) -> Anchor:
        """Wound parts give their heat to the inside of the box."""
        return Anchor.INSIDE

    @functools.cached_property
    def _parabola(self) -> tuple[Array, Array, Array]:
        """p0, p1, p2 of the loss of one piece, p0 + p1·T + p2·T² [W] with T in °C."""
        pairs = tuple(zip(self.coils, self.coppers, strict=True))
        at_20 = total(c.resistance(20.0) * i.square for c, i in pairs)
        eddy = total(i.eddy for i in self.coppers)
        t_m, c = self.material.t_m, self.material.c
        p_2 = self.core_loss * (c / (1.0 + c * (100.0 - t_m) ** 2))
        at_0 = self.core_loss * temperature_factor(0.0 * t_m, t_m, c)
        p_0 = at_0 + at_20 * (1.0 - 20.0 * ALPHA_CU) + eddy
        return p_0, at_20 * ALPHA_CU - 2.0 * t_m * p_2, p_2

    def temperature(self, t_anchor: Array, potted: Array) -> Array:
        """Return T = T_anchor + k·R_th·P(T) [°C] of winding and core together.

        P is a parabola in T (straight copper, parabolic core), so that the balance is a
        quadratic equation; where it has no solution the part runs away.

        Source
        ------
        k: common practice, no source.
        """
        xp = array_namespace(t_anchor, self.core_loss)
        p_0, p_1, p_2 = self._parabola
        r = (K_CLOSED + (K_POTTED - K_CLOSED) * potted) * self.core.r_th
        b = 1.0 - r * p_1
        c = t_anchor + r * p_0
        discriminant = b * b - 4.0 * (r * p_2) * c
        runs_away = (discriminant <= 0.0) | (b <= 1e-3)
        root = xp.sqrt(xp.maximum(discriminant, 0.0))
        t = 2.0 * c / (xp.maximum(b, 1e-3) + root)
        return xp.where(runs_away, T_RUNAWAY, xp.minimum(t, T_RUNAWAY))

    def loss(self, t: Array) -> Array:
        """Return the heat of all pieces [W] at temperature ``t`` [°C]."""
        p_0, p_1, p_2 = self._parabola
        return self.count * (p_0 + t * (p_1 + t * p_2))

    def common_books(self, t: Array, core_cost: Array, wire_cost: Array, case: Case) -> Ledger:
        """Return the bookings that every wound part has.

        Parameters
        ----------
        t : Array
            Temperature [°C].
        core_cost : Array
            Price of one core [€].
        wire_cost : Array
            Price of the wire of one piece [€].
        case : Case
            Operating points: temperature limits apply only to some.
        """
        xp = array_namespace(t)
        path, n, core = self.path, self.count, self.core
        ground = core.box_l * core.box_w
        mass = core.mass + total(c.mass for c in self.coils)
        turns = total(c.turns for c in self.coils)
        price = core_cost + wire_cost + cost.winding_labour(turns)
        hot = xp.where(case.points.thermal > 0.0, t, 0.0)
        return joined(
            self._losses(t),
            booking(path, Kind.VOLUME, n * ground * core.box_h, "box around the wound part"),
            booking(path, Kind.AREA, n * ground, "board under the wound part"),
            booking(path, Kind.HEIGHT, core.box_h, "height above the board"),
            booking(path, Kind.MASS, n * mass, "core and copper"),
            booking(path, Kind.COST, n * price, "core, wire and winding; invented prices"),
            booking(path, Kind.PIECES, xp.full_like(ground, float(n)), "wound parts"),
            booking(path, Kind.TEMPERATURE, t, "winding and core"),
            booking(f"{path}.b_peak", Kind.FIGURE, self.b_peak, "peak flux density", "T"),
            at_most(
                f"{path}.temperature", hot, xp.full_like(ground, T_LIMIT), "°C",
                "temperature of the winding and core",
            ),
            at_most(
                f"{path}.saturation", self.b_peak * (1.0 - core.powder), self.b_limit(t), "T",
                "peak flux density; powder cores saturate softly and are held by inductance",
            ),
            *self._band(),
            at_most(
                f"{path}.wires", self._parallel(), xp.full_like(ground, WIRES_MAX), "",
                "solid wires wound side by side as one turn; more want litz",
            ),
        )  # fmt: skip

    def _parallel(self) -> Array:
        """Return the most solid wires in parallel in any winding [1]; litz counts none."""
        xp = array_namespace(self.core_loss)
        wires = [c.strands * (1.0 - c.litz) for c in self.coils]
        return functools.reduce(xp.maximum, wires)

    def _band(self) -> tuple[Ledger, Ledger]:
        """Return the limits of the band in which the ferrite's loss fit holds.

        Below it the fit of a high-frequency ferrite promises less loss than any has.
        A powder core has none; its values stand well off the bounds.
        """
        m, powder = self.material, self.core.powder > 0.5
        xp = array_namespace(m.f_min)
        f = self.f + 0.0 * m.f_min
        return (
            at_least(f"{self.path}.band_low", xp.where(powder, 2.0 * m.f_min, f), m.f_min, "Hz",
                     "frequency against the lower edge of the ferrite's loss fit"),
            at_most(f"{self.path}.band_high", xp.where(powder, 0.0, f), m.f_max, "Hz",
                    "frequency against the upper edge of the ferrite's loss fit"),
        )  # fmt: skip

    def window_limits(
        self, *, gap: Array, fringing: Array, build: Array, occupied: Array
    ) -> Ledger:
        """Return what the window and the models of gap and field allow.

        Parameters
        ----------
        gap : Array
            Air gap [m]; without meaning on a powder core.
        fringing : Array
            Fringing factor of the gap [1].
        build : Array
            Height of all windings with what lies between [m].
        occupied : Array
            Breadth of the broadest layer [m].
        """
        xp = array_namespace(gap)
        path, core = self.path, self.core
        ferrite, one = 1.0 - core.powder, xp.ones_like(gap)
        open_gap = xp.maximum(gap, 0.0) * ferrite
        distance = xp.maximum(WALL + core.hw - build, 0.01 * WALL)
        # On a powder core twice the least gap stands for "no limit".
        ground = gap * ferrite + 2.0 * GAP_MIN * core.powder
        return joined(
            at_most(f"{path}.breadth", occupied, core.bw, "m", "turns of one layer side by side"),
            at_most(f"{path}.layers", build + KEPT_FREE * open_gap, core.hw, "m",
                    "height of the windings with 1.5 gaps kept free"),
            at_least(f"{path}.gap_least", ground, GAP_MIN * one, "m", "gap that can be ground"),
            at_most(f"{path}.gap_most", open_gap, GAP_SHARE_MAX * core.l_e, "m",
                    "gap within the region of the model"),
            at_most(f"{path}.fringing", fringing * ferrite, FRINGING_MAX * one, "",
                    "flux that bulges out of the gap"),
            at_most(f"{path}.clearance", CLEARANCE * open_gap, distance, "m",
                    "two gaps against the distance of the copper from the gap"),
        )  # fmt: skip

    def b_limit(self, t: Array) -> Array:
        """Return the design limit of the flux density [T] at ``t``, as saturation falls."""
        return self.material.b_max * (saturation(t) / saturation(0.0 * t + 100.0))

    def flux_fact(self, t: Array) -> Fact:
        """Return the peak flux density of the first design and its limit [T].

        Both at the operating point that comes nearest to saturation: the hottest point
        has the lowest limit, and another one may have the most flux.
        """
        xp = array_namespace(self.b_peak)
        peak, limit = (xp.reshape(x[0], (-1,)) for x in
                       xp.broadcast_arrays(self.b_peak, self.b_limit(t)))  # fmt: skip
        worst = int(xp.argmax(peak / limit))
        return Fact("peak flux density", float(peak[worst]), "T", float(limit[worst]))

    def _losses(self, t: Array) -> Ledger:
        """Return the losses by cause."""
        n, path = self.count, self.path
        pairs = tuple(zip(self.coils, self.coppers, strict=True))
        direct = total(c.resistance(t) * i.direct for c, i in pairs)
        ripple = total(c.resistance(t) * i.ripple + i.eddy for c, i in pairs)
        iron = self.core_loss * temperature_factor(t, self.material.t_m, self.material.c)
        return joined(
            booking(f"{path}.copper_dc", Kind.LOSS, n * direct, "direct and line current"),
            booking(f"{path}.copper_ac", Kind.LOSS, n * ripple, "ripple current, eddies included"),
            booking(f"{path}.core", Kind.LOSS, n * iron, "core loss"),
        )


def flux_frequency(fluxes: tuple[Flux, ...]) -> Array:
    """Return the frequency of the flux [Hz] while the stage runs, (design, 1, 1)."""
    return point_max(line_max(fluxes[0].f))


def total(values: Iterable[Array]) -> Array:
    """Return the sum of arrays over the windings."""
    return functools.reduce(operator.add, values)


def first(x: Array) -> float:
    """Return the worst value over the operating points of the first design."""
    return float(x[0].max())


def coil_facts(name: str, winding: Coil) -> tuple[Fact, ...]:
    """Return how one winding of the first design is built."""
    prefix = f"{name} " if name else ""
    litz = first(winding.litz) > LITZ_SHARE
    return (
        Fact(f"{prefix}turns", first(winding.turns)),
        Fact(f"{prefix}wire", "litz" if litz else "solid round"),
        Fact(f"{prefix}{'strand' if litz else 'wire'} diameter", first(winding.diameter), "m"),
        Fact(f"{prefix}{'strands' if litz else 'wires in parallel'}", first(winding.strands)),
        Fact(f"{prefix}layers", first(winding.layers)),
        Fact(f"{prefix}resistance at 20 °C", first(winding.resistance(20.0)), "Ω"),
    )
