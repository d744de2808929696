"""The series-capacitor boost as placed parts: power, charge, limits, batches."""

import dataclasses
import types
from pathlib import Path

import numpy as np
import pytest

from models.axes import designs, points, swing_nodes
from models.catalogues import catalogue
from models.ledger import Kind
from models.parts import capacitor
from models.spec import Parts
from models.stages import front_ripple, swing
from models.stages import series_capacitor_boost as boost
from models.stages.series_capacitor_boost import DiodeDesign, SynchronousDesign
from models.variables import build, structures, variables
from tests.stages.series_capacitor_netlist import arguments, simulate

CATALOGUE = catalogue(Parts(), Path())
POWERS = (15.0, 60.0, 150.0, 300.0, 300.0, 0.0)
V_IN = (32.0, 34.0, 33.0, 24.0, 42.0, 58.0)
KINDS = pytest.mark.parametrize("cls", [DiodeDesign, SynchronousDesign])
STATIC = pytest.mark.parametrize(
    "static", structures(DiodeDesign), ids=lambda s: "-".join(str(v) for v in s.values())
)


@pytest.fixture
def case():
    rows = types.SimpleNamespace(
        p_ac=points(POWERS),
        weight=points((0.1, 0.2, 0.3, 0.4, 0.0, 0.0)),
        f_grid=points((60.0,) * 6),
        hours=points((2000.0, 2000.0, 2000.0, 2000.0, 0.0, 760.0)),
        thermal=points((1.0, 1.0, 1.0, 1.0, 1.0, 0.0)),
        t_air=points((25.0,) * 6),
    )
    spec = types.SimpleNamespace(limits=types.SimpleNamespace(junction_margin_k=25.0))
    return types.SimpleNamespace(points=rows, catalogue=CATALOGUE, spec=spec)


def drawn(cls, static, count, rng):
    """Return designs anywhere in the box."""
    values = {}
    for v in variables(cls, CATALOGUE.names()):
        x = rng.uniform(size=(count, 1, 1))
        value = v.lo * (v.hi / v.lo) ** x if v.log else v.lo + (v.hi - v.lo) * x
        values[v.field] = np.round(value) if v.discrete else value
    return build(cls, values, static)


def one(design, i):
    """Return design ``i`` of a batch as a batch of its own."""
    changes = {}
    for field in dataclasses.fields(design):
        value = getattr(design, field.name)
        if dataclasses.is_dataclass(value):
            changes[field.name] = one(value, i)
        elif isinstance(value, np.ndarray):
            changes[field.name] = value[i : i + 1]
    return dataclasses.replace(design, **changes)


def link(count, swing=0.12):
    """Return a link of 190 V to 230 V that swings with the power of the row."""
    share = points(POWERS) / 300.0 * swing
    return np.linspace(190.0, 230.0, count).reshape(-1, 1, 1) * (1.0 + share * swing_nodes(5))


def placed(design, case, v_out):
    ready = boost.prepare(design, v_in=points(V_IN), v_out=v_out, case=case)
    p = points(POWERS) * 1.04 + 1.0 + 0.0 * v_out[:, :1, :1]
    return boost.place("boost", design, ready, p, case)


def books(front, case, t=80.0):
    shape = (front.link_hf_rms.shape[0], len(POWERS), 1)
    ledger = front.placed.books
    for part in front.placed.parts:
        ledger = ledger + part.book(np.full(shape, t), case)
    return ledger


@KINDS
@STATIC
def test_every_booking_anywhere_in_the_box_is_finite_and_no_loss_is_negative(
    cls, static, case, rng
):
    front = placed(drawn(cls, static, 60, rng), case, link(60))
    for entry in books(front, case).entries:
        assert np.isfinite(entry.value).all(), entry.path
        if entry.kind in (Kind.LOSS, Kind.VOLUME, Kind.COST):
            assert (entry.value >= 0.0).all(), entry.path
    assert (front.link_hf_rms >= 0.0).all()


@KINDS
@STATIC
def test_a_batch_gives_the_books_of_single_designs(cls, static, case, rng):
    batch, v_out = drawn(cls, static, 5, rng), link(5)
    together = books(placed(batch, case, v_out), case)
    for i in range(5):
        alone = books(placed(one(batch, i), case, v_out[i : i + 1]), case)
        for a, b in zip(alone.entries, together.entries, strict=True):
            row = b.value[min(i, b.value.shape[0] - 1)]
            assert a.value[0] == pytest.approx(row, rel=1e-12, abs=1e-300), a.path


@KINDS
@STATIC
def test_power_at_both_ports_is_the_power_asked_for(cls, static, case, rng):
    # Σ v·i over the cycle from the stress, pauses of bursts included.
    design, v_out = drawn(cls, static, 40, rng), link(40)
    ready = boost.prepare(design, v_in=points(V_IN), v_out=v_out, case=case)
    p = points(POWERS) * 1.04 + 0.0 * v_out[:, :1, :1]
    found = boost.modes.stress(ready.ready, p, ready.least_power)
    nodes = swing.Nodes(found.active)
    drawn_in = points(V_IN) * nodes.time(sum(found.l_avg))
    given = nodes.time(found.d_avg * ready.ready.v_out)
    assert drawn_in == pytest.approx(p, rel=1e-3, abs=1e-9)
    assert given == pytest.approx(p, rel=1e-3, abs=1e-9)


@STATIC
def test_idle_rows_carry_no_limit_but_blocking_voltage(static, case, rng):
    front = placed(drawn(DiodeDesign, static, 20, rng), case, link(20))
    for entry in front.placed.books.of(Kind.LIMIT):
        value = np.broadcast_to(entry.value, (20, len(POWERS), 1))
        assert (value[:, -1] <= 0.0).all(), entry.path


def test_no_device_blocks_more_than_the_link_or_the_module(case, rng):
    static = {"phases": 3, "gating": "equal_current"}
    v_out = link(20)
    front = placed(drawn(DiodeDesign, static, 20, rng), case, v_out)
    top = np.maximum(swing.highest(v_out), points(V_IN))
    for part in front.placed.parts:
        if hasattr(part.stress, "v_block"):
            assert (part.stress.v_block <= top * (1 + 1e-12)).all()


def test_swing_ends_lie_beyond_the_outer_nodes():
    v = 200.0 + 30.0 * swing_nodes(5)
    assert swing.highest(v).item() == pytest.approx(230.0, rel=1e-12)
    assert swing.lowest(v).item() == pytest.approx(170.0, rel=1e-12)


def test_inductance_gives_the_ripple_asked_for(case, rng):
    static = {"phases": 2, "gating": "uniform"}
    design = drawn(DiodeDesign, static, 6, rng)
    v_out = np.full((6, 1, 1), 200.0)
    wanted = boost.inductance(design, v_in=points((30.0,) * 6), v_out=v_out, case=case)
    duty = 1.0 - 2 * 30.0 / 200.0
    ripple = 30.0 * duty / (wanted * design.f)
    assert ripple / (300.0 / 30.0 / 2) == pytest.approx(design.ripple, rel=1e-9)


def test_mean_currents_at_the_edges_stand_for_the_sum_over_the_swing(case, rng):
    # Overlap energy ∝ v·i and charge energy ∝ v^1.5: reduced against summed.
    design = drawn(SynchronousDesign, {"phases": 3, "gating": "uniform"}, 10, rng)
    design = dataclasses.replace(design, burst=designs(0.01))
    v_out = link(10)
    ready = boost.prepare(design, v_in=points(V_IN), v_out=v_out, case=case)
    found = boost.modes.stress(ready.ready, points(POWERS) + 1.0, ready.least_power)
    nodes = swing.Nodes(found.active)
    for k in range(3):
        reduced = nodes.running_rms(found.v_on[k])
        assert reduced**1.5 == pytest.approx(nodes.running(found.v_on[k] ** 1.5), rel=0.03)
        product = reduced * nodes.running(found.s_off[k])
        assert product == pytest.approx(nodes.running(found.v_on[k] * found.s_off[k]), rel=0.06)


def part(front, name):
    return next(p for p in front.placed.parts if p.path == f"boost.{name}")


def steady(cls, case, rng, *, power, ripple, burst=0.01):
    """Return a two-phase design at 200 V without swing, its stress and its swing."""
    design = drawn(cls, {"phases": 2, "gating": "uniform"}, 1, rng)
    design = dataclasses.replace(design, ripple=designs(ripple), burst=designs(burst))
    v_out = np.full((1, 1, 1), 200.0)
    ready = boost.prepare(design, v_in=points((30.0,) * 6), v_out=v_out, case=case)
    p = np.full((1, 6, 1), power)
    found = boost.modes.stress(ready.ready, p, ready.least_power)
    return found, boost.place("boost", design, ready, p, case)


@KINDS
def test_parts_bear_the_stress_of_their_own_position(cls, case, rng):
    found, front = steady(cls, case, rng, power=300.0, ripple=0.4)
    rectifier = "diode" if cls is DiodeDesign else "rectifier"
    for k in (0, 1):
        own, other = part(front, f"switch_{k + 1}").stress, part(front, f"{rectifier}_{k + 1}")
        assert own.i_rms**2 == pytest.approx(found.s_square[k], rel=1e-9)
        assert other.stress.i_rms**2 == pytest.approx(found.d_square[k], rel=1e-9)
        assert own.edges[0].i_on == pytest.approx(found.s_on[k], rel=1e-6)
        assert own.edges[0].i_off == pytest.approx(found.s_off[k], rel=1e-6)
        assert own.edges[0].others[0].v_to == pytest.approx(found.v_on[k], rel=1e-6)
    assert part(front, "series_1").stress.i_hf_rms ** 2 == pytest.approx(
        found.c_square[0], rel=1e-9
    )
    assert part(front, "input").stress.i_hf_rms ** 2 == pytest.approx(found.in_square, rel=1e-6)
    assert front.link_hf_rms**2 == pytest.approx(found.link_square, rel=1e-9)
    winding = part(front, "choke").stress.winding
    square = winding.i_dc**2 + sum(h**2 for h in winding.harmonics)
    assert square == pytest.approx(found.l_square[0], rel=1e-9)


def test_pauses_of_bursts_count_as_ripple_at_both_ports(case, rng):
    found, front = steady(DiodeDesign, case, rng, power=60.0, ripple=0.3, burst=0.4)
    share = found.active
    assert share == pytest.approx(np.full((1, 6, 1), 0.5), rel=1e-9)
    link = share * found.d_square[-1] - (share * found.d_avg) ** 2
    assert front.link_hf_rms**2 == pytest.approx(link, rel=1e-9)
    running = found.power / 30.0
    module = share * (found.in_square + running**2) - (share * running) ** 2
    assert part(front, "input").stress.i_hf_rms ** 2 == pytest.approx(module, rel=1e-9)
    assert part(front, "switch_1").stress.edges[0].rate == pytest.approx(
        share * part(front, "choke").stress.winding.f, rel=1e-9
    )


def test_negative_valleys_turn_the_switches_on_softly_and_the_rectifiers_off_hard(case, rng):
    found, front = steady(SynchronousDesign, case, rng, power=40.0, ripple=1.5)
    for k in (0, 1):
        assert (found.s_on[k] < 0.0).all()
        own = part(front, f"switch_{k + 1}").stress.edges[0]
        rectifier = part(front, f"rectifier_{k + 1}").stress.edges[0]
        assert own.i_drive == pytest.approx(-found.s_on[k], rel=1e-6)
        assert rectifier.i_off == pytest.approx(-found.s_on[k], rel=1e-6)
        assert rectifier.i_drive == pytest.approx(found.s_off[k], rel=1e-6)


@KINDS
def test_a_design_of_a_batch_bears_what_its_own_simulation_says(cls, case, rng):
    design = drawn(cls, {"phases": 2, "gating": "uniform"}, 12, rng)
    design = dataclasses.replace(design, ripple=0.5 * design.ripple)
    v_out = link(12)
    ready = boost.prepare(design, v_in=points(V_IN), v_out=v_out, case=case)
    found = boost.modes.stress(ready.ready, points(POWERS) + 0.0 * design.f, ready.least_power)
    i, point, node = 7, 3, 1
    assert found.active[i, point, node] == 1.0
    f, c = design.f[i].item(), capacitor.capacitance(design.series, case)[i].item()
    simulated = simulate(
        **arguments(ready.ready, found, design=i, point=point, node=node),
        inductance=ready.inductance[i].item(),
        f=f,
        capacitance=c,
        synchronous=cls is SynchronousDesign,
    )
    for k in range(2):
        for name, square in (("s", found.s_square), ("d", found.d_square), ("l", found.l_square)):
            rms = square[k][i, point, node] ** 0.5
            assert rms == pytest.approx(simulated[f"{name}_rms_{k + 1}"], rel=0.02), name
    assert simulated["v_out"] == pytest.approx(v_out[i, point, node], rel=0.005)


def test_bursts_charge_the_module_as_integrated_in_time(case, rng):
    """The module's current charges its capacitors while the stage pauses."""
    case.points.v_pv = points((30.0,) * 6)
    design = drawn(DiodeDesign, {"phases": 2, "gating": "uniform"}, 1, rng)
    p, share = np.full((1, 6, 1), 60.0), 0.25
    found = boost.burst_ripple(design, designs(share), p, case)[0, 0, 0]
    c = capacitor.capacitance_at(design.input, case.points.v_pv, case)[0, 0, 0]
    run = front_ripple.BURST_PERIODS / design.f[0, 0, 0]
    t = np.linspace(0.0, run / share, 20001)[:-1]
    i = 60.0 / 30.0
    current = np.where(t < run / share - run, i, i - i / share)
    volts = np.cumsum(current) * (t[1] - t[0]) / c
    assert found == pytest.approx(np.sqrt(2.0) * volts.std() / 30.0, rel=2e-3)
    whole = boost.burst_ripple(design, designs(1.0), p, case)
    assert (whole == 0.0).all()
