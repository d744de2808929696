"""Bridges of one fast leg at one operating point, by closed form and switch by switch."""

import math

import numpy as np

from models.axes import designs, line_mean
from models.ledger import Kind
from models.physics.semiconductor import charge_and_energy
from models.stages import fast_leg, fast_leg_triangular, grid_filter, link_film, unfolder
from tests.stages import fast_leg_circuit as triangle
from tests.stages import full_bridge_circuit as circuit
from tests.stages.full_bridge_cases import T_DEAD, common, plant_of, slow_link_current
from tests.stages.grid_cases import (
    Point,
    choke,
    film,
    filter_design,
    make_case,
    row,
    transistor,
)

MODULES = {"fixed": fast_leg, "triangular": fast_leg_triangular}
ANGLES = 48


def line_transistor(name="SJ 650 V class", r_on=30e-3):
    return unfolder.Transistor(
        row=row("switches", name), r_on=designs(r_on), parallel=designs(1.0)
    )


def fixed_design(f=60e3, inductance=1e-3, t_dead=T_DEAD, fast=None):
    return fast_leg.Design(
        f=designs(f),
        fast=fast or transistor(t_dead=t_dead),
        line=line_transistor(),
        choke_inductance=designs(inductance),
        choke=choke(turns=60.0),
    )


def triangular_design(
    f_low=30e3, f_high=400e3, inductance=80e-6, i_reverse=0.5, t_dead=1e-6, fast=None
):
    return fast_leg_triangular.Design(
        i_reverse=designs(i_reverse),
        f_low=designs(f_low),
        f_high=designs(f_high),
        fast=fast or transistor(t_dead=t_dead),
        line=line_transistor(),
        choke_inductance=designs(inductance),
        choke=choke(turns=30.0),
    )


MADE = {"fixed": fixed_design, "triangular": triangular_design}


class Stage:
    """One bridge at one operating point, with everything that a test asks of it."""

    def __init__(
        self, kind, point, *, v_nominal=120.0, f_grid=60.0, ratio=1.15, c="film-10u-450V", n=4.0,
        **values,
    ):  # fmt: skip
        self.kind, self.f_grid, module = kind, f_grid, MODULES[kind]
        self.case = make_case(point, v_nominal=v_nominal, f_grid=f_grid)
        self.design = MADE[kind](**values)
        self.filter = filter_design()
        self.side = grid_filter.bridge_side(self.filter, self.design.choke_inductance, self.case)
        link_design = link_film.Design(ratio=designs(ratio), film=film(c, n))
        m_max = module.modulation_limit(self.design, self.case)
        self.link = link_film.swing(link_design, self.side, m_max, self.case)
        self.bridge = module.place("bridge", self.design, self.side, self.link, self.case)
        self.parts = {p.path.removeprefix("bridge."): p for p in self.bridge.placed.parts}
        self.books = self.bridge.placed.books

    def stress(self, name):
        return self.parts[name].stress

    def limit(self, name):
        return self.books.find(f"bridge.{name}", Kind.LIMIT)

    def figure(self, name):
        return self.books.find(f"bridge.{name}", Kind.FIGURE).value


def fixed_trace(stage):
    """Pulses of leg a, the neutral at the rail that leg b holds."""
    plant = plant_of(stage)
    pulse = circuit.edges(plant, lambda t: np.abs(plant.u(t)) / plant.link(t))

    def nodes_of(states, sign):
        on, down = states[0], 0.5 * (1.0 - sign)
        return on * (1.0 - down) + (1.0 - on) * down, down + 0.0 * on

    return circuit.Trace(plant, [pulse], nodes_of)


def simulated_fixed(stage):
    """The operating point switch by switch."""
    trace = fixed_trace(stage)
    i, a, b = trace.current, trace.a, trace.b
    rise, fall = trace.pulses[0]
    sign = np.sign(trace.plant.u(rise))
    late = {
        f"dead time h{h}": abs(
            trace.late((rise, sign), (fall, sign), share=1.0, t_dead=T_DEAD, order=h)
        )
        for h in grid_filter.ORDERS
    }
    # The upper switch begins a pulse where u is positive and ends one where it is negative.
    up = np.where(sign > 0.0, trace.at(rise), trace.at(fall))
    down = np.where(sign > 0.0, trace.at(fall), trace.at(rise))
    return {
        **common(trace, 1),
        "fast rms": trace.rms(a * i),
        "fast rms, lower": trace.rms((1.0 - a) * i),
        "fast turn-on": float(np.mean(np.maximum(up, 0.0))),
        "fast turn-off": float(np.mean(np.maximum(down, 0.0))),
        "fast blocks": float(np.max(trace.v)),
        "line rms": trace.rms(b * i),
        "line rms, lower": trace.rms((1.0 - b) * i),
        "line blocks": float(np.max(trace.v)),
        "link": trace.rms(slow_link_current(trace, (a - b) * i)),
        **late,
    }


def _mean_current(stress, which):
    total = sum(line_mean(e.rate * np.maximum(getattr(e, which), 0.0)) for e in stress.edges)
    return (total / sum(line_mean(e.rate) for e in stress.edges)).item()


def closed(stage):
    """The same quantities out of the stage."""
    found = {}
    for name in ("fast", "line"):
        stress = stage.stress(name)
        found[f"{name} rms"] = found[f"{name} rms, lower"] = stress.i_rms.item()
        found[f"{name} blocks"] = stress.v_block.item()
        found[f"{name} turn-off"] = _mean_current(stress, "i_off")
        found[f"{name} turn-on"] = _mean_current(stress, "i_on")
    winding = stage.stress("choke").winding
    square = winding.i_line_rms**2 + sum(h * h for h in winding.harmonics)
    found["choke rms"] = math.sqrt(square.item())
    found["choke peak"] = stage.stress("choke").i_peak.item()
    found["ripple"] = stage.figure("ripple").item()
    found["link"] = stage.bridge.link_hf_rms.item()
    found["power"] = line_mean(stage.side.u * stage.side.i).item()
    ripple = stage.bridge.ripple
    for n, v in enumerate(ripple.voltages, start=1):
        found[f"voltage {n}"] = v.item()
    for h, v in zip(grid_filter.ORDERS, ripple.dead_time, strict=True):
        found[f"dead time h{h}"] = v.item()
    return found


def waves_of(stage):
    """Fundamentals of voltage and current and the link, as functions of time."""
    point, omega = stage.case.points, 2.0 * math.pi * stage.f_grid
    v, factor = point.v_grid.item(), point.power_factor.item()
    phi = math.copysign(math.acos(abs(factor)), factor)
    into = point.p_ac.item() / v / abs(factor) * np.exp(-1j * phi)
    middle = v + 1j * omega * stage.filter.inductance.item() * into
    current = into + 1j * omega * stage.side.c.item() * middle
    voltage = middle + 1j * omega * stage.design.choke_inductance.item() * current
    v_0, c = stage.link.v_rms.item(), stage.link.c.item()
    k, psi = abs(voltage * current) / (omega * c * v_0 * v_0), np.angle(voltage * current)

    def wave(phasor):
        return lambda t: math.sqrt(2.0) * np.imag(phasor * np.exp(1j * omega * t))

    return (
        wave(voltage), wave(current),
        lambda t: v_0 * np.sqrt(1.0 + k * np.sin(2.0 * omega * t + psi)),
    )  # fmt: skip


def triangular_plant(stage, *, linear=True, count=ANGLES):
    """Circuit over half a line cycle, mirrored where power returns, and where it does.

    ``linear`` puts one capacitance of equal charge in the place of the devices' own.
    """
    u, i, v = (
        wave((np.arange(count) + 0.5) / count / (2.0 * stage.f_grid)) for wave in waves_of(stage)
    )
    back = u * i < 0.0
    device = stage.parts["fast"].device
    v_0 = stage.link.v_rms.item()
    c = 2.0 * charge_and_energy(device.charge, designs(v_0))[0].item() / v_0
    w = np.where(back, v - np.abs(u), np.abs(u))
    inductance = stage.design.choke_inductance.item()
    turning = np.sqrt(np.maximum(c * v * (v - 2.0 * w) / inductance, 0.0))
    q, v_ref, a = (getattr(device.charge, name).item() for name in ("q_ref", "v_ref", "a"))

    def capacitance(node, v):
        if linear:
            return c + 0.0 * node
        own = [a * q / v_ref * (np.maximum(x, 0.2) / v_ref) ** (a - 1.0) for x in (node, v - node)]
        return sum(own) + 2.0 * device.charge.extra

    plant = triangle.Plant(
        u=w,
        i=np.abs(i),
        v=v,
        inductance=inductance,
        capacitance=capacitance,
        reverse=np.maximum(stage.design.i_reverse.item(), turning),
        f_low=stage.design.f_low.item(),
        f_high=stage.design.f_high.item(),
    )
    return plant, back


def simulated_triangular(stage, *, linear=True, count=ANGLES):
    """The operating point period by period."""
    plant, back = triangular_plant(stage, linear=linear, count=count)
    x, valley, peak = triangle.controlled(plant)
    f = 1.0 / x.period
    drawn = np.where(back, x.lower, x.upper) * f
    share = np.where(back, 1.0 - plant.u / plant.v, plant.u / plant.v)
    square = x.square * f
    first, second, third = triangle.harmonics(x, 3)
    return {
        "fast rms": math.sqrt(0.5 * np.mean((x.upper + x.lower) * f)),
        "line rms": math.sqrt(0.5 * np.mean(square)),
        "choke rms": math.sqrt(np.mean(square)),
        "choke peak": float(np.max(peak)),
        "ripple": float(np.max(peak - valley)),
        "reverse": float(np.max(-valley)),
        "link": math.sqrt(np.mean(drawn - (share * plant.i) ** 2)),
        "frequency": float(np.mean(f)),
        "highest": float(np.max(f)),
        "fast turn-off": float(np.sum(f * (peak + np.maximum(-valley, 0.0))) / np.sum(2.0 * f)),
        "harmonic 1": math.sqrt(np.mean(first)),
        "harmonic 2": math.sqrt(np.mean(second)),
        "harmonic 3": math.sqrt(np.mean(third)),
        "eddy": math.sqrt(np.mean(first * f * f)),
        "filtered": math.sqrt(np.mean(first / f**4)),
        "arc": float(np.max(np.diff(x.corners[0], axis=0)[[0, 2]])),
        "wrong mean": float(np.max(np.abs(x.charge * f - plant.i))),
        "power": float(np.mean(share * plant.v * plant.i * np.where(back, -1.0, 1.0))),
    }


def closed_triangular(stage):
    """The same quantities out of the stage."""
    fast = stage.stress("fast")
    winding, ripple = stage.stress("choke").winding, stage.bridge.ripple
    rate = sum(line_mean(e.rate) for e in fast.edges)
    reactance = 2.0 * math.pi * ripple.f.item() * stage.design.choke_inductance.item()
    order = [v.item() / (n * reactance) for n, v in enumerate(ripple.voltages, start=1)]
    found = closed(stage)
    names = ("fast rms", "line rms", "choke rms", "choke peak", "ripple", "link", "power",
             "fast turn-off")  # fmt: skip
    return {name: found[name] for name in names} | {
        "reverse": stage.figure("reverse").item(),
        "frequency": rate.item(),
        "highest": stage.figure("f_highest").item(),
        **{f"harmonic {n}": i for n, i in enumerate(order, start=1)},
        "eddy": winding.f.item() * winding.harmonics[0].item(),
        "filtered": order[0] / ripple.f.item() ** 2,
        "arc": stage.limit("wait").actual.item(),
    }


def simulated(stage):
    return simulated_fixed(stage) if stage.kind == "fixed" else simulated_triangular(stage)


POINTS = {
    "fixed": {
        "300 W, 120 V": {"point": Point()},
        "lagging 0.8, large swing": {
            "point": Point(power_factor=0.8), "n": 2.0, "ratio": 1.25,
        },
        "leading 0.8": {"point": Point(power_factor=-0.8), "ratio": 1.25},
        "400 W, 230 V": {
            "point": Point(p_ac=400.0, v_grid=230.0), "v_nominal": 230.0, "f_grid": 50.0,
            "inductance": 2e-3, "f": 50e3, "c": "film-4.7u-900V", "n": 3.0,
        },
        "10 % load, large ripple": {"point": Point(p_ac=30.0), "inductance": 300e-6, "f": 120e3},
    },
    "triangular": {
        "300 W, 120 V": {"point": Point()},
        "lagging 0.8, large swing": {
            "point": Point(power_factor=0.8), "n": 2.0, "ratio": 1.25,
        },
        "leading 0.8": {"point": Point(power_factor=-0.8), "ratio": 1.25},
        "400 W, 230 V": {
            "point": Point(p_ac=400.0, v_grid=230.0), "v_nominal": 230.0, "f_grid": 50.0,
            "inductance": 150e-6, "c": "film-4.7u-900V", "n": 3.0,
        },
        "10 % load, highest frequency": {"point": Point(p_ac=30.0), "f_high": 200e3},
    },
}  # fmt: skip
