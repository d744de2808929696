"""Ripple port at the module: stress against a switched leg, the module against its loops."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from models.axes import designs, line_mean
from models.ledger import Kind
from models.parts import capacitor
from models.points import Purpose
from models.stages import module_buffer, ripple_port
from models.stages import ripple_port_module as stage
from models.stages.ports import Store
from tests.simulation.switched_bridge import LegPlan, simulate
from tests.stages.grid_cases import CATALOGUE, Point, choke, film, make_case, transistor
from tests.stages.link_circuit import (
    ROWS,
    book,
    ceramics,
    electrolytics,
    idle_variables,
    laws,
    placed_books,
    random_designs,
    worst_limits,
)
from tests.stages.test_ripple_port_link import closed, differences

V_PV, OMEGA = 33.0, 2.0 * math.pi * 60.0


def design_of(
    bottom=60.0, f=96e3, inductance=40e-6, storage="film-22u-450V-250VAC", count=2.0,
    bypass=10.0, t_dead=60e-9, device="GaN 350 V class",
):  # fmt: skip
    port = ripple_port.Design(
        f=designs(f), inductance=designs(inductance),
        leg=transistor(device, 55e-3, t_dead), choke=choke(),
        storage=film(storage, count),
    )  # fmt: skip
    return stage.Design(designs(bottom), port, ceramics("x7r-10u-100V", bypass))


def placed(case, design, p_run=None, i_hf=3.0):
    p = case.points.p_ac + 2.0
    run = np.maximum(p, 0.0 if p_run is None else p_run)
    running = np.where(case.points.p_ac > 0.0, 1.0, 0.0)
    return stage.place(
        "buffer", design, p, p_run=run, i_hf_rms=i_hf * running, f_hf=designs(150e3), case=case
    )


CASES = {
    "300 W": (300.0, None, {}),
    "300 W, wide swing": (300.0, None, {"bottom": 40.0, "storage": "film-10u-450V-250VAC"}),
    "300 W, stiff choke": (300.0, None, {"inductance": 200e-6, "f": 180e3, "bottom": 120.0}),
    "60 W": (60.0, None, {}),
    "30 W, half of the half cycles": (28.0, 60.0, {}),
    "18 W, a third, soft": (18.0, 60.0, {"inductance": 25e-6, "bottom": 90.0}),
}


def made(name):
    p_ac, p_run, values = CASES[name]
    case = make_case(Point(p_ac))
    design = design_of(**values)
    return case, design, p_ac + 2.0, p_run or p_ac + 2.0, placed(case, design, p_run)


def course(design, p, p_run):
    """Port's power and storage over one pattern of running and pausing half line cycles."""
    half, pattern = math.pi / OMEGA, round(p_run / p)
    assert p * pattern == pytest.approx(p_run, rel=1e-9)
    cycle = pattern * half
    t = np.linspace(0.0, cycle, 60001)

    def power(t):
        drawn = p_run * (1.0 - np.cos(2.0 * OMEGA * t))
        return p - np.where(np.mod(t, cycle) < half, drawn, 0.0)

    c = (design.port.storage.count * CATALOGUE["film"].at("c", design.port.storage.row)).item()
    step = 0.5 * (power(t[1:]) + power(t[:-1])) * (t[1] - t[0])
    energy = np.concatenate([[0.0], np.cumsum(step)])
    energy += 0.5 * c * design.bottom.item() ** 2 - energy.min()
    return cycle, t, power, np.sqrt(2.0 * energy / c)


def simulated(design, p, p_run):
    """The port switch by switch; the leg's voltage is that of the storage."""
    cycle, fine, power, volts = course(design, p, p_run)
    inductance = design.port.inductance.item()

    def v_r(t):
        return np.interp(np.mod(t, cycle), fine, volts)

    def out(t):
        return -power(t) / V_PV

    def duty(t):
        slope = (out(t + 1e-6) - out(t - 1e-6)) / 2e-6
        return (V_PV + inductance * slope) / v_r(t)

    periods = round(design.port.f.item() * cycle)
    plan = LegPlan(duty, lambda t: V_PV + 0.0 * t, inductance, float(np.mean(out(fine[:-1]))))
    trace = simulate((plan,), v_r, cycle=cycle, periods=periods)
    leg, n = trace.legs[0], trace.nodes
    inner = fine[:-1]
    d = V_PV / volts
    return {
        "upper rms": trace.rms(leg.upper * leg.current),
        "lower rms": trace.rms((1.0 - leg.upper) * leg.current),
        "choke rms": trace.rms(leg.current),
        "choke peak": float(np.max(np.abs(leg.ends))),
        "ripple": float(np.max(V_PV * (1.0 - d))) / inductance / design.port.f.item(),
        "storage v_min": volts.min(),
        "storage v_max": volts.max(),
        "storage slow": math.sqrt(np.mean((power(inner) / v_r(inner)) ** 2)),
        "storage fast": trace.rms(leg.upper * leg.current - duty(n) * out(n)),
        "choke fast": trace.rms(leg.current - out(n)),
        "upper on": float(np.mean(np.maximum(leg.i_rise, 0.0))),
        "upper off": float(np.mean(np.maximum(leg.i_fall, 0.0))),
        "lower on": float(np.mean(np.maximum(-leg.i_fall, 0.0))),
        "lower off": float(np.mean(np.maximum(-leg.i_rise, 0.0))),
    }


@pytest.mark.parametrize("name", CASES)
def test_stress_follows_the_switched_leg(name):
    _, design, p, p_run, found = made(name)
    values = closed(found, "buffer")
    values["storage v_max"] = book(found.books, "buffer.port.v_max")
    values["choke fast"] = math.sqrt(found.parts[-1].stress.i_hf_rms.item() ** 2 - 9.0)
    assert not differences(values, simulated(design, p, p_run))


@pytest.mark.parametrize("name", CASES)
def test_module_gives_constant_power(name):
    _, design, p, p_run, found = made(name)
    share = p / p_run
    powers = []
    for edge, part in zip(found.parts[0].stress.edges, (share, 1.0 - share), strict=True):
        i = 0.5 * (edge.i_on + edge.i_off)
        weight = edge.rate.item() / design.port.f.item()
        assert weight == pytest.approx(part, abs=1e-12)
        powers.append((weight, -V_PV * i))
    mean = sum(w * line_mean(x).item() for w, x in powers)
    square = sum(w * line_mean(x * x).item() for w, x in powers)
    assert abs(mean) < 1e-3 * p
    # Of p − p_run·(1 − cos 2θ) in a share of the time, of p in the rest.
    assert square == pytest.approx(1.5 * p_run * p - p * p, rel=2e-3)


@pytest.mark.published(
    "Krein, Balog, Mirjafari, IEEE Trans. Power Electron. 27(11), 2012: a port has to store the "
    "power over the angular line frequency, 5.3 J for 2 kW at 60 Hz (value from memory)"
)
def test_energy_that_a_port_stores():
    _, _, p, _, found = made("300 W")
    low, high = (book(found.books, f"buffer.port.v_{end}") for end in ("min", "max"))
    assert 0.5 * 44e-6 * (high**2 - low**2) * 2000.0 / p == pytest.approx(5.3, rel=0.01)


@pytest.mark.published(
    "rms current of the pulsating power at the module, P/(√2·V): 6.06 A at 300 W and 35 V, "
    "6.08 A in an independent averaged simulation; textbooks"
)
def test_rms_current_of_the_pulsating_power():
    _, _, p, _, found = made("300 W")
    slow = found.parts[2].stress.winding.i_line_rms.item()
    assert slow * V_PV / p * 300.0 / 35.0 == pytest.approx(6.08, rel=0.01)


def test_ripple_left_at_the_module_follows_the_averaged_loops():
    case, design, p, _, found = made("300 W")
    c_in = capacitor.capacitance_at(design.bypass, case.points.v_pv, case).item()
    inner = 2.0 * math.pi * ripple_port.CURRENT_LOOP * 96e3
    outer = inner * ripple_port.VOLTAGE_LOOP
    slope = p / V_PV**2

    def slopes(t, y):
        v, i = y
        pulsating = p * np.cos(2.0 * OMEGA * t)
        wanted = (pulsating + outer * c_in * V_PV * (v - V_PV)) / V_PV
        feed = p / V_PV - slope * (v - V_PV)
        drawn = p - pulsating
        return [(feed - drawn / V_PV - i) / c_in, inner * (wanted - i)]

    cycle = 2.0 * math.pi / OMEGA
    ran = solve_ivp(
        slopes, (0.0, 3.0 * cycle), [V_PV, 0.0], rtol=1e-8, atol=1e-8, dense_output=True,
        method="LSODA",
    )  # fmt: skip
    v = ran.sol(np.linspace(2.0 * cycle, 3.0 * cycle, 4000))[0]
    ratio = book(found.books, "module.ripple")
    assert ratio * V_PV == pytest.approx(0.5 * np.ptp(v), rel=0.03)
    assert ratio < 0.05


def test_it_stands_where_electrolytics_stand_and_needs_none():
    case, design, *_ = made("300 W")
    assert stage.TRAITS.store is Store.MODULE_PORT
    plain = module_buffer.Design(electrolytics("can-4700u-63V-5kh", 2.0), design.bypass)
    call = {"p_run": designs(300.0), "i_hf_rms": designs(3.0), "f_hf": designs(150e3)}
    cans = module_buffer.place("buffer", plain, designs(300.0), **call, case=case)
    port = stage.place("buffer", design, designs(300.0), **call, case=case)
    for path in ("module.mppt_efficiency", "module.ripple"):
        assert cans.books.find(path, Kind.FIGURE)
        assert port.books.find(path, Kind.FIGURE)
    paths = [e.path for e in placed_books(port, case).entries]
    assert not [x for x in paths if x.endswith("electrolytics")]


def test_lowest_voltage_stays_above_a_cold_module():
    rows = (Point(), Point(p_ac=0.0, v_grid=144.0, purpose=Purpose.IDLE))
    found = placed(make_case(*rows), design_of(bottom=30.0))
    low = found.books.find("buffer.port.v_min", Kind.FIGURE).value
    np.testing.assert_allclose(low[0, :, 0], stage.ABOVE * V_PV)
    for part in found.parts[:3]:
        assert part.loss(np.full((1, 2, 1), 60.0))[0, 1, 0] == 0.0, part.path


def test_more_of_everything_does_what_physics_says():
    def figures(**values):
        books = placed(make_case(Point()), design_of(**values)).books
        return book(books, "buffer.port.ripple"), book(books, "buffer.port.v_max")

    assert figures(f=150e3)[0] < figures(f=75e3)[0]
    assert figures(inductance=80e-6)[0] < figures(inductance=40e-6)[0]
    assert figures(count=4.0)[1] < figures(count=2.0)[1]
    assert figures(bottom=120.0)[1] > figures(bottom=60.0)[1]


@pytest.mark.parametrize(
    ("values", "limit"),
    [
        ({"storage": "film-4.7u-450V-250VAC", "count": 1.0}, "buffer.port.storage.voltage"),
        ({"storage": "film-22u-250V"}, "buffer.port.storage.swing"),
        ({"f": 250e3, "t_dead": 300e-9, "count": 1.0}, "buffer.port.duty_low"),
        ({"bottom": 34.0, "f": 250e3, "t_dead": 200e-9}, "buffer.port.duty_high"),
        ({"device": "GaN 100 V class"}, "buffer.port.upper.voltage"),
    ],
)
def test_what_the_port_cannot_do_is_refused(values, limit):
    case = make_case(Point())
    books = placed_books(placed(case, design_of(**values)), case)
    assert books.find(limit, Kind.LIMIT).value.max() > 0.0
    good = placed_books(placed(case, design_of()), case)
    assert good.find(limit, Kind.LIMIT).value.max() <= 0.0


def test_laws_of_a_stage(rng):
    def place(design, case):
        return placed(case, design, 25.0)

    laws(stage.Design, place, rng)
    assert not idle_variables(stage.Design, place, rng)


def test_some_random_design_meets_every_limit(rng):
    n = 6000
    case = make_case(*ROWS[:3])
    _, design = random_designs(stage.Design, n, rng)
    limits = worst_limits(placed_books(placed(case, design, 25.0), case), n)
    met = np.all(np.stack(list(limits.values())) <= 0.0, axis=0)
    assert met.any(), {path: float(np.mean(x <= 0.0)) for path, x in limits.items()}
