"""Full bridges at one operating point, by closed form and switch by switch."""

import math

import numpy as np

from models.axes import designs, line_mean
from models.ledger import Kind
from models.stages import (
    full_bridge_ac_freewheel,
    full_bridge_bipolar,
    full_bridge_dc_freewheel,
    full_bridge_unipolar,
    grid_filter,
    link_film,
)
from tests.stages import full_bridge_circuit as circuit
from tests.stages.grid_cases import Point, choke, film, filter_design, make_case, transistor

MODULES = {
    "bipolar": full_bridge_bipolar,
    "unipolar": full_bridge_unipolar,
    "ac": full_bridge_ac_freewheel,
    "dc": full_bridge_dc_freewheel,
}
SWITCHES = {
    "bipolar": ("switch",),
    "unipolar": ("switch",),
    "ac": ("diagonal", "pair"),
    "dc": ("upper", "lower", "bypass"),
}
T_DEAD = 80e-9


def bridge_design(kind, *, f=60e3, inductance=1e-3, t_dead=T_DEAD, **devices):
    """A design of GaN; ``devices`` replace single switches."""
    made = {name: devices.get(name, transistor(t_dead=t_dead)) for name in SWITCHES[kind]}
    return MODULES[kind].Design(
        f=designs(f), choke_inductance=designs(inductance), choke=choke(turns=30.0), **made
    )


class Stage:
    """One bridge at one operating point, with everything that a test asks of it."""

    def __init__(
        self, kind, point, *, v_nominal=120.0, f_grid=60.0, ratio=1.15, c="film-10u-450V", n=4.0,
        **values,
    ):  # fmt: skip
        self.kind, self.f_grid, module = kind, f_grid, MODULES[kind]
        self.case = make_case(point, v_nominal=v_nominal, f_grid=f_grid)
        self.design = bridge_design(kind, **values)
        self.filter = filter_design()
        self.link_design = link_film.Design(ratio=designs(ratio), film=film(c, n))
        l_choke = self.design.choke_inductance
        self.side = grid_filter.bridge_side(self.filter, l_choke, self.case)
        m_max = module.modulation_limit(self.design, self.case)
        self.link = link_film.swing(self.link_design, self.side, m_max, self.case)
        self.bridge = module.place("bridge", self.design, self.side, self.link, self.case)
        self.parts = {p.path.removeprefix("bridge."): p for p in self.bridge.placed.parts}
        self.books = self.bridge.placed.books

    def stress(self, name):
        return self.parts[name].stress

    def limit(self, name):
        return self.books.find(f"bridge.{name}", Kind.LIMIT)


def plant_of(stage):
    """The same operating point for the simulation; phasors by complex arithmetic."""
    point, omega = stage.case.points, 2.0 * math.pi * stage.f_grid
    v, factor = point.v_grid.item(), point.power_factor.item()
    phi = math.copysign(math.acos(abs(factor)), factor)
    grid = point.p_ac.item() / v / abs(factor) * np.exp(-1j * phi)
    middle = v + 1j * omega * stage.filter.inductance.item() * grid
    current = grid + 1j * omega * stage.side.c.item() * middle
    inductance = stage.design.choke_inductance.item()
    voltage = middle + 1j * omega * inductance * current
    psi = np.angle(voltage * current)
    v_0 = stage.link.v_rms.item()
    c = stage.link.c.item()
    k = abs(voltage * current) / (omega * c * v_0 * v_0)

    def wave(phasor):
        return lambda t: math.sqrt(2.0) * np.imag(phasor * np.exp(1j * omega * t))

    return circuit.Plant(
        u=wave(voltage),
        far=wave(middle),
        link=lambda t: v_0 * np.sqrt(1.0 + k * np.sin(2.0 * omega * t + psi)),
        inductance=inductance,
        f=stage.design.f.item(),
        f_grid=stage.f_grid,
    )


def slow_link_current(trace, x):
    """The link current without its switching: what the fundamentals alone would draw."""
    plant = trace.plant
    fundamental = trace.harmonic(trace.current, 1)
    omega = 2.0 * math.pi / plant.cycle
    i = np.real(fundamental * np.exp(1j * omega * trace.nodes))
    return x - plant.u(trace.nodes) / trace.v * i


def common(trace, ripple_multiple):
    """Quantities that every bridge has."""
    i = trace.current
    return {
        "choke rms": trace.rms(i),
        "choke peak": float(np.max(np.abs(trace.ends))),
        "ripple": trace.swing(),
        **{
            f"voltage {n}": trace.around(trace.a - trace.b, n * ripple_multiple) for n in (1, 2, 3)
        },
        "power": trace.mean(trace.voltage * i),
    }


def two_legs(trace, kind):
    """Stresses where both legs are half bridges."""
    i, a = trace.current, trace.a
    rise, fall = trace.pulses[0]
    late = []
    for order in grid_filter.ORDERS:
        share = 2.0 if kind == "bipolar" else 1.0
        total = trace.late((rise, 1.0), (fall, 1.0), share=share, t_dead=T_DEAD, order=order)
        if kind == "unipolar":
            up, down = trace.pulses[1]
            total = total + trace.late(
                (up, -1.0), (down, -1.0), share=share, t_dead=T_DEAD, order=order
            )
        late.append(abs(total))
    drawn = (trace.a - trace.b) * i
    middle = 0.5 * (trace.a + trace.b)
    if kind == "bipolar":
        # Ideal edges leave nothing but what differs between the halves of the choke.
        middle = middle + 0.5 * 0.01 * (trace.a - trace.b)
    return {
        "switch rms": trace.rms(a * i),
        "switch rms, lower": trace.rms((1.0 - a) * i),
        "switch turn-off": float(np.mean(np.maximum(trace.at(fall), 0.0))),
        "switch turn-on": float(np.mean(np.maximum(trace.at(rise), 0.0))),
        "switch blocks": float(np.max(trace.v)),
        "link": trace.rms(slow_link_current(trace, drawn)),
        "earth": trace.around(middle, 1),
        **{f"dead time h{h}": v for h, v in zip(grid_filter.ORDERS, late, strict=True)},
    }


def freewheeling(trace, kind):
    """Stresses where the freewheeling current leaves the link."""
    i, on, up = trace.current, trace.states[0], 0.5 * (1.0 + trace.sign)
    rise, fall = trace.pulses[0]
    sign = np.sign(trace.plant.u(rise))
    begins, ends = sign * trace.at(rise), sign * trace.at(fall)
    turn = {
        "turn-off": float(np.mean(np.maximum(ends, 0.0))),
        "turn-on": float(np.mean(np.maximum(begins, 0.0))),
    }
    first = "diagonal" if kind == "ac" else "bypass"
    found = {f"{first} {name}": value for name, value in turn.items()}
    if kind == "ac":
        found["diagonal rms"] = trace.rms(up * on * i)
        found["pair rms"] = trace.rms((1.0 - on) * i)
        found["diagonal blocks"] = float(np.max(trace.v * np.maximum(trace.a, 1.0 - trace.a)))
        found["pair blocks"] = float(np.max(np.abs(trace.voltage)))
    else:
        found["upper rms"] = trace.rms((up + (1.0 - up) * (1.0 - on)) * i)
        found["lower rms"] = trace.rms(up * on * i)
        found["bypass rms"] = trace.rms(on * i)
        found["lower blocks"] = float(np.max(trace.v * trace.a))
    late = [
        abs(trace.late((rise, sign), (fall, sign), share=1.0, t_dead=T_DEAD, order=h))
        for h in grid_filter.ORDERS
    ]
    drawn = (trace.a - trace.b) * i
    return {
        **found,
        "link": trace.rms(slow_link_current(trace, drawn)),
        **{f"dead time h{h}": v for h, v in zip(grid_filter.ORDERS, late, strict=True)},
    }


def simulated(stage):
    """The operating point switch by switch."""
    kind, plant = stage.kind, plant_of(stage)
    if kind in ("bipolar", "unipolar"):
        trace = getattr(circuit, kind)(plant)
        return {**common(trace, 2 if kind == "unipolar" else 1), **two_legs(trace, kind)}
    trace = circuit.decoupled(plant)
    return {**common(trace, 1), **freewheeling(trace, kind)}


def _mean_current(stress, which):
    total = sum(e.rate * line_mean(np.maximum(getattr(e, which), 0.0)) for e in stress.edges)
    return (total / sum(e.rate for e in stress.edges)).item()


def closed(stage):
    """The same quantities out of the stage."""
    found = {}
    for name in SWITCHES[stage.kind]:
        stress = stage.stress(name)
        found[f"{name} rms"] = found[f"{name} rms, lower"] = stress.i_rms.item()
        found[f"{name} blocks"] = stress.v_block.item()
        found[f"{name} turn-off"] = _mean_current(stress, "i_off")
        found[f"{name} turn-on"] = _mean_current(stress, "i_on")
    winding = stage.stress("choke").winding
    square = winding.i_line_rms**2 + sum(h * h for h in winding.harmonics)
    found["choke rms"] = math.sqrt(square.item())
    found["choke peak"] = stage.stress("choke").i_peak.item()
    found["ripple"] = stage.books.find("bridge.ripple", Kind.FIGURE).value.item()
    found["link"] = stage.bridge.link_hf_rms.item()
    found["earth"] = stage.bridge.v_earth_hf.item()
    found["power"] = line_mean(stage.side.u * stage.side.i).item()
    ripple = stage.bridge.ripple
    for n, v in enumerate(ripple.voltages, start=1):
        found[f"voltage {n}"] = v.item()
    for h, v in zip(grid_filter.ORDERS, ripple.dead_time, strict=True):
        found[f"dead time h{h}"] = v.item()
    return found


POINTS = {
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
}  # fmt: skip
