"""One half-bridge leg: who turns on hard, who conducts in the dead time."""

import numpy as np
import pytest

from models.axes import angles, designs, line_mean
from models.parts import switch
from models.physics.semiconductor import charge_and_energy
from models.stages.half_bridge_leg import (
    Leg,
    dead_time_currents,
    dead_time_voltages,
    edges,
    mirrored_stress,
)
from tests.stages.grid_cases import Point, make_case, transistor

DEVICE = switch.device(transistor(t_dead=100e-9), make_case(Point()))
V = designs(380.0)
CHARGE = charge_and_energy(DEVICE.charge, V)[0].item()


def leg(valley, peak, far=0.5):
    return Leg(
        device=DEVICE,
        f=designs(100e3),
        valley=np.asarray(valley, dtype=float).reshape(1, 1, -1),
        peak=np.asarray(peak, dtype=float).reshape(1, 1, -1),
        v=V,
        far=designs(far) + np.zeros_like(np.asarray(valley, dtype=float)).reshape(1, 1, -1),
        inductance=designs(500e-6),
    )


def losses(x):
    return [switch.edge_loss(DEVICE, edge) for edge in edges(x)]


def test_current_out_of_the_leg_turns_the_upper_switch_on_hard():
    upper, lower = losses(leg(4.0, 6.0))
    # Two devices alike: the charge of one at full voltage is burnt in every period.
    assert upper.capacitive.item() == pytest.approx(100e3 * CHARGE * 380.0, rel=1e-6)
    assert lower.capacitive.item() == pytest.approx(0.0, abs=1e-6)
    upper, lower = losses(leg(-6.0, -4.0))
    assert lower.capacitive.item() == pytest.approx(100e3 * CHARGE * 380.0, rel=1e-6)
    assert upper.capacitive.item() == pytest.approx(0.0, abs=1e-6)


def test_a_valley_below_zero_turns_both_switches_on_soft():
    upper, lower = losses(leg(-3.0, 7.0))
    assert upper.capacitive.item() == pytest.approx(0.0, abs=1e-6)
    assert lower.capacitive.item() == pytest.approx(0.0, abs=1e-6)
    assert upper.overlap.item() > 0.0


def test_a_far_end_near_the_target_helps_a_weak_current():
    weak_low, _ = losses(leg(-0.4, 1.0, far=0.2))
    weak_high, _ = losses(leg(-0.4, 1.0, far=0.8))
    assert weak_high.capacitive.item() < weak_low.capacitive.item()
    _, weak_high = losses(leg(-1.0, 0.4, far=0.8))
    _, weak_low = losses(leg(-1.0, 0.4, far=0.2))
    assert weak_low.capacitive.item() < weak_high.capacitive.item()


@pytest.mark.parametrize(("valley", "peak"), [(4.0, 6.0), (-6.0, -4.0), (-5.0, 5.0)])
def test_reverse_conduction_is_what_the_charge_leaves_of_the_dead_time(valley, peak):
    upper, lower = dead_time_currents(leg(valley, peak))

    def after_turn_off(i):
        """Charge moves the node of both devices first, then the diode conducts."""
        return i * max(100e-9 - 2.0 * CHARGE / i, 0.0) if i > 0.0 else 0.0

    want_lower = 100e3 * (max(valley, 0.0) * 100e-9 + after_turn_off(peak))
    want_upper = 100e3 * (max(-peak, 0.0) * 100e-9 + after_turn_off(-valley))
    assert lower.item() == pytest.approx(want_lower, rel=1e-9, abs=1e-15)
    assert upper.item() == pytest.approx(want_upper, rel=1e-9, abs=1e-15)


def test_half_a_cycle_of_both_switches_is_a_whole_cycle_of_either():
    theta = angles(256)
    current = 4.0 * np.sin(theta)
    whole = leg(current - 1.0, current + 1.0)
    half = leg(current[..., :128] - 1.0, current[..., :128] + 1.0)
    stress = mirrored_stress(half, designs(1.0), V)
    upper = dead_time_currents(whole)[0]
    assert stress.i_reverse_dead.item() == pytest.approx(upper.item(), rel=1e-9)
    full = switch.edge_loss(DEVICE, edges(whole)[0])
    halves = [switch.edge_loss(DEVICE, edge) for edge in stress.edges]
    for name in ("capacitive", "overlap", "gate"):
        total = sum(getattr(x, name) for x in halves).item()
        assert total == pytest.approx(getattr(full, name).item(), rel=1e-9)


def test_dead_time_of_a_stiff_current_is_a_square_wave():
    theta = angles(32, np.pi)
    current = 10.0 * np.sin(theta)
    voltages = dead_time_voltages(
        current, current, V, i_rms=designs(10.0 / np.sqrt(2.0)), theta=theta, orders=(3, 5)
    )
    for order, v in zip((3, 5), voltages, strict=True):
        # The step between two angles rounds the corners of the square a little.
        assert v.item() == pytest.approx(4.0 / np.pi / order * 380.0, rel=0.02)


def test_no_dead_time_error_while_the_ripple_crosses_zero():
    theta = angles(32, np.pi)
    current = np.sin(theta)
    voltages = dead_time_voltages(
        current - 5.0, current + 5.0, V, i_rms=designs(0.7), theta=theta, orders=(3,)
    )
    assert voltages[0].item() == pytest.approx(0.0, abs=1e-9)
    assert line_mean(current).item() > 0.0
