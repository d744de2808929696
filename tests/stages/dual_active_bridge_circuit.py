"""The dual active bridge as a netlist, and one period of it in steady state."""

import dataclasses

from models.axes import designs
from models.stages.dual_active_bridge_waves import Circuit, Waves, waves
from tests.simulation import netlist
from tests.simulation.netlist import Netlist, steady_state

COUPLING = 0.9999999  # so close to one that the series inductance told is all there is


@dataclasses.dataclass(frozen=True)
class Point:
    """One operating point; inductances and power on the module's side."""

    v_in: float
    v_out: float
    power: float
    ratio: float
    l_s: float
    l_m: float
    f: float = 100e3
    triangles: bool = True
    # Ripple of both blocking capacitors over the voltage of their side; 0 for none.
    blocking: float = 0.0
    # Power that the gates are set for over that of the load.
    drive: float = 1.0


def circuit(point: Point) -> Circuit:
    """Return the model's circuit."""
    return Circuit(*(designs(x) for x in (point.ratio, point.l_s, point.l_m, point.f)))


def closed_form(point: Point) -> Waves:
    """Return the model's waves."""
    return waves(
        circuit(point),
        designs(point.power * point.drive),
        v_1=designs(point.v_in),
        v_2=designs(point.v_out / point.ratio),
        triangles=point.triangles,
    )


def gates(found: Waves) -> dict[str, list[tuple[float, float]]]:
    """Return gate times from duties and phase alone; v₁ rises at 0."""
    duty_1, duty_2, shift = (0.5 * x.item() for x in (found.duty_1, found.duty_2, found.shift))
    start = 0.5 * duty_1 + shift - 0.5 * duty_2
    return {
        **_leg("s1", "s2", 0.0),
        **_leg("s3", "s4", duty_1),
        **_leg("q1", "q2", start),
        **_leg("q3", "q4", start + duty_2),
    }


def _leg(high: str, low: str, rise: float) -> dict[str, list[tuple[float, float]]]:
    return {high: [(rise, rise + 0.5)], low: [(rise + 0.5, rise + 1.0)]}


def simulate(point: Point, steps: int = 2400) -> netlist.Waves:
    """Return the simulated period with a stiff link; ideal devices, no dead time."""
    found, n, net = closed_form(point), point.ratio, Netlist()
    net.source("in", "p", "0", point.v_in)
    for name, a, b in (
        ("s1", "p", "a"), ("s2", "a", "0"), ("s3", "p", "b"), ("s4", "b", "0"),
        ("q1", "o", "x"), ("q2", "x", "0"), ("q3", "o", "y"), ("q4", "y", "0"),
    ):  # fmt: skip
        net.switch(name, a, b)
    start = {"co": point.v_out}
    near, far = "a", "x"
    if point.blocking > 0.0:
        near, far = "c", "z"
        i_1, i_2 = (square.item() ** 0.5 for square in (found.square, found.secondary_square))
        scale = 0.5 / (point.f * point.blocking)
        net.capacitor("cb", "a", near, i_1 * scale / point.v_in)
        net.capacitor("cs", "x", far, i_2 / n * scale / point.v_out)
        net.resistor("rb", "a", near, 1e4)
        net.resistor("rs", "x", far, 1e5)
    net.inductor("ls", near, "t", point.l_s)
    net.resistor("r", "t", "u", 1e-3)
    net.inductor("pri", "u", "b", point.l_m)
    net.inductor("sec", far, "w", n * n * point.l_m)
    net.resistor("rw", "w", "y", 1e-3)
    net.couple("pri", "sec", COUPLING * n * point.l_m)
    net.capacitor("co", "o", "0", 30e-6)
    net.resistor("load", "o", "0", point.v_out**2 / point.power)
    i, i_m = -found.end.item(), -found.m_end.item()
    start |= {"ls": i, "pri": i, "sec": (i_m - i) / n}
    return steady_state(
        net, period=1.0 / point.f, gates=gates(found), start=start, steps=steps, warm=20
    )


def for_link(point: Point, steps: int = 800) -> netlist.Waves:
    """Return the simulated period with the gates so set that the link has its voltage."""
    drives, links = [1.0, 0.95], []
    for k in range(3):
        sim = simulate(dataclasses.replace(point, drive=drives[k]), steps)
        links.append(sim.mean("v:o"))
        if k > 0:
            slope = (drives[k] - drives[k - 1]) / (links[k] - links[k - 1])
            drives.append(drives[k] + (point.v_out - links[k]) * slope)
    return sim
