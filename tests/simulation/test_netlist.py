"""The simulator against circuits with a solution on paper."""

import math

import numpy as np
import pytest

from tests.simulation.netlist import Netlist, steady_state


def test_current_in_a_switched_resistor_and_inductor_is_exponential() -> None:
    # Computed here on paper: i rises to V/R·(1 − a)/(1 − a·b), a and b the decays of
    # the two halves; the free-wheeling path has the same resistance.
    volt, ohm, henry, period, duty = 10.0, 2.0, 1e-3, 1e-3, 0.4
    net = Netlist()
    net.source("in", "a", "0", volt)
    net.switch("q", "a", "b")
    net.diode("d", "0", "b")
    net.resistor("r", "b", "c", ohm)
    net.inductor("l", "c", "0", henry)
    waves = steady_state(net, period=period, gates={"q": [(0.0, duty)]})
    rise = math.exp(-duty * period * ohm / henry)
    fall = math.exp(-(1 - duty) * period * ohm / henry)
    top = volt / ohm * (1 - rise) / (1 - rise * fall)
    assert waves.peak("i:l") == pytest.approx(top, rel=1e-3)
    assert waves.valley("i:l") == pytest.approx(top * fall, rel=2e-3)
    assert waves.mean("i:l") == pytest.approx(duty * volt / ohm, rel=1e-3)


def test_undamped_ring_meets_cosine_and_sine() -> None:
    # Half a ring through a diode turns the capacitor round: v → 2·V − v, and the
    # current is a half sine of V/√(L/C).
    volt, henry, farad = 20.0, 5e-6, 2e-6
    half = math.pi * math.sqrt(henry * farad)
    net = Netlist()
    net.source("in", "a", "0", volt)
    net.switch("q", "a", "b", 1e-6)
    net.inductor("l", "b", "c", henry)
    net.diode("d", "c", "o", 1e-6)
    net.capacitor("c", "o", "0", farad)
    net.switch("empty", "o", "0", 0.1)
    gates = {"q": [(0.0, 0.5)], "empty": [(0.5, 1.0)]}
    waves = steady_state(net, period=2.5 * half, gates=gates, steps=8000)
    assert waves.before("v:c", 0.5) == pytest.approx(2 * volt, rel=1e-3)
    assert waves.peak("i:l") == pytest.approx(volt / math.sqrt(henry / farad), rel=1e-3)
    rms = volt / math.sqrt(henry / farad) * math.sqrt(0.5 / 2.5)
    assert waves.rms("i:l") == pytest.approx(rms, rel=1e-3)


def boost(v_in: float, ohm: float, henry: float) -> Netlist:
    net = Netlist()
    net.source("in", "a", "0", v_in)
    net.inductor("l", "a", "s", henry)
    net.switch("q", "s", "0")
    net.diode("d", "s", "o")
    net.capacitor("c", "o", "0", 100e-6)
    net.resistor("load", "o", "0", ohm)
    return net


def test_ideal_boost_in_continuous_conduction_gives_one_over_one_minus_duty() -> None:
    waves = steady_state(
        boost(20.0, 40.0, 100e-6), period=1e-5, gates={"q": [(0.0, 0.6)]}, start={"c": 50.0}
    )
    ripple = 20.0 * 0.6 * 1e-5 / 100e-6
    i_l = 50.0**2 / 40.0 / 20.0
    assert waves.mean("v:o") == pytest.approx(50.0, rel=1e-3)
    assert waves.before("i:q", 0.6) == pytest.approx(i_l + ripple / 2, rel=2e-3)
    assert waves.after("i:q", 0.0) == pytest.approx(i_l - ripple / 2, rel=2e-3)
    assert waves.rms("i:l") == pytest.approx(math.sqrt(i_l**2 + ripple**2 / 12), rel=1e-3)
    assert waves.rms("i:q") == pytest.approx(waves.rms("i:l") * math.sqrt(0.6), rel=1e-3)
    assert waves.peak("v:q") == pytest.approx(50.0, rel=2e-3)
    assert waves.product("v:in", "i:in") == pytest.approx(50.0**2 / 40.0, rel=1e-3)


@pytest.mark.published(
    "Erickson and Maksimovic, Fundamentals of Power Electronics, discontinuous conduction "
    "(from memory)"
)
def test_ideal_boost_in_discontinuous_conduction_gives_the_square_root_law() -> None:
    # M = (1 + √(1 + 4·D²/K))/2 with K = 2·L·f/R.
    duty, ohm, henry, f = 0.4, 400.0, 20e-6, 1e5
    gain = (1 + math.sqrt(1 + 4 * duty**2 * ohm / (2 * henry * f))) / 2
    waves = steady_state(
        boost(20.0, ohm, henry), period=1 / f, gates={"q": [(0.0, duty)]}, start={"c": 20 * gain}
    )
    assert waves.mean("v:o") == pytest.approx(20.0 * gain, rel=2e-3)
    assert waves.valley("i:l") == pytest.approx(0.0, abs=1e-3 * waves.peak("i:l"))


def test_node_of_an_inductor_that_a_diode_opened_rests_at_the_input() -> None:
    # The trapezoidal rule would carry the voltage of the last step on with changing sign.
    waves = steady_state(
        boost(20.0, 400.0, 20e-6), period=1e-5, gates={"q": [(0.0, 0.4)]}, start={"c": 90.0}
    )
    ends = np.cumsum(waves.step)
    idle = (ends > 0.6) & (ends < 0.999)
    # What is left alternates by leakage through the open resistances: 0.07 V.
    assert waves.value["v:s"][idle] == pytest.approx(20.0, rel=5e-3)
    assert waves.valley("v:s") > -1e-2


def test_coupled_inductors_transform_voltage_by_the_square_root_of_their_ratio() -> None:
    # Flyback without leakage: V_o = n·V_i·D/(1 − D) in continuous conduction.
    ratio, primary = 3.0, 50e-6
    net = Netlist()
    net.source("in", "a", "0", 24.0)
    net.inductor("p", "a", "s", primary)
    net.switch("q", "s", "0")
    net.inductor("n", "0", "x", primary * ratio**2)
    net.couple("p", "n", 0.99999 * primary * ratio)
    net.diode("d", "x", "o")
    net.capacitor("c", "o", "0", 20e-6)
    net.resistor("load", "o", "0", 100.0)
    # A stiff clamp takes what little leakage there is.
    net.diode("clamp", "s", "k")
    net.source("hold", "k", "0", 24.0 + 200.0)
    waves = steady_state(
        net, period=1e-5, gates={"q": [(0.0, 0.5)]}, start={"c": 72.0, "p": 4.0}, steps=6000
    )
    assert waves.mean("v:o") == pytest.approx(72.0, rel=5e-3)


def test_unknown_gates_and_start_values_are_refused() -> None:
    net = boost(20.0, 40.0, 100e-6)
    with pytest.raises(ValueError, match="no switch"):
        steady_state(net, period=1e-5, gates={"x": [(0.0, 0.5)]})
    with pytest.raises(ValueError, match="stores nothing"):
        steady_state(net, period=1e-5, gates={}, start={"load": 1.0})
