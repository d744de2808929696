"""The coupled-inductor boost as placed parts: power, ringing, limits, batches, ports."""

import dataclasses

import numpy as np
import pytest
from scipy.linalg import expm

from models.axes import designs
from models.ledger import Kind
from models.parts import capacitor, diode
from models.physics.semiconductor import charge_and_energy
from models.stages import coupled_boost as boost
from models.stages.coupled_boost import Design
from models.stages.coupled_boost_snubber import snubber
from models.variables import build, structures, variables
from tests.stages.coupled_boost_circuit import Point, simulate
from tests.stages.front_designs import (
    books,
    demo_case,
    drawn,
    improved,
    link,
    one,
    placed,
    power,
    worst,
)

STATIC = pytest.mark.parametrize("static", structures(Design), ids=lambda s: str(s["phases"]))


def made(static, count, rng, **fixed):
    return build(Design, drawn(Design, static, count, rng, **fixed), static)


@STATIC
def test_every_booking_anywhere_in_the_box_is_finite_and_no_loss_is_negative(static, rng):
    case = demo_case()
    _, front = placed(boost, made(static, 150, rng), case, link(150, case))
    for entry in books(front, case).entries:
        assert np.isfinite(entry.value).all(), entry.path
        if entry.kind in (Kind.LOSS, Kind.VOLUME, Kind.COST):
            assert (entry.value >= 0.0).all(), entry.path
    for port in (front.link_hf_rms, front.f_link, front.active):
        assert np.isfinite(port).all()
        assert (port >= 0.0).all()


@STATIC
def test_a_batch_gives_the_books_of_single_designs_bit_for_bit(static, rng):
    case = demo_case()
    batch = made(static, 5, rng)
    together = books(placed(boost, batch, case, link(5, case))[1], case)
    for i in range(5):
        alone = books(placed(boost, one(batch, i), case, link(1, case))[1], case)
        for a, b in zip(alone.entries, together.entries, strict=True):
            assert (a.value[0] == b.value[min(i, b.value.shape[0] - 1)]).all(), a.path


@STATIC
def test_power_at_both_ports_is_the_power_asked_for(static, rng):
    # Σ v·i over the cycle from the stress, pauses of bursts included.
    case = demo_case()
    fixed = {"transformer.interleaved": 1, "transformer.turns_primary": 6}
    design = made(static, 100, rng, **fixed)
    on, p = link(100, case), power(100, case)
    ready, front = placed(boost, design, case, on)
    at = boost.setting("boost", design, ready, p, case)
    w, n, phases = at.waves, ready.circuit.ratio, design.phases
    inside = (w.crowding < 0.98) & (w.drop < 0.12) & (w.duty < 0.95)
    inside = np.broadcast_to(inside.all(axis=2, keepdims=True), p.shape)
    assert inside.mean() > 0.3
    drawn_in = phases * ready.v_in * at.nodes.time(at.primary.mean)
    given = phases * at.nodes.time(at.secondary.mean * ready.v_out) / n
    assert drawn_in[inside] == pytest.approx(p[inside], rel=1e-3)
    assert given[inside] == pytest.approx(p[inside], rel=1e-3)
    assert (front.active[..., 0] <= 1.0).all()


def part(front, name):
    return next(p for p in front.placed.parts if p.path == f"boost.{name}")


def whole(winding):
    """Rms value of the whole current of a winding."""
    return (winding.i_dc**2 + sum(h**2 for h in winding.harmonics)) ** 0.5


@STATIC
def test_some_design_meets_every_limit_and_its_parts_bear_what_the_circuit_says(static, rng):
    left, values = improved(boost, Design, static, rng, rounds=45)
    assert left == 0.0
    case, design = demo_case(), build(Design, values, static)
    ready, front = placed(boost, design, case, link(1, case, swing=0.0, nodes=1))
    at = (0, int(np.argmax(case.points.weight)), 0)
    n, phases, c = ready.circuit.ratio.item(), design.phases, ready.circuit
    sim = simulate(
        Point(
            ready.v_in[at].item(), 200.0, power(1, case)[at].item() / phases, n,
            c.l_m.item(), c.l_k.item(), ready.c_clamp.item(), c.f.item(), phases,
        )
    )  # fmt: skip
    wound, clamp = part(front, "transformer").stress, part(front, "clamp_capacitor").stress
    flux = sim.value["i:pri0"] + n * sim.value["i:sec0"]
    current = sim.value["i:in"] - sim.mean("i:in")
    swing = 2.0 * (part(front, "input").stress.v_max - ready.v_in)
    c_in = capacitor.capacitance_at(design.input, ready.v_in, case)
    pairs = {
        "switch": (part(front, "switch").stress.i_rms, sim.rms("i:s0")),
        "switch blocks": (part(front, "switch").stress.v_block, sim.peak("v:s0")),
        "clamp": (part(front, "clamp").stress.i_rms, sim.rms("i:dc0")),
        "clamp mean": (part(front, "clamp").stress.i_avg, sim.mean("i:dc0")),
        "rectifier": (part(front, "rectifier").stress.i_rms, sim.rms("i:do0")),
        "rectifier mean": (part(front, "rectifier").stress.i_avg, sim.mean("i:do0")),
        "primary": (whole(wound.windings[0]), sim.rms("i:leak0")),
        "secondary": (whole(wound.windings[1]), sim.rms("i:do0")),
        "flux": (wound.flux[0].linkage_pp, c.l_m.item() * np.ptp(flux)),
        "saturation": (wound.l_m * wound.i_m_peak, c.l_m.item() * flux.max()),
        "clamp capacitor": (clamp.i_hf_rms, phases * sim.rms("i:cc0")),
        "clamp capacitor mean": (clamp.v_mean, sim.mean("v:c0")),
        "input": (part(front, "input").stress.i_hf_rms, sim.ripple_rms("i:in")),
        "input swing": (swing, np.ptp(np.cumsum(sim.step * current)) / (c.f * c_in)),
        "link": (front.link_hf_rms, sim.rms("i:co")),
        "link voltage": (np.full((1, 99, 1), 200.0), sim.mean("v:o")),
    }
    for name, (found, expected) in pairs.items():
        expected = np.broadcast_to(expected, found.shape)[at]
        assert found[at] == pytest.approx(expected, rel=0.02), name


def test_the_output_diode_bears_the_ring_on_top_of_its_plateau(rng):
    case = demo_case()
    on = link(20, case, swing=0.0, nodes=1)
    design = made({"phases": 1}, 20, rng)
    ready, front = placed(boost, design, case, on)
    at = boost.setting("boost", design, ready, power(20, case), case)
    w, n = at.waves, ready.circuit.ratio
    slope = w.v_on / (n * ready.circuit.l_k)
    plateau = w.v_diode + n / (1.0 + n) * ready.lift
    ringing = plateau * (1.0 + ready.snubber.overshoot)
    block = part(front, "rectifier").stress.v_block
    kicked = ready.snubber.kicked(w.i_end / n, slope)
    assert block == pytest.approx(ringing + kicked, rel=1e-9)
    # Only diodes that store charge kick, and only where they still carry current.
    stores = ready.snubber.device.q_rr[:, 0, 0] > 0.0
    assert ((kicked > 0.0) == (stores[:, None, None] & (w.i_end > 0.0))).all()
    assert (block > 1.2 * w.v_diode).all()
    # C_s loses ½·C·V² as it is charged and again as it is discharged, once a period each.
    charge, energy = charge_and_energy(ready.snubber.device.charge, w.v_diode)
    heat = at.rate * (ready.snubber.c * w.v_diode**2 + w.v_diode * charge - energy)
    assert part(front, "snubber").loss(heat) == pytest.approx(heat, rel=1e-9)


def test_inductance_gives_the_ripple_asked_for(rng):
    # At full power, without leakage, at the weighted means of the voltages.
    case, design = demo_case(), made({"phases": 2}, 6, rng)
    v_in, v_out = np.full((1, case.points.count, 1), 33.0), np.full((6, 1, 1), 210.0)
    l_m = boost.inductance(design, v_in=v_in, v_out=v_out, case=case)
    n = design.transformer.turns_secondary / design.transformer.turns_primary
    p = case.points.p_ac.max() / 2
    none = boost.forms.Circuit(n, l_m, 1e-6 * l_m, design.f)
    w = boost.forms.waves(none, designs(p), v_in=designs(33.0), v_out=v_out)
    mean = p / 33.0 + n * p / 210.0
    assert w.linkage / l_m / mean == pytest.approx(design.ripple, rel=1e-3)


@STATIC
def test_every_variable_matters(static, rng):
    case = demo_case()
    names = case.catalogue.names()
    values = drawn(Design, static, 4, rng, **{"transformer.core": 12, "burst": 0.2})
    base = books(placed(boost, build(Design, values, static), case, link(4, case))[1], case)
    for v in variables(Design, names, static=static):
        now = values[v.field]
        moved = np.where(now > 0.5 * (v.lo + v.hi), v.lo, v.hi)
        changed = build(Design, {**values, v.field: moved}, static)
        found = books(placed(boost, changed, case, link(4, case))[1], case)
        different = [
            not np.array_equal(a.value, b.value)
            for a, b in zip(base.entries, found.entries, strict=True)
        ]
        assert any(different), v.path


@STATIC
def test_idle_rows_carry_no_limit_but_voltages(static, rng):
    case = demo_case()
    _, front = placed(boost, made(static, 40, rng), case, link(40, case))
    idle = case.points.p_ac[0, :, 0] == 0.0
    fixed = {"boost.turns_least", "boost.turns_most"}
    for entry in front.placed.books.of(Kind.LIMIT):
        if entry.path not in fixed:
            assert (np.broadcast_to(entry.value, (40, idle.size, 1))[:, idle] <= 0.0).all()


def test_load_rejection_raises_what_the_devices_block(rng):
    case = demo_case()
    design, on = made({"phases": 1}, 20, rng), link(20, case)
    low = boost.prepare(design, v_in=case.points.v_pv, v_out=on.v_nodes, case=case)
    high = boost.prepare(
        design, v_in=case.points.v_pv, v_out=on.v_nodes, case=case, v_top=on.v_max
    )
    n = high.circuit.ratio
    assert (high.lift[:, case.points.rejection[0, :, 0] > 0.0] > 30.0).all()
    for name, share in (("switch", 1.0 / (1.0 + n)), ("clamp", 1.0 / (1.0 + n))):
        found = [
            next(
                x.stress.v_block
                for x in boost.place("boost", design, r, power(20, case), case).placed.parts
                if x.path == f"boost.{name}"
            )
            for r in (low, high)
        ]
        assert found[1] - found[0] == pytest.approx(share * high.lift, rel=1e-6, abs=1e-9)


def test_more_turns_spare_the_switch_and_burden_the_output_diode(rng):
    case = demo_case()
    fixed = {"transformer.turns_primary": 6, "transformer.interleaved": 1}
    values = drawn(Design, {"phases": 1}, 1, rng, **fixed)
    values = {name: np.repeat(x, 5, axis=0) for name, x in values.items()}
    values["transformer.turns_secondary"] = designs([9, 12, 18, 24, 30])
    values["transformer.core"] = designs([20] * 5)
    _, front = placed(boost, build(Design, values, {"phases": 1}), case, link(5, case))
    block = {
        p.path: p.stress.v_block
        for p in front.placed.parts
        if p.path in ("boost.switch", "boost.rectifier")
    }
    loaded = (case.points.p_ac >= 0.5 * case.points.p_ac.max())[0, :, 0]
    assert (np.diff(block["boost.switch"][:, loaded], axis=0) < 0.0).all()
    assert (np.diff(block["boost.rectifier"][:, loaded], axis=0) > 0.0).all()


def ring(k, r, *, v=0.0, i=0.0):
    """Peak voltage of the junction; leakage and junction are 1 H and 1 F."""
    a = np.zeros((4, 4))
    a[:3, :3] = [[0, -1, 0], [1, -1 / r, 1 / r], [0, 1 / (r * k), -1 / (r * k)]]
    a[0, 3] = v
    step, x, peak = expm(0.01 * a), np.array([i, 0.0, 0.0, 1.0]), 0.0
    for _ in range(1200):
        x = step @ x
        peak = max(peak, x[1])
    return peak


@pytest.mark.parametrize("k", [0.5, 1.0, 2.0, 4.0, 8.0])
def test_the_snubber_holds_the_ring_as_its_circuit_says(k, rng):
    case = demo_case()
    device = diode.device(made({"phases": 1}, 1, rng).rectifier, case)
    found = snubber(designs(k), device, l_ring=designs(4e-6), c_windings=designs(20e-12))
    c_j = 4e-6 / found.z**2
    k_built, r = (found.c / c_j).item(), (found.r / found.z).item()
    assert k_built == pytest.approx(k, rel=0.11)  # E12
    assert 1.0 + found.overshoot.item() == pytest.approx(ring(k_built, r, v=1.0), rel=0.015)
    assert found.kick.item() == pytest.approx(ring(k_built, r, i=1.0), rel=0.04)


def test_a_larger_snubber_trades_heat_for_voltage(rng):
    case = demo_case()
    device = diode.device(made({"phases": 1}, 1, rng).rectifier, case)
    shapes = [
        snubber(designs(k), device, l_ring=designs(4e-6), c_windings=designs(20e-12))
        for k in (0.5, 1.5, 4.0, 8.0)
    ]
    v = designs(300.0)
    peaks = [s.overshoot.item() for s in shapes]
    heats = [s.power(v, designs(1e5)).item() for s in shapes]
    assert peaks == sorted(peaks, reverse=True)
    assert heats == sorted(heats)
    assert max(peaks) < 1.0


def test_what_reaches_the_module_grows_with_swing_and_pauses(rng):
    case = demo_case()
    design = dataclasses.replace(made({"phases": 1}, 3, rng), burst=designs(0.3))
    ripples = []
    for swing in (0.02, 0.1):
        on = link(3, case, swing=swing)
        ready, _ = placed(boost, design, case, on)
        ripples.append(boost.module_ripple(design, ready, on, power(3, case), case))
    assert (ripples[1] >= ripples[0]).all()
    feeding = np.broadcast_to(case.points.p_ac > 0.0, ripples[0].shape)
    assert (ripples[0][~feeding] == 0.0).all()
    # Bursts: a triangle of the charge that the module delivers in the pause.
    c = capacitor.capacitance_at(design.input, case.points.v_pv, case)
    p = power(3, case)
    share = p / ready.least_power
    pause = (1.0 - share) * 4.0 / (share * design.f)
    row = 0
    triangle = (p / case.points.v_pv * pause / c)[:, row] / 6.0**0.5
    found = ripples[0][:, row] * case.points.v_pv[:, row]
    assert found == pytest.approx(triangle, rel=0.01)


def test_few_nodes_stand_for_the_whole_swing(rng):
    # Three nodes against sixteen, at the largest swing that a link may have.
    case, design = demo_case(), made({"phases": 1}, 30, rng)
    few, many = (
        placed(boost, design, case, link(30, case, swing=0.15, nodes=n))[1] for n in (3, 16)
    )
    for name in ("switch", "clamp", "rectifier"):
        rms = part(few, name).stress.i_rms / part(many, name).stress.i_rms
        assert np.abs(rms - 1.0).max() < 0.01, name
    assert few.link_hf_rms == pytest.approx(many.link_hf_rms, rel=0.01)
    blocked = [part(x, "rectifier").stress.v_block for x in (few, many)]
    # Recovery sets in steeply where the mode changes along the swing, which no few nodes
    # see; over all rows, full load decides.
    off = blocked[0] / blocked[1] - 1.0
    assert np.abs(off).max() < 0.1
    worst_row = blocked[0].max(axis=1) / blocked[1].max(axis=1) - 1.0
    assert worst_row.min() > -0.005
    assert worst_row.max() < 0.03


def test_the_bill_of_materials_names_the_capacitors_of_the_snubbers(rng):
    case = demo_case()
    front = placed(boost, made({"phases": 2}, 1, rng), case, link(1, case))[1]
    damper = part(front, "snubber")
    t = np.full((1, case.points.count, 1), 60.0)
    items = damper.items(t, case)
    assert [x.path for x in items] == ["boost.snubber", "boost.snubber.ceramic"]
    assert items[1].quantity == 2
    assert damper.book(t, case).total(Kind.PIECES) == 3.0


def test_limits_are_named_once_and_tell_their_unit(rng):
    case = demo_case()
    _, front = placed(boost, made({"phases": 2}, 2, rng), case, link(2, case))
    assert {"boost.reset", "boost.resonance", "boost.leakage", "boost.ripple"} <= set(
        worst(books(front, case), 2)
    )
