"""Switch position: transistors, alone or in parallel, under the stress of a stage."""

from __future__ import annotations

import dataclasses
import functools
import math

from models import cost
from models.axes import ANGLE, Array, array_namespace, line_max, line_mean
from models.case import Case
from models.ledger import Kind, Ledger, at_most, booking, joined
from models.parts import package
from models.parts.housekeeping import SUPPLY_EFFICIENCY
from models.parts.part import Anchor, Fact, Item
from models.parts.transistor import SCHEMA, TABLE, Design, Device, device, moved
from models.physics.junction import junction_temperature
from models.physics.semiconductor import (
    gate_power,
    recovery_charge,
    recovery_rise,
    resistance_rise,
)
from models.physics.switching import turn_off_energy, turn_on
from models.stress import Edge, SwitchStress

# A stage needs this module alone.
__all__ = ["SCHEMA", "Design", "Device", "Switch", "device", "edge_loss", "moved", "place"]

DRIVER_VOLUME = 0.15e-6  # [m³], one channel with its parts; invented
DRIVER_FOOTPRINT = 50e-6  # [m²], one channel with its parts; invented

# Current that a body diode may carry when it is commutated although it must not [A];
# common practice, no source: a tenth of an ampere stands for none.
FORBIDDEN_CURRENT = 0.1


@dataclasses.dataclass(frozen=True)
class EdgeLoss:
    """Losses of the edges of one position [W] and what they do to other body diodes."""

    capacitive: Array
    overlap: Array
    recovery: Array  # at 25 °C
    gate: Array
    forbidden: Array  # [A], largest current in a body diode that must not be commutated


def edge_loss(own: Device, edge: Edge) -> EdgeLoss:
    """Return what one edge costs, averaged over the line cycle."""
    xp = array_namespace(edge.v)
    start = turn_on(own.charge, edge, own.t_dead)
    i_on = xp.maximum(edge.i_on, 0.0)
    fall = turn_off_energy(edge.v, edge.i_off, own.t_fall, start.node_charge)
    recovery = forbidden = xp.zeros_like(own.v_max)
    for other in edge.others:
        if other.q_rr is not None:
            q = recovery_charge(other.q_rr, xp.asarray(other.i_rr), edge.i_on)
            recovery = recovery + _per_second(edge.rate, other.v_to, q)
            forbidden = xp.maximum(forbidden, line_max(i_on) * (1.0 - other.hard_ok))
    return EdgeLoss(
        _per_second(edge.rate, start.energy),
        _per_second(edge.rate, 0.5 * own.t_rise, start.v_left, i_on)
        + _per_second(edge.rate, fall),
        recovery,
        gate_power(line_mean(edge.rate), own.q_g, own.v_drive) / SUPPLY_EFFICIENCY,
        forbidden,
    )


def _per_second(*factors: Array) -> Array:
    """Return the line mean of a product, an energy times its rate [W].

    What does not vary over the line cycle is multiplied after the mean, where it is cheap.
    """
    fixed = [f for f in factors if f.shape[ANGLE] == 1]
    varying = [f for f in factors if f.shape[ANGLE] > 1]
    if not varying:
        return math.prod(fixed[1:], start=fixed[0])
    return math.prod(fixed, start=line_mean(math.prod(varying[1:], start=varying[0])))


@dataclasses.dataclass(frozen=True)
class Switch:
    """Switch positions alike, placed; losses are of one position, bookings of all."""

    path: str
    count: int
    design: Design
    device: Device
    stress: SwitchStress
    edges: EdgeLoss
    p_conduction: Array  # [W] at 25 °C
    p_dead: Array  # [W]

    @property
    def anchor(self) -> Anchor:
        """Transistors lie on a gap pad against the wall."""
        return Anchor.SURFACE

    @functools.cached_property
    def p_fixed(self) -> Array:
        """Loss in the junction that its temperature does not change [W]."""
        return self.edges.capacitive + self.edges.overlap + self.p_dead

    def temperature(self, t_anchor: Array, potted: Array) -> Array:
        """Return the junction temperature [°C]; potting does not change the path."""
        return junction_temperature(
            t_anchor,
            self.device.r_th,
            p_fixed=self.p_fixed,
            p_recovery=self.edges.recovery,
            p_conduction=self.p_conduction,
            exponent=self.device.exponent,
            t_max=self.device.t_max,
        )

    def _losses(self, t: Array) -> dict[str, Array]:
        """Return the losses of all positions by cause [W]."""
        one = {
            "conduction": self.p_conduction * resistance_rise(t, self.device.exponent),
            "capacitive": self.edges.capacitive,
            "overlap": self.edges.overlap,
            "recovery": self.edges.recovery * recovery_rise(t),
            "dead_time": self.p_dead,
            "gate": self.edges.gate,
        }
        return {cause: self.count * power for cause, power in one.items()}

    def loss(self, t: Array) -> Array:
        """Return the heat of all positions [W], that of driver and gate supply included."""
        hot = self.p_conduction * resistance_rise(t, self.device.exponent)
        recovery = self.edges.recovery * recovery_rise(t)
        return self.count * (hot + recovery + (self.p_fixed + self.edges.gate))

    def book(self, t: Array, case: Case) -> Ledger:
        """Return losses by cause, size, price, temperature and limits."""
        path, table, index = self.path, case.catalogue[TABLE], self.design.row
        area = table.at("r_sp", index) / self.device.r_die
        one = package.package(table, index)
        pieces = self.count * self.device.parallel
        drivers = self.count + 0.0 * pieces
        return joined(
            *(
                booking(f"{path}.{cause}", Kind.LOSS, power, MEANING[cause])
                for cause, power in self._losses(t).items()
            ),
            package.books(
                path, one, pieces, price=cost.die(area, table.at("die_price", index)),
                meaning="transistors",
            ),
            booking(f"{path}.driver", Kind.VOLUME, drivers * DRIVER_VOLUME, "gate drivers"),
            booking(f"{path}.driver", Kind.AREA, drivers * DRIVER_FOOTPRINT, "gate drivers"),
            booking(f"{path}.driver", Kind.COST, drivers * cost.DRIVER, "gate drivers"),
            booking(f"{path}.driver", Kind.PIECES, drivers + pieces, "drivers, gate resistors"),
            booking(path, Kind.TEMPERATURE, t, "junction"),
            self._limits(t, case),
        )  # fmt: skip

    def _limits(self, t: Array, case: Case) -> Ledger:
        """Return blocking voltage, junction and body diodes against what they stand."""
        own = self.device
        one = 1.0 + 0.0 * own.v_max
        return joined(
            at_most(f"{self.path}.voltage", self.stress.v_block,
                    own.v_max / package.VOLTAGE_DERATING, "V",
                    "blocking voltage; bound is the rating over 1.25 for ringing and derating"),
            at_most(f"{self.path}.junction", package.where_hot(t, case),
                    own.t_max - case.spec.limits.junction_margin_k, "°C",
                    "junction; bound is the rating less limits.junction_margin_k"),
            at_most(f"{self.path}.hard_commutation", self.edges.forbidden,
                    one * FORBIDDEN_CURRENT, "A",
                    "current in an opposite body diode that must not be commutated"),
        )  # fmt: skip

    def items(self, t: Array, case: Case) -> tuple[Item, ...]:
        """Return the line of the first design."""
        own, table = self.device, case.catalogue[TABLE]
        parallel = round(float(own.parallel[0, 0, 0]))
        hot = float(package.where_hot(t, case)[0].max())
        v_max, t_max = float(own.v_max[0, 0, 0]), float(own.t_max[0, 0, 0])
        build = (
            Fact("transistor", table.rows[int(self.design.row[0, 0, 0])]),
            Fact("on-resistance of the position at 25 °C", float(own.r_on25[0, 0, 0]), "Ω"),
            Fact("transistors in parallel", parallel),
            Fact("gate resistor", float(own.r_gate[0, 0, 0]), "Ω"),
            Fact("dead time", float(own.t_dead[0, 0, 0]), "s"),
        )
        stress = (
            Fact("blocking voltage", float(self.stress.v_block[0].max()), "V",
                 v_max / package.VOLTAGE_DERATING),
            Fact("rated voltage", v_max, "V"),
            Fact("junction temperature", hot, "°C", t_max - case.spec.limits.junction_margin_k),
            Fact("rms current", float(self.stress.i_rms[0].max()), "A"),
        )  # fmt: skip
        return (Item(self.path, "transistor", self.count * parallel, build, stress),)


MEANING = {
    "conduction": "channel resistance",
    "capacitive": "charge of the node burnt at turn-on",
    "overlap": "voltage times current during switching; ±40 to 100 %",
    "recovery": "recovery of opposite body diodes; ±40 to 100 %",
    "dead_time": "reverse conduction during dead times",
    "gate": "gates, drivers and the supply behind them",
}


def place(path: str, design: Design, stress: SwitchStress, case: Case, count: int = 1) -> Switch:
    """Return switch positions under stress.

    The drop in reverse conduction is taken at the rms current; at small duty the true
    current is larger and the dead-time loss a few percent low.

    Parameters
    ----------
    path : str
        Dotted path in the topology.
    design : Design
        Transistor, parallel count, gate resistor, dead time.
    stress : SwitchStress
        What one position bears.
    case : Case
        Catalogue and operating points.
    count : int
        Positions alike.
    """
    own = device(design, case)
    edges = _summed([edge_loss(own, edge) for edge in stress.edges], own)
    drop = own.v_sd0 + own.r_sd * stress.i_rms
    return Switch(
        path=path,
        count=count,
        design=design,
        device=own,
        stress=stress,
        edges=edges,
        p_conduction=own.k_dyn * own.r_on25 * stress.i_rms * stress.i_rms,
        p_dead=stress.i_reverse_dead * drop,
    )


def _summed(losses: list[EdgeLoss], own: Device) -> EdgeLoss:
    """Return the losses of several edges together, none for a switch at rest."""
    if not losses:
        zero = 0.0 * own.v_max
        return EdgeLoss(zero, zero, zero, zero, zero)
    xp = array_namespace(own.v_max)
    total = losses[0]
    for loss in losses[1:]:
        total = EdgeLoss(
            total.capacitive + loss.capacitive,
            total.overlap + loss.overlap,
            total.recovery + loss.recovery,
            total.gate + loss.gate,
            xp.maximum(total.forbidden, loss.forbidden),
        )
    return total
