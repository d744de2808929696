"""Averages and extremes over the nodes of the link's swing."""

import math

import numpy as np
import pytest

from models.axes import designs, swing_nodes
from models.physics.buffer import modulation_peak, swing_voltage
from models.stages.swing import highest, link_ends, lowest, node_mean


@pytest.mark.parametrize("k", [0.0, 0.3, 0.9])
@pytest.mark.parametrize("nodes", [3, 5])
def test_ends_of_the_link_are_exact(k, nodes):
    v = swing_voltage(designs(200.0), k * swing_nodes(nodes))
    least, most = link_ends(v)
    assert least.item() == pytest.approx(200.0 * math.sqrt(1.0 - k), rel=1e-9)
    assert most.item() == pytest.approx(200.0 * math.sqrt(1.0 + k), rel=1e-9)


def test_ends_of_a_straight_line_are_exact_and_its_mean_is_the_middle():
    x = 5.0 + 2.0 * swing_nodes(3)
    assert highest(x).item() == pytest.approx(7.0, rel=1e-12)
    assert lowest(x).item() == pytest.approx(3.0, rel=1e-12)
    assert node_mean(x).item() == pytest.approx(5.0, rel=1e-12)


@pytest.mark.parametrize("k", [0.0, 0.2, 0.6, 0.9])
@pytest.mark.parametrize("phi", [-0.5, 0.0, 0.3])
def test_peak_of_the_modulation_is_that_of_the_waves(k, phi):
    theta = np.linspace(0.0, math.pi, 100_001)
    wave = 170.0 * np.sin(theta) / (200.0 * np.sqrt(1.0 + k * np.sin(2.0 * theta - phi)))
    found = modulation_peak(
        designs(170.0), designs(200.0), k=designs(k), sin_phi=designs(math.sin(phi))
    )
    assert found.item() == pytest.approx(np.abs(wave).max(), rel=1e-6)
