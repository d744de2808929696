"""Sums of shifted phases against the sum itself."""

import numpy as np
import pytest

from models.axes import designs
from models.physics.interleaving import chain, summed_charge, summed_square

STEPS = 120000  # a multiple of every number of phases


@pytest.mark.parametrize("phases", [1, 2, 3, 4])
def test_square_and_charge_are_those_of_the_summed_wave(phases, rng):
    t = (np.arange(STEPS) + 0.5) / STEPS
    for _ in range(5):
        lengths, values = rng.dirichlet([1, 4, 1, 4]), rng.uniform(-3, 9, 4)
        wave = chain(tuple(designs(x) for x in lengths), tuple(designs(x) for x in values))
        corners = np.concatenate(([0.0], np.cumsum(lengths)))
        one = np.interp(t, corners, np.append(values, values[0]))
        total = sum(np.roll(one, j * STEPS // phases) for j in range(phases))
        assert wave.mean.item() == pytest.approx(one.mean(), rel=1e-6, abs=1e-8)
        assert summed_square(wave, phases).item() == pytest.approx(total.var(), rel=1e-6)
        moved = np.cumsum(total - total.mean()) / STEPS
        assert summed_charge(wave, phases).item() == pytest.approx(np.ptp(moved), rel=1e-3)


def test_phases_may_differ_from_design_to_design(rng):
    lengths = tuple(designs(np.full(3, x)) for x in (0.3, 0.5, 0.2))
    wave = chain(lengths, tuple(designs(np.full(3, x)) for x in (1.0, 4.0, 0.0)))
    many = summed_square(wave, designs([1, 2, 4]))
    for i, n in enumerate((1, 2, 4)):
        assert many[i] == pytest.approx(summed_square(wave, n)[i], rel=1e-12)


def test_triangles_of_complementary_halves_cancel():
    halves = (designs(0.5), designs(0.5))
    wave = chain(halves, (designs(0.0), designs(2.0)))
    assert summed_square(wave, 1).item() == pytest.approx(4.0 / 12.0, rel=1e-9)
    assert summed_square(wave, 2).item() < 1e-12
    assert summed_charge(wave, 1).item() == pytest.approx(2.0 / 8.0, rel=1e-9)
