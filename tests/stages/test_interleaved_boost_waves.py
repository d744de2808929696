"""Waves of the interleaved boost: against the switched circuit and against print."""

import numpy as np
import pytest

from models.axes import designs
from models.physics.interleaving import summed_charge, summed_square
from models.stages.interleaved_boost_waves import drawn, waves
from tests.stages.interleaved_boost_circuit import Point, closed_form, simulate

POINTS = {
    "two phases, synchronous": Point(30.0, 100.0, 300.0, 2, 30e-6, False),
    "three phases, diodes": Point(40.0, 190.0, 400.0, 3, 60e-6, True),
    "three phases, discontinuous": Point(30.0, 190.0, 60.0, 3, 60e-6, True),
    "one phase, valley below zero": Point(33.0, 190.0, 40.0, 1, 40e-6, False),
    "four phases, discontinuous at low gain": Point(60.0, 110.0, 60.0, 4, 40e-6, True),
}


def simulated(point):
    """Figures of the circuit by the name of their closed form."""
    sim, duty = simulate(point), closed_form(point).duty.item()
    current = sum(sim.value[f"i:l{k}"] for k in range(point.phases))
    mean = float(sim.step @ current)
    return {
        "link voltage": sim.mean("v:o"),
        "phase mean": sim.mean("i:l0"),
        "choke rms": sim.rms("i:l0"),
        "choke peak": sim.peak("i:l0"),
        "choke valley": sim.valley("i:l0"),
        "switch rms": sim.rms("i:q0"),
        "switch turns off": sim.before("i:q0", duty),
        "switch blocks": sim.peak("v:q0"),
        "rectifier rms": sim.rms("i:d0"),
        "rectifier mean": sim.mean("i:d0"),
        "rectifier blocks": -sim.valley("v:d0"),
        "input ripple rms": float((sim.step @ (current - mean) ** 2) ** 0.5),
        "input charge": float(np.ptp(np.cumsum(sim.step * (current - mean)))),
        "link ripple rms": sim.rms("i:co"),
    }


def formed(point):
    """The same of the closed form."""
    w = closed_form(point)
    mean = w.phases * w.i_out
    found = {
        "link voltage": point.v_out,
        "phase mean": w.i_in,
        "choke rms": w.choke_square**0.5,
        "choke peak": w.i_peak,
        "choke valley": w.i_valley,
        "switch rms": w.switch_square**0.5,
        "switch turns off": w.i_peak,
        "switch blocks": point.v_out,
        "rectifier rms": w.rectifier_square**0.5,
        "rectifier mean": w.i_out,
        "rectifier blocks": point.v_out,
        "input ripple rms": summed_square(drawn(w), w.phases) ** 0.5,
        "input charge": summed_charge(drawn(w), w.phases),
        "link ripple rms": (w.link_square - mean * mean) ** 0.5,
    }
    return {name: np.asarray(x).item() for name, x in found.items()}


@pytest.mark.parametrize("name", POINTS)
def test_every_figure_is_that_of_the_switched_circuit(name):
    point = POINTS[name]
    form, sim = formed(point), simulated(point)
    for figure, value in form.items():
        # A valley of zero, and ripples that cancel, are held against the peak.
        floor = 2e-3 * form["choke peak"]
        if figure == "input charge":
            floor /= 8.0 * point.phases
        assert value == pytest.approx(sim[figure], rel=0.01, abs=floor), figure


def drawn_at_random(rng, diodes, count=300):
    l_f = designs(10 ** rng.uniform(0.0, 1.5, count))
    phases, power = designs(rng.integers(1, 5, count)), designs(rng.uniform(5, 400, count))
    v_in, v_out = designs(rng.uniform(20, 60, count)), designs(rng.uniform(70, 450, count))
    return waves(l_f, phases, power, v_in=v_in, v_out=v_out, diodes=diodes), power, v_in


@pytest.mark.parametrize("diodes", [True, False])
def test_both_ports_pass_the_power_that_was_asked_for(diodes, rng):
    w, power, v_in = drawn_at_random(rng, diodes)
    stopped = (w.duty + w.fall < 1.0 - 1e-9).mean()
    assert (stopped > 0.1) & (stopped < 0.9) if diodes else stopped == 0.0
    assert v_in * w.phases * drawn(w).mean == pytest.approx(power, rel=1e-9)
    given = w.v_out * w.phases * w.fall * 0.5 * (w.i_peak + w.i_valley)
    assert given == pytest.approx(power, rel=1e-9)


@pytest.mark.parametrize("diodes", [True, False])
def test_the_sum_into_the_link_is_that_of_shifted_phases(diodes, rng):
    w, _, _ = drawn_at_random(rng, diodes, count=30)
    t = (np.arange(24000) + 0.5) / 24000
    total = np.zeros((30, 1, t.size))
    for j in range(4):
        x = (t - j / w.phases) % 1.0
        current = w.i_peak - (w.i_peak - w.i_valley) * x / w.fall
        total += np.where((x < w.fall) & (j < w.phases), current, 0.0)
    assert w.link_square == pytest.approx((total**2).mean(axis=2, keepdims=True), rel=2e-3)


def test_more_phases_leave_less_ripple_at_both_ports():
    ripples = [formed(Point(33.0, 200.0, 300.0, n, 40e-6 * n, True)) for n in (1, 2, 3, 4)]
    for name in ("input ripple rms", "link ripple rms"):
        values = [r[name] for r in ripples]
        assert values == sorted(values, reverse=True), name


@pytest.mark.published("Erickson and Maksimović, Fundamentals of Power Electronics (from memory)")
def test_boundary_of_the_modes_is_at_d_times_off_duty_squared():
    # K = 2·L·f/R at the boundary is D·(1 − D)², 4/27 at most, at D = 1/3.
    duty = np.linspace(0.05, 0.9, 171)
    v_in, v_out = 30.0, 30.0 / (1.0 - duty)
    power, low, high = 100.0, 1e-4, 1e3
    low, high = np.full(171, low), np.full(171, high)
    for _ in range(60):
        l_f = 0.5 * (low + high)
        w = waves(designs(l_f), designs(1.0), designs(power), v_in=designs(v_in),
                  v_out=designs(v_out), diodes=True)  # fmt: skip
        stops = w.i_valley[:, 0, 0] <= 0.0
        low, high = np.where(stops, l_f, low), np.where(stops, high, l_f)
    k = 2.0 * high * power / v_out**2
    assert k == pytest.approx(duty * (1.0 - duty) ** 2, rel=1e-6)
    assert k.max() == pytest.approx(4.0 / 27.0, rel=1e-3)
    assert duty[np.argmax(k)] == pytest.approx(1.0 / 3.0, abs=0.003)


@pytest.mark.published("Mohan, Undeland and Robbins, Power Electronics, step-up (from memory)")
def test_a_textbook_problem_lies_at_the_boundary():
    # 12 V to 24 V, 0.5 A, 150 µH, 20 kHz: the current just touches zero, peak 2 A.
    w = closed_form(Point(12.0, 24.0, 12.0, 1, 150e-6, True, 20e3))
    assert w.i_valley.item() == pytest.approx(0.0, abs=1e-9)
    assert w.i_peak.item() == pytest.approx(2.0, rel=1e-9)
