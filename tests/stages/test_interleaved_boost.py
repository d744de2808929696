"""The interleaved boost as placed parts: power, shedding, soft switching, limits, batches."""

import dataclasses

import numpy as np
import pytest

from models.axes import designs
from models.ledger import Kind
from models.parts import capacitor
from models.stages import interleaved_boost as boost
from models.stages.interleaved_boost import DiodeDesign, Interleaved, SynchronousDesign
from models.variables import build, structures, variables
from tests.stages.front_designs import (
    books,
    demo_case,
    drawn,
    improved,
    link,
    one,
    placed,
    power,
)
from tests.stages.interleaved_boost_circuit import Point, simulate

KINDS = pytest.mark.parametrize("cls", [DiodeDesign, SynchronousDesign])
STATIC = pytest.mark.parametrize(
    "static", structures(DiodeDesign), ids=lambda s: "-".join(str(v) for v in s.values())
)
TWO = {"layout": "interleaved", "layout.phases": 2}
FOUR = {"layout": "interleaved", "layout.phases": 4}


def made(cls, static, count, rng, **fixed):
    return build(cls, drawn(cls, static, count, rng, **fixed), static)


def part(front, name):
    return next(p for p in front.placed.parts if p.path == f"boost.{name}")


@KINDS
@STATIC
def test_every_booking_anywhere_in_the_box_is_finite_and_no_loss_is_negative(cls, static, rng):
    case = demo_case()
    _, front = placed(boost, made(cls, static, 80, rng), case, link(80, case))
    for entry in books(front, case).entries:
        assert np.isfinite(entry.value).all(), entry.path
        if entry.kind in (Kind.LOSS, Kind.VOLUME, Kind.COST):
            assert (entry.value >= 0.0).all(), entry.path
    for port in (front.link_hf_rms, front.f_link, front.active):
        assert np.isfinite(port).all()
        assert (port >= 0.0).all()


@KINDS
@STATIC
def test_a_batch_gives_the_books_of_single_designs_bit_for_bit(cls, static, rng):
    case = demo_case()
    batch = made(cls, static, 4, rng)
    together = books(placed(boost, batch, case, link(4, case))[1], case)
    for i in range(4):
        alone = books(placed(boost, one(batch, i), case, link(1, case))[1], case)
        for a, b in zip(alone.entries, together.entries, strict=True):
            assert (a.value[0] == b.value[min(i, b.value.shape[0] - 1)]).all(), a.path


@KINDS
@STATIC
def test_power_at_both_ports_is_the_power_asked_for(cls, static, rng):
    # Σ v·i over the cycle from the stress, pauses of bursts and shed phases included.
    case = demo_case()
    design, on, p = made(cls, static, 60, rng), link(60, case), power(60, case)
    ready, front = placed(boost, design, case, on)
    at = boost.setting("boost", design, ready, p, case)
    w = at.waves
    drawn_in = ready.v_in * at.nodes.time(w.phases * at.drawn.mean)
    given = at.nodes.time(w.phases * w.fall * 0.5 * (w.i_peak + w.i_valley) * ready.v_out)
    assert drawn_in == pytest.approx(p, rel=1e-6)
    assert given == pytest.approx(p, rel=1e-6)
    # What the windings carry on average is what the module gives, where nothing pauses.
    winding = part(front, "choke").stress.winding.i_dc
    steady = (front.active > 1.0 - 1e-9) & (w.phases == design.layout.phases)
    carried = design.layout.phases * winding * ready.v_in
    assert carried[steady] == pytest.approx(p[steady], rel=1e-6)


@KINDS
@pytest.mark.parametrize("static", [{"layout": "single"}, FOUR], ids=["single", "four"])
def test_some_design_meets_every_limit_and_bears_what_the_circuit_says(cls, static, rng):
    left, values = improved(boost, cls, static, rng)
    assert left == 0.0
    case, design = demo_case(), build(cls, values, static)
    if static == FOUR:  # so that two of the four run at half load
        design = dataclasses.replace(design, layout=Interleaved(4, designs(1.2)))
    ready, front = placed(boost, design, case, link(1, case, swing=0.0, nodes=1))
    load = case.points.p_ac[0, :, 0] / case.points.p_ac.max()
    row = int(np.argmin(abs(load - 0.5)))
    at, running = (0, row, 0), round(ready.phases[0, row, 0])
    point = Point(
        ready.v_in[at].item(), 200.0, power(1, case)[at].item(), running,
        ready.inductance.item(), cls is DiodeDesign, design.f.item(),
    )  # fmt: skip
    sim = simulate(point)
    current = sum(sim.value[f"i:l{k}"] for k in range(running))
    current = current - float(sim.step @ current)
    # Phases that are shed take turns: each bears the mean square of all.
    share = (running / design.layout.phases) ** 0.5
    choke = part(front, "choke").stress
    winding = (choke.winding.i_dc**2 + sum(h**2 for h in choke.winding.harmonics)) ** 0.5
    c_in = capacitor.capacitance_at(design.input, ready.v_in, case)
    pairs = {
        "switch": (part(front, "switch").stress.i_rms, share * sim.rms("i:q0")),
        "rectifier": (part(front, "rectifier").stress.i_rms, share * sim.rms("i:d0")),
        "choke": (winding, share * sim.rms("i:l0")),
        "flux": (choke.flux[0].linkage_pp, point.inductance * sim.swing("i:l0")),
        "input": (
            part(front, "input").stress.i_hf_rms, float((sim.step @ current**2) ** 0.5)
        ),
        "input swing": (
            2.0 * (part(front, "input").stress.v_max - ready.v_in),
            np.ptp(np.cumsum(sim.step * current)) / (design.f * c_in),
        ),
        "link": (front.link_hf_rms, sim.rms("i:co")),
        "link voltage": (np.full((1, 99, 1), 200.0), sim.mean("v:o")),
    }  # fmt: skip
    for name, (found, expected) in pairs.items():
        expected = np.broadcast_to(expected, found.shape)[at]
        assert found[at] == pytest.approx(expected, rel=0.02), name


def test_inductance_gives_the_ripple_asked_for(rng):
    case, design = demo_case(), made(DiodeDesign, FOUR, 6, rng)
    v_in, v_out = np.full((1, case.points.count, 1), 33.0), np.full((6, 1, 1), 210.0)
    wanted = boost.inductance(design, v_in=v_in, v_out=v_out, case=case)
    ripple = 33.0 * (1.0 - 33.0 / 210.0) / (wanted * design.f)
    mean = case.points.p_ac.max() / 33.0 / 4
    assert ripple / mean == pytest.approx(design.ripple, rel=1e-9)


@KINDS
@pytest.mark.parametrize("static", [{"layout": "single"}, TWO], ids=["single", "two"])
def test_every_variable_matters(cls, static, rng):
    case = demo_case()
    values = drawn(cls, static, 6, rng, **{"burst": 0.2, "layout.shed": 0.7})
    base = books(placed(boost, build(cls, values, static), case, link(6, case))[1], case)
    for v in variables(cls, case.catalogue.names(), static=static):
        now = values[v.field]
        moved = np.where(now > 0.5 * (v.lo + v.hi), v.lo, v.hi)
        changed = build(cls, {**values, v.field: moved}, static)
        found = books(placed(boost, changed, case, link(6, case))[1], case)
        different = [
            not np.array_equal(a.value, b.value)
            for a, b in zip(base.entries, found.entries, strict=True)
        ]
        assert any(different), v.path


@KINDS
def test_idle_rows_carry_no_limit_but_voltages(cls, rng):
    case = demo_case()
    _, front = placed(boost, made(cls, FOUR, 30, rng), case, link(30, case))
    idle = case.points.p_ac[0, :, 0] == 0.0
    for entry in front.placed.books.of(Kind.LIMIT):
        assert (np.broadcast_to(entry.value, (30, idle.size, 1))[:, idle] <= 0.0).all()


def test_phases_start_as_the_load_grows_and_all_run_at_full_power():
    layout = Interleaved(4, designs([0.3, 0.8, 1.2]))
    load = np.linspace(0.01, 1.0, 200).reshape(1, -1, 1)
    running = layout.running(load)
    assert (np.diff(running, axis=1) >= 0.0).all()
    assert (running[:, 0] == 1.0).all()
    assert (running[:, -1] == 4.0).all()
    # A running phase never carries more than its share of full power times ``shed``.
    held = running < 4.0
    assert (load / running * 4.0 <= layout.shed * (1 + 1e-6))[held].all()


def test_shed_phases_save_what_every_phase_costs(rng):
    case = demo_case()
    values = drawn(SynchronousDesign, FOUR, 1, rng, **{"burst": 0.01})
    values = {name: np.repeat(x, 2, axis=0) for name, x in values.items()}
    values["layout.shed"] = designs([0.3, 1.2])
    front = placed(boost, build(SynchronousDesign, values, FOUR), case, link(2, case))[1]
    gate = books(front, case).find("boost.switch.gate", Kind.LOSS).value[:, :, 0]
    running = front.placed.books.find("boost.phases_active", Kind.FIGURE).value[:, :, 0]
    assert (gate[0] / running[0]) == pytest.approx(gate[1] / running[1], rel=1e-9)
    assert (running[1] < running[0]).any()


def test_a_negative_valley_turns_the_switch_on_softly(rng):
    case = demo_case()
    fixed = {"ripple": 2.2, "burst": 0.01, "switch.t_dead": 100e-9}
    design = made(SynchronousDesign, {"layout": "single"}, 10, rng, **fixed)
    front = placed(boost, design, case, link(10, case))[1]
    edge = part(front, "switch").stress.edges[0]
    light = (case.points.p_ac > 0.0) & (case.points.p_ac < 0.3 * case.points.p_ac.max())
    light = np.broadcast_to(light, edge.i_on.shape)
    assert (edge.i_on[light] < 0.0).all()
    assert (edge.i_drive[light] > 0.0).all()
    rectifier = part(front, "rectifier").stress.edges[0]
    assert rectifier.i_off[light] == pytest.approx(-edge.i_on[light], rel=1e-9)


def test_discontinuous_switches_turn_on_without_current_from_the_module_voltage(rng):
    case = demo_case()
    fixed = {"ripple": 2.2, "burst": 0.01}
    design = made(DiodeDesign, {"layout": "single"}, 10, rng, **fixed)
    front = placed(boost, design, case, link(10, case))[1]
    edge = part(front, "switch").stress.edges[0]
    light = (case.points.p_ac > 0.0) & (case.points.p_ac < 0.3 * case.points.p_ac.max())
    light = np.broadcast_to(light, edge.i_on.shape)
    assert (edge.i_on[light] == 0.0).all()
    v_in = np.broadcast_to(case.points.v_pv, edge.v.shape)
    assert edge.v[light] == pytest.approx(v_in[light], rel=1e-9)
    diode = part(front, "rectifier").stress.commutations[0]
    assert (diode.i[light] == 0.0).all()


@KINDS
def test_devices_block_the_link_at_load_rejection(cls, rng):
    case, on = demo_case(), link(5, demo_case())
    front = placed(boost, made(cls, TWO, 5, rng), case, on)[1]
    for name in ("switch", "rectifier"):
        assert part(front, name).stress.v_block == pytest.approx(on.v_max, rel=5e-3)
        rejected = case.points.rejection[0, :, 0] > 0.0
        found = part(front, name).stress.v_block[:, rejected]
        assert found == pytest.approx(on.v_max[:, rejected], rel=1e-12)


@KINDS
def test_few_nodes_stand_for_the_whole_swing(cls, rng):
    case, design = demo_case(), made(cls, TWO, 30, rng)
    few, many = (
        placed(boost, design, case, link(30, case, swing=0.15, nodes=n))[1] for n in (3, 16)
    )
    for name in ("switch", "rectifier"):
        rms = part(few, name).stress.i_rms / part(many, name).stress.i_rms
        assert np.abs(rms - 1.0).max() < 0.01, name
    # Where two phases meet half a period apart their ripple has a kink along the swing.
    off = np.abs(few.link_hf_rms / many.link_hf_rms - 1.0)
    assert np.median(off) < 0.005
    assert off.max() < 0.1


def test_more_gain_raises_the_loss_of_a_given_stage(rng):
    # Duty, ripple and voltage all grow; the inductance is held.
    case = demo_case()
    design = made(SynchronousDesign, TWO, 20, rng, burst=0.01)
    row = int(np.argmax(case.points.p_ac))
    square, inductance = [], designs(np.full(20, 50e-6))
    for v in (180.0, 200.0, 220.0):
        on = link(20, case, v=v, swing=0.0)
        ready = boost.prepare(design, v_in=case.points.v_pv, v_out=on.v_nodes, case=case)
        ready = dataclasses.replace(ready, inductance=inductance)
        w = boost.setting("boost", design, ready, power(20, case), case).waves
        square.append(w.switch_square[:, row])
    assert (np.diff(np.array(square), axis=0) > 0.0).all()


def test_ripple_past_the_loops_falls_with_capacitance_and_grows_with_swing(rng):
    case = demo_case()
    design = made(SynchronousDesign, {"layout": "single"}, 4, rng, burst=0.01)
    more = dataclasses.replace(
        design, input=dataclasses.replace(design.input, count=2.0 * design.input.count)
    )
    found = {}
    for name, x, swing in (("base", design, 0.1), ("more", more, 0.1), ("calm", design, 0.05)):
        on = link(4, case, swing=swing)
        ready, _ = placed(boost, x, case, on)
        found[name] = boost.module_ripple(x, ready, on, power(4, case), case)
    full = case.points.p_ac[0, :, 0] > 0.5 * case.points.p_ac.max()
    assert (found["more"] < found["base"])[:, full].all()
    assert found["calm"][:, full] == pytest.approx(0.5 * found["base"][:, full], rel=1e-9)
    c = capacitor.capacitance_at(design.input, case.points.v_pv, case)
    assert (c > 0.0).all()
