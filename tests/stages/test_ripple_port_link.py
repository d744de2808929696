"""Ripple port at a link: stress against a switched leg, the link against the averaged loop."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from models.axes import designs, line_mean
from models.ledger import Kind
from models.points import Purpose
from models.stages import link_film, ripple_port
from models.stages import ripple_port_link as stage
from models.stages.link_voltage import K_SMALL, TRIP_TIME
from tests.simulation.switched_bridge import LegPlan, simulate
from tests.stages.grid_cases import Point, choke, film, make_case, transistor
from tests.stages.link_circuit import (
    M_MAX,
    book,
    currents,
    idle_variables,
    laws,
    placed_books,
    pulsating,
    random_designs,
    side_of,
    worst_limits,
)

TOLERANCE = 0.02  # [1]


def design_of(
    ratio=1.15, link="film-4.7u-500V", top=0.9, f=96e3, inductance=300e-6,
    storage="film-10u-450V-250VAC", count=2.0, t_dead=80e-9,
):  # fmt: skip
    port = ripple_port.Design(
        f=designs(f), inductance=designs(inductance),
        leg=transistor(t_dead=t_dead), choke=choke(),
        storage=film(storage, count),
    )  # fmt: skip
    return stage.Design(designs(ratio), film(link, 2.0), designs(top), port)


def placed(case, design):
    side = side_of(case)
    link = stage.swing(design, side, M_MAX, case)
    return side, link, stage.place("link", design, link, side, currents(case), case)


CASES = {
    "300 W, 230 V": (Point(300.0, 230.0), {}, 230.0),
    "300 W, 240 V, soft": (
        Point(300.0, 240.0), {"inductance": 80e-6, "f": 120e3, "top": 0.8}, 240.0
    ),
    "lagging, wide swing": (
        Point(165.0, 230.0, 0.8), {"count": 1.0, "top": 0.94, "f": 60e3}, 230.0
    ),
    "leading, 120 V": (
        Point(300.0, 120.0, -0.8),
        {"link": "film-10u-250V", "storage": "film-22u-450V-250VAC", "count": 3.0}, 120.0,
    ),
    "60 W": (Point(60.0, 230.0), {"top": 0.7}, 230.0),
    "300 W, stiff choke": (Point(300.0, 230.0), {"inductance": 800e-6, "f": 180e3}, 230.0),
}  # fmt: skip


def made(name):
    point, values, v_nominal = CASES[name]
    case = make_case(point, v_nominal=v_nominal)
    design = design_of(**values)
    return case, design, *placed(case, design)


def simulated(case, design, side, link, found):
    """The port switch by switch over half a line cycle, its storage by the energy."""
    x, port = pulsating(case, side), design.port
    v_link, inductance = link.v_rms.item(), port.inductance.item()
    c = (port.storage.count * case.catalogue["film"].at("c", port.storage.row)).item()
    top = book(found.books, "link.port.v_max")
    cycle = math.pi / x.omega
    fine = np.linspace(0.0, cycle, 20001)
    taken = np.concatenate([[0.0], np.cumsum(0.5 * (x.stored(fine[1:]) + x.stored(fine[:-1])))])
    energy = taken * (fine[1] - fine[0])
    energy += 0.5 * c * top**2 - energy.max()
    volts = np.sqrt(2.0 * energy / c)

    def v_r(t):
        return np.interp(np.mod(t, cycle), fine, volts)

    def wanted(t):
        return x.stored(t) / v_r(t)

    def duty(t):
        slope = (wanted(t + 1e-6) - wanted(t - 1e-6)) / 2e-6
        return (v_r(t) + inductance * slope) / v_link

    periods = round(port.f.item() * cycle)
    plan = LegPlan(duty, v_r, inductance, float(np.mean(wanted(fine[:-1]))))
    trace = simulate((plan,), lambda t: v_link + 0.0 * t, cycle=cycle, periods=periods)
    leg, n = trace.legs[0], trace.nodes
    return {
        "upper rms": trace.rms(leg.upper * leg.current),
        "lower rms": trace.rms((1.0 - leg.upper) * leg.current),
        "choke rms": trace.rms(leg.current),
        "choke peak": float(np.max(np.abs(leg.ends))),
        "ripple": trace.swing(0, periods),
        "storage v_min": volts.min(),
        "storage slow": math.sqrt(np.mean(wanted(fine[:-1]) ** 2)),
        "storage fast": trace.rms(leg.current - wanted(n)),
        "link pulses": trace.rms(leg.upper * leg.current - duty(n) * wanted(n)),
        "upper on": float(np.mean(np.maximum(leg.i_rise, 0.0))),
        "upper off": float(np.mean(np.maximum(leg.i_fall, 0.0))),
        "lower on": float(np.mean(np.maximum(-leg.i_fall, 0.0))),
        "lower off": float(np.mean(np.maximum(-leg.i_rise, 0.0))),
    }


def edge_mean(stress, name):
    """Mean current of the edges of a switch [A]."""
    rate = sum(line_mean(e.rate) for e in stress.edges)
    flow = sum(line_mean(e.rate * np.maximum(getattr(e, name), 0.0)) for e in stress.edges)
    return (flow / rate).item()


def closed(found, path="link"):
    parts = {p.path.removeprefix(f"{path}."): p.stress for p in found.parts}
    winding = parts["port.choke"].winding
    fast = sum(h * h for h in winding.harmonics)
    upper, lower = parts["port.upper"], parts["port.lower"]
    return {
        "upper rms": upper.i_rms.item(),
        "lower rms": lower.i_rms.item(),
        "choke rms": np.sqrt(winding.i_line_rms**2 + fast).item(),
        "choke peak": parts["port.choke"].i_peak.item(),
        "ripple": book(found.books, f"{path}.port.ripple"),
        "storage v_min": book(found.books, f"{path}.port.v_min"),
        "storage slow": parts["port.storage"].i_line_rms.item(),
        "storage fast": parts["port.storage"].i_hf_rms.item(),
        "upper on": edge_mean(upper, "i_on"),
        "upper off": edge_mean(upper, "i_off"),
        "lower on": edge_mean(lower, "i_on"),
        "lower off": edge_mean(lower, "i_off"),
    }


def differences(found, wanted, floor=0.01):
    """What is more than the tolerance off; the floor [A] is for currents that vanish."""
    return {
        key: (x, wanted[key])
        for key, x in found.items()
        if abs(x - wanted[key]) > TOLERANCE * abs(wanted[key]) + floor
    }


@pytest.mark.parametrize("name", CASES)
def test_stress_follows_the_switched_leg(name):
    case, design, side, link, found = made(name)
    wanted = simulated(case, design, side, link, found)
    values = closed(found)
    pulses = found.parts[0].stress.i_hf_rms.item() ** 2 - 1.25
    values["link pulses"] = math.sqrt(pulses)
    assert not differences(values, wanted)


@pytest.mark.parametrize("name", CASES)
def test_power_of_the_port_is_what_the_bridge_leaves(name):
    _, _, side, _, found = made(name)
    upper = found.parts[1].stress.edges[0]
    i = 0.5 * (upper.i_on + upper.i_off)
    v_r = upper.v_far
    into_storage = np.sqrt(line_mean((v_r * i) ** 2)).item()
    assert into_storage == pytest.approx(side.power.s_p.item() / math.sqrt(2.0), rel=1e-3)
    assert abs(line_mean(v_r * i).item()) < 1e-3 * side.power.s_p.item()


@pytest.mark.published(
    "Krein, Balog, Mirjafari, IEEE Trans. Power Electron. 27(11), 2012: 66 µF and 5.3 J for 2 kW, "
    "60 Hz at 400 V, the storage emptied in every cycle (value from memory)"
)
def test_least_capacitance_of_a_ripple_port():
    case = make_case(Point(250.0, 240.0), v_nominal=240.0)
    found = placed(case, design_of(storage="film-10u-450V-250VAC", count=1.0))[2]
    low, high = (book(found.books, f"link.port.v_{end}") for end in ("min", "max"))
    # An eighth of the power: what 10 µF hold between the extremes, they hold from 0 V
    # to √(v_max² − v_min²).
    energy = 0.5 * 10e-6 * (high**2 - low**2)
    assert 8.0 * energy == pytest.approx(5.3, rel=0.02)
    assert 8.0 * 2.0 * energy / 400.0**2 == pytest.approx(66e-6, rel=0.02)


@pytest.mark.published(
    "mean power through a port, 2/π of the pulsating power: integral of |cos|, so that 1 % of "
    "loss in the leg costs 0.64 % of the converter; textbooks"
)
def test_mean_power_through_the_port():
    _, _, side, _, found = made("300 W, 230 V")
    upper = found.parts[1].stress.edges[0]
    power = line_mean(np.abs(0.5 * (upper.i_on + upper.i_off) * upper.v_far)).item()
    assert power / side.power.s_p.item() == pytest.approx(2.0 / math.pi, rel=0.02)


def averaged(case, design, side, link, found):
    """Link and port with sampled-free loops: late current, proportional voltage loop."""
    x, port = pulsating(case, side), design.port
    film_c, c = link.c.item(), (
        port.storage.count * case.catalogue["film"].at("c", port.storage.row)
    ).item()  # fmt: skip
    v_0, inner = link.v_rms.item(), 2.0 * math.pi * ripple_port.CURRENT_LOOP * port.f.item()
    outer = inner * ripple_port.VOLTAGE_LOOP
    k, v_r = book(found.books, "link.port.swing"), book(found.books, "link.port.v_max")
    rms = v_r / math.sqrt(1.0 + k)

    def slopes(t, y):
        v_l, v_c, i = y
        trim = outer * film_c * v_0 * (v_l - v_0)
        held = 20.0 * c * (rms * rms - v_c * v_c + x.s_p / (x.omega * c) * np.sin(
            2.0 * x.omega * t + x.psi))  # fmt: skip
        wanted = (x.stored(t) + trim + held) / v_c
        return [
            (x.stored(t) - v_c * i) / (film_c * v_l),
            i / c,
            inner * (wanted - i),
        ]

    cycle = 2.0 * math.pi / x.omega
    start = [v_0, rms * math.sqrt(1.0 + k * math.sin(x.psi)), x.s_p * math.cos(x.psi) / rms]
    ran = solve_ivp(
        slopes, (0.0, 6.0 * cycle), start, rtol=1e-8, atol=1e-8, max_step=2e-5, dense_output=True,
        method="LSODA",
    )  # fmt: skip
    t = np.linspace(5.0 * cycle, 6.0 * cycle, 4000, endpoint=False)
    return ran.sol(t)


@pytest.mark.parametrize("name", ["300 W, 230 V", "leading, 120 V", "60 W"])
def test_link_swings_as_the_loops_leave_it(name):
    case, design, side, link, found = made(name)
    v_l, v_c, i = averaged(case, design, side, link, found)
    assert link.swing.item() == pytest.approx(0.5 * np.ptp(v_l), rel=0.03)
    assert link.k.item() < 0.02
    assert v_c.max() == pytest.approx(book(found.books, "link.port.v_max"), rel=TOLERANCE)
    assert v_c.min() == pytest.approx(book(found.books, "link.port.v_min"), rel=TOLERANCE)
    slow = found.parts[-1].stress.i_line_rms.item()
    assert math.sqrt(np.mean(i * i)) == pytest.approx(slow, rel=TOLERANCE)


def test_port_rests_where_the_film_of_the_link_can_carry_what_pulsates():
    case = make_case(*(Point(p, 230.0) for p in (300.0, 30.0, 9.0)), v_nominal=230.0)
    design = design_of()
    _, link, found = placed(case, design)
    active = found.books.find("link.port.active", Kind.FIGURE).value[0, :, 0]
    np.testing.assert_array_equal(active, [1.0, 1.0, 0.0])
    # What rests loses nothing, and the link then swings as film alone does.
    for part in found.parts[1:]:
        assert part.loss(designs(60.0) + 0.0 * link.k)[0, 2, 0] == 0.0, part.path
    alone = link_film.Design(design.ratio, design.film)
    plain = link_film.swing(alone, side_of(case), M_MAX, case)
    assert link.k[0, 2, 0] == pytest.approx(plain.k[0, 2, 0], rel=1e-12)
    assert link.k[0, 2, 0] < stage.K_REST < K_SMALL
    assert found.parts[0].stress.i_line_rms[0, 2, 0] == pytest.approx(
        link_film.place("x", alone, plain, side_of(case), currents(case), case)
        .parts[0].stress.i_line_rms[0, 2, 0], rel=1e-3,
    )  # fmt: skip


def test_port_takes_in_what_flows_when_the_grid_is_lost():
    case = make_case(
        Point(300.0, 230.0), Point(300.0, 230.0, purpose=Purpose.REJECTION), v_nominal=230.0
    )
    design = design_of()
    _, link, found = placed(case, design)
    parts = {p.path: p.stress for p in found.parts}
    normal, lost = link.v_max[0, :, 0]
    c_l, c_r = 9.4e-6, 20e-6
    high = found.books.find("link.port.v_max", Kind.FIGURE).value[0, 1, 0]
    before = 0.5 * c_l * normal**2 + 0.5 * c_r * high**2
    assert 0.5 * (c_l + c_r) * lost**2 == pytest.approx(before + 300.0 * TRIP_TIME, rel=1e-9)
    assert parts["link.port.storage"].v_max[0, 1, 0] == pytest.approx(lost, rel=1e-9)
    assert parts["link.port.upper"].v_block[0, 1, 0] == lost
    assert lost < math.sqrt(normal**2 + 2.0 * 300.0 * TRIP_TIME / c_l)


def test_more_of_everything_does_what_physics_says():
    case = make_case(Point(300.0, 230.0), v_nominal=230.0)

    def figures(**values):
        found = placed(case, design_of(**values))[2]
        return book(found.books, "link.port.ripple"), book(found.books, "link.port.swing")

    assert figures(f=150e3)[0] < figures(f=75e3)[0]
    assert figures(inductance=600e-6)[0] < figures(inductance=300e-6)[0]
    assert figures(count=4.0)[1] < figures(count=2.0)[1]
    assert figures(top=0.95)[1] < figures(top=0.8)[1]


@pytest.mark.parametrize(
    ("values", "limit"),
    [
        ({"storage": "film-4.7u-450V-250VAC"}, "link.port.duty_high"),
        ({"storage": "film-10u-500V"}, "link.port.storage.swing"),
        ({"f": 250e3, "t_dead": 300e-9, "count": 1.0}, "link.port.duty_low"),
    ],
)
def test_what_the_port_cannot_do_is_refused(values, limit):
    case = make_case(Point(280.0, 230.0), v_nominal=230.0)
    books = placed_books(placed(case, design_of(**values))[2], case)
    assert books.find(limit, Kind.LIMIT).value.max() > 0.0
    good = placed_books(placed(case, design_of())[2], case)
    assert good.find(limit, Kind.LIMIT).value.max() <= 0.0


def test_laws_of_a_stage(rng):
    def place(design, case):
        return placed(case, design)[2]

    laws(stage.Design, place, rng)
    assert not idle_variables(stage.Design, place, rng)


def test_some_design_meets_every_limit(rng):
    """Chokes and switches at random around a port that stores what is asked."""
    n = 4000
    case = make_case(*(Point(), Point(v_grid=132.0), Point(p_ac=30.0)))
    _, design = random_designs(stage.Design, n, rng)
    limits = worst_limits(placed_books(placed(case, design)[2], case), n)
    met = np.all(np.stack(list(limits.values())) <= 0.0, axis=0)
    assert met.any(), {path: float(np.mean(x <= 0.0)) for path, x in limits.items()}
