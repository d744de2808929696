"""Gaps against published pairs of gap and inductance."""

import numpy as np
import pytest

from models.axes import designs
from models.physics.gap import fringing, gap_length, gapped_inductance

RM8 = {"area": 63e-6, "length": 38.4e-3, "window": 10.8e-3, "mu_r": 2000.0}
E13 = {"area": 12.4e-6, "length": 29.7e-3, "window": 9.3e-3, "mu_r": 2000.0}


def core(row: dict[str, float]) -> dict[str, np.ndarray]:
    return {key: designs(value) for key, value in row.items()}


@pytest.mark.published("data sheet of an RM8 core with air gap, 2008")
@pytest.mark.parametrize(
    ("microns", "nanohenry"), [(1100, 100), (610, 160), (360, 250), (270, 315), (200, 400)]
)
def test_inductance_of_a_round_gapped_leg(microns, nanohenry):
    found = gapped_inductance(designs(microns * 1e-6), designs(1.0), **core(RM8)).item()
    assert found * 1e9 == pytest.approx(nanohenry, rel=0.03)


@pytest.mark.published("data sheet of an E13/7/4 core with air gap, 2008")
@pytest.mark.parametrize(
    ("microns", "nanohenry"), [(320, 63), (175, 100), (100, 160), (55, 250), (40, 315)]
)
def test_inductance_of_a_small_rectangular_gapped_leg(microns, nanohenry):
    found = gapped_inductance(designs(microns * 1e-6), designs(1.0), **core(E13)).item()
    assert found * 1e9 == pytest.approx(nanohenry, rel=0.06)


@pytest.mark.published("data sheet of an RM8 core with air gap, 2008: about 360 µm for 250 nH")
def test_gap_for_an_inductance_after_six_steps():
    gap, factor = gap_length(designs(250e-9), designs(1.0), **core(RM8))
    assert gap.item() == pytest.approx(360e-6, rel=0.02)
    assert factor.item() == pytest.approx(
        1.0 + gap.item() / 63e-6**0.5 * np.log(21.6e-3 / gap.item()), rel=1e-3
    )


def test_gap_and_inductance_are_inverse_within_the_allowed_region(rng):
    wanted = designs(rng.uniform(20e-6, 400e-6, 200))
    gap, factor = gap_length(wanted, designs(30.0), **core(RM8))
    allowed = (gap > 10e-6) & (gap < 0.05 * RM8["length"]) & (factor < 1.5)
    assert allowed.sum() > 100
    held = np.clip(gap, 10e-6, 4e-3)
    back = gapped_inductance(held, designs(30.0), **core(RM8))
    assert back[allowed] == pytest.approx(np.broadcast_to(wanted, gap.shape)[allowed], rel=0.012)


def test_absurd_wishes_stay_finite_and_show_in_the_gap():
    none, _ = gap_length(designs(1.0), designs(3.0), **core(RM8))
    huge, _ = gap_length(designs(1e-7), designs(150.0), **core(RM8))
    assert none.item() < 0.0
    assert np.isfinite(huge.item())
    assert huge.item() > 0.4 * RM8["window"]


def test_fringing_vanishes_with_the_gap():
    assert fringing(designs(1e-9), designs(63e-6), designs(10.8e-3)).item() == pytest.approx(
        1.0, abs=1e-5
    )
