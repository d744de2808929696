"""Transistors as data: classes and parts, and what of them a switch position gets.

A row of the table is either a class, of which a die of any size can be had between
``r_min`` and ``r_max`` and whose charges are figures of merit over its resistance, or a
fixed part, where both bounds are the same.  One set of columns serves both.
"""

from __future__ import annotations

import dataclasses

from models.axes import Array, Indices, array_namespace
from models.case import Case
from models.parts import package
from models.parts.catalogue import Column, Schema
from models.physics.junction import die_thermal_resistance
from models.physics.switching import turn_off_time, turn_on_time
from models.stress import Charge, Moved
from models.variables import real, row, whole

TABLE = "switches"

LAYOUT_CAPACITANCE = 40e-12  # [F], board and winding at a node; common practice (20 to 80 pF)
DRIVER_RESISTANCE = 1.0  # [Ω], output of the driver; common practice, no source

SCHEMA = Schema(
    {
        "v_max": Column("V", 10.0, 3300.0),
        "t_jmax": Column("°C", 80.0, 250.0),
        "r_ref": Column("mΩ", 0.1, 1e4),
        "r_min": Column("mΩ", 0.05, 1e4),
        "r_max": Column("mΩ", 0.05, 1e4),
        "r_pkg": Column("mΩ", 0.0, 100.0),
        "n": Column("1", 0.0, 5.0),
        "k_dyn": Column("1", 1.0, 3.0),
        "q_oss": Column("Ω·nC", 1e-3, 1e3),
        "v_ref": Column("V", 1.0, 3300.0),
        "a": Column("1", 0.03, 1.0),
        "q_g": Column("Ω·nC", 1e-3, 1e3),
        "q_gd": Column("Ω·nC", 1e-4, 1e3),
        "q_gs2": Column("Ω·nC", 0.0, 1e3),
        "q_rr": Column("Ω·nC", 0.0, 1e5),
        "i_rr": Column("Ω·A", 1e-2, 1e2),
        "hard_commutation_ok": Column("1", 0.0, 1.0, integer=True),
        "v_on": Column("V", 3.0, 25.0),
        "v_off": Column("V", -15.0, 0.0),
        "v_pl": Column("V", 1.0, 15.0),
        "v_th": Column("V", 0.5, 10.0),
        "r_g_int": Column("Ω", 0.0, 50.0),
        "v_sd0": Column("V", 0.2, 8.0),
        "r_sd": Column("1", 0.0, 10.0),
        "r_th": Column("K/W", 0.01, 50.0),
        "r_sp": Column("mΩ·mm²", 1.0, 1e5),
        "die_price": Column("€/cm²", 0.0, 1e3),
        **package.COLUMNS,
    }
)


@dataclasses.dataclass(frozen=True)
class Design:
    """What may be varied of a switch position."""

    row: Indices = row("switches", "transistor class or part")
    r_on: Array = real(
        1, 1000, "mΩ", "on-resistance of one die at 25 °C; held to what the row offers", log=True
    )
    parallel: Array = whole(1, 4, "transistors in parallel")
    r_gate: Array = real(1, 30, "Ω", "gate resistor of each transistor", log=True)
    t_dead: Array = real(10, 300, "ns", "dead time", log=True)


@dataclasses.dataclass(frozen=True)
class Device:
    """Electrical data of one switch position, all devices in parallel; (design, 1, 1)."""

    r_die: Array  # [Ω], one die at 25 °C, as offered
    r_on25: Array  # [Ω], package included
    exponent: Array  # [1]
    k_dyn: Array  # [1]
    charge: Charge  # with the layout's capacitance
    q_g: Array  # [C]
    v_drive: Array  # [V], swing of the gate
    q_rr: Array  # [C] at i_rr, 25 °C
    i_rr: Array  # [A]
    hard_ok: Array  # [1]
    v_sd0: Array  # [V]
    r_sd: Array  # [Ω]
    t_rise: Array  # [s], overlap time at turn-on
    t_fall: Array  # [s], fall time of the current at turn-off
    r_th: Array  # [K/W], junctions to the wall
    v_max: Array  # [V]
    t_max: Array  # [°C]
    t_dead: Array  # [s]
    r_gate: Array  # [Ω]
    parallel: Array  # [1]


def device(design: Design, case: Case) -> Device:
    """Return the electrical data of a switch position.

    R = (R_die + R_pkg)/m, charges m·FOM/R_die, with m devices in parallel that share
    the current alike (true to about 10 % for a symmetrical board).
    """
    xp = array_namespace(design.r_on)
    table, index, m = case.catalogue[TABLE], design.row, design.parallel
    r_die = xp.clip(design.r_on, table.at("r_min", index), table.at("r_max", index))
    r_g = design.r_gate + table.at("r_g_int", index) + DRIVER_RESISTANCE
    v_on, v_off, v_pl = (table.at(name, index) for name in ("v_on", "v_off", "v_pl"))
    q_gd, q_gs2 = table.at("q_gd", index) / r_die, table.at("q_gs2", index) / r_die
    r_th = die_thermal_resistance(table.at("r_th", index), r_die, table.at("r_ref", index))
    return Device(
        r_die=r_die,
        r_on25=(r_die + table.at("r_pkg", index)) / m,
        exponent=table.at("n", index),
        k_dyn=table.at("k_dyn", index),
        charge=Charge(
            m * table.at("q_oss", index) / r_die,
            table.at("v_ref", index),
            table.at("a", index),
            LAYOUT_CAPACITANCE,
        ),
        q_g=m * table.at("q_g", index) / r_die,
        v_drive=v_on - v_off,
        q_rr=m * table.at("q_rr", index) / r_die,
        i_rr=m * table.at("i_rr", index) / r_die,
        hard_ok=table.at("hard_commutation_ok", index),
        v_sd0=table.at("v_sd0", index),
        r_sd=table.at("r_sd", index) * r_die / m,
        t_rise=turn_on_time(q_gs2, q_gd, r_g, v_on=v_on, v_th=table.at("v_th", index), v_pl=v_pl),
        t_fall=turn_off_time(q_gs2, q_gd, r_g, v_off=v_off, v_pl=v_pl),
        r_th=(r_th + package.package(table, index).pad) / m,
        v_max=table.at("v_max", index),
        t_max=table.at("t_jmax", index),
        t_dead=design.t_dead,
        r_gate=design.r_gate,
        parallel=m,
    )


def moved(opposite: Device, v_from: Array | float, v_to: Array) -> Moved:
    """Return a transistor as one of the others of an edge, its body diode included.

    Parameters
    ----------
    opposite : Device
        The transistor whose voltage the edge moves.
    v_from, v_to : Array
        Its voltage before and after [V].
    """
    return Moved(opposite.charge, v_from, v_to, opposite.q_rr, opposite.i_rr, opposite.hard_ok)
