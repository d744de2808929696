"""The LLC stage as placed parts, in both uses: power, charge, limits, batches, designs."""

import dataclasses
import math
import types

import numpy as np
import pytest

from models.axes import designs, line_mean, points, swing_nodes
from models.ledger import Kind
from models.parts import capacitor, switch
from models.parts.switch import Device
from models.physics.semiconductor import charge_and_energy
from models.stages import llc, llc_fixed_ratio, llc_limits, llc_parts
from models.stages.ports import Output
from models.variables import build, structures, variables
from tests.stages.llc_circuit import (
    CATALOGUE,
    POWERS,
    case,
    drawn,
    one,
    stage,
    statics,
    with_turns,
)

USES = pytest.mark.parametrize("module", [llc, llc_fixed_ratio], ids=("regulated", "fixed"))
STATIC = pytest.mark.parametrize(
    "static", structures(llc.Design)[::5], ids=lambda s: "-".join(s.values())
)
ROWS = len(POWERS)


def link(module, x, count, c, swing=0.08):
    """The link that the stage stands at: its own with a fixed ratio."""
    nodes = 1.0 + c.points.p_ac / 300.0 * swing * swing_nodes(3)
    if module is llc_fixed_ratio:
        return module.follows(x, c) * c.points.v_pv * nodes
    return np.linspace(360.0, 440.0, count).reshape(-1, 1, 1) * nodes


def placed(module, x, v_out, c=None):
    c = c or case()
    ready = module.prepare(x, v_in=c.points.v_pv, v_out=v_out, case=c)
    p = c.points.p_ac * 1.04 + 1.0 + 0.0 * v_out[:, :1, :1]
    return module.place("llc", x, ready, p, c)


def books(front, c=None, t=80.0):
    ledger = front.placed.books
    for part in front.placed.parts:
        ledger = ledger + part.book(np.full(front.active.shape, t), c or case())
    return ledger


def part(front, name):
    return next(p for p in front.placed.parts if p.path == f"llc.{name}")


@USES
@STATIC
def test_every_booking_anywhere_in_the_box_is_finite_and_no_loss_is_negative(module, static, rng):
    x = drawn(module.Design, static, 60, rng)
    front = placed(module, x, link(module, x, 60, case()))
    for entry in books(front).entries:
        assert np.isfinite(entry.value).all(), entry.path
        if entry.kind in (Kind.LOSS, Kind.VOLUME, Kind.COST):
            assert (entry.value >= 0.0).all(), entry.path
    for value in (front.link_hf_rms, front.f_link, front.v_winding, front.windings):
        assert (value >= 0.0).all()


@USES
@STATIC
def test_a_batch_gives_the_books_of_single_designs_bit_for_bit(module, static, rng):
    batch = drawn(module.Design, static, 4, rng)
    v_out = link(module, batch, 4, case())
    together = books(placed(module, batch, v_out))
    for i in range(4):
        alone = books(placed(module, one(batch, i), v_out[i : i + 1]))
        for a, b in zip(alone.entries, together.entries, strict=True):
            assert (a.value[0] == b.value[min(i, b.value.shape[0] - 1)]).all(), a.path


@USES
def test_rectifiers_pass_the_power_that_the_stage_is_told(module, rng):
    for secondary, positions in (("bridge", 2.0), ("doubler", 1.0)):
        x = drawn(module.Design, statics(secondary=secondary), 20, rng)
        v_out = link(module, x, 20, case(), swing=0.0)
        front = placed(module, x, v_out)
        given = positions * part(front, "rectifier").stress.i_avg * line_mean(v_out)
        told = points(POWERS) * 1.04 + 1.0 + 0.0 * given
        assert given == pytest.approx(told, rel=1e-3)


@USES
@STATIC
def test_idle_rows_carry_no_limit_of_the_stage(module, static, rng):
    x = drawn(module.Design, static, 20, rng)
    front = placed(module, x, link(module, x, 20, case()))
    always = {"llc.leakage", "llc.resonant_class", "llc.resonant_alternating"}
    for entry in front.placed.books.of(Kind.LIMIT):
        if entry.path not in always:
            value = np.broadcast_to(entry.value, (20, ROWS, 1))
            assert (value[:, -1] <= 0.0).all(), entry.path


@USES
def test_traits_say_what_it_is(module):
    assert module.TRAITS.isolated
    assert not module.TRAITS.common_negative
    assert module.TRAITS.output is Output.LINK
    assert module.TRAITS.regulated == (module is llc)


@USES
@STATIC
def test_every_variable_changes_something(module, static, rng):
    x = drawn(module.Design, static, 40, rng)
    v_out = link(module, x, 40, case())
    before = books(placed(module, x, v_out)).entries
    fields = variables(module.Design, CATALOGUE.names(), static=static)
    values = drawn_values(x, fields)
    for v in fields:
        middle = math.sqrt(v.lo * v.hi) if v.log else 0.5 * (v.lo + v.hi)
        other = np.where(values[v.field] > middle, v.lo, v.hi)
        changed = build(module.Design, values | {v.field: other}, static)
        after = books(placed(module, changed, v_out)).entries
        moved = [(a.value != b.value).any() for a, b in zip(before, after, strict=True)]
        assert any(moved), v.field


def drawn_values(x, fields):
    """The arrays of a design by field."""
    found = {}
    for v in fields:
        value = x
        for name in v.field.split("."):
            value = getattr(value, name)
        found[v.field] = value.astype(float)
    return found


def figure(front, name):
    return front.placed.books.find(f"llc.{name}", Kind.FIGURE).value


def limit(front, name):
    return front.placed.books.find(f"llc.{name}", Kind.LIMIT).value


def run(x, *, v_in=34.0, v_out=380.0, power=200.0, count=1):
    c = case((power,), (v_in,))
    ready = llc.prepare(x, v_in=points([v_in]), v_out=np.full((1, 1, 1), v_out), case=c)
    return llc.place("llc", x, ready, np.full((count, 1, 1), power), c)


def test_frequency_falls_with_power_and_link_and_rises_with_the_module(rng):
    x = stage(llc.Design, rng)
    f = [figure(run(x, power=p), "f").item() for p in (60.0, 120.0, 240.0, 480.0)]
    assert (np.diff(f) < 0.0).all()
    f = [figure(run(x, v_out=v), "f").item() for v in (340.0, 370.0, 400.0, 440.0)]
    assert (np.diff(f) < 0.0).all()
    f = [figure(run(x, v_in=v), "f").item() for v in (30.0, 34.0, 38.0, 42.0)]
    assert (np.diff(f) > 0.0).all()


def test_more_magnetising_inductance_turns_off_less_and_reaches_less_far(rng):
    fronts = [run(stage(llc.Design, rng, ratio=m)) for m in (4.0, 6.0, 10.0)]
    off = [part(f, "switch").stress.edges[0].i_off.item() for f in fronts]
    reach = [limit(f, "gain").item() for f in fronts]
    assert (np.diff(off) < 0.0).all()
    assert (np.diff(reach) > 0.0).all()


def test_the_gain_gives_out_where_the_circuit_has_its_peak(rng):
    x = stage(llc.Design, rng)
    at_most = run(x, v_in=24.0)
    most = 200.0 / (limit(at_most, "gain").item() + 1.0)
    assert limit(run(x, v_in=24.0, power=0.99 * most), "gain").item() < 0.0
    assert limit(run(x, v_in=24.0, power=1.01 * most), "gain").item() > 0.0


def test_outside_the_table_a_limit_is_positive(rng):
    x = stage(llc.Design, rng)
    assert limit(run(x, v_in=60.0), "drive_most").item() > 0.0
    assert limit(run(x, v_in=15.0), "drive_least").item() > 0.0


def test_the_link_counts_with_the_worse_end_of_its_swing(rng):
    x = stage(llc.Design, rng)
    c = case((200.0,), (34.0,))
    still = np.full((1, 1, 1), 380.0)
    margins = []
    for v_out in (still, still * (1.0 + 0.1 * swing_nodes(3)), np.full((1, 1, 1), 418.0)):
        ready = llc.prepare(x, v_in=points([34.0]), v_out=v_out, case=c)
        front = llc.place("llc", x, ready, np.full((1, 1, 1), 200.0), c)
        margins.append(limit(front, "gain").item())
    assert margins[0] < margins[1]
    assert margins[1] == pytest.approx(margins[2], rel=0.01)


def test_zero_voltage_is_the_charge_of_the_dead_time_over_leg_and_rectifiers(rng):
    x = stage(llc.Design, rng, rectifier="transistor")
    front, c = run(x), case()
    own: Device = switch.device(x.switch, c)
    other = switch.device(x.rectifier.position(), c)
    needed = 2.0 * charge_and_energy(own.charge, designs(34.0))[0]
    needed = needed + 2.0 * 10.0 * charge_and_energy(other.charge, designs(380.0))[0]
    off = part(front, "switch").stress.edges[0].i_off
    margin = 1.0 - off * own.t_dead / needed
    assert limit(front, "zero_voltage") == pytest.approx(margin, rel=1e-6)


def test_switching_costs_next_to_nothing_once_the_voltage_swings_to_zero(rng):
    x = stage(llc.Design, rng)
    for t_dead, soft in ((300e-9, True), (10e-9, False)):
        turned = dataclasses.replace(x.switch, t_dead=designs(t_dead), r_gate=designs(1.0))
        front = run(dataclasses.replace(x, switch=turned))
        assert (limit(front, "zero_voltage").item() < 0.0) == soft
        assert (part(front, "switch").edges.capacitive.item() < 1e-3) == soft


def test_diodes_recover_above_resonance_only(rng):
    x = stage(llc.Design, rng)
    row = CATALOGUE["diodes"].rows.index("ultrafast 600 V 8 A class")
    x = dataclasses.replace(
        x, rectifier=dataclasses.replace(x.rectifier, row=np.full((1, 1, 1), row))
    )
    assert part(run(x, v_in=30.0), "rectifier").p_recovery.item() == pytest.approx(0.0, abs=1e-9)
    assert part(run(x, v_in=46.0), "rectifier").p_recovery.item() > 0.5


def test_class_2_ceramics_are_refused_in_the_tank(rng):
    x = drawn(llc.Design, statics(resonant="ceramic"), 1, rng)
    for name, good in (("c0g-47n-250V", True), ("x7r-100n-250V", False)):
        row = np.full((1, 1, 1), CATALOGUE["ceramic"].rows.index(name))
        bank = dataclasses.replace(x.resonant, row=row)
        front = run(dataclasses.replace(x, resonant=bank))
        assert (limit(front, "resonant_class").item() <= 0.0) == good


def test_the_choke_is_what_the_leakage_leaves_and_must_leave_some(rng):
    front = run(stage(llc.Design, rng, turns=(4.0, 40.0)))
    leak = part(front, "transformer").book(np.full((1, 1, 1), 80.0), case())
    leakage = leak.find("llc.transformer.leakage", Kind.FIGURE).value
    whole = part(front, "choke").stress.inductance + leakage
    assert figure(front, "l_r") == pytest.approx(whole, rel=1e-9)
    large = run(with_turns(stage(llc.Design, rng, f_0=400e3), 12.0, 120.0))
    assert limit(large, "leakage").item() > 0.0


def test_bursts_scale_mean_squares_and_leave_peaks(rng):
    steady, burst = (run(stage(llc.Design, np.random.default_rng(1), burst=b), power=p)
                     for b, p in ((0.01, 100.0), (0.4, 100.0)))  # fmt: skip
    # 40 % of full power is less than the row's own power: full power is that of the row.
    assert steady.active.item() == burst.active.item() == 1.0
    c = case((300.0, 60.0), (34.0, 34.0))
    x = stage(llc.Design, rng, burst=0.4)
    ready = llc.prepare(x, v_in=c.points.v_pv, v_out=np.full((1, 1, 1), 380.0), case=c)
    both = llc.place("llc", x, ready, points([120.0, 60.0]), c)
    assert both.active[0, :, 0] == pytest.approx([1.0, 0.5], rel=1e-9)
    rms = part(both, "switch").stress.i_rms[0, :, 0]
    assert rms[1] == pytest.approx(rms[0] / math.sqrt(2.0), rel=1e-9)
    peak = part(both, "choke").stress.i_peak[0, :, 0]
    assert peak[1] == pytest.approx(peak[0], rel=1e-9)


def a_link(swing, v=380.0):
    return types.SimpleNamespace(swing=designs(swing), v_rms=designs(v))


def test_a_swing_of_the_link_stands_at_the_module_only_without_regulation(rng):
    c = case((300.0,), (36.0,))
    ripples = {}
    for module in (llc, llc_fixed_ratio):
        x = stage(module.Design, rng)
        v_out = np.full((1, 1, 1), 360.0)
        ready = module.prepare(x, v_in=c.points.v_pv, v_out=v_out, case=c)
        p = np.full((1, 1, 1), 300.0)
        ripples[module] = module.module_ripple(x, ready, a_link(38.0), p, c).item()
    assert ripples[llc_fixed_ratio] == pytest.approx(0.1, rel=1e-9)
    # 1.5 periods of 150 kHz late at 100 Hz.
    assert ripples[llc] == pytest.approx(0.1 * 2.0 * math.pi * 100.0 * 1.5 / 150e3, rel=1e-4)


def test_pauses_of_bursts_ripple_at_the_module(rng):
    c = case((300.0, 30.0), (36.0, 36.0))
    for module in (llc, llc_fixed_ratio):
        x = stage(module.Design, rng, burst=0.4)
        ready = module.prepare(x, v_in=c.points.v_pv, v_out=np.full((1, 1, 1), 360.0), case=c)
        found = module.module_ripple(x, ready, a_link(0.0), points([300.0, 30.0]), c)
        assert found[0, 0, 0] == 0.0
        assert found[0, 1, 0] > 0.0


def test_the_fixed_ratio_is_that_of_the_turns(rng):
    c = case()
    for primary, secondary, ratio in (
        ("full", "bridge", 10.0), ("half", "bridge", 5.0),
        ("full", "doubler", 20.0), ("half", "doubler", 10.0),
    ):  # fmt: skip
        x = stage(llc_fixed_ratio.Design, rng, primary=primary, secondary=secondary)
        assert llc_fixed_ratio.follows(x, c).item() == pytest.approx(ratio, rel=1e-12)


def test_a_link_off_the_fixed_ratio_breaks_a_limit(rng):
    x = stage(llc_fixed_ratio.Design, rng)
    c = case((300.0,), (36.0,))
    for v, good in ((361.0, True), (380.0, False)):
        ready = llc_fixed_ratio.prepare(x, v_in=c.points.v_pv, v_out=np.full((1, 1, 1), v), case=c)
        front = llc_fixed_ratio.place("llc", x, ready, np.full((1, 1, 1), 300.0), c)
        assert (limit(front, "follows").item() < 0.0) == good


def test_a_power_that_pulsates_heats_more_by_half(rng):
    """2·P·sin²θ through the fixed ratio: mean square of the load's current is 1.5 times."""
    x = stage(llc_fixed_ratio.Design, rng, ratio=100.0)
    c = case((300.0,), (36.0,))
    v_out = np.full((1, 1, 1), 360.0)
    ready = llc_fixed_ratio.prepare(x, v_in=c.points.v_pv, v_out=v_out, case=c)
    theta = (np.arange(64) + 0.5) * math.pi / 64.0
    squares = []
    for p in (np.full((1, 1, 1), 300.0), 600.0 * np.sin(theta).reshape(1, 1, -1) ** 2):
        front = llc_fixed_ratio.place("llc", x, ready, p, c)
        squares.append(part(front, "switch").stress.i_rms.item() ** 2)
    assert squares[1] / squares[0] == pytest.approx(1.5, rel=0.02)


@USES
def test_parts_bear_the_highest_link_even_if_the_stage_rests(module, rng):
    x = stage(module.Design, rng)
    c = case()
    v_out = link(module, x, 1, c)
    ready = module.prepare(x, v_in=c.points.v_pv, v_out=v_out, case=c, v_top=designs(600.0))
    front = module.place("llc", x, ready, c.points.p_ac + 0.0 * v_out[:, :1, :1], c)
    assert part(front, "rectifier").stress.v_block.min() >= 600.0
    assert part(front, "switch").stress.v_block == pytest.approx(c.points.v_pv)
    assert part(front, "transformer").stress.v_insulation.min() >= 600.0


def test_a_half_bridge_biases_its_resonant_capacitor(rng):
    x = stage(llc.Design, rng, primary="half", turns=(3.0, 57.0))
    held = part(run(x), "resonant").stress
    amplitude = held.v_max.item() - 17.0
    assert held.v_mean.item() == pytest.approx(math.hypot(17.0, amplitude / math.sqrt(2.0)))
    bound = 0.5 * (limit(run(x), "resonant_alternating").item() + 1.0) * 100.0
    assert amplitude == pytest.approx(bound, rel=1e-9)


def evolved(module, static, rng, people=300, generations=40):
    """The best of a small evolution on the sum of all broken limits, parts' included."""
    fields = variables(module.Design, CATALOGUE.names(), static=static)

    def faults(genes):
        values = {}
        for v, x in zip(fields, genes.T, strict=True):
            value = v.lo * (v.hi / v.lo) ** x if v.log else v.lo + (v.hi - v.lo) * x
            values[v.field] = (np.round(value) if v.discrete else value).reshape(-1, 1, 1)
        x = build(module.Design, values, static)
        ledger = books(placed(module, x, link(module, x, len(genes), case())))
        return sum(
            np.sqrt(np.maximum(np.max(e.value, axis=(1, 2)), 0.0)) + np.zeros(len(genes))
            for e in ledger.of(Kind.LIMIT)
        )

    genes = rng.uniform(size=(people, len(fields)))
    fault = faults(genes)
    for _ in range(generations):
        if fault.min() == 0.0:
            break
        a, b = np.sort(rng.integers(0, people, (2, 2, people)), axis=1)[:, 0]
        child = np.where(rng.uniform(size=genes.shape) < 0.5, genes[a], genes[b])
        moved = rng.uniform(size=genes.shape) < 1.5 / len(fields)
        child = np.clip(child + 0.2 * moved * rng.normal(size=genes.shape), 0.0, 1.0)
        genes, fault = np.concatenate((genes, child)), np.concatenate((fault, faults(child)))
        kept = np.argsort(fault, kind="stable")[:people]
        genes, fault = genes[kept], fault[kept]
    return fault.min()


@USES
def test_some_design_meets_every_limit_of_the_stage_and_its_parts(module, rng):
    assert evolved(module, statics(rectifier="transistor"), rng) == 0.0


def test_the_doubler_halves_what_each_half_blocks_and_its_ripple_is_held(rng):
    x = stage(llc.Design, rng, secondary="doubler", turns=(4.0, 20.0))
    front = run(x)
    half = capacitor.capacitance(x.secondary.half, case()).item()
    ripple = 200.0 / 380.0 / (2.0 * figure(front, "f").item() * half)
    held = part(front, "half").stress
    assert held.v_mean.item() == pytest.approx(190.0)
    assert held.v_max.item() == pytest.approx(190.0 + 0.5 * ripple, rel=1e-6)
    share = limit(front, "doubler").item() + 1.0
    assert share * llc_limits.DOUBLER_RIPPLE_MAX == pytest.approx(ripple / 190.0, rel=1e-6)


def test_a_bridge_waits_in_reverse_for_what_the_charge_leaves_of_the_dead_time(rng):
    x = stage(llc.Design, rng)
    x = dataclasses.replace(x, switch=dataclasses.replace(x.switch, t_dead=designs(300e-9)))
    front = run(x)
    held = part(front, "switch").stress
    off, f = held.edges[0].i_off.item(), figure(front, "f").item()
    # The limit says which part of the dead time the charge takes.
    needed = off * 300e-9 / (1.0 - limit(front, "zero_voltage").item())
    assert held.i_reverse_dead.item() == pytest.approx(f * (off * 300e-9 - needed), rel=1e-6)
    share = 2.0 * f * 300e-9 / llc_limits.DEAD_MAX
    assert limit(front, "dead_time").item() == pytest.approx(share - 1.0, rel=1e-6)


def test_rectifying_transistors_wait_at_both_ends_of_their_half_sine(rng):
    x = stage(llc_fixed_ratio.Design, rng, rectifier="transistor")
    x = dataclasses.replace(x, rectifier=dataclasses.replace(x.rectifier, t_dead=designs(200e-9)))
    c = case((300.0,), (36.0,))
    ready = llc_fixed_ratio.prepare(x, v_in=c.points.v_pv, v_out=np.full((1, 1, 1), 360.0), case=c)
    front = llc_fixed_ratio.place("llc", x, ready, np.full((1, 1, 1), 300.0), c)
    f = figure(front, "f").item()
    time = (np.arange(20000) + 0.5) / 20000 / f
    sine = np.maximum(np.sin(2.0 * math.pi * f * time), 0.0)
    sine *= 0.5 * 300.0 / 360.0 / sine.mean()
    ends = (time < 200e-9) | ((time > 0.5 / f - 200e-9) & (time < 0.5 / f))
    waiting = np.mean(sine * ends)
    assert part(front, "rectifier").stress.i_reverse_dead.item() == pytest.approx(
        waiting, rel=0.01
    )


def test_the_flux_moves_at_the_reflected_link_and_rests_between(rng):
    front = run(stage(llc.Design, rng), v_in=28.0)
    flux = part(front, "transformer").stress.flux[0]
    assert 2.0 * flux.duty.item() + flux.flat.item() == pytest.approx(1.0, rel=1e-9)
    slope = flux.linkage_pp.item() * flux.f.item() / flux.duty.item()
    assert slope == pytest.approx(38.0, rel=1e-6)
    assert flux.flat.item() > 0.05


def test_a_sine_of_flux_costs_what_its_triangle_is_counted_for():
    """Mean of |dB/dt|^α at equal height, α = 1.5, against a triangle raised by the factor."""
    theta = (np.arange(4000) + 0.5) * 0.5 * math.pi / 4000
    sine = math.pi**1.5 * np.mean(np.cos(theta) ** 1.5)
    counted = 2.0**1.5 * llc_parts.SINE_FLUX**2.5
    assert counted == pytest.approx(sine, rel=0.002)


def test_both_halves_of_a_doubler_are_counted(rng):
    x = stage(llc.Design, rng, secondary="doubler", turns=(4.0, 20.0))
    assert part(run(x), "half").count.item() == 2.0 * x.secondary.half.count.item()
