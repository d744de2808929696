"""The unfolder against numbers over the line cycle."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from models.axes import angles, designs, line_mean, points
from models.ledger import Kind
from models.parts import capacitor
from models.stages import unfolder
from models.stages.unfolder import demand, missing_current
from tests.stages.rectified_sine import bridge, case


@pytest.mark.parametrize(
    ("p", "v", "f", "c"),
    [(300.0, 120.0, 60.0, 1e-6), (300.0, 240.0, 60.0, 1e-6), (60.0, 230.0, 50.0, 0.47e-6)],
)
def test_what_one_quadrant_leaves_out_is_the_negative_part_of_the_wave(p, v, f, c) -> None:
    # Computed here over half a line cycle by sums.
    w, i = 2 * math.pi * f, p / v
    x = (np.arange(200_000) + 0.5) * math.pi / 200_000
    wanted = math.sqrt(2) * (i * np.sin(x) + w * c * v * np.cos(x))
    exact = math.sqrt(np.mean(np.minimum(wanted, 0.0) ** 2))
    lead = designs(w * c * v**2 / p)
    assert missing_current(lead, designs(i)).item() == pytest.approx(exact, rel=2e-3)
    assert missing_current(-lead, designs(i)).item() == pytest.approx(exact, rel=2e-3)


@pytest.mark.parametrize("factor", [1.0, 0.99, -0.99])
def test_demand_carries_the_power_and_never_takes_it_back(factor: float) -> None:
    rows = case(p_ac=(300.0, 100.0, 30.0), power_factor=factor)
    p_run = designs([100.0, 60.0]) * points([3.0, 2.0, 1.0])
    want = demand(bridge(), p_run, rows)
    assert_allclose(line_mean(want.share), 1.0)
    assert (want.share >= 0.0).all()
    middle = want.v.shape[2] // 2
    assert_allclose(want.v[:, :, middle : middle + 1], want.v_peak)
    assert (want.v_peak > math.sqrt(2) * 230.0).all()


def test_demand_is_twice_sine_squared_without_a_capacitor_ahead() -> None:
    want = demand(bridge(side=1), designs(300.0), case())
    assert_allclose(want.share, 2 * np.sin(unfolder.THETA) ** 2, rtol=1e-9)
    assert_allclose(want.v / want.v_peak, np.sin(unfolder.THETA))


def test_angles_average_powers_of_the_sine() -> None:
    # Means over half a cycle: Γ((p + 1)/2)/(√π·Γ(p/2 + 1)).
    theta = unfolder.THETA
    assert theta[0, 0, theta.shape[2] // 2] == pytest.approx(0.5 * math.pi, rel=1e-12)
    for p in (1.0, 1.5, 2.0, 2.5, 3.0, 4.0):
        exact = math.gamma(0.5 * (p + 1)) / (math.sqrt(math.pi) * math.gamma(0.5 * p + 1))
        tolerance = 1e-7 if p in (1.0, 2.0, 4.0) else 2.2e-3
        assert line_mean(np.sin(theta) ** p).item() == pytest.approx(exact, rel=tolerance)


def test_demand_at_other_angles_is_the_same_wave() -> None:
    theta = angles(315, math.pi)
    want, few = (demand(bridge(), designs(300.0), case(), x) for x in (theta, None))
    found = np.interp(unfolder.THETA[0, 0], theta[0, 0], want.share[0, 0])
    assert_allclose(few.share[0, 0], found, rtol=5e-3)


def placed(rows, design, *, i_hf=1.0, share=1.0):
    p = rows.points.p_ac * 1.0 + 1e-3
    return unfolder.place(
        "unfolder", design, p=p, p_run=p / share, i_hf_rms=designs(i_hf), f_hf=designs(1e5),
        case=rows,
    )  # fmt: skip


def test_each_transistor_carries_the_grid_current_half_of_the_time() -> None:
    rows = case()
    stress = placed(rows, bridge()).parts[0].stress
    t = (np.arange(10_000) + 0.5) / 10_000
    wave = np.maximum(math.sqrt(2) * 300 / 230 * np.sin(2 * math.pi * t), 0.0)
    assert stress.i_rms.item() == pytest.approx(math.sqrt(np.mean(wave**2)), rel=1e-5)
    # In bursts the same mean power takes more rms current.
    bursts = placed(rows, bridge(), share=0.5).parts[0].stress
    assert bursts.i_rms.item() == pytest.approx(math.sqrt(2) * stress.i_rms.item(), rel=1e-5)


def test_switching_ripple_passes_only_where_the_capacitor_stands_at_the_grid() -> None:
    quiet = placed(case(), bridge(side=0), i_hf=2.0).parts[0].stress.i_rms.item()
    loud = placed(case(), bridge(side=1), i_hf=2.0).parts[0].stress.i_rms.item()
    assert loud**2 - quiet**2 == pytest.approx(0.5 * 2.0**2, rel=1e-6)


def test_it_blocks_the_window_the_idle_grid_and_a_lost_one() -> None:
    rows = case(p_ac=(300.0, 0.0, 300.0), v_grid=(230.0, 276.0, 230.0), rejection=(0.0, 0.0, 1.0))
    stress = placed(rows, bridge()).parts[0].stress
    c = capacitor.capacitance(bridge().filter, rows).item()
    top = math.sqrt(2) * 253.0
    lost = math.sqrt(top**2 + 2 * unfolder.TRIP_TIME * 600.0 / c)
    assert_allclose(stress.v_block[0, :, 0], [top, math.sqrt(2) * 276.0, lost], rtol=1e-4)


def test_distortion_is_a_limit_only_for_a_capacitor_ahead() -> None:
    rows = case(p_ac=(300.0, 30.0))
    ahead = placed(rows, bridge("film-1u-630V-305VAC")).books
    behind = placed(rows, bridge("film-1u-630V-305VAC", side=1)).books
    w, i = 2 * math.pi * 50.0, 30.0 / 230.0
    expected = w * 1e-6 * math.sqrt(2) * 230.0 * math.sqrt(
        math.atan(w * 1e-6 * 230.0 / i) / (3 * math.pi)
    ) / (300.0 / 230.0)  # fmt: skip
    seen = ahead.find("grid.distortion", Kind.FIGURE).value
    assert seen[0, 1, 0] == pytest.approx(expected, rel=1e-4)
    assert ahead.find("unfolder.distortion", Kind.LIMIT).value.max() > -0.5
    assert_allclose(behind.find("grid.distortion", Kind.FIGURE).value, 0.0)


def test_no_loss_but_the_on_resistance() -> None:
    part = placed(case(), bridge()).parts[0]
    books = part.book(np.full((1, 1, 1), 80.0), case())
    for entry in books.of(Kind.LOSS):
        assert (entry.value.max() > 0.0) == entry.path.endswith(".conduction")
