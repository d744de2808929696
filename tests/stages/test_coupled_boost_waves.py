"""Waves of the coupled-inductor boost: against the switched circuit and against print."""

import dataclasses

import numpy as np
import pytest

from models.axes import designs
from models.physics.interleaving import summed_charge, summed_square
from models.stages.coupled_boost_waves import Circuit, primary, secondary, waves
from tests.stages.coupled_boost_circuit import Point, closed_form, resonance, simulate

POINTS = {
    "high gain": Point(30.0, 380.0, 300.0, 4.0, 25e-6, 0.25e-6),
    "low ratio": Point(40.0, 200.0, 200.0, 2.0, 60e-6, 1.2e-6, 30e-6, 80e3),
    "much leakage": Point(33.0, 400.0, 300.0, 5.0, 20e-6, 1.4e-6),
    "discontinuous": Point(30.0, 380.0, 40.0, 4.0, 25e-6, 0.25e-6, 20e-6),
    "as low as three": Point(33.0, 190.0, 100.0, 3.0, 12e-6, 0.3e-6, 60e-6),
}


def simulated(point):
    """Figures of the circuit by the name of their closed form."""
    sim = simulate(point)
    n, off = point.ratio, closed_form(point).duty.item()
    flux = sim.value["i:pri0"] + n * sim.value["i:sec0"]
    return {
        "link voltage": sim.mean("v:o"),
        "clamp voltage": sim.mean("v:c0"),
        "input current": sim.mean("i:leak0"),
        "switch rms": sim.rms("i:s0"),
        "switch peak": sim.peak("i:s0"),
        "switch blocks": sim.peak("v:s0"),
        "switch turns on at": sim.before("v:s0", 1.0),
        "clamp diode rms": sim.rms("i:dc0"),
        "clamp diode mean": sim.mean("i:dc0"),
        "clamp diode blocks": -sim.valley("v:dc0"),
        "output diode rms": sim.rms("i:do0"),
        "output diode peak": sim.peak("i:do0"),
        "output diode blocks": -sim.before("v:do0", 0.6 * off),
        "primary rms": sim.rms("i:leak0"),
        "clamp capacitor rms": sim.rms("i:cc0"),
        "clamp capacitor ripple": sim.swing("v:cc0"),
        "magnetising ripple": float(np.ptp(flux)),
        "input ripple rms": sim.ripple_rms("i:leak0"),
        "input charge": float(
            sim.step @ np.maximum(sim.value["i:leak0"] - sim.mean("i:leak0"), 0)
        ),
        "link ripple rms": sim.rms("i:co"),
    }


def formed(point):
    """The same of the closed form."""
    w, n = closed_form(point), point.ratio
    swing = w.capacitor_charge(designs(n)) / (point.f * point.c_clamp)
    found = {
        "link voltage": point.v_out,
        "clamp voltage": w.v_clamp,
        "input current": w.i_in,
        "switch rms": w.switch_square**0.5,
        "switch peak": w.i_peak,
        "switch blocks": w.v_clamp + 0.5 * swing,
        "switch turns on at": w.v_on,
        "clamp diode rms": w.clamp_square**0.5,
        "clamp diode mean": w.i_out,
        "clamp diode blocks": w.v_clamp + 0.5 * swing,
        "output diode rms": w.secondary_square**0.5 / n,
        "output diode peak": w.i_turn / n,
        "output diode blocks": w.v_diode,
        "primary rms": (w.switch_square + w.clamp_square) ** 0.5,
        "clamp capacitor rms": w.capacitor_square(designs(n)) ** 0.5,
        "clamp capacitor ripple": swing,
        "magnetising ripple": w.linkage / point.l_m,
        "input ripple rms": summed_square(primary(w), 1) ** 0.5,
        "input charge": summed_charge(primary(w), 1),
        "link ripple rms": summed_square(secondary(w), 1) ** 0.5 / n,
    }
    return {name: np.asarray(x).item() for name, x in found.items()}


@pytest.mark.parametrize("name", POINTS)
def test_every_figure_is_that_of_the_switched_circuit(name):
    point = POINTS[name]
    assert resonance(point, closed_form(point)) > 12.0
    form, sim = formed(point), simulated(point)
    for figure, value in form.items():
        assert value == pytest.approx(sim[figure], rel=0.015), figure


def test_two_phases_share_their_ripple_as_in_the_switched_circuit():
    for point in (POINTS["high gain"], POINTS["as low as three"]):
        two = dataclasses.replace(point, phases=2)
        w, sim = closed_form(two), simulate(two)
        current = sim.value["i:in"] - sim.mean("i:in")
        moved = np.cumsum(sim.step * current)
        assert summed_square(primary(w), 2).item() ** 0.5 == pytest.approx(
            sim.ripple_rms("i:in"), rel=0.01
        )
        assert summed_charge(primary(w), 2).item() == pytest.approx(np.ptp(moved), rel=0.02)
        link = summed_square(secondary(w), 2).item() ** 0.5 / two.ratio
        assert link == pytest.approx(sim.rms("i:co"), rel=0.01)


def test_a_clamp_capacitor_that_rings_too_fast_leaves_the_region():
    point = dataclasses.replace(POINTS["low ratio"], c_clamp=6e-6)
    w = closed_form(point)
    assert resonance(point, w) < 12.0
    rms = w.capacitor_square(designs(point.ratio)).item() ** 0.5
    assert rms < 0.98 * simulate(point).rms("i:cc0")


def drawn(rng, count=400):
    """Circuits and powers across the region, both modes."""
    v_in, v_out = rng.uniform(20, 60, count), rng.uniform(160, 450, count)
    ratio, power = rng.uniform(1.0, 8.0, count), rng.uniform(5, 400, count)
    l_m, f = 10 ** rng.uniform(-5.3, -4, count), rng.uniform(5e4, 3e5, count)
    l_k = l_m * rng.uniform(0.002, 0.02, count)
    circuit = Circuit(*(designs(x) for x in (ratio, l_m, l_k, f)))
    return circuit, designs(power), designs(v_in), designs(v_out)


def test_both_ports_pass_the_power_that_was_asked_for(rng):
    circuit, power, v_in, v_out = drawn(rng)
    w = waves(circuit, power, v_in=v_in, v_out=v_out)
    inside = (w.crowding < 0.98) & (w.drop < 0.12) & (w.duty < 0.95)
    assert inside.mean() > 0.7
    assert ((w.i_valley > 0.0).mean() > 0.1) & ((w.i_valley > 0.0).mean() < 0.9)
    ports = v_in * primary(w).mean, v_out * secondary(w).mean / circuit.ratio
    for port in ports:
        assert port[inside] == pytest.approx(power[inside], rel=1e-4)


def test_both_modes_meet_where_the_valley_reaches_zero(rng):
    circuit, _, v_in, v_out = drawn(rng, 50)
    low, high = designs(np.full(50, 0.1)), designs(np.full(50, 1e5))
    for _ in range(80):
        middle = 0.5 * (low + high)
        continuous = waves(circuit, middle, v_in=v_in, v_out=v_out).i_valley > 0.0
        low, high = np.where(continuous, low, middle), np.where(continuous, middle, high)
    below = waves(circuit, 0.9999 * low, v_in=v_in, v_out=v_out)
    above = waves(circuit, 1.0001 * high, v_in=v_in, v_out=v_out)
    for name in ("i_peak", "duty", "reset", "fall", "v_clamp", "v_diode", "switch_square"):
        assert getattr(below, name) == pytest.approx(getattr(above, name), rel=3e-3), name


@pytest.mark.published("Zhao and Lee, IEEE Trans. Power Electron. 18(1), 2003 (from memory)")
def test_gain_and_switch_voltage_without_leakage():
    # M = (1 + n·D)/(1 − D) and V_S = (V_o + n·V_i)/(1 + n): 12.667 and 100 V at D = 0.7, n = 4.
    point = Point(30.0, 380.0, 3000.0, 4.0, 25e-6, 1e-12)
    w = closed_form(point)
    assert w.duty.item() == pytest.approx(0.70, rel=1e-4)
    assert w.v_clamp.item() == pytest.approx(100.0, rel=1e-4)


@pytest.mark.published("Wai and Duan, IEEE Trans. Power Electron. 20(5), 2005 (from memory)")
def test_leakage_is_reset_in_two_times_the_off_time_over_n_plus_one():
    # t₁ = 2·(1 − D)·T/(n + 1) at small ripple: 0.12·T at D = 0.7, n = 4.
    w = closed_form(Point(30.0, 380.0, 3000.0, 4.0, 25e-4, 1e-10))
    assert w.reset.item() == pytest.approx(0.12, rel=2e-3)
