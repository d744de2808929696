"""Waves of the dual active bridge: against the switched circuit and against print."""

import dataclasses
import functools
import math

import numpy as np
import pytest

from models.axes import designs
from models.stages import dual_active_bridge_edges as edges
from models.stages import dual_active_bridge_magnetics as magnetics
from models.stages.dual_active_bridge_waves import Circuit, inductance, most_power, waves
from tests.stages.dual_active_bridge_circuit import (
    Point,
    circuit,
    closed_form,
    for_link,
    gates,
    simulate,
)

POINTS = {
    "equal voltages": Point(40.0, 360.0, 350.0, 9.0, 3e-6, 60e-6),
    "step up": Point(30.0, 380.0, 300.0, 9.0, 3e-6, 30e-6, triangles=False),
    "step down": Point(42.0, 200.0, 250.0, 6.0, 2.5e-6, 25e-6, 150e3, triangles=False),
    "triangles down": Point(60.0, 380.0, 60.0, 9.0, 2e-6, 40e-6),
    "triangles up": Point(25.0, 380.0, 50.0, 9.0, 2e-6, 40e-6),
}


steady = functools.cache(simulate)


def simulated(point):
    """Figures of the circuit by the name of their closed form."""
    sim = steady(point)
    n = point.ratio
    magnetising = sim.value["i:pri"] + n * sim.value["i:sec"]
    moved = np.cumsum(sim.step * (sim.value["i:in"] - sim.mean("i:in")))
    return {
        "link voltage": sim.mean("v:o"),
        "input current": sim.mean("i:in"),
        "primary rms": sim.rms("i:ls"),
        "primary peak": sim.peak("i:ls"),
        "secondary rms": sim.rms("i:sec"),
        "module switch rms": sim.rms("i:s1"),
        "link switch rms": sim.rms("i:q3"),
        "module switch blocks": sim.peak("v:s1"),
        "link switch blocks": sim.peak("v:q1"),
        "input ripple rms": sim.ripple_rms("i:in"),
        "input charge": float(np.ptp(moved)),
        "link ripple rms": sim.rms("i:co"),
        "magnetising peak": float(np.max(np.abs(magnetising))),
        "linkage": float(np.ptp(np.cumsum(sim.step * sim.value["v:pri"]))) / point.f,
    }


def formed(point):
    """The same of the closed form."""
    w, n = closed_form(point), point.ratio
    primary, secondary = w.square.item(), w.secondary_square.item() / n**2
    given = w.given_square.item() / n**2 - (point.power / point.v_out) ** 2
    return {
        "link voltage": point.v_out,
        "input current": w.drawn.item(),
        "primary rms": primary**0.5,
        "primary peak": w.i_crest.item(),
        "secondary rms": secondary**0.5,
        "module switch rms": (0.5 * primary) ** 0.5,
        "link switch rms": (0.5 * secondary) ** 0.5,
        "module switch blocks": point.v_in,
        "link switch blocks": point.v_out,
        "input ripple rms": (w.drawn_square.item() - w.drawn.item() ** 2) ** 0.5,
        "input charge": 0.5 * w.input_charge.item(),
        "link ripple rms": given**0.5,
        "magnetising peak": w.i_m.item(),
        "linkage": 2.0 * point.l_m * w.i_m.item(),
    }


@pytest.mark.parametrize("name", POINTS)
def test_every_figure_is_that_of_the_switched_circuit(name):
    point = POINTS[name]
    assert closed_form(point).triangular.item() == name.startswith("triangles")
    form, sim = formed(point), simulated(point)
    for figure, value in form.items():
        assert value == pytest.approx(sim[figure], rel=0.015), figure


@pytest.mark.parametrize("name", ["step down", "triangles down", "triangles up"])
def test_blocking_capacitors_at_their_limit_hardly_change_the_currents(name):
    # The gates are set as a control would, for the link's voltage.
    point = dataclasses.replace(POINTS[name], blocking=0.02)
    sim, form = for_link(point), formed(POINTS[name])
    assert sim.mean("v:o") == pytest.approx(point.v_out, rel=1e-3)
    for figure, wave in (("primary rms", "i:ls"), ("secondary rms", "i:sec")):
        assert form[figure] == pytest.approx(sim.rms(wave), rel=0.02), figure
    assert form["primary peak"] == pytest.approx(sim.peak("i:ls"), rel=0.02)


@pytest.mark.parametrize("name", POINTS)
def test_edges_find_the_currents_of_the_circuit(name):
    point = POINTS[name]
    w, c, sim = closed_form(point), circuit(point), steady(point)
    at = {switch: times[0][0] for switch, times in gates(w).items()}
    module = edges.at_module(c, w, triangles=point.triangles)
    link = edges.at_link(c, w, triangles=point.triangles)
    share = float(np.asarray(module.share).item())
    assert share == {"triangles down": 0.5, "triangles up": 0.0}.get(name, 1.0)
    # Upper switches turn on; the secondary's current counts out of the bridge.
    for switch, wave, sign, i in (
        ("s1", "i:ls", -1.0, module.i if share == 1.0 else designs(0.0)),
        ("s3", "i:ls", 1.0, module.i if share > 0.0 else designs(0.0)),
        ("q1", "i:sec", -1.0, link[0].i),
        ("q3", "i:sec", 1.0, link[-1].i),
    ):
        largest = sim.peak(wave)
        found = sign * sim.before(wave, at[switch])
        assert i.item() == pytest.approx(found, abs=0.02 * largest), switch


@pytest.mark.parametrize("name", POINTS)
def test_what_drives_an_edge_is_what_bends_the_current(name):
    # Before and after an edge the current changes by v_far/L and (v_far − V)/L.
    point = dataclasses.replace(POINTS[name], l_m=1.0)
    w, c, n = closed_form(point), circuit(point), point.ratio
    first, second = (
        (b - a).item() * 2.0 * point.f / t.item()
        for t, (a, b) in zip(w.time, w.lines, strict=True)
    )
    module = edges.at_module(c, w, triangles=point.triangles)
    link = edges.at_link(c, w, triangles=point.triangles)[0]
    if not w.triangular.item():
        checked = [
            (module, point.v_in, second, -first),
            (link, point.v_out, first / n, second / n),
        ]
    elif point.v_in > point.v_out / n:
        checked = [(module, point.v_in, first, second)]
    else:
        checked = [(link, point.v_out, first / n, second / n)]
    for turn, v, before, after in checked:
        far, l_drive = turn.v_far.item(), turn.inductance.item()
        assert far / l_drive == pytest.approx(before, rel=1e-4, abs=1e-4 * abs(after))
        assert (far - v) / l_drive == pytest.approx(after, rel=1e-4, abs=1e-4 * abs(before))


def drawn(rng, count):
    """Circuits and voltages anywhere, at powers below the limit."""
    ratio = designs(rng.uniform(4.0, 14.0, count))
    v_1 = designs(rng.uniform(20.0, 60.0, count))
    v_2 = v_1 * designs(rng.uniform(0.5, 2.0, count))
    f, power = designs(rng.uniform(6e4, 3e5, count)), designs(rng.uniform(10.0, 400.0, count))
    shift = designs(rng.uniform(0.005, 0.27, count))
    l_s = inductance(power, shift, v_1=v_1, v_2=v_2, f=f)
    l_m = l_s * designs(rng.uniform(5.0, 100.0, count))
    return Circuit(ratio, l_s, l_m, f), power, v_1, v_2


@pytest.mark.parametrize("triangles", [False, True])
def test_both_ports_pass_the_power(triangles, rng):
    c, power, v_1, v_2 = drawn(rng, 500)
    w = waves(c, power, v_1=v_1, v_2=v_2, triangles=triangles)
    assert w.triangular.any() == triangles
    assert v_1 * w.drawn == pytest.approx(power, rel=1e-6)
    assert v_2 * w.given == pytest.approx(power, rel=1e-6)


def test_triangles_are_taken_where_they_need_less_current(rng):
    c, power, v_1, v_2 = drawn(rng, 500)
    shifted = waves(c, power, v_1=v_1, v_2=v_2, triangles=False)
    best = waves(c, power, v_1=v_1, v_2=v_2, triangles=True)
    less = best.square < shifted.square
    assert (less == best.triangular).all()
    assert 0.1 < less.mean() < 0.9
    for field in ("duty_1", "duty_2"):
        assert (getattr(best, field) <= 1.0).all()
    assert (np.stack(best.time) >= 0.0).all()
    assert (sum(best.time) <= 1.0 + 1e-12).all()


@pytest.mark.parametrize("name", POINTS)
def test_harmonics_are_those_of_the_current(name):
    point = POINTS[name]
    w, c = closed_form(point), circuit(point)
    t = [0.0, w.time[0].item(), sum(w.time).item(), 1.0]
    load = 1.0 + point.l_s / point.l_m
    secondary = w.end - w.m_end, w.turn - w.m_turn
    for (end, turn), k in (((w.end, w.turn), 1.0), (secondary, load)):
        corners = [x.item() for x in (-end, turn, end, end)]
        grid = (np.arange(20000) + 0.5) / 20000.0
        half = np.interp(grid, t, corners)
        spectrum = np.fft.rfft(np.concatenate([half, -half])) / 40000.0
        first, third = magnetics.harmonic_squares(c, w, k)
        assert first.item() == pytest.approx(2.0 * abs(spectrum[1]) ** 2, rel=1e-3)
        assert third.item() == pytest.approx(2.0 * abs(spectrum[3]) ** 2, rel=1e-2)


@pytest.mark.parametrize("name", POINTS)
@pytest.mark.parametrize(("alpha", "within"), [(1.3, 0.06), (1.5, 1e-6), (1.7, 0.08)])
def test_the_chokes_flux_loses_as_its_lines_do(name, alpha, within):
    w = closed_form(POINTS[name])
    whole = 2.0 * w.i_crest.item()
    lines = sum(
        abs((b - a).item() / whole) ** alpha * (0.5 * t.item()) ** (1.0 - alpha)
        for t, (a, b) in zip(w.time, w.lines, strict=True)
    )
    triangle = magnetics.flux_rise(w).item() ** (1.0 - alpha)
    assert triangle == pytest.approx(lines, rel=within)


def test_the_magnetising_current_spares_the_link_its_losses():
    point = POINTS["step up"]
    turned = [
        edges.at_link(circuit(p), closed_form(p), triangles=False)[0].i.item()
        for p in (point, dataclasses.replace(point, l_m=0.5 * point.l_m))
    ]
    assert turned[1] - turned[0] == pytest.approx(closed_form(point).i_m.item() / point.ratio)


@pytest.mark.published("De Doncker, Divan, Kheraluwala, IEEE TIA 27(1), 1991 (from memory)")
def test_the_largest_power_is_passed_at_a_quarter_period():
    point = POINTS["equal voltages"]
    c, v = circuit(point), designs(40.0)
    most = most_power(c, v_1=v, v_2=v)
    assert most.item() == pytest.approx(40.0 * 40.0 / (8.0 * point.f * point.l_s))
    w = waves(c, most, v_1=v, v_2=v, triangles=False)
    assert 180.0 * w.shift.item() == pytest.approx(90.0, rel=1e-3)


@pytest.mark.published("De Doncker, Divan, Kheraluwala, IEEE TIA 27(1), 1991 (from memory)")
def test_equal_voltages_make_a_trapezium_that_turns_both_bridges_alike():
    w = closed_form(POINTS["equal voltages"])
    assert w.end.item() == pytest.approx(w.turn.item())
    # A trapezium of this crest: I·√(1 − 2x/3).
    rms = w.i_crest.item() * math.sqrt(1.0 - 2.0 * w.shift.item() / 3.0)
    assert w.square.item() ** 0.5 == pytest.approx(rms)


@pytest.mark.published("a 10 kW reference design guide, about 23° (from memory)")
def test_ten_kilowatts_from_800_to_500_volts_take_23_degrees():
    c = Circuit(*(designs(x) for x in (0.625, 35e-6, 1.0, 100e3)))
    w = waves(c, designs(1e4), v_1=designs(800.0), v_2=designs(800.0), triangles=False)
    assert 180.0 * w.shift.item() == pytest.approx(22.5, abs=0.1)
    assert 180.0 * w.shift.item() == pytest.approx(23.0, rel=0.03)


@pytest.mark.published("Krismer and Kolar on triangular current modulation (from memory)")
def test_triangles_reach_their_own_limit_of_power():
    # P_t = V_lo²·(V_hi − V_lo)/(4·f·L·V_hi), where the longer pulse fills the half period.
    c = Circuit(*(designs(x) for x in (9.0, 2e-6, 1.0, 1e5)))
    for v_1, v_2 in ((60.0, 40.0), (25.0, 40.0)):
        high, low = max(v_1, v_2), min(v_1, v_2)
        most = low**2 * (high - low) / (4.0 * 1e5 * 2e-6 * high)
        for share, expected in ((0.999, True), (1.001, False)):
            w = waves(c, designs(share * most), v_1=designs(v_1), v_2=designs(v_2), triangles=True)
            assert w.triangular.item() == expected
