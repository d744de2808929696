"""Cases, designs and the switched circuit of the LLC stage."""

import dataclasses
import types
from pathlib import Path

import numpy as np

from models.axes import designs, points
from models.catalogues import catalogue
from models.spec import Parts
from models.variables import build, variables
from tests.simulation.netlist import Netlist, steady_state

CATALOGUE = catalogue(Parts(), Path())
POWERS = (15.0, 60.0, 150.0, 300.0, 300.0, 0.0)
V_IN = (34.0, 35.0, 34.0, 28.0, 42.0, 58.0)
COUPLING = 0.9999999


def case(powers=POWERS, v_in=V_IN):
    """A case of as many rows as powers."""
    n = len(powers)
    rows = types.SimpleNamespace(
        v_pv=points(v_in),
        p_ac=points(powers),
        weight=points(np.asarray(powers) / sum(powers)),
        f_grid=points((50.0,) * n),
        hours=points((8760.0 / n,) * n),
        thermal=points((np.asarray(powers) > 0.0) * 1.0),
        t_air=points((25.0,) * n),
    )
    spec = types.SimpleNamespace(limits=types.SimpleNamespace(junction_margin_k=25.0))
    return types.SimpleNamespace(points=rows, catalogue=CATALOGUE, spec=spec)


def drawn(cls, static, count, rng):
    """Designs anywhere in the box."""
    values = {}
    for v in variables(cls, CATALOGUE.names(), static=static):
        x = rng.uniform(size=(count, 1, 1))
        value = v.lo * (v.hi / v.lo) ** x if v.log else v.lo + (v.hi - v.lo) * x
        values[v.field] = np.round(value) if v.discrete else value
    return build(cls, values, static)


def one(design, i):
    """Design ``i`` of a batch as a batch of its own."""
    changes = {}
    for field in dataclasses.fields(design):
        value = getattr(design, field.name)
        if dataclasses.is_dataclass(value):
            changes[field.name] = one(value, i)
        elif isinstance(value, np.ndarray):
            changes[field.name] = value[i : i + 1]
    return dataclasses.replace(design, **changes)


def with_turns(design, primary, secondary):
    """The same design with other turns."""
    wound = dataclasses.replace(
        design.transformer, turns_primary=designs(primary), turns_secondary=designs(secondary)
    )
    return dataclasses.replace(design, transformer=wound)


@dataclasses.dataclass(frozen=True)
class Circuit:
    """What the netlist is made of."""

    l_r: float
    l_m: float
    c_r: float
    turns: float
    drive: float  # 1 for a full, 0.5 for a half bridge


def circuit(tank):
    """The first design's tank as numbers."""
    return Circuit(
        *(getattr(tank, name).item() for name in ("l_r", "l_m", "c_r", "turns")), tank.drive
    )


def normalised(vi, p, m, *, gamma, start):
    """One period of the circuit in the units of ``llc_modes``, full bridge, turns 1 : 1."""
    return simulate(
        Circuit(1.0, m, 1.0, 1.0, 1.0), v_in=vi, v_out=1.0, power=p, f=0.5 / gamma,
        doubles=False, start=start, c_link=300.0,
    )  # fmt: skip


def simulate(tank, *, v_in, v_out, power, f, doubles, start, half=1.0, steps=800, c_link=500e-6):
    """One period of the circuit with a stiff link; ideal devices, no dead time.

    ``start`` is the current turned off, below zero, and the capacitor's voltage then.
    """
    net = Netlist()
    net.source("in", "p", "0", v_in)
    net.switch("s1", "p", "a")
    net.switch("s2", "a", "0")
    gates = {"s1": [(0.0, 0.5)], "s2": [(0.5, 1.0)]}
    far = "0"
    if tank.drive == 1.0:
        net.switch("s3", "p", "b")
        net.switch("s4", "b", "0")
        gates |= {"s4": [(0.0, 0.5)], "s3": [(0.5, 1.0)]}
        far = "b"
    n = tank.turns
    net.inductor("lr", "a", "t", tank.l_r)
    net.capacitor("cr", "t", "u", tank.c_r)
    net.inductor("lp", "u", far, tank.l_m)
    net.inductor("ls", "x", "y", n * n * tank.l_m)
    net.couple("lp", "ls", COUPLING * n * tank.l_m)
    net.diode("d1", "x", "o")
    net.diode("d2", "0", "x")
    held = {}
    if doubles:
        net.capacitor("ch", "o", "y", half)
        net.capacitor("cl", "y", "0", half)
        held = {"ch": 0.5 * v_out, "cl": 0.5 * v_out}
    else:
        net.diode("d3", "y", "o")
        net.diode("d4", "0", "y")
    net.capacitor("co", "o", "0", c_link)
    net.resistor("load", "o", "0", v_out**2 / power)
    mean = (1.0 - tank.drive) * v_in
    begin = {"co": v_out, "cr": mean - start[1], "lr": start[0], "lp": start[0]} | held
    return steady_state(net, period=1.0 / f, gates=gates, start=begin, steps=steps, warm=15)


def index(table, name):
    """The row of one design."""
    return np.full((1, 1, 1), CATALOGUE[table].rows.index(name), dtype=np.int64)


def statics(**changes):
    """The static choices of a plain stage, changed."""
    plain = {
        "primary": "full", "resonance": "choke", "resonant": "film",
        "secondary": "bridge", "rectifier": "diode",
    }  # fmt: skip
    return plain | changes


def stage(cls, rng, *, turns=(4.0, 40.0), ratio=6.0, f_0=150e3, burst=0.01, **static):
    """One design of known tank; what does not touch the waves is drawn."""
    x = with_turns(drawn(cls, statics(**static), 1, rng), *turns)
    x = dataclasses.replace(
        x,
        ratio=designs(ratio),
        burst=designs(burst),
        resonance=dataclasses.replace(x.resonance, f_0=designs(f_0)),
        resonant=dataclasses.replace(
            x.resonant, row=index("film", "film-1u-100V"), count=designs(3.0)
        ),
    )
    if not hasattr(x.secondary, "half"):
        return x
    half = dataclasses.replace(
        x.secondary.half, row=index("film", "film-1u-400V"), count=designs(1.0)
    )
    return dataclasses.replace(x, secondary=dataclasses.replace(x.secondary, half=half))
