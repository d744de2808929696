"""The interleaved boost as a netlist, and one period of it in steady state."""

import dataclasses

from models.axes import designs
from models.stages.interleaved_boost_waves import Waves, waves
from tests.simulation import netlist
from tests.simulation.netlist import Netlist, steady_state

WINDING = 1e-3  # [Ω], so that the currents of the phases are determinate


@dataclasses.dataclass(frozen=True)
class Point:
    """One operating point; the power is that of all phases that run."""

    v_in: float
    v_out: float
    power: float
    phases: int
    inductance: float
    diodes: bool
    f: float = 100e3


def closed_form(point: Point) -> Waves:
    """Return the model's waves."""
    return waves(
        designs(point.inductance * point.f),
        designs(point.phases),
        designs(point.power),
        v_in=designs(point.v_in),
        v_out=designs(point.v_out),
        diodes=point.diodes,
    )


def simulate(point: Point, steps: int = 1600) -> netlist.Waves:
    """Return the simulated period; S_j turns on at j/N."""
    found = closed_form(point)
    duty = found.duty.item()
    net = Netlist()
    net.source("in", "in", "0", point.v_in)
    gates, start = {}, {"co": point.v_out}
    for k in range(point.phases):
        delay = k / point.phases
        net.resistor(f"r{k}", "in", f"p{k}", WINDING)
        net.inductor(f"l{k}", f"p{k}", f"s{k}", point.inductance)
        net.switch(f"q{k}", f"s{k}", "0")
        gates[f"q{k}"] = [(delay, delay + duty)]
        if point.diodes:
            net.diode(f"d{k}", f"s{k}", "o")
        else:
            net.switch(f"d{k}", f"s{k}", "o")
            gates[f"d{k}"] = [(delay + duty, delay + 1.0)]
        start[f"l{k}"] = found.i_valley.item() if k == 0 else found.i_in.item()
    net.capacitor("co", "o", "0", 100e-6)
    net.resistor("load", "o", "0", point.v_out**2 / point.power)
    return steady_state(net, period=1.0 / point.f, gates=gates, start=start, steps=steps, warm=6)
