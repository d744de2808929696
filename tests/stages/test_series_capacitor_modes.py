"""Series-capacitor boost: closed forms against simulation, print and each other."""

import math

import numpy as np
import pytest

from models.axes import designs
from models.physics.switching import turn_on
from models.stages.series_capacitor_gain import least_gain
from models.stages.series_capacitor_modes import ready, stress
from models.stages.series_capacitor_stress import Conditions, Stress
from models.stress import Charge, Edge, Moved
from tests.stages.series_capacitor_netlist import simulate

# v_in, v_out, power, phases, inductance, f, capacitance, gating: high zone with three and
# two phases, overlapping off windows at 130 % ripple under both gatings, four phases.
POINTS = {
    "three phases, no overlap": (20.0, 190.0, 200.0, 3, 40e-6, 100e3, 10e-6, "uniform"),
    "two phases, no overlap": (30.0, 190.0, 300.0, 2, 40e-6, 100e3, 10e-6, "uniform"),
    "three phases, two overlap": (30.0, 190.0, 300.0, 3, 40e-6, 100e3, 10e-6, "uniform"),
    "three phases, equal": (30.0, 190.0, 300.0, 3, 40e-6, 100e3, 10e-6, "equal_current"),
    "three phases, large overlap": (50.0, 190.0, 300.0, 3, 250e-6, 100e3, 20e-6, "uniform"),
    "two phases, both overlap": (60.0, 150.0, 300.0, 2, 150e-6, 100e3, 10e-6, "uniform"),
    "four phases, two overlap": (40.0, 300.0, 300.0, 4, 200e-6, 80e3, 8e-6, "uniform"),
    "four phases, equal": (30.0, 300.0, 300.0, 4, 200e-6, 80e3, 8e-6, "equal_current"),
}


def single(
    v_in: float,
    v_out: float,
    power: float,
    phases: int,
    inductance: float,
    f: float,
    gating: str = "uniform",
    *,
    diodes: bool = True,
    least_power: float = 0.0,
) -> Stress:
    on = Conditions(phases, gating, diodes, designs(v_in), designs(v_out), designs(inductance * f))
    return stress(ready(on), designs(power), designs(least_power))


def figures(found: Stress, capacitance: float, f: float) -> dict[str, float]:
    """Return the stress under the names of the simulation."""
    n = len(found.duty)
    swing = [q.item() / (capacitance * f) for q in found.c_charge]
    # Each switch and diode also sees half the swing of the capacitors beside it.
    beside = [0.0, *swing, 0.0]
    named = {
        "power": found.power.item(),
        "in_ripple": found.in_ripple.item(),
        "in_rms": math.sqrt(found.in_square.item()),
        "link_rms": math.sqrt(found.link_square.item()),
    }
    for k in range(n):
        half = 0.5 * (beside[k] + beside[k + 1])
        named |= {
            f"l_avg_{k + 1}": found.l_avg[k].item(),
            f"l_rms_{k + 1}": math.sqrt(found.l_square[k].item()),
            f"l_peak_{k + 1}": found.l_peak[k].item(),
            f"l_valley_{k + 1}": found.l_valley[k].item(),
            f"l_ripple_{k + 1}": found.l_ripple[k].item(),
            f"s_rms_{k + 1}": math.sqrt(found.s_square[k].item()),
            f"s_off_{k + 1}": found.s_off[k].item(),
            f"s_on_{k + 1}": found.s_on[k].item(),
            f"v_on_{k + 1}": found.v_on[k].item(),
            f"v_off_{k + 1}": found.v_off[k].item(),
            f"s_block_{k + 1}": found.s_block[k].item() + half,
            f"d_avg_{k + 1}": found.d_avg.item(),
            f"d_rms_{k + 1}": math.sqrt(found.d_square[k].item()),
            f"d_block_{k + 1}": found.d_block[k].item(),
        }
    for k in range(n - 1):
        named |= {
            f"v_c_{k + 1}": found.v_c[k].item(),
            f"c_rms_{k + 1}": math.sqrt(found.c_square[k].item()),
            f"c_swing_{k + 1}": swing[k],
            f"d_falls_to_{k + 1}": found.d_left[k].item(),
            f"d_falls_from_{k + 1}": found.d_held[k].item(),
        }
    if found.s_held and found.s_held[0].item() > 0.0:
        named |= {"s_falls_from": found.s_held[0].item(), "s_falls_to": found.s_left[0].item()}
    return named


def started(found: Stress) -> dict[str, float]:
    currents = {f"l{k}": v.item() for k, v in enumerate(found.l_valley, start=1)}
    return currents | {f"c{k}": v.item() for k, v in enumerate(found.v_c, start=1)}


def scale(name: str, simulated: dict[str, float]) -> float:
    """Return what a deviation is held against: small ripples of sums against the sum."""
    floor = {"in_ripple": 0.05, "in_rms": 0.02}
    total = sum(v for k, v in simulated.items() if k.startswith("l_avg"))
    if name.startswith(("v_on", "v_off", "d_falls", "s_falls")):
        # The voltages of one instant miss the capacitors' momentary ripple.
        return max(v for k, v in simulated.items() if k.startswith("s_block"))
    if name.startswith(("l_valley", "s_on")):
        return max(simulated[f"l_peak_{name[-1]}"], abs(simulated[name]))
    return max(abs(simulated[name]), floor.get(name, 0.0) * total)


@pytest.mark.parametrize("name", POINTS)
def test_every_figure_is_within_two_percent_of_simulation(name: str) -> None:
    v_in, v_out, power, phases, inductance, f, capacitance, gating = POINTS[name]
    found = single(v_in, v_out, power, phases, inductance, f, gating)
    simulated = simulate(
        v_in=v_in,
        v_out=v_out,
        power=power,
        inductance=inductance,
        f=f,
        capacitance=capacitance,
        duty=[d.item() for d in found.duty],
        start=started(found),
    )
    assert simulated["v_out"] == pytest.approx(v_out, rel=0.005)
    for key, value in figures(found, capacitance, f).items():
        assert value == pytest.approx(simulated[key], abs=0.02 * scale(key, simulated)), key
    if gating == "uniform":
        # Off windows that end as another begins make the instant ambiguous otherwise.
        for k, v in enumerate(found.v_on, start=1):
            block = simulated[f"s_block_{k}"]
            assert v.item() == pytest.approx(simulated[f"d_rises_to_{k}"], abs=0.02 * block)


def test_discontinuous_conduction_is_within_two_percent_of_simulation() -> None:
    found = single(20.0, 190.0, 30.0, 3, 40e-6, 100e3)
    assert found.active.item() == 1.0
    simulated = simulate(
        v_in=20.0,
        v_out=190.0,
        power=30.0,
        inductance=40e-6,
        f=100e3,
        capacitance=10e-6,
        duty=[d.item() for d in found.duty],
        start={"c1": 63.3, "c2": 126.7},
    )
    assert simulated["v_out"] == pytest.approx(190.0, rel=0.005)
    named = figures(found, 10e-6, 100e3)
    checked = ("l_avg", "l_rms", "l_peak", "l_ripple", "s_rms", "s_off", "s_block", "v_on")
    checked += ("v_off", "v_c", "d_avg", "d_rms", "d_block_3", "c_rms", "c_swing")
    for key, value in named.items():
        if key.startswith(checked) or key in ("in_ripple", "in_rms", "link_rms", "power"):
            assert value == pytest.approx(simulated[key], rel=0.02), key
    # The model takes the neighbour's node as grounded when it may rest at the input.
    for key in ("d_block_1", "d_block_2"):
        assert simulated[key] <= named[key] <= simulated[key] + 1.05 * 20.0, key


def test_synchronous_rectifiers_with_negative_valley_match_simulation() -> None:
    found = single(30.0, 190.0, 60.0, 2, 40e-6, 100e3, diodes=False)
    assert max(v.item() for v in found.l_valley) < 0.0
    simulated = simulate(
        v_in=30.0,
        v_out=190.0,
        power=60.0,
        inductance=40e-6,
        f=100e3,
        capacitance=10e-6,
        duty=[d.item() for d in found.duty],
        synchronous=True,
        start=started(found),
    )
    named = figures(found, 10e-6, 100e3)
    for key in ("l_rms_1", "l_rms_2", "s_rms_1", "s_rms_2", "d_rms_1", "d_rms_2", "c_rms_1"):
        assert named[key] == pytest.approx(simulated[key], rel=0.02), key
    for key in ("l_valley_1", "l_valley_2", "s_on_1", "s_on_2"):
        assert named[key] == pytest.approx(simulated[key], rel=0.03), key


# 300 W, 30 V → 190 V, 100 kHz, 100 µH, 10 µF; computed independently by a break-point
# quadrature and by another switched simulation (agreeing within 0.65 %).
WORKED = {
    ("uniform", 3): {
        "v_c": (60.45, 118.02),
        "l_avg": (3.676, 3.030, 3.294),
        "l_rms": (3.709, 3.070, 3.332),
        "l_peak": (4.471, 3.805, 4.169),
        "s_rms": (2.773, 4.370, 4.771),
        "s_off": (4.471, 7.261, 7.054),
        "s_on": (2.721, 2.055, 2.419),
        "v_on": (118.0, 129.5, 72.0),
        "d_rms": (2.463, 2.640, 2.606),
        "d_block": (190.0, 129.5, 72.0),
        "c_rms": (3.088, 3.330),
        "in": (0.931, 0.233, 2.074),
    },
    ("equal_current", 3): {
        "v_c": (36.67, 126.67),
        "l_avg": (3.099, 3.567, 3.333),
        "l_rms": (3.138, 3.614, 3.364),
        "l_peak": (3.678, 4.567, 4.123),
        "s_rms": (2.122, 4.755, 5.076),
        "s_off": (3.678, 8.023, 6.690),
        "s_on": (2.099, 2.567, 2.544),
        "v_on": (126.7, 90.0, 63.3),
        "d_rms": (2.312, 2.952, 2.316),
        "d_block": (126.7, 153.3, 63.3),
        "c_rms": (2.932, 3.752),
        "in": (1.778, 0.506, 1.694),
    },
    ("uniform", 2): {
        "v_c": (95.0,),
        "l_avg": (5.0, 5.0),
        "l_rms": (5.035, 5.035),
        "l_peak": (6.026, 6.026),
        "s_rms": (4.165, 6.406),
        "s_off": (6.026, 6.026),
        "s_on": (3.974, 3.974),
        "v_on": (95.0, 95.0),
        "d_rms": (2.829, 2.829),
        "d_block": (190.0, 95.0),
        "c_rms": (4.001,),
        "in": (1.105, 0.319, 2.348),
    },
}


@pytest.mark.parametrize(("gating", "phases"), list(WORKED))
def test_worked_example_300_watts_30_to_190_volts(gating: str, phases: int) -> None:
    found = single(30.0, 190.0, 300.0, phases, 100e-6, 100e3, gating)
    expected = WORKED[gating, phases]
    named = figures(found, 10e-6, 100e3)
    for key, values in expected.items():
        if key != "in":
            for k, value in enumerate(values, start=1):
                assert named[f"{key}_{k}"] == pytest.approx(value, rel=1e-3), (key, k)
    ripple, in_rms, link_rms = expected["in"]
    assert named["in_ripple"] == pytest.approx(ripple, rel=1e-3)
    assert named["in_rms"] == pytest.approx(in_rms, rel=2e-3)
    assert named["link_rms"] == pytest.approx(link_rms, rel=1e-3)


@pytest.mark.published(
    "Y. Jang and M. M. Jovanović, Interleaved boost converter with intrinsic voltage-doubler "
    "characteristic, IEEE Trans. Power Electronics, 2007 (from memory)"
)
def test_two_phases_double_the_boost_gain_above_half_duty_and_block_half_the_output() -> None:
    for duty in (0.55, 0.6, 0.75):
        gain = 2.0 / (1.0 - duty)
        found = single(20.0, 20.0 * gain, 200.0, 2, 100e-6, 100e3)
        assert found.duty[0].item() == pytest.approx(duty, rel=1e-9)
        assert found.s_block[0].item() == pytest.approx(10.0 * gain, rel=1e-9)
        assert found.s_block[1].item() == pytest.approx(10.0 * gain, rel=1e-9)


@pytest.mark.published("common practice, no source: 20 V to 190 V with three phases at about 68 %")
def test_three_phases_reach_190_volts_from_20_at_68_percent() -> None:
    found = single(20.0, 190.0, 200.0, 3, 100e-6, 100e3)
    assert found.duty[0].item() == pytest.approx(0.68, rel=0.01)


@pytest.mark.parametrize("phases", [2, 3, 4])
@pytest.mark.parametrize("gating", ["uniform", "equal_current"])
def test_input_power_equals_output_power_of_every_waveform(
    phases: int, gating: str, rng: np.random.Generator
) -> None:
    # Nothing in the recursions presumes it: Σ I_k·v_in against i_out·v_out.
    v_in = designs(rng.uniform(15.0, 60.0, 200))
    gain = rng.uniform(least_gain(phases, gating), 20.0, 200)
    l_f = designs(rng.uniform(1.0, 20.0, 200))
    on = Conditions(phases, gating, False, v_in, v_in * designs(gain), l_f)
    found = stress(ready(on), designs(rng.uniform(10.0, 500.0, 200)), designs(0.0))
    assert sum(found.l_avg) * v_in == pytest.approx(found.power, rel=1e-6)
    assert found.l_square[0] == pytest.approx(
        (found.l_square[0] - found.d_square[0]) + found.d_square[0], rel=1e-12
    )
    # The first phase has nothing arriving from before: its switch and diode share i_L.
    assert found.s_square[0] + found.d_square[0] == pytest.approx(found.l_square[0], rel=1e-9)


def test_diodes_pass_without_a_jump_from_continuous_to_discontinuous_conduction() -> None:
    edge = 0.5 * 20.0 * (1.0 - 60.0 / 190.0) / (40e-6 * 100e3) * 3 * 20.0
    above = single(20.0, 190.0, edge * 1.0005, 3, 40e-6, 100e3)
    below = single(20.0, 190.0, edge * 0.9995, 3, 40e-6, 100e3)
    assert below.l_valley[0].item() == 0.0
    assert above.l_valley[0].item() > 0.0
    for name in ("l_square", "s_square", "d_square", "c_square", "v_c"):
        for a, b in zip(getattr(above, name), getattr(below, name), strict=True):
            assert a.item() == pytest.approx(b.item(), rel=3e-3), name
    assert above.in_square.item() == pytest.approx(below.in_square.item(), rel=3e-3)


def test_below_every_valid_region_the_stage_runs_in_bursts_at_its_edge() -> None:
    # M = 6.33 with three phases: continuous above, discontinuous inside, bursts below
    # D = 1/3, and between the two regions bursts at the edge of continuous conduction.
    powers = (300.0, 120.0, 60.0, 20.0, 2.0, 0.0)
    found = [single(30.0, 190.0, p, 3, 40e-6, 100e3) for p in powers]
    active = [f.active.item() for f in found]
    assert active[0] == 1.0
    assert active[4] < 0.2
    assert active[5] == 0.0
    for f, p in zip(found, powers, strict=True):
        assert f.active.item() * f.power.item() == pytest.approx(p, rel=1e-9)
        assert min(v.item() for v in f.l_valley) >= -1e-9
        if f.l_valley[0].item() == 0.0 and f.l_peak[0].item() == f.l_ripple[0].item():
            assert f.duty[0].item() >= 1 / 3 - 1e-9


def test_bursts_below_the_threshold_keep_the_stress_of_the_threshold() -> None:
    at = single(30.0, 190.0, 60.0, 2, 100e-6, 100e3, least_power=60.0)
    below = single(30.0, 190.0, 15.0, 2, 100e-6, 100e3, least_power=60.0)
    assert below.active.item() == pytest.approx(0.25, rel=1e-12)
    assert below.l_peak[0].item() == pytest.approx(at.l_peak[0].item(), rel=1e-12)


def test_a_batch_gives_the_figures_of_single_designs() -> None:
    v_in = designs([20.0, 30.0, 45.0, 58.0])
    on = Conditions(3, "uniform", True, v_in, designs(190.0), designs(6.0))
    both = stress(ready(on), designs(150.0), designs(0.0))
    for i, v in enumerate(v_in[:, 0, 0]):
        one = single(float(v), 190.0, 150.0, 3, 60e-6, 100e3)
        assert both.s_square[2][i].item() == one.s_square[2].item()
        assert both.in_ripple[i].item() == one.in_ripple.item()


def test_input_above_the_link_stays_finite() -> None:
    for diodes in (True, False):
        for gating in ("uniform", "equal_current"):
            found = single(60.0, 40.0, 0.0, 3, 60e-6, 100e3, gating, diodes=diodes)
            for value in vars(found).values():
                for array in value if isinstance(value, tuple) else (value,):
                    assert np.all(np.isfinite(array))


@pytest.mark.parametrize("v_in", [20.0, 30.0, 31.0, 40.0])
def test_discontinuous_conduction_is_kept_to_where_it_is_exact(v_in: float) -> None:
    # Neighbours' diodes do not overlap, every switch is on for at least 1/N.
    seen = 0
    for power in np.geomspace(1.0, 300.0, 60):
        found = single(v_in, 190.0, power, 3, 40e-6, 100e3)
        duty, idle = found.duty[0].item(), found.idle.item()
        if idle > 0.0:
            seen += 1
            assert duty >= 1 / 3 - 1e-9
            assert 1.0 - duty - idle <= 1 / 3 + 1e-9
    assert (seen > 0) == (190.0 / v_in > 6.0)


# Phases, module voltage, and least and largest loss of the model over the simulated one.
EDGES = {
    "two phases": (2, 30.0, 0.95, 1.05),
    "three phases": (3, 20.0, 0.95, 1.05),
    # Where the next phase is off too its node gives way, and less is burnt.
    "three phases, overlapping": (3, 30.0, 1.0, 1.15),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", EDGES)
def test_charge_moved_on_every_turn_on_is_the_loss_that_simulation_adds(name: str) -> None:
    # Linear capacitances across all devices: ½·C·ΔV² for each that moves with S_k, the
    # neighbour whose voltage falls included; turn-offs are lossless.
    phases, v_in, least, most = EDGES[name]
    c_oss, f = 1e-9, 100e3
    found = single(v_in, 190.0, 200.0, phases, 60e-6, f)

    def loss(capacitance: float) -> float:
        return simulate(
            v_in=v_in,
            v_out=190.0,
            power=200.0,
            inductance=60e-6,
            f=f,
            capacitance=10e-6,
            duty=[d.item() for d in found.duty],
            start=started(found),
            steps=10000,
            warm=3,
            output_capacitance=capacitance,
        )["loss"]

    linear = Charge(designs(c_oss * 100.0), designs(100.0), designs(1.0))
    expected = 0.0
    for k, v in enumerate(found.v_on):
        others = [Moved(linear, 0.0, v)]
        others += [Moved(linear, found.d_held[k - 1], found.d_left[k - 1])] if k else []
        edge = Edge(designs(f), found.s_on[k], found.s_off[k], v, tuple(others))
        expected += f * turn_on(linear, edge, designs(50e-9)).energy.item()
    assert least < expected / (loss(c_oss) - loss(0.0)) < most
