"""The coupled-inductor boost as a netlist, and one period of it in steady state."""

import dataclasses
import math

from models.axes import designs
from models.stages.coupled_boost_waves import Circuit, Waves, waves
from tests.simulation import netlist
from tests.simulation.netlist import Netlist, steady_state

COUPLING = 0.999999  # so close to one that the leakage told is all there is


@dataclasses.dataclass(frozen=True)
class Point:
    """One operating point; power, inductances and clamp capacitor are those of a phase."""

    v_in: float
    v_out: float
    power: float
    ratio: float
    l_m: float
    l_k: float
    c_clamp: float = 30e-6
    f: float = 100e3
    phases: int = 1


def closed_form(point: Point) -> Waves:
    """Return the model's waves of one phase."""
    circuit = Circuit(*(designs(x) for x in (point.ratio, point.l_m, point.l_k, point.f)))
    return waves(
        circuit, designs(point.power), v_in=designs(point.v_in), v_out=designs(point.v_out)
    )


def resonance(point: Point, found: Waves) -> float:
    """Return the period of clamp capacitor and leakage over the conduction of D_c."""
    ring = 2.0 * math.pi * math.sqrt(point.l_k * point.c_clamp)
    return ring * point.f / found.reset.item()


def simulate(point: Point, steps: int = 2400) -> netlist.Waves:
    """Return the simulated period; S turns on at 0 and, of a second phase, at 1/2."""
    found = closed_form(point)
    net = Netlist()
    net.source("in", "in", "0", point.v_in)
    gates, start = {}, {"co": point.v_out}
    for k in range(point.phases):
        net.inductor(f"leak{k}", "in", f"a{k}", point.l_k)
        net.inductor(f"pri{k}", f"a{k}", f"sw{k}", point.l_m)
        net.inductor(f"sec{k}", f"c{k}", f"x{k}", point.ratio**2 * point.l_m)
        net.couple(f"pri{k}", f"sec{k}", COUPLING * point.ratio * point.l_m)
        net.switch(f"s{k}", f"sw{k}", "0")
        net.diode(f"dc{k}", f"sw{k}", f"c{k}")
        net.capacitor(f"cc{k}", f"c{k}", "0", point.c_clamp)
        net.diode(f"do{k}", f"x{k}", "o")
        delay = k / point.phases
        gates[f"s{k}"] = [(delay, delay + found.duty.item())]
        start |= {f"cc{k}": found.v_clamp.item(), f"sec{k}": found.i_end.item() / point.ratio}
    net.capacitor("co", "o", "0", 100e-6)
    net.resistor("load", "o", "0", point.v_out**2 / (point.power * point.phases))
    return steady_state(net, period=1.0 / point.f, gates=gates, start=start, steps=steps, warm=10)
