"""Storage at the module: ripple and its price against integration in time and print."""

import math

import numpy as np
import pvlib
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, fsolve

from models.axes import designs
from models.ledger import Kind
from models.stages import module_buffer
from models.stages.module_buffer import mppt_utilisation, ripple
from tests.stages.rectified_sine import case, storage


class Module:
    """A single-diode module of 60 cells with its maximum power point."""

    def __init__(self, ideality=1.2, r_s=0.30, i_ph=9.6, r_sh=300.0, v_oc=39.5):
        a = ideality * 60 * 1.380649e-23 * 298.15 / 1.602177e-19
        i_0 = (i_ph - v_oc / r_sh) / math.expm1(v_oc / a)
        self.parameters = (i_ph, i_0, r_s, r_sh, a)
        best = pvlib.pvsystem.max_power_point(*self.parameters)
        self.v, self.p = float(best["v_mp"]), float(best["p_mp"])
        h = 1e-3 * self.v
        bend = (self.power(self.v + h) - 2 * self.p + self.power(self.v - h)) / h**2
        self.kappa = -bend * self.v**2 / self.p

    def current(self, v):
        return pvlib.pvsystem.i_from_v(v, *self.parameters)

    def power(self, v):
        return v * self.current(v)


def integrated(module: Module, c: float, f: float) -> tuple[float, float, float]:
    """Ripple amplitude [V], rms capacitor current [A] and utilisation, computed here.

    The circuit is integrated over half a line cycle; its power and start are sought so
    that it repeats with its mean voltage at the maximum power point.
    """
    w, period = 2 * math.pi * f, 1 / (2 * f)
    grid = np.linspace(5.0, 39.4, 4000)
    table = module.current(grid)

    def course(v_0, power):
        def slope(t, v):
            return (np.interp(v, grid, table) - power * (1 - np.cos(2 * w * t)) / v) / c

        t = np.linspace(0, period, 801)
        return solve_ivp(slope, (0, period), [v_0], t_eval=t, rtol=1e-8, atol=1e-9).y[0]

    def misfit(x):
        v = course(*x)
        return v[-1] - v[0], np.trapezoid(v, dx=1 / 800) - module.v

    v = course(*fsolve(misfit, (module.v, module.p), xtol=1e-7))
    current = c * np.gradient(v, period / 800)
    used = np.trapezoid(module.power(v), dx=1 / 800) / module.p
    rms = math.sqrt(np.trapezoid(current**2, dx=1 / 800))
    return (v.max() - v.min()) / 2, rms, float(used)


@pytest.mark.parametrize(
    ("c", "f", "module", "within"),
    [
        (10e-3, 60.0, Module(), 0.005),
        (4.7e-3, 60.0, Module(), 0.01),
        (2.2e-3, 50.0, Module(1.5, 0.2), 0.03),  # 17 % amplitude, past the limit
    ],
)
def test_ripple_is_that_of_the_circuit_in_time(c, f, module, within) -> None:
    amplitude, rms, used = integrated(module, c, f)
    # The power that goes on is what the module gives on average.
    p = designs(module.p)
    ours = ripple(
        p, p, c=designs(c), v=designs(module.v), omega=designs(2 * math.pi * f),
        kappa=designs(module.kappa),
    )  # fmt: skip
    assert ours.ratio.item() * module.v == pytest.approx(amplitude, rel=within)
    assert ours.i_rms.item() == pytest.approx(rms, rel=within)
    left = 1 - mppt_utilisation(designs(module.kappa), ours.ratio).item()
    assert left == pytest.approx(1 - used, rel=0.07)


@pytest.mark.published(
    "Kjaer, Pedersen and Blaabjerg, IEEE Trans. Ind. Appl. 41(5), 2005 (from memory)"
)
def test_160_w_at_35_v_and_50_hz_swing_3_v_on_2_4_mf() -> None:
    ours = ripple(
        designs(160.0), designs(160.0), c=designs(2.43e-3), v=designs(35.0),
        omega=designs(2 * math.pi * 50), kappa=designs(0.0),
    )  # fmt: skip
    assert ours.ratio.item() * 35.0 == pytest.approx(3.0, rel=5e-3)


@pytest.mark.published(
    "Kjaer, Pedersen and Blaabjerg, IEEE Trans. Ind. Appl. 41(5), 2005 (from memory)"
)
def test_98_percent_use_at_8_5_percent_ripple_is_a_curvature_of_11() -> None:
    kappa = brentq(lambda k: mppt_utilisation(designs(k), designs(0.085)).item() - 0.98, 1, 99)
    assert kappa == pytest.approx(11.07, rel=1e-3)


@pytest.mark.parametrize("ratio", [0.02, 0.04, 0.08])
def test_use_of_the_module_is_the_mean_of_its_curve(ratio: float) -> None:
    # Computed here independently: the mean power of a sinusoidal swing about the maximum.
    module = Module()
    v = module.v * (1 + ratio * np.sin(2 * math.pi * (np.arange(400) + 0.5) / 400))
    exact = 1 - np.mean(module.power(v)) / module.p
    ours = 1 - mppt_utilisation(designs(module.kappa), designs(ratio)).item()
    assert ours == pytest.approx(exact, rel=0.15)
    assert ours <= 1.001 * exact


@pytest.mark.parametrize("share", [0.15, 1 / 3, 0.5, 0.8, 1.0])
def test_burst_swing_is_that_of_the_energy(share: float) -> None:
    # One running half cycle between idle ones, the stored energy summed numerically.
    p_run, w = 100.0, 2 * math.pi * 50
    p = share * p_run
    t = np.linspace(0, math.pi / w, 40_001)
    energy = p * t - p_run * (t - np.sin(2 * w * t) / (2 * w))
    swing = energy.max() - energy.min()
    ours = ripple(
        designs(p), designs(p_run), c=designs(5e-3), v=designs(30.0), omega=designs(w),
        kappa=designs(0.0),
    )  # fmt: skip
    assert ours.ratio.item() == pytest.approx(swing / (2 * 5e-3 * 30.0**2), rel=1e-3)
    square = share * 1.5 * p_run**2 - p**2
    assert ours.i_rms.item() == pytest.approx(math.sqrt(square) / 30.0, rel=1e-9)


def placed(case_, design, i_hf=8.0):
    p = case_.points.p_ac * 1.05
    return module_buffer.place(
        "buffer", design, p, p_run=p, i_hf_rms=designs(i_hf), f_hf=designs(2e5), case=case_
    )


def test_worn_cans_swing_more_and_bind() -> None:
    books = placed(case(ripple_max=5.0), storage()).books
    new = books.find("module.ripple", Kind.FIGURE).value
    worn = books.find("buffer.ripple_worn", Kind.FIGURE).value
    assert_allclose(worn / new, 1 / 0.8, rtol=0.01)
    assert_allclose(books.find("module.ripple", Kind.LIMIT).value, worn / 0.10 - 1)
    assert_allclose(books.find("module.ripple_wanted", Kind.LIMIT).value, worn / 0.05 - 1)
    used = books.find("module.mppt_efficiency", Kind.FIGURE).value
    assert_allclose(used, 1 - 18.0 * new**2 / 4)


def test_idle_rows_do_not_swing() -> None:
    books = placed(case(p_ac=(300.0, 0.0)), storage()).books
    assert books.find("module.ripple", Kind.FIGURE).value[0, 1, 0] == 0.0


def test_switching_ripple_divides_between_cans_and_ceramics() -> None:
    both = placed(case(), storage()).parts
    squares = [part.stress.i_hf_rms**2 for part in both]
    assert_allclose(squares[0] + squares[1], 64.0)
    # More ceramics relieve the cans.
    more = module_buffer.Design(
        storage().storage,
        module_buffer.ceramic.Design(storage().bypass.row, designs(30.0)),
    )
    assert (placed(case(), more).parts[0].stress.i_hf_rms < both[0].stress.i_hf_rms).all()


def test_a_batch_equals_its_single_designs() -> None:
    many = case(v_pv=(30.0, 40.0), p_ac=(300.0, 100.0))
    one, two = storage(), storage(count=6.0)
    joint = module_buffer.Design(
        *(
            type(a)(*(np.concatenate([x, y]) for x, y in zip(vars(a).values(), vars(b).values(),
                                                            strict=True)))
            for a, b in ((one.storage, two.storage), (one.bypass, two.bypass))
        )
    )  # fmt: skip
    together = placed(many, joint).books.find("module.ripple", Kind.FIGURE).value
    for k, alone in enumerate((one, two)):
        single = placed(many, alone).books.find("module.ripple", Kind.FIGURE).value
        assert (together[k] == single[0]).all()
