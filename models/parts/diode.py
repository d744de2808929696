"""Diode: one position, of one device or several in parallel."""

from __future__ import annotations

import dataclasses

from models import cost
from models.axes import Array, Indices, array_namespace, line_mean
from models.case import Case
from models.ledger import Kind, Ledger, at_most, booking, joined
from models.parts import package
from models.parts.catalogue import Column, Schema
from models.parts.part import Anchor, Fact, Item
from models.physics.junction import diode_temperature
from models.physics.semiconductor import (
    RECOVERY_PER_KELVIN,
    T_REFERENCE,
    diode_conduction,
    recovery_charge,
    recovery_rise,
)
from models.stress import Charge, DiodeStress
from models.variables import row, whole

TABLE = "diodes"

SCHEMA = Schema(
    {
        "v_max": Column("V", 10.0, 3300.0),
        "t_jmax": Column("°C", 80.0, 250.0),
        "i_rated": Column("A", 0.1, 200.0),
        "v_0": Column("V", 0.1, 3.0),
        "v_0_slope": Column("V/K", -0.005, 0.005),
        "r_d": Column("Ω·A", 0.0, 5.0),
        "r_d_rise": Column("1/K", 0.0, 0.02),
        "q_c": Column("nC/A", 0.01, 100.0),
        "v_ref": Column("V", 1.0, 3300.0),
        "a": Column("1", 0.03, 1.0),
        "q_rr": Column("nC/A", 0.0, 1e4),
        "r_th": Column("K/W", 0.05, 100.0),
        "die_area": Column("mm²", 0.05, 500.0),
        "die_price": Column("€/cm²", 0.0, 1e3),
        **package.COLUMNS,
    }
)


@dataclasses.dataclass(frozen=True)
class Design:
    """What may be varied of a diode position."""

    row: Indices = row("diodes", "diode class or part")
    parallel: Array = whole(1, 4, "diodes in parallel")


@dataclasses.dataclass(frozen=True)
class DiodeDevice:
    """Electrical data of one diode position, all devices in parallel; (design, 1, 1)."""

    i_rated: Array  # [A]
    v_0: Array  # [V] at 25 °C
    v_0_slope: Array  # [V/K]
    r_d: Array  # [Ω] at 25 °C
    r_d_rise: Array  # [1/K]
    charge: Charge
    q_rr: Array  # [C] at i_rated, 25 °C
    r_th: Array  # [K/W], junctions to the wall
    v_max: Array  # [V]
    t_max: Array  # [°C]
    parallel: Array  # [1]


def device(design: Design, case: Case) -> DiodeDevice:
    """Return the electrical data of a diode position.

    Devices in parallel are taken to share the current alike; those whose drop falls
    with temperature share worse, and the hottest then carries more.
    """
    table, index, m = case.catalogue[TABLE], design.row, design.parallel
    i_rated = m * table.at("i_rated", index)
    return DiodeDevice(
        i_rated=i_rated,
        v_0=table.at("v_0", index),
        v_0_slope=table.at("v_0_slope", index),
        r_d=table.at("r_d", index) / i_rated,
        r_d_rise=table.at("r_d_rise", index),
        charge=Charge(
            table.at("q_c", index) * i_rated, table.at("v_ref", index), table.at("a", index)
        ),
        q_rr=table.at("q_rr", index) * i_rated,
        r_th=(table.at("r_th", index) + package.package(table, index).pad) / m,
        v_max=table.at("v_max", index),
        t_max=table.at("t_jmax", index),
        parallel=m,
    )


@dataclasses.dataclass(frozen=True)
class Diode:
    """Diode positions alike, placed; losses are of one position, bookings of all."""

    path: str
    count: int
    design: Design
    device: DiodeDevice
    stress: DiodeStress
    p_conduction: Array  # [W] at 25 °C
    p_conduction_slope: Array  # [W/K]
    p_recovery: Array  # [W] at 25 °C

    @property
    def anchor(self) -> Anchor:
        """Diodes lie on a gap pad against the wall."""
        return Anchor.SURFACE

    def temperature(self, t_anchor: Array, potted: Array) -> Array:
        """Return the junction temperature [°C]; potting does not change the path."""
        return diode_temperature(
            t_anchor,
            self.device.r_th,
            p_25=self.p_conduction + self.p_recovery,
            slope=self.p_conduction_slope + RECOVERY_PER_KELVIN * self.p_recovery,
            t_max=self.device.t_max,
        )

    def _losses(self, t: Array) -> dict[str, Array]:
        """Return the losses of all positions by cause [W]."""
        conduction = self.p_conduction + self.p_conduction_slope * (t - T_REFERENCE)
        return {
            "conduction": self.count * conduction,
            "recovery": self.count * (self.p_recovery * recovery_rise(t)),
        }

    def loss(self, t: Array) -> Array:
        """Return the heat of all positions [W]."""
        conduction = self.p_conduction + self.p_conduction_slope * (t - T_REFERENCE)
        return self.count * (conduction + self.p_recovery * recovery_rise(t))

    def book(self, t: Array, case: Case) -> Ledger:
        """Return losses by cause, size, price, temperature and limits."""
        path, own = self.path, self.device
        table, index = case.catalogue[TABLE], self.design.row
        losses = self._losses(t)
        price = cost.die(table.at("die_area", index), table.at("die_price", index))
        return joined(
            booking(f"{path}.conduction", Kind.LOSS, losses["conduction"], "forward drop"),
            booking(f"{path}.recovery", Kind.LOSS, losses["recovery"],
                    "recovery charge at full voltage, all of it; ±40 to 100 %"),
            package.books(path, package.package(table, index), self.count * own.parallel,
                          price=price, meaning="diodes"),
            booking(path, Kind.TEMPERATURE, t, "junction"),
            at_most(f"{path}.voltage", self.stress.v_block,
                    own.v_max / package.VOLTAGE_DERATING, "V",
                    "blocking voltage; bound is the rating over 1.25 for ringing and derating"),
            at_most(f"{path}.junction", package.where_hot(t, case),
                    own.t_max - case.spec.limits.junction_margin_k, "°C",
                    "junction; bound is the rating less limits.junction_margin_k"),
            at_most(f"{path}.current", self.stress.i_avg, own.i_rated, "A",
                    "mean forward current against the rating"),
        )  # fmt: skip

    def items(self, t: Array, case: Case) -> tuple[Item, ...]:
        """Return the line of the first design."""
        own, table = self.device, case.catalogue[TABLE]
        parallel = round(float(own.parallel[0, 0, 0]))
        hot = float(package.where_hot(t, case)[0].max())
        v_max, t_max = float(own.v_max[0, 0, 0]), float(own.t_max[0, 0, 0])
        build = (
            Fact("diode", table.rows[int(self.design.row[0, 0, 0])]),
            Fact("diodes in parallel", parallel),
        )
        stress = (
            Fact("blocking voltage", float(self.stress.v_block[0].max()), "V",
                 v_max / package.VOLTAGE_DERATING),
            Fact("rated voltage", v_max, "V"),
            Fact("junction temperature", hot, "°C", t_max - case.spec.limits.junction_margin_k),
            Fact("mean current", float(self.stress.i_avg[0].max()), "A",
                 float(own.i_rated[0, 0, 0])),
            Fact("rms current", float(self.stress.i_rms[0].max()), "A"),
        )  # fmt: skip
        return (Item(self.path, "diode", self.count * parallel, build, stress),)


def place(path: str, design: Design, stress: DiodeStress, case: Case, count: int = 1) -> Diode:
    """Return diode positions under stress.

    The charge of the junction is burnt in the switch that drives the edge and booked
    there; recovery is booked here, all of it at full voltage, an upper bound.  Reverse
    leakage is not modelled: below 1 % of the losses but for hot Schottky diodes.

    Parameters
    ----------
    path : str
        Dotted path in the topology.
    design : Design
        Diode and parallel count.
    stress : DiodeStress
        What one position bears.
    case : Case
        Catalogue and operating points.
    count : int
        Positions alike.
    """
    xp = array_namespace(stress.i_rms)
    own = device(design, case)
    conduction, slope = diode_conduction(
        stress.i_avg,
        stress.i_rms,
        v_0=own.v_0,
        v_0_slope=own.v_0_slope,
        r_d=own.r_d,
        r_d_rise=own.r_d_rise,
    )
    recovery = xp.zeros_like(own.v_0)
    for one in stress.commutations:
        energy = one.v * recovery_charge(own.q_rr, own.i_rated, one.i)
        recovery = recovery + line_mean(one.rate * energy)
    return Diode(
        path=path,
        count=count,
        design=design,
        device=own,
        stress=stress,
        p_conduction=conduction,
        p_conduction_slope=slope,
        p_recovery=recovery,
    )
