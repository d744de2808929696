"""Start values of the control loops and their margins."""

import math

import numpy as np
import pytest

from models.physics.control import (
    Plant,
    butterworth,
    closed,
    delay,
    moving_average,
    proportional_integral,
)
from models.physics.loops import CommonGround, Unfolder, common_ground, unfolder

EXAMPLE = CommonGround(
    power=300.0,
    v_grid=120.0,
    f_grid=60.0,
    v_module=33.0,
    v_link=190.0,
    f_front=100e3,
    l_front=75e-6,
    c_module=30e-6,
    c_1=40e-6,
    c_2=12e-6,
    f_bridge=100e3,
    l_doubler=400e-6,
    l_bridge=600e-6,
    l_grid=100e-6,
    c_filter=0.68e-6,
    r_damp=3.74,
)

# name, K_p, K_i, crossover, phase margin, gain margin: a worked design whose values held
# in a closed-loop simulation of the averaged plant with sampled control.
WORKED = [
    ("front choke current", 2.36, 0.0, 5.0e3, 63.0, 10.5),
    ("module voltage", 0.0759, 1636.0, 833.0, 60.0, 23.5),
    ("link 1, mean", 0.0, 0.152, 5.0, 82.0, 25.0),
    ("link 2, mean", 9.06e-4, 1.93e-3, 1.5, 60.0, 13.9),
    ("link 2, mean, fast", 4.75e-3, 7.75e-2, 8.0, 60.0, 21.0),
    ("grid current", 19.5, 5.74e4, 4.47e3, 60.0, None),
    ("grid current with filter", 19.5, 5.74e4, None, 60.0, 12.3),
]


@pytest.mark.parametrize(("name", "kp", "ki", "crossover", "phase", "gain"), WORKED)
def test_worked_example(name, kp, ki, crossover, phase, gain):
    found = {loop.name: loop for loop in common_ground(EXAMPLE)}[name]
    assert found.kp == pytest.approx(kp, rel=0.01)
    assert found.ki == pytest.approx(ki, rel=0.01)
    assert crossover is None or found.crossover == pytest.approx(crossover, rel=0.01)
    assert found.phase_margin == pytest.approx(phase, rel=0.01)
    assert gain is None or found.gain_margin == pytest.approx(gain, rel=0.015)


def test_controller_puts_crossover_and_margin():
    plant = Plant("1/(s·1 mH)", (1.0,), (1e-3, 0.0), delay(50e3))
    loop = proportional_integral("x", plant, "V/A", crossover=1.5e3, margin=55.0)
    s = 2j * math.pi * 1.5e3
    whole = (loop.kp + loop.ki / s) / (1e-3 * s) * np.exp(-s * 30e-6)
    assert abs(whole) == pytest.approx(1.0, rel=1e-9)
    assert 180.0 + math.degrees(np.angle(whole)) == pytest.approx(55.0, rel=1e-9)
    assert loop.crossover == pytest.approx(1.5e3, rel=1e-3)


def test_impossible_loop_says_so_instead_of_raising():
    plant = Plant("1/s", (1.0,), (1.0, 0.0), 1e-3)
    loop = proportional_integral("x", plant, "1", crossover=300.0, margin=60.0)
    assert (loop.kp, loop.ki) == (0.0, 0.0)
    assert "lower the crossover" in loop.note


@pytest.mark.parametrize("f", [50e3, 100e3])
def test_gain_limit_lies_five_percent_above_the_sampled_loop(f):
    # The sampled loop z² − z + K·T/L with one period of computation is stable up to 1.
    inductance = 1e-3
    plant = Plant("1/(s·L)", (1.0,), (inductance, 0.0), delay(f))
    loop = closed("x", plant, (0.2 * inductance * f, 0.0), "V/A")
    limit = 0.2 * 10.0 ** (loop.gain_margin / 20.0)
    assert limit == pytest.approx(math.pi / 3.0, rel=2e-3)
    assert abs(np.roots([1.0, -1.0, 1.0])[0]) == pytest.approx(1.0, rel=1e-9)


def test_moving_average_removes_the_line_ripple():
    gains = moving_average(1.0 / 120.0)(2.0 * math.pi * np.array([1e-3, 120.0, 240.0]))
    assert abs(gains[0]) == pytest.approx(1.0, rel=1e-6)
    assert max(abs(gains[1:])) < 1e-12


def test_butterworth_lags_and_attenuates_as_known():
    gains = butterworth(10.0)(2.0 * math.pi * np.array([1.5, 120.0]))
    x = 0.15
    lag = math.degrees(math.atan(x) + math.atan(x / (1.0 - x * x)))
    assert -math.degrees(np.angle(gains[0])) == pytest.approx(lag, rel=1e-6)
    assert -20.0 * math.log10(abs(gains[1])) == pytest.approx(65.0, rel=0.01)


def test_unfolder_loops_are_stable():
    x = Unfolder(
        power=300.0,
        v_grid=230.0,
        f_grid=50.0,
        v_module=33.0,
        c_module=10e-3,
        f_front=100e3,
        l_grid=300e-6,
        c_filter=0.47e-6,
        r_damp=8.0,
    )
    for loop in unfolder(x):
        assert loop.phase_margin > 45.0
        assert loop.gain_margin > 6.0
