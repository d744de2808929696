"""The flyback on a link as placed parts: power, limits, light load, batches, ports."""

import dataclasses

import numpy as np
import pytest

from models.axes import designs
from models.evaluate import evaluate
from models.ledger import Kind
from models.parts import capacitor, diode, transformer
from models.physics.semiconductor import charge_and_energy
from models.stages import flyback_link
from models.stages.flyback_link import Design
from models.stages.ports import Output
from models.topologies import flyback_film_full_bridge
from models.variables import build, structures, variables
from tests.stages.flyback_link_designs import V_LINK, made, part, set_up, still, values
from tests.stages.front_designs import books, demo_case, drawn, link, one, placed, power, worst

STATIC = pytest.mark.parametrize(
    "static", structures(Design), ids=lambda s: f"{s['phases']}-{s['clamp']}"
)
SHORT, COMPLEMENTARY = (
    {"phases": 1, "clamp": clamp} for clamp in ("short_pulse", "complementary")
)


def random(static, count, rng):
    return build(Design, drawn(Design, static, count, rng), static)


def limit(front, name):
    return front.placed.books.find(f"boost.{name}", Kind.LIMIT).value


def figure(front, name):
    return front.placed.books.find(f"boost.{name}", Kind.FIGURE).value


@STATIC
def test_every_booking_anywhere_in_the_box_is_finite_and_no_loss_is_negative(static, rng):
    case = demo_case()
    _, front = placed(flyback_link, random(static, 150, rng), case, link(150, case, v=V_LINK))
    for entry in books(front, case).entries:
        assert np.isfinite(entry.value).all(), entry.path
        if entry.kind in (Kind.LOSS, Kind.VOLUME, Kind.COST):
            assert (entry.value >= 0.0).all(), entry.path
    ports = (front.link_hf_rms, front.f_link, front.active, front.windings, front.v_winding)
    for port in ports:
        assert np.isfinite(port).all()
        assert (port >= 0.0).all()


@STATIC
def test_a_batch_gives_the_books_of_single_designs_bit_for_bit(static, rng):
    case = demo_case()
    batch = random(static, 5, rng)
    together = books(placed(flyback_link, batch, case, link(5, case))[1], case)
    for i in range(5):
        alone = books(placed(flyback_link, one(batch, i), case, link(1, case))[1], case)
        for a, b in zip(alone.entries, together.entries, strict=True):
            assert (a.value[0] == b.value[min(i, b.value.shape[0] - 1)]).all(), a.path


@STATIC
def test_power_at_both_ports_is_the_power_asked_for(static, rng):
    # Σ v·i over the cycle from the stress, pauses of bursts included.
    case, design = demo_case(), made(static)
    on, p = link(1, case, v=V_LINK), power(1, case)
    ready, at, front = set_up(design, case, on)
    runs = case.points.p_ac > 0.0
    drawn_in = at.run.phases * at.run.share * ready.v_in * at.primary.mean
    assert drawn_in.mean(axis=2, keepdims=True)[runs] == pytest.approx(p[runs], rel=1e-3)
    mean = static["phases"] * part(front, "rectifier").stress.i_avg
    given = mean / np.mean(1.0 / ready.v_out, axis=2, keepdims=True)
    assert given[runs] == pytest.approx(p[runs], rel=1e-3)
    assert (given[~runs] == 0.0).all()


@STATIC
def test_some_design_meets_every_limit_of_the_stage_and_its_parts(static):
    case = demo_case()
    _, front = placed(flyback_link, made(static), case, link(1, case, v=V_LINK, swing=0.06))
    found = worst(books(front, case), 1)
    assert {name: m.item() for name, m in found.items() if m > 0.0} == {}


@STATIC
def test_every_variable_matters(static):
    case = demo_case()
    start = values(**static)
    base = books(placed(flyback_link, made(static), case, link(1, case, v=V_LINK))[1], case)
    for v in variables(Design, case.catalogue.names(), static=static):
        middle = (v.lo * v.hi) ** 0.5 if v.log else 0.5 * (v.lo + v.hi)
        moved = np.where(start[v.field] > middle, v.lo, v.hi)
        changed = build(Design, {**start, v.field: moved}, static)
        found = books(placed(flyback_link, changed, case, link(1, case, v=V_LINK))[1], case)
        different = [
            not np.array_equal(a.value, b.value)
            for a, b in zip(base.entries, found.entries, strict=True)
        ]
        assert any(different), v.path


@STATIC
def test_idle_rows_carry_no_limit_and_block_the_resting_voltages(static, rng):
    case = demo_case()
    on = link(40, case, v=V_LINK)
    _, front = placed(flyback_link, random(static, 40, rng), case, on)
    idle = case.points.p_ac[0, :, 0] == 0.0
    assert idle.any()
    for entry in front.placed.books.of(Kind.LIMIT):
        if entry.path != "boost.pulse":
            assert (np.broadcast_to(entry.value, (40, idle.size, 1))[:, idle] <= 0.0).all()
    blocks = part(front, "main").stress.v_block[:, idle]
    assert blocks == pytest.approx(0.0 * blocks + case.points.v_pv[:, idle])
    blocks = part(front, "rectifier").stress.v_block[:, idle]
    assert blocks == pytest.approx(on.v_max[:, idle], rel=1e-9)


@STATIC
def test_load_rejection_raises_what_the_devices_block(static):
    case, design = demo_case(), made(static)
    on = link(1, case, v=V_LINK)
    found = []
    for v_top in (None, on.v_max):
        ready = flyback_link.prepare(
            design, v_in=case.points.v_pv, v_out=on.v_nodes, case=case, v_top=v_top
        )
        found.append(flyback_link.place("boost", design, ready, power(1, case), case))
    lift = np.where(case.points.p_ac > 0.0, ready.lift, 0.0)
    assert (lift[case.points.rejection > 0.0] > 50.0).all()
    for name, share in (
        ("main", 1.0 / ready.ratio),
        ("clamp_switch", 1.0 / ready.ratio),
        ("rectifier", 1.0 + ready.snubber.overshoot),
    ):
        low, high = (part(front, name).stress.v_block for front in found)
        assert high - low == pytest.approx(share * lift, rel=1e-6, abs=1e-9), name


@pytest.mark.published(
    "R. W. Erickson, D. Maksimovic, 'Fundamentals of Power Electronics', flyback and "
    "buck-boost at the boundary: K = 2·L·f/R = (1 − D)² (from memory)"
)
def test_at_the_border_the_current_just_ends():
    case = demo_case()
    design = made(SHORT, magnetising=1.0)
    ready = flyback_link.prepare(
        design, v_in=np.full((1, case.points.count, 1), 30.0), v_out=designs(360.0), case=case
    )
    v_r = 360.0 / ready.ratio.item()
    load = v_r**2 / (1.05 * 300.0)
    k = 2.0 * ready.circuit.l_m.item() * ready.circuit.f.item() / load
    assert k == pytest.approx((30.0 / (30.0 + v_r)) ** 2, rel=1e-9)


@pytest.mark.published("flyback section of a regulator's data sheet, SNVS496F (ratio and duty)")
def test_without_leakage_half_duty_stands_for_the_ratio_of_turns():
    # Ns/Np = 0.313 makes 5 V from 16 V; here the same law with many turns, v_out = n·v_in.
    case, design = demo_case(), made(COMPLEMENTARY)
    n = transformer.ratio(design.transformer)
    v_in = np.full((1, case.points.count, 1), 35.0)
    ready = flyback_link.prepare(design, v_in=v_in, v_out=35.0 * n, case=case)
    bare = dataclasses.replace(ready.circuit, l_k=designs(1e-13))
    at = flyback_link.setting(
        design, dataclasses.replace(ready, circuit=bare), power(1, case), case
    )
    assert at.waves.duty == pytest.approx(np.full_like(at.waves.duty, 0.5), rel=1e-3)


@pytest.mark.parametrize("x", [0.35, 0.47])
def test_complementary_drive_swings_by_the_share_asked_for(x):
    case, design = demo_case(), made(COMPLEMENTARY, magnetising=x)
    at = set_up(design, case, still(case))[1]
    full = int(np.argmin(np.where(case.points.p_ac >= 300.0, case.points.v_pv, 1e6)))
    top, low = (a[0, full, 0] for a in (at.waves.i_peak, at.waves.i_start))
    assert (top - low) / (top + low) == pytest.approx(x, rel=0.06)


def test_outside_the_region_of_the_forms_a_limit_is_positive():
    case = demo_case()
    for static, name, change in (
        (SHORT, "discontinuous", {"magnetising": 1.0}),
        (COMPLEMENTARY, "clamp_region", {"clamp_capacitor.count": 2.0}),
        (SHORT, "pulse", {"clamp_capacitor.count": 1.0, "transformer.turns_primary": 2.0}),
    ):
        for fixed, outside in (({}, False), (change, True)):
            _, front = placed(flyback_link, made(static, **fixed), case, still(case))
            assert (limit(front, name).max() > 0.0) == outside, name


@STATIC
def test_few_nodes_stand_for_the_whole_swing(static):
    case, design = demo_case(), made(static)
    few, many = (
        placed(flyback_link, design, case, link(1, case, v=V_LINK, swing=0.12, nodes=n))[1]
        for n in (3, 16)
    )
    for name in ("main", "clamp_switch", "rectifier"):
        rms, reference = (part(x, name).stress.i_rms for x in (few, many))
        assert rms == pytest.approx(reference, rel=0.005), name
        block, reference = (part(x, name).stress.v_block for x in (few, many))
        assert block == pytest.approx(reference, rel=0.005), name
    loads = case.points.p_ac > 0.0
    # What two phases cancel bends sharply where one ends as the other begins.
    bound = 0.01 if static["phases"] == 1 else 0.04
    assert few.link_hf_rms == pytest.approx(many.link_hf_rms, rel=bound)
    for name in ("i_peak", "largest_duty"):
        assert figure(few, name)[loads] == pytest.approx(figure(many, name)[loads], rel=0.01)


def test_phases_are_shed_before_it_pauses():
    case, design = demo_case(), made({"phases": 2, "clamp": "short_pulse"}, least_load=0.2)
    ready = set_up(design, case, still(case))[0]
    found = {}
    for p in (100.0, 50.0, 15.0):
        front = flyback_link.place("boost", design, ready, p + 0.0 * case.points.p_ac, case)
        row = int(np.argmax(case.points.weight))
        found[p] = [figure(front, x)[0, row, 0] for x in ("phases_active", "active")]
    assert found == {100.0: [2.0, 1.0], 50.0: [1.0, 1.0], 15.0: [1.0, 0.5]}


def test_pauses_scale_mean_squares_and_leave_peaks():
    case, design = demo_case(), made(SHORT, least_load=0.5)
    ready = set_up(design, case, still(case))[0]
    row = int(np.argmax(case.points.weight))
    one, half = (
        flyback_link.place("boost", design, ready, p + 0.0 * case.points.p_ac, case)
        for p in (150.0, 75.0)
    )
    rms = [part(x, "main").stress.i_rms[0, row, 0] for x in (one, half)]
    assert rms[1] ** 2 == pytest.approx(0.5 * rms[0] ** 2, rel=1e-9)
    peaks = [figure(x, "i_peak")[0, row, 0] for x in (one, half)]
    assert peaks[0] == peaks[1]
    heat = [part(x, "snubber").loss(designs(60.0))[0, row, 0] for x in (one, half)]
    assert heat[1] == pytest.approx(0.5 * heat[0], rel=1e-9)


def test_the_diode_bears_its_ring_and_the_snubber_its_heat():
    case, design = demo_case(), made(COMPLEMENTARY)
    ready, at, front = set_up(design, case, still(case))
    plateau = V_LINK + ready.ratio * ready.v_in / (1.0 + ready.circuit.l_k / ready.circuit.l_m)
    row = int(np.argmax(case.points.weight))
    ring = plateau * (1.0 + ready.snubber.overshoot)
    block = part(front, "rectifier").stress.v_block
    assert block[0, row, 0] == pytest.approx(ring[0, row, 0], rel=1e-9)  # SiC: no recovery
    charge, energy = charge_and_energy(ready.snubber.device.charge, plateau)
    heat = plateau * charge - energy + ready.snubber.c * plateau**2
    found = part(front, "snubber").loss(designs(60.0))
    assert found[0, row, 0] == pytest.approx((at.rate * heat)[0, row, 0], rel=1e-3)
    # Windings wound against each other would add to the junction's charge.
    bare = diode.device(design.rectifier, case).charge
    assert (charge > charge_and_energy(bare, plateau)[0]).all()


def test_with_short_pulses_the_snubber_is_charged_twice_a_period():
    # To the blocking voltage, and to the link's once the current has ended.
    case, design = demo_case(), made(SHORT)
    ready, at, front = set_up(design, case, still(case))
    plateau, v_out = at.v_diode, designs(V_LINK)
    own = ready.snubber.device.charge
    charge, energy = charge_and_energy(own, plateau)
    heat = plateau * charge - energy + ready.snubber.c * plateau**2
    heat = heat + charge_and_energy(own, v_out)[1] + ready.snubber.c * v_out**2
    found = part(front, "snubber").loss(designs(60.0))
    assert found == pytest.approx(at.rate * heat, rel=1e-9)


def test_between_the_middles_of_the_windings_stands_half_of_what_their_ends_differ_by():
    case, design = demo_case(), made(COMPLEMENTARY)
    ready, _, front = set_up(design, case, still(case))
    primary = ready.v_in + V_LINK / ready.ratio
    secondary = ready.ratio * primary
    assert front.v_winding == pytest.approx(0.5 * (secondary - primary), rel=1e-9)
    two = made({"phases": 2, "clamp": "complementary"})
    front = set_up(two, case, still(case))[2]
    each = transformer.winding_capacitance(two.transformer, case)
    assert front.windings == pytest.approx(2.0 * each)


def test_more_turns_spare_the_switch_and_burden_the_diode():
    case = demo_case()
    start = {k: np.repeat(x, 4, axis=0) for k, x in values(**COMPLEMENTARY).items()}
    start["transformer.turns_secondary"] = designs([28, 32, 36, 40])
    _, front = placed(
        flyback_link, build(Design, start, COMPLEMENTARY), case, link(4, case, v=V_LINK)
    )
    loaded = (case.points.p_ac >= 150.0)[0, :, 0]
    assert (np.diff(part(front, "main").stress.v_block[:, loaded], axis=0) < 0.0).all()
    assert (np.diff(part(front, "rectifier").stress.v_block[:, loaded], axis=0) > 0.0).all()
    assert (np.diff(figure(front, "largest_duty")[:, loaded], axis=0) < 0.0).all()


def test_more_power_takes_more_current_everywhere():
    case = demo_case()
    for static in structures(Design):
        design = made(static)
        ready = set_up(design, case, still(case))[0]
        row = int(np.argmax(case.points.weight))
        rms = []
        for p in (160.0, 200.0, 250.0, 300.0):
            front = flyback_link.place("boost", design, ready, p + 0.0 * case.points.p_ac, case)
            found = [part(front, x).stress.i_rms for x in ("main", "clamp_switch", "rectifier")]
            rms.append([x[0, row, 0] for x in (*found, front.link_hf_rms)])
        assert (np.diff(rms, axis=0) > 0.0).all(), static


def test_two_phases_ripple_less_at_both_ends():
    case = demo_case()
    for clamp in ("short_pulse", "complementary"):
        one_phase, two = (
            placed(flyback_link, made({"phases": n, "clamp": clamp}), case, still(case))[1]
            for n in (1, 2)
        )
        full = int(np.argmin(np.where(case.points.p_ac >= 300.0, case.points.v_pv, 1e6)))
        for a, b in (
            (one_phase.link_hf_rms, two.link_hf_rms),
            (part(one_phase, "input").stress.i_hf_rms, part(two, "input").stress.i_hf_rms),
        ):
            assert b[0, full, 0] < 0.75 * a[0, full, 0]


def test_what_reaches_the_module_grows_with_swing_and_pauses():
    case = demo_case()
    p, ripples = power(1, case), {}
    for static in (SHORT, COMPLEMENTARY):
        design = made(static)
        ready = set_up(design, case, still(case))[0]
        for swing in (0.02, 0.1):
            on = link(1, case, v=V_LINK, swing=swing)
            found = flyback_link.module_ripple(design, ready, on, p, case)
            ripples[static["clamp"], swing] = found
            assert (found[case.points.p_ac == 0.0] == 0.0).all()
    full = case.points.p_ac >= 300.0
    small, large = (ripples["complementary", s][full] for s in (0.02, 0.1))
    assert large == pytest.approx(5.0 * small, rel=1e-6)
    assert (large < 0.01).all()
    assert (ripples["short_pulse", 0.1][full] == 0.0).all()
    # Bursts: a triangle of the charge that the module delivers in the pause.
    c = capacitor.capacitance_at(design.input, case.points.v_pv, case)
    share = flyback_link.setting(design, ready, p, case).run.share
    row = int(np.argmin(np.where(case.points.p_ac > 0.0, case.points.p_ac, 1e6)))
    pause = (1.0 - share) * 4.0 / (share + (share == 0.0)) / design.f
    triangle = (p / case.points.v_pv**2 * pause / c)[0, row, 0] / 6.0**0.5
    assert ripples["complementary", 0.02][0, row, 0] == pytest.approx(triangle, rel=0.01)


def test_with_short_pulses_the_link_hardly_moves_the_energy_of_a_period():
    # At a duty that stays as it was, 10 % more link changes the power by little.
    case, design = demo_case(), made(SHORT)
    ready = set_up(design, case, still(case))[0]
    full = int(np.argmin(np.where(case.points.p_ac >= 300.0, case.points.v_pv, 1e6)))

    def duty(p, v):
        at = dataclasses.replace(ready, v_out=designs(v))
        one = flyback_link.setting(design, at, p + 0.0 * case.points.p_ac, case)
        return one.waves.duty[0, full, 0]

    by_power = (duty(303.0, V_LINK) / duty(300.0, V_LINK) - 1.0) / 0.01
    by_link = (duty(300.0, 1.01 * V_LINK) / duty(300.0, V_LINK) - 1.0) / 0.01
    assert by_power == pytest.approx(0.5, abs=0.05)
    assert abs(by_link / by_power) < 0.15


def test_traits_say_what_it_is():
    assert flyback_link.TRAITS.isolated
    assert flyback_link.TRAITS.regulated
    assert not flyback_link.TRAITS.common_negative
    assert flyback_link.TRAITS.output is Output.LINK


@STATIC
def test_the_converter_around_it_is_finite_and_its_books_hold_the_heat(static, rng):
    case, topology = demo_case(), flyback_film_full_bridge.TOPOLOGY
    assert topology.isolated
    nested = next(
        s for s in structures(topology.design) if set(static.values()) <= set(s.values())
    )
    x = build(topology.design, drawn(topology.design, nested, 12, rng), nested)
    found = evaluate(topology, x, case)
    assert np.isfinite(found.columns).all()
    assert np.isfinite(found.margins).all()
    heat = found.settled.heat
    total = sum(e.value + 0.0 * heat for e in found.ledger.of(Kind.LOSS))
    assert total == pytest.approx(heat, rel=1e-12)
