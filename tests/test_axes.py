"""Laws of the three axes."""

import numpy as np
import pytest

from models.axes import angles, check_axes, designs, line_mean, line_rms, points, swing_nodes
from models.errors import ModelError


def test_designs_points_and_angles_stand_on_their_own_axis():
    assert designs([1, 2]).shape == (2, 1, 1)
    assert points([1, 2, 3]).shape == (1, 3, 1)
    assert angles(64).shape == (1, 1, 64)


def test_midpoint_rule_is_exact_for_the_squares_of_a_sine():
    theta = angles(64)
    assert line_rms(np.sin(theta)).item() == pytest.approx(np.sqrt(0.5), rel=1e-14)


def test_sixteen_angles_give_the_mean_of_a_core_loss_like_power():
    # mean of |sin|^2.6 over the cycle, by adaptive quadrature
    from scipy.integrate import quad

    exact = quad(lambda t: np.sin(t) ** 2.6, 0, np.pi)[0] / np.pi
    assert line_mean(np.sin(angles(16, np.pi)) ** 2.6).item() == pytest.approx(exact, rel=1e-4)


@pytest.mark.published("Abramowitz and Stegun 1964, 25.4.38 (from memory)")
def test_five_swing_nodes_average_polynomials_of_the_sine_to_degree_nine():
    s, theta = swing_nodes(5), angles(512)
    for degree in range(10):
        fine = line_mean(np.sin(2 * theta) ** degree).item()
        assert line_mean(s**degree).item() == pytest.approx(fine, rel=1e-12, abs=1e-14)


def test_an_array_without_three_axes_is_refused():
    with pytest.raises(ModelError, match="three axes"):
        check_axes("link.v", np.ones((2, 3)))
