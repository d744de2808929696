"""Harmonics against Fourier transforms of the sampled waves."""

import numpy as np
import pytest

from models.axes import designs
from models.physics.harmonics import orders, pulse_harmonics, triangle_harmonics

instants = (np.arange(200000) + 0.5) / 200000


def spectrum(wave: np.ndarray) -> np.ndarray:
    """Return squared rms values of all harmonics; entry 0 is the squared mean."""
    c = np.abs(np.fft.rfft(wave) / wave.size) ** 2
    return np.concatenate([c[:1], 2 * c[1:]])


def triangle(duty: float) -> np.ndarray:
    return np.where(instants < duty, -0.5 + instants / duty, 0.5 - (instants - duty) / (1 - duty))


def test_harmonics_of_a_triangle():
    # Amplitudes computed independently by Fourier transform.
    found = triangle_harmonics(designs(1.0), designs(0.3), 4)
    amplitudes = [np.sqrt(2 * x.item()) for x in found[:3]]
    assert amplitudes == pytest.approx([0.39034, 0.11472, 0.01657], rel=3e-4)


@pytest.mark.parametrize("duty", [0.02, 0.1, 0.5, 0.73, 0.97])
def test_triangle_follows_its_transform_and_keeps_its_rms(duty):
    found = [x.item() for x in triangle_harmonics(designs(3.0), designs(duty), 6)]
    exact = 9 * spectrum(triangle(duty))
    assert found[:5] == pytest.approx(exact[1:6], rel=1e-5, abs=1e-9)
    assert found[5] == pytest.approx(exact[6:].sum(), rel=1e-5)
    assert sum(found) == pytest.approx(9 / 12, rel=1e-12)


def test_duty_outside_the_period_keeps_the_rms():
    found = triangle_harmonics(designs(1.0), designs([-0.2, 0.0, 1.0, 1.4]), 5)
    assert sum(found).ravel() == pytest.approx(1 / 12)
    assert all((x >= 0).all() for x in found)


def pulse(first: float, last: float, duty: float) -> np.ndarray:
    return np.where(instants < duty, first + (last - first) * instants / duty, 0.0)


@pytest.mark.parametrize(("first", "last"), [(0.0, 2.0), (2.0, 0.0), (1.0, 1.0), (0.7, 1.9)])
@pytest.mark.parametrize("duty", [0.05, 0.35, 0.8])
def test_straight_topped_pulses_follow_their_transform(first, last, duty):
    exact = spectrum(pulse(first, last, duty))
    ramp = 2 * (last - first) / (first + last)
    found = pulse_harmonics(designs(exact[1:].sum()), designs(duty), 5, designs(ramp))
    assert [x.item() for x in found[:4]] == pytest.approx(exact[1:5], rel=1e-3)
    assert found[4].item() == pytest.approx(exact[5:].sum(), rel=2e-3)


def test_a_pulse_keeps_its_whole_alternating_current():
    found = pulse_harmonics(designs(2.5), designs([0.0, 0.3, 1.0]), 4)
    assert sum(found).ravel() == pytest.approx(2.5)


@pytest.mark.parametrize("duty", [0.3, 0.5, 0.8])
def test_few_entries_carry_the_eddy_loss_of_a_triangle(duty):
    """In thin strands loss grows as the mean square of the slope, ω² = 12·f²/(D·(1 − D))."""
    count = 5
    found = triangle_harmonics(designs(1.0), designs(duty), count)
    seen = sum(x.item() * (2 * np.pi * n) ** 2 for x, n in zip(found, orders(count), strict=True))
    assert seen == pytest.approx(1 / (duty * (1 - duty)), rel=0.06)


def test_a_single_entry_is_the_fundamental():
    assert orders(1) == (1.0,)
    assert triangle_harmonics(designs(1.0), designs(0.5), 1)[0].item() == pytest.approx(1 / 12)
