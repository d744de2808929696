"""The closed forms of one phase against the switched circuit, at a fixed line angle."""

import dataclasses
import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.axes import angles, designs, line_mean
from models.stages.flyback_waves import Circuit, complementary, overlap, shared_ripple, short_pulse
from tests.stages.flyback_circuit import (
    Point,
    closed_form,
    measured,
    simulated,
)

COMPLEMENTARY = {
    "150 W, 35 to 380 V": Point(35.0, 380.0, 150.0, 6.0, 20e-6, 0.4e-6, 6e-6),
    "200 W, 25 to 200 V": Point(25.0, 200.0, 200.0, 6.0, 15e-6, 0.3e-6, 20e-6),
    "30 W, valley below zero": Point(45.0, 380.0, 30.0, 6.0, 20e-6, 0.4e-6, 40e-6),
}
SHORT = {
    "150 W, peak of the line": Point(35.0, 325.0, 150.0, 6.0, 5e-6, 0.1e-6, 40e-6, 0.25e-6),
    "14 W, near the zero crossing": Point(35.0, 100.0, 14.2, 6.0, 5e-6, 0.1e-6, 40e-6, 0.25e-6),
    "80 W, little clamp capacitance": Point(28.0, 250.0, 80.0, 5.0, 6e-6, 0.15e-6, 4e-6, 0.4e-6),
}


@pytest.mark.parametrize("point", [*COMPLEMENTARY.values(), *SHORT.values()],
                         ids=[*COMPLEMENTARY, *SHORT])  # fmt: skip
def test_every_stress_is_that_of_the_switched_circuit(point: Point) -> None:
    waves = closed_form(point)
    assert waves.outside.item() < 0.002
    seen = measured(point, simulated(point))
    for name in ("ms_switch", "ms_clamp", "ms_secondary"):
        assert math.sqrt(getattr(waves, name).item()) == pytest.approx(seen[name], rel=0.015)
    assert waves.i_peak.item() == pytest.approx(seen["i_peak"], rel=5e-3)
    assert -waves.i_peak.item() == pytest.approx(seen["i_on"], rel=0.015)
    assert waves.v_clamp.item() == pytest.approx(seen["v_clamp"], rel=5e-3)
    assert waves.v_edge.item() == pytest.approx(seen["v_edge"], rel=0.01)
    assert seen["power_in"] == pytest.approx(point.power, rel=0.01)


def test_commutated_current_is_that_of_the_diode_when_the_main_switch_turns_on() -> None:
    for point in (COMPLEMENTARY["200 W, 25 to 200 V"], SHORT["150 W, peak of the line"]):
        waves = simulated(point)
        seen = waves.before("i:out", 1.0) * point.ratio
        assert closed_form(point).i_commutated.item() == pytest.approx(seen, rel=0.01)


def test_diode_blocks_output_plus_transformed_input() -> None:
    for point in (COMPLEMENTARY["150 W, 35 to 380 V"], SHORT["150 W, peak of the line"]):
        waves = simulated(point)
        ends, duty = np.cumsum(waves.step), closed_form(point).duty.item()
        on = np.mean(waves.value["v:out"][(ends > 0.3 * duty) & (ends < 0.9 * duty)])
        share = point.l_m / (point.l_m + point.l_k)
        expected = -(point.v_out + point.ratio * share * point.v_in)
        assert on == pytest.approx(expected, rel=5e-3)


def test_the_body_diode_of_the_clamp_switch_carries_the_first_of_two_pulses_alike() -> None:
    point = SHORT["150 W, peak of the line"]
    seen = simulated(point)
    half = math.sqrt(0.5 * closed_form(point).ms_clamp.item())
    assert seen.rms("i:aid") == pytest.approx(half, rel=0.02)
    assert seen.rms("i:catch") == pytest.approx(half, rel=0.02)
    i_peak = closed_form(point).i_peak.item()
    charge = 0.5 * point.f * point.t_pulse * i_peak
    assert seen.mean("i:catch") == pytest.approx(charge, rel=0.02)


def test_outside_the_region_of_complementary_drive_clamp_and_diode_are_overstated() -> None:
    inside = COMPLEMENTARY["30 W, valley below zero"]
    point = dataclasses.replace(inside, c_clamp=4e-6)
    waves = closed_form(point)
    assert waves.outside.item() > 0.05 > closed_form(inside).outside.item()
    seen = measured(point, simulated(point))
    assert math.sqrt(waves.ms_secondary.item()) > 1.3 * seen["ms_secondary"]
    assert math.sqrt(waves.ms_clamp.item()) > 1.1 * seen["ms_clamp"]
    assert math.sqrt(waves.ms_switch.item()) == pytest.approx(seen["ms_switch"], rel=0.01)


TWO_PHASES = {
    "complementary": COMPLEMENTARY["150 W, 35 to 380 V"],
    "complementary, little duty": Point(50.0, 180.0, 150.0, 6.0, 20e-6, 0.6e-6, 30e-6),
    "short pulse, falling pulses overlap": SHORT["150 W, peak of the line"],
    "short pulse, rising pulses overlap": Point(
        20.0, 325.0, 95.0, 6.0, 5e-6, 0.1e-6, 40e-6, 0.25e-6
    ),
}


@pytest.mark.parametrize("point", TWO_PHASES.values(), ids=TWO_PHASES)
def test_two_phases_half_a_period_apart_share_ripple_as_simulated(point: Point) -> None:
    waves = closed_form(point)
    seen = simulated(point, phases=2)
    ac_in = seen.ripple_rms("i:in_")
    i_in = point.power / point.v_in
    crossed_in, crossed_out = shared_ripple(waves)
    ours = math.sqrt(2 * (waves.ms_switch + crossed_in).item() - (2 * i_in) ** 2)
    assert ours == pytest.approx(ac_in, rel=0.02)
    out = seen.value["i:out"] + seen.value["i:out1"]
    i_out = point.power / point.v_out
    ours = math.sqrt(
        2 * (waves.ms_secondary + crossed_out).item() / point.ratio**2 - (2 * i_out) ** 2
    )
    assert ours == pytest.approx(math.sqrt(seen.step @ out**2 - (seen.step @ out) ** 2), rel=0.02)


def line_waves(l_k: float = 0.0):
    circuit = Circuit(
        l_m=designs(5e-6), l_k=designs(l_k or 1e-12), c_clamp=designs(4e-6), f=designs(100e3),
        t_pulse=designs(1e-12 if not l_k else 0.25e-6),
    )  # fmt: skip
    theta = angles(256, math.pi)
    power = 150.0 * np.sin(theta) ** 2
    v_r = 325.0 / 6.0 * np.sin(theta)
    return short_pulse(circuit, power, v_in=designs(35.0), v_r=v_r)


@pytest.mark.published(
    "A. C. Kyritsis, E. C. Tatakis, N. P. Papanikolaou, IEEE Trans. Energy Convers. 23(1), "
    "2008 (from memory)"
)
def test_power_over_the_line_is_input_voltage_and_peak_duty_squared_over_4_l_f() -> None:
    waves = line_waves()
    duty = waves.duty.max()
    assert 35.0**2 * duty**2 / (4 * 5e-6 * 100e3) == pytest.approx(75.0, rel=1e-3)


@pytest.mark.published("flyback section of a regulator's data sheet, SNVS496F (ratio and duty)")
def test_five_volts_from_sixteen_at_half_duty_need_a_ratio_of_0_313() -> None:
    circuit = Circuit(designs(1e-5), designs(1e-13), designs(1e-6), designs(1e5), designs(1e-7))
    ratio = 0.313
    waves = complementary(circuit, designs(5.0), v_in=designs(16.0), v_r=designs(5.0 / ratio))
    assert waves.duty.item() == pytest.approx(0.5, rel=2e-3)


def test_without_leakage_the_line_rms_follows_the_textbook_law() -> None:
    # I_S = Î₀·√(4·D₀/9π), computed here independently from i_rms² = D·Î²/3 over a sine.
    waves = line_waves()
    peak, duty = waves.i_peak.max(), waves.duty.max()
    law = peak * math.sqrt(4 * duty / (9 * math.pi))
    assert math.sqrt(line_mean(waves.ms_switch).item()) == pytest.approx(law, rel=1e-3)


def test_charge_over_a_period_carries_the_power() -> None:
    waves = line_waves(0.1e-6)
    before = 0.5 * (waves.i_start - waves.i_peak) * waves.commutation
    after = 0.5 * (waves.i_start + waves.i_peak) * (waves.duty - waves.commutation)
    theta = angles(256, math.pi)
    assert_allclose(35.0 * (before + after), 150.0 * np.sin(theta) ** 2, rtol=1e-9)


@pytest.mark.parametrize("width", [0.3, 0.55, 0.8, 0.97])
def test_overlap_is_the_mean_product_of_shifted_pulses(width: float) -> None:
    t = (np.arange(200_000) + 0.5) / 200_000
    pulse = np.where(t < width, 2.0 + (7.0 - 2.0) * t / width, 0.0)
    product = np.mean(pulse * np.roll(pulse, 100_000))
    assert overlap(designs(width), designs(2.0), designs(7.0)).item() == pytest.approx(
        product, rel=1e-4, abs=1e-12
    )
