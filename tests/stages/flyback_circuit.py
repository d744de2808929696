"""The flyback with active clamp as a netlist, and one period of it in steady state."""

import dataclasses

import numpy as np

from models.axes import designs
from models.stages.flyback_waves import Circuit, PhaseWaves, complementary, short_pulse
from tests.simulation.netlist import Netlist, Waves, steady_state


@dataclasses.dataclass(frozen=True)
class Point:
    """One phase at one line angle; ``t_pulse`` zero means complementary drive."""

    v_in: float
    v_out: float
    power: float
    ratio: float
    l_m: float
    l_k: float
    c_clamp: float
    t_pulse: float = 0.0
    f: float = 100e3


def closed_form(point: Point) -> PhaseWaves:
    """Return the model's waves."""
    circuit = Circuit(
        l_m=designs(point.l_m),
        l_k=designs(point.l_k),
        c_clamp=designs(point.c_clamp),
        f=designs(point.f),
        t_pulse=designs(point.t_pulse),
    )
    drive = short_pulse if point.t_pulse else complementary
    return drive(
        circuit,
        designs(point.power),
        v_in=designs(point.v_in),
        v_r=designs(point.v_out / point.ratio),
    )


def phase(net: Netlist, point: Point, suffix: str = "") -> None:
    """Add one phase between nodes in and o."""
    a, s, c, x = (f"{name}{suffix}" for name in ("a", "s", "c", "x"))
    net.inductor(f"leak{suffix}", "in", a, point.l_k)
    net.inductor(f"pri{suffix}", a, s, point.l_m)
    net.inductor(f"sec{suffix}", "0", x, point.ratio**2 * point.l_m)
    net.couple(f"pri{suffix}", f"sec{suffix}", 0.999999 * point.ratio * point.l_m)
    net.switch(f"main{suffix}", s, "0")
    net.diode(f"body{suffix}", "0", s)
    net.capacitor(f"clamp{suffix}", c, "in", point.c_clamp)
    net.switch(f"aid{suffix}", s, c)
    net.diode(f"catch{suffix}", s, c)
    net.diode(f"out{suffix}", x, "o")


def gates(
    point: Point, waves: PhaseWaves, suffix: str = "", delay: float = 0.0
) -> dict[str, list[tuple[float, float]]]:
    """Return the gate times of one phase, from the model's duty."""
    duty = waves.duty.item()
    first = 1.0 - point.t_pulse * point.f if point.t_pulse else duty
    return {
        f"main{suffix}": [(delay, delay + duty)],
        f"aid{suffix}": [(delay + first, delay + 1.0)],
    }


def start(point: Point, waves: PhaseWaves, suffix: str = "") -> dict[str, float]:
    """Return the state at the turn-on of S as the model has it."""
    peak = waves.i_peak.item()
    return {
        f"leak{suffix}": -peak,
        f"pri{suffix}": -peak,
        f"sec{suffix}": waves.i_commutated.item() / point.ratio,
        f"clamp{suffix}": waves.v_edge.item(),
    }


def simulated(point: Point, phases: int = 1, steps: int = 4000) -> Waves:
    """Return phases, evenly delayed, in steady state.

    Complementary drive fixes the ratio of voltages and needs a load; a short pulse
    fixes the power and feeds a constant voltage.
    """
    waves = closed_form(point)
    net = Netlist()
    net.source("in_", "in", "0", point.v_in)
    begin: dict[str, float] = {}
    times: dict[str, list[tuple[float, float]]] = {}
    for k in range(phases):
        suffix = str(k) if k else ""
        phase(net, point, suffix)
        times |= gates(point, waves, suffix, k / phases)
        state = start(point, waves, suffix)
        begin |= state if k == 0 else {f"clamp{suffix}": state[f"clamp{suffix}"]}
    if point.t_pulse:
        net.source("grid", "o", "0", point.v_out)
    else:
        net.capacitor("filter", "o", "0", 60e-6)
        net.resistor("load", "o", "0", point.v_out**2 / (phases * point.power))
        begin["filter"] = point.v_out
    return steady_state(
        net, period=1.0 / point.f, gates=times, start=begin, steps=steps, warm=8 * phases
    )


def measured(point: Point, waves: Waves) -> dict[str, float]:
    """Return simulated values under the names of the model's fields, roots taken."""
    i_switch = waves.value["i:main"] - waves.value["i:body"]
    i_clamp = waves.value["i:aid"] + waves.value["i:catch"]

    def rms(x: np.ndarray) -> float:
        return float(np.sqrt(waves.step @ x**2))

    return {
        "i_peak": float(i_switch.max()),
        "i_on": float(waves.value["i:leak"].min()),
        "ms_switch": rms(i_switch),
        "ms_clamp": rms(i_clamp),
        "ms_secondary": waves.rms("i:out") * point.ratio,
        "v_clamp": waves.peak("v:main") - point.v_in,
        "v_edge": waves.before("v:clamp", 1.0),
        "power_in": float(waves.step @ i_switch) * point.v_in,
    }
