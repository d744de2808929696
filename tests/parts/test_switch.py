"""A switch position: data, edges, heat, books."""

import dataclasses
import types

import numpy as np
import pytest

from models.axes import angles, designs, line_mean, points
from models.ledger import Kind
from models.parts import switch
from models.parts.catalogue import DATA, Catalogue, read_table
from models.parts.part import Anchor
from models.physics.semiconductor import charge_and_energy
from models.physics.switching import turn_off_energy
from models.stress import Edge, Moved, SwitchStress

TABLE = read_table("switches", switch.SCHEMA)
POTTED = designs(0.0)
CAUSES = ["conduction", "capacitive", "overlap", "recovery", "dead_time", "gate"]


@pytest.fixture
def case():
    rows = types.SimpleNamespace(thermal=points([1.0, 1.0, 0.0]))
    return types.SimpleNamespace(
        spec=types.SimpleNamespace(limits=types.SimpleNamespace(junction_margin_k=25.0)),
        points=rows,
        catalogue=Catalogue({"switches": TABLE}),
    )


def design(name="GaN 650 V class", r_on=50e-3, parallel=1.0, r_gate=5.0, t_dead=50e-9):
    names = np.atleast_1d(name)
    index = np.array([TABLE.rows.index(n) for n in names]).reshape(-1, 1, 1)
    wide = 0.0 * index
    return switch.Design(index, *(designs(x) + wide for x in (r_on, parallel, r_gate, t_dead)))


def hard_edge(own, v=350.0, i_on=2.0, i_off=4.0, f=1e5, **more):
    v = designs(v)
    return Edge(designs(f), designs(i_on), designs(i_off), v, (switch.moved(own, 0.0, v),), **more)


def stress(*edges, i_rms=(3.0, 1.5, 0.0), dead=0.05, v_block=400.0):
    return SwitchStress(points(i_rms), points(dead), points(v_block), edges)


def placed(case, one=None, count=1, **more):
    one = one or design()
    own = switch.device(one, case)
    return switch.place("bridge.switch", one, stress(hard_edge(own), **more), case, count)


def settled(part, t_anchor=80.0):
    return part.temperature(points(t_anchor), POTTED)


def test_every_row_is_sensible():
    assert len(TABLE.rows) == 28
    for name in TABLE.rows:
        fixed = "class" not in name
        index = TABLE.rows.index(name)
        lo, hi, ref = (TABLE.columns[c][index] for c in ("r_min", "r_max", "r_ref"))
        if fixed:
            assert lo == hi
        else:
            assert (lo, hi) == pytest.approx((0.2 * ref, 10 * ref))
        drive = [TABLE.columns[c][index] for c in ("v_off", "v_th", "v_pl", "v_on")]
        assert drive == sorted(drive)
    for line in (DATA / "switches.csv").read_text().splitlines()[1:]:
        assert line.endswith(",invented") or (
            " class," in line and line.endswith("price invented")
        )


@pytest.mark.parametrize(
    ("name", "wanted", "offered"),
    [
        ("GaN 650 V class", 1e-3, 10e-3),
        ("GaN 650 V class", 80e-3, 80e-3),
        ("GaN 650 V class", 1.0, 0.5),
        ("GaN 650 V 50 mΩ", 200e-3, 49e-3),
    ],
)
def test_on_resistance_is_held_to_what_the_row_offers(case, name, wanted, offered):
    own = switch.device(design(name, wanted), case)
    assert own.r_die.item() == pytest.approx(offered, rel=1e-12)
    assert own.r_on25.item() == pytest.approx(offered + 1e-3, rel=1e-12)


def test_devices_in_parallel_share_current_and_add_charge(case):
    one, three = (switch.device(design(parallel=m), case) for m in (1.0, 3.0))
    for name, factor in [
        ("r_on25", 1 / 3),
        ("r_th", 1 / 3),
        ("q_g", 3),
        ("q_rr", 3),
        ("r_sd", 1 / 3),
    ]:
        assert getattr(three, name) == pytest.approx(factor * getattr(one, name), rel=1e-12)
    assert three.charge.q_ref == pytest.approx(3 * one.charge.q_ref, rel=1e-12)
    assert three.charge.extra == one.charge.extra
    assert three.t_rise == one.t_rise


def test_charge_of_a_class_follows_its_figure_of_merit(case):
    own = switch.device(design(r_on=100e-3), case)
    assert own.charge.q_ref.item() == pytest.approx(3.0e-9 / 0.1, rel=1e-12)
    assert own.q_g.item() == pytest.approx(0.3e-9 / 0.1, rel=1e-12)


def test_hard_half_bridge_burns_charge_times_voltage(case):
    part = placed(case)
    q, _ = charge_and_energy(part.device.charge, designs(350.0))
    assert part.edges.capacitive == pytest.approx(1e5 * 350.0 * q, rel=1e-12)


def test_conduction_dead_time_and_overlap_follow_their_laws(case):
    part = placed(case, i_rms=(3.0, 3.0, 3.0))
    own = part.device
    losses = {e.path.split(".")[-1]: e.value for e in part.book(points(25.0), case).of(Kind.LOSS)}
    assert losses["conduction"] == pytest.approx(1.15 * 51e-3 * 9.0, rel=1e-12)
    assert losses["dead_time"] == pytest.approx(0.05 * (2.2 + 0.3 * 50e-3 * 3.0), rel=1e-12)
    # 5 Ω outside, 1 Ω in the gate, 1 Ω in the driver; 1 nC to the plateau and 1.8 nC on it
    rise = 7.0 * (1.0e-9 / (6.0 - 2.15) + 1.8e-9 / (6.0 - 2.6))
    fall = 7.0 * 2.8e-9 / 2.6
    assert own.t_rise.item() == pytest.approx(rise, rel=1e-12)
    node = 2.0 * charge_and_energy(own.charge, designs(350.0))[0]
    off = turn_off_energy(designs(350.0), designs(4.0), designs(fall), node).item()
    assert losses["overlap"].item() == pytest.approx(
        1e5 * (0.5 * 350.0 * 2.0 * rise + off), rel=1e-12
    )


def test_losses_by_cause_add_up_to_the_heat(case):
    part = placed(case, count=4)
    t = settled(part)
    books = part.book(t, case)
    losses = {e.path: e.value for e in books.of(Kind.LOSS)}
    assert list(losses) == [f"bridge.switch.{cause}" for cause in CAUSES]
    assert sum(losses.values()) == pytest.approx(part.loss(t), rel=1e-12)
    assert losses["bridge.switch.gate"].item() == pytest.approx(
        4 * 1e5 * 6e-9 * 6.0 / 0.78, rel=1e-12
    )


def test_junction_carries_all_losses_but_the_gate(case):
    part = placed(case, count=2)
    t = settled(part)
    junction = 0.5 * part.loss(t) - part.edges.gate
    assert t == pytest.approx(80.0 + part.device.r_th * junction, rel=1e-6)
    assert part.anchor is Anchor.SURFACE


def test_soft_edges_burn_nothing_where_the_current_suffices(case):
    own = switch.device(design(t_dead=200e-9), case)
    soft = hard_edge(own, i_on=-2.0, i_drive=designs(5.0), l_drive=designs(50e-6))
    loss = switch.edge_loss(own, soft)
    assert loss.capacitive.item() == pytest.approx(0.0, abs=1e-12 * 350.0)
    weak = dataclasses.replace(soft, i_drive=designs(0.3))
    hard = dataclasses.replace(soft, i_drive=None)
    burnt = [switch.edge_loss(own, e).capacitive.item() for e in (soft, weak, hard)]
    assert burnt == sorted(burnt)
    assert burnt[1] > 0.01 * burnt[2]


def test_edges_average_over_the_line_cycle(case):
    own = switch.device(design(), case)
    theta = angles(64)
    i = 3.0 * np.abs(np.sin(theta))
    edge = dataclasses.replace(hard_edge(own), i_on=i, i_off=i + 1.0)
    whole = switch.edge_loss(own, edge)
    apart = [
        switch.edge_loss(
            own, dataclasses.replace(edge, i_on=i[:, :, [n]], i_off=i[:, :, [n]] + 1.0)
        )
        for n in range(64)
    ]
    assert whole.overlap.shape == (1, 1, 1)
    assert whole.overlap.item() == pytest.approx(np.mean([a.overlap.item() for a in apart]))
    half = dataclasses.replace(edge, rate=1e5 * (np.sin(theta) > 0.0))
    assert switch.edge_loss(own, half).overlap == pytest.approx(0.5 * whole.overlap, rel=1e-6)
    assert switch.edge_loss(own, half).gate == pytest.approx(0.5 * whole.gate, rel=1e-12)
    assert line_mean(whole.capacitive) == whole.capacitive


def test_recovery_of_the_opposite_body_diode_is_paid_at_turn_on(case):
    own = switch.device(design("Si 200 V class", 10e-3), case)
    edge = hard_edge(own, v=120.0, i_on=50.0)
    q_rr = 6e-9 / 10e-3
    expected = 1e5 * 120.0 * q_rr * (50.0 / 100.0) ** 0.6
    assert switch.edge_loss(own, edge).recovery.item() == pytest.approx(expected, rel=1e-12)
    reverse = dataclasses.replace(edge, i_on=designs(-50.0))
    assert switch.edge_loss(own, reverse).recovery.item() == 0.0
    diode = dataclasses.replace(edge, others=(Moved(own.charge, 0.0, edge.v),))
    assert switch.edge_loss(own, diode).recovery.item() == 0.0


@pytest.mark.parametrize(
    ("name", "i_on", "feasible"),
    [
        ("SJ 650 V class", 2.0, False),
        ("SJ 650 V class", -2.0, True),
        ("SiC 650 V class", 2.0, True),
    ],
)
def test_superjunction_body_diodes_must_not_be_commutated(case, name, i_on, feasible):
    one = design(name)
    own = switch.device(one, case)
    part = switch.place("s", one, stress(hard_edge(own, i_on=i_on)), case)
    margin = part.book(settled(part), case).find("s.hard_commutation", Kind.LIMIT)
    assert (margin.value <= 0.0).all() == feasible


def test_voltage_and_junction_stand_against_derated_ratings(case):
    part = placed(case, v_block=520.0)
    t = settled(part, 125.0)
    books = part.book(t, case)
    assert books.find("bridge.switch.voltage", Kind.LIMIT).value.max() == pytest.approx(0.0)
    junction = books.find("bridge.switch.junction", Kind.LIMIT)
    assert junction.value.ravel()[:2] == pytest.approx(t.ravel()[:2] / 125.0 - 1.0)
    assert (junction.value.ravel()[:2] > 0.0).all()
    assert junction.value.ravel()[2] == -1.0  # a row without temperature limits


def test_runaway_stays_finite_and_infeasible(case):
    part = placed(case, i_rms=(1e3, 1e2, 0.0))
    t = settled(part)
    books = part.book(t, case)
    assert all(np.isfinite(e.value).all() for e in books.entries)
    assert books.find("bridge.switch.junction", Kind.LIMIT).value.max() > 0.0


def test_size_price_and_pieces_count_every_device(case):
    part = placed(case, design(parallel=2.0), count=3)
    books = part.book(settled(part), case)
    assert books.find("bridge.switch", Kind.PIECES).value.item() == 6
    assert books.find("bridge.switch", Kind.AREA).value.item() == pytest.approx(6 * 64e-6)
    # 9 mm² of die: 450 mΩ·mm² over 50 mΩ, at 35 €/cm²
    assert books.find("bridge.switch", Kind.COST).value.item() == pytest.approx(6 * (0.12 + 3.15))
    assert books.find("bridge.switch.driver", Kind.COST).value.item() == pytest.approx(3 * 0.35)
    volume = 6 * 64e-6 * 0.9e-3 + 3 * 0.15e-6
    assert books.total(Kind.VOLUME).item() == pytest.approx(volume)


def test_sheet_line_says_what_to_buy_and_what_it_bears(case):
    part = placed(case, design(parallel=2.0), count=3)
    (item,) = part.items(settled(part), case)
    facts = {f.name: f for f in (*item.build, *item.stress)}
    assert item.quantity == 6
    assert facts["transistor"].value == "GaN 650 V class"
    assert facts["on-resistance of the position at 25 °C"].value == pytest.approx(25.5e-3)
    assert facts["dead time"].value == pytest.approx(50e-9)
    assert facts["blocking voltage"].bound == pytest.approx(520.0)
    assert facts["junction temperature"].bound == pytest.approx(125.0)
    assert facts["rms current"].value == pytest.approx(3.0)


def test_every_row_at_every_bound_is_finite_and_a_batch_equals_one(case, rng):
    names = np.repeat(TABLE.rows, 4)
    n = len(names)
    one = design(
        names,
        10 ** rng.uniform(-3, 0, n),
        rng.integers(1, 5, n),
        10 ** rng.uniform(0, 1.5, n),
        10 ** rng.uniform(-8, -6.5, n),
    )

    def losses(keep):
        kept = switch.Design(*(getattr(one, f.name)[keep] for f in dataclasses.fields(one)))
        own = switch.device(kept, case)
        i = 4.0 * np.sin(angles(16)) + points([0.5, -0.5, 0.0])
        v = 300.0 + 50.0 * np.sin(2 * angles(16))
        edge = Edge(designs(1e5), i, i + 1.0, v, (switch.moved(own, 0.0, v),),
                    i_drive=-i, l_drive=designs(40e-6), v_far=0.4 * v)  # fmt: skip
        part = switch.place("s", kept, stress(edge), case)
        t = settled(part)
        assert all(np.isfinite(e.value).all() for e in part.book(t, case).entries)
        assert all((e.value >= 0.0).all() for e in part.book(t, case).of(Kind.LOSS))
        return part.loss(t)

    whole = losses(np.arange(n))
    for j in (0, 17, n - 1):
        assert np.array_equal(losses(np.array([j])), whole[[j]])
