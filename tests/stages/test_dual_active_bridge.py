"""The dual active bridge as placed parts: power, edges, limits, batches, ports."""

import dataclasses

import numpy as np
import pytest

from models.axes import designs
from models.ledger import Kind
from models.parts import capacitor
from models.physics.switching import arc
from models.stages import dual_active_bridge as dab
from models.stages import dual_active_bridge_magnetics as magnetics
from models.stages import dual_active_bridge_parts as parts
from models.stages.dual_active_bridge import Design
from models.variables import build, structures, variables
from tests.stages.dual_active_bridge_circuit import Point, for_link, simulate
from tests.stages.front_designs import (
    books,
    demo_case,
    drawn,
    link,
    one,
    placed,
    power,
    worst,
)

STATICS = structures(Design)
STATIC = pytest.mark.parametrize("static", STATICS, ids=lambda s: "-".join(s.values()))
# Designs for 300 W on a link of 200 V, with a choke and without; invented.
COMMON = {
    "burst": 0.15,
    "transformer.ferrite": "F-HF", "transformer.interleaved": 0,
    "transformer.primary_wire": 1, "transformer.secondary_wire": 1,
    "switch.row": "GaN 100 V class", "switch.r_on": 2e-3, "switch.parallel": 1,
    "switch.r_gate": 3.0, "switch.t_dead": 40e-9,
    "rectifier.row": "GaN 350 V class", "rectifier.r_on": 60e-3, "rectifier.parallel": 1,
    "rectifier.r_gate": 5.0, "rectifier.t_dead": 120e-9,
    "blocking.row": "x7r-22u-50V", "blocking.count": 30,
    "blocking_link.row": "film-4.7u-160V", "blocking_link.count": 1,
    "input.row": "x7r-10u-100V", "input.count": 40,
}  # fmt: skip
CHOKED = COMMON | {
    "f": 110e3, "magnetising": 0.9, "series.shift": 0.1,
    "series.choke.core": "PQ26/20", "series.choke.ferrite": "F-HF", "series.choke.powder": 0,
    "series.choke.wire": 1, "series.choke.strand": 0.1e-3, "series.choke.strands": 150,
    "series.choke.layers": 1, "series.choke.turns": 2, "transformer.core": "PQ35/35",
    "transformer.turns_primary": 4, "transformer.turns_secondary": 26,
    "transformer.primary_strand": 0.1e-3, "transformer.primary_strands": 400,
    "transformer.secondary_strand": 0.08e-3, "transformer.secondary_strands": 100,
}  # fmt: skip
LEAKING = COMMON | {
    "f": 100e3, "magnetising": 0.05, "transformer.core": "PQ40/40",
    "transformer.turns_primary": 11, "transformer.turns_secondary": 72,
    "transformer.primary_strand": 0.07e-3, "transformer.primary_strands": 600,
    "transformer.secondary_strand": 0.05e-3, "transformer.secondary_strands": 300,
}  # fmt: skip
TABLES = {"core": "cores", "ferrite": "ferrites", "blocking_link.row": "film"}
TABLES |= {"switch.row": "switches", "rectifier.row": "switches"}
TABLES |= {"blocking.row": "ceramic", "input.row": "ceramic"}


def made(static, count, rng, **fixed):
    return build(Design, drawn(Design, static, count, rng, **fixed), static)


def built(static, count=1, **changed):
    """A design that meets every limit, or as much of it as is not changed."""
    values = {}
    start = CHOKED if static["series"] == "choke" else LEAKING
    for field, value in (start | changed).items():
        if isinstance(value, str):
            table = TABLES.get(field) or TABLES[field.rsplit(".", 1)[1]]
            value = demo_case().catalogue.names()[table].index(value)
        values[field] = np.broadcast_to(designs(value), (count, 1, 1)).copy()
    return build(Design, values, static)


def setting(design, ready, p, case):
    """What every part is placed with."""
    return dab.setting("boost", design, ready, p, case)


@STATIC
def test_every_booking_anywhere_in_the_box_is_finite_and_no_loss_is_negative(static, rng):
    case = demo_case()
    _, front = placed(dab, made(static, 150, rng), case, link(150, case))
    for entry in books(front, case).entries:
        assert np.isfinite(entry.value).all(), entry.path
        if entry.kind in (Kind.LOSS, Kind.VOLUME, Kind.COST):
            assert (entry.value >= 0.0).all(), entry.path
    ports = (front.link_hf_rms, front.f_link, front.active, front.windings, front.v_winding)
    for port in (*ports, front.f):
        assert np.isfinite(port).all()
        assert (port >= 0.0).all()


@STATIC
def test_a_batch_gives_the_books_of_single_designs_bit_for_bit(static, rng):
    case = demo_case()
    batch = made(static, 4, rng)
    together = books(placed(dab, batch, case, link(4, case))[1], case)
    for i in range(4):
        alone = books(placed(dab, one(batch, i), case, link(1, case))[1], case)
        for a, b in zip(alone.entries, together.entries, strict=True):
            assert (a.value[0] == b.value[min(i, b.value.shape[0] - 1)]).all(), a.path


@STATIC
def test_power_at_both_ports_is_the_power_asked_for(static, rng):
    # Σ v·i over the cycle from the stress, pauses of bursts included.
    case, p = demo_case(), power(100, demo_case())
    design = made(static, 100, rng)
    ready, front = placed(dab, design, case, link(100, case))
    at = setting(design, ready, p, case)
    w = at.waves
    most = dab.forms.most_power(ready.circuit, v_1=w.v_1, v_2=w.v_2)
    inside = np.broadcast_to((w.power < most).all(axis=2, keepdims=True), p.shape)
    assert inside.mean() > 0.3
    drawn_in = ready.v_in * at.nodes.time(w.drawn)
    given = at.nodes.time(w.given * ready.v_out) / ready.circuit.ratio
    assert drawn_in[inside] == pytest.approx(p[inside], rel=1e-3)
    assert given[inside] == pytest.approx(p[inside], rel=1e-3)
    assert (front.active <= 1.0).all()


@STATIC
def test_some_design_meets_every_limit_and_bears_what_the_circuit_says(static):
    case, p = demo_case(), power(1, demo_case())
    design = built(static)
    ready, front = placed(dab, design, case, link(1, case))
    missed = {path: m for path, m in worst(books(front, case), 1).items() if m[0] > 0.0}
    assert not missed
    at = setting(design, ready, p, case)
    c, n = ready.circuit, ready.circuit.ratio.item()
    triangular = static["modulation"] == "triangular"
    for point, node in ((int(np.argmax(case.points.weight)), 1), (0, 0)):
        circuit = Point(
            ready.v_in[0, point, 0],
            ready.v_out[0, point, node],
            at.waves.power[0, point, node],
            *(x.item() for x in (c.ratio, c.l_s, c.l_m, c.f)),
            triangular,
        )
        sim, where = for_link(circuit), (0, point, node)
        w = at.waves
        assert sim.mean("v:o") == pytest.approx(circuit.v_out, rel=1e-3)
        assert w.square[where] ** 0.5 == pytest.approx(sim.rms("i:ls"), rel=0.02)
        assert w.secondary_square[where] ** 0.5 / n == pytest.approx(sim.rms("i:sec"), rel=0.02)
        assert w.i_crest[where] == pytest.approx(sim.peak("i:ls"), rel=0.02)
        ripple = (w.drawn_square - w.drawn**2)[where] ** 0.5
        assert ripple == pytest.approx(sim.ripple_rms("i:in"), rel=0.02)


def first_harmonic(sim, name):
    """Complex amplitude of a wave's first harmonic."""
    middle = np.cumsum(sim.step) - 0.5 * sim.step
    value = sim.value[name] if isinstance(name, str) else name
    # Values stand at the ends of their steps.
    before = np.concatenate([value[-1:], value[:-1]])
    return 2.0 * np.sum(sim.step * 0.5 * (value + before) * np.exp(-2j * np.pi * middle))


# Modulation, voltage of the link, row of the operating points.
PLACES = [
    ("phase_shift", 200.0, "75 % load"),
    ("triangular", 260.0, "30 % load"),
    ("triangular", 170.0, "20 % load"),
]


@pytest.mark.parametrize(("modulation", "v", "row"), PLACES)
def test_parts_bear_what_the_circuit_says(modulation, v, row):
    case, p = demo_case(), power(1, demo_case())
    design = built({"modulation": modulation, "series": "choke"})
    ready, front = placed(dab, design, case, link(1, case, v=v, swing=0.0, nodes=1))
    k, c = case.points.label.index(row), ready.circuit
    point = Point(
        ready.v_in[0, k, 0], v, p[0, k, 0], *(x.item() for x in (c.ratio, c.l_s, c.l_m, c.f)),
        modulation == "triangular",
    )  # fmt: skip
    assert front.active[0, k, 0] == 1.0
    w = setting(design, ready, p, case).waves
    assert w.triangular[0, k, 0] == point.triangles
    sim = for_link(point)
    stress = {part.path.removeprefix("boost."): part.stress for part in front.placed.parts}

    def near(found, expected, rel=0.02):
        at = np.broadcast_to(found, p.shape)[0, k, 0]
        assert at == pytest.approx(expected, rel=rel)

    near(stress["switch"].i_rms, sim.rms("i:s1"))
    near(stress["rectifier"].i_rms, sim.rms("i:q1"))
    near(stress["switch"].v_block, sim.peak("v:s1"))
    near(stress["rectifier"].v_block, sim.peak("v:q1"))
    near(stress["blocking"].i_hf_rms, sim.rms("i:ls"))
    near(stress["blocking_link"].i_hf_rms, sim.rms("i:sec"))
    for winding, wave in zip(stress["transformer"].windings, ("i:ls", "i:sec"), strict=True):
        near(sum(h**2 for h in winding.harmonics) ** 0.5, sim.rms(wave))
        near(winding.harmonics[0], abs(first_harmonic(sim, wave)) / 2.0**0.5)
    linkage = np.ptp(np.cumsum(sim.step * sim.value["v:pri"])) / point.f
    near(stress["transformer"].flux[0].linkage_pp, linkage)
    magnetising = sim.value["i:pri"] + point.ratio * sim.value["i:sec"]
    near(stress["transformer"].i_m_peak, abs(magnetising).max())
    choke = stress["choke"]
    near(choke.inductance + ready.leakage, point.l_s, 1e-9)
    near(choke.i_peak, sim.peak("i:ls"))
    near(choke.flux[0].linkage_pp / choke.inductance, sim.swing("i:ls"))
    near(choke.winding.harmonics[0], abs(first_harmonic(sim, "i:ls")) / 2.0**0.5)
    near(stress["input"].i_hf_rms, sim.ripple_rms("i:in"))
    near(front.link_hf_rms, sim.rms("i:co"))
    moved = np.cumsum(sim.step * (sim.value["i:in"] - sim.mean("i:in"))) / point.f
    c_in = capacitor.capacitance_at(design.input, ready.v_in, case)[0, k, 0]
    near(stress["input"].v_max - stress["input"].v_mean, 0.5 * np.ptp(moved) / c_in)


@pytest.mark.parametrize(("modulation", "v", "row"), PLACES)
def test_the_middles_of_the_windings_move_as_in_the_circuit(modulation, v, row):
    case, p = demo_case(), power(1, demo_case())
    design = built({"modulation": modulation, "series": "choke"})
    ready, front = placed(dab, design, case, link(1, case, v=v, swing=0.0, nodes=1))
    at, k, c = setting(design, ready, p, case), case.points.label.index(row), ready.circuit
    sim = simulate(
        Point(
            ready.v_in[0, k, 0], v, p[0, k, 0],
            *(x.item() for x in (c.ratio, c.l_s, c.l_m, c.f)), modulation == "triangular",
        )
    )  # fmt: skip
    found = magnetics.middles(at, magnetics.harmonic_squares(c, at.waves, 1.0)[0])
    nodes = {name: sim.value[f"v:{name}"] for name in ("a", "b", "u", "x", "y")}
    middles = (
        0.5 * (nodes["u"] - nodes["a"]),
        0.5 * (nodes["a"] + nodes["b"]),
        0.5 * (nodes["x"] + nodes["y"]),
    )
    for swing, middle in zip(found, middles, strict=True):
        amplitude = abs(first_harmonic(sim, middle))
        expected = 0.5 * np.pi * amplitude
        assert swing[0, k, 0] == pytest.approx(expected, rel=0.03, abs=0.005 * v)
    assert front.v_winding[0, k, 0] >= sum(x[0, k, 0] for x in found) * (1.0 - 1e-9)


def test_the_magnetising_current_is_the_share_asked_for():
    case, p = demo_case(), power(1, demo_case())
    design = built(STATICS[0])
    ready, _ = placed(dab, design, case, link(1, case, swing=0.0, nodes=1))
    full = case.points.label.index("100 % load")
    wanted = design.magnetising.item() * 300.0 / case.points.v_pv[0, full, 0]
    assert setting(design, ready, p, case).waves.i_m[0, full, 0] == pytest.approx(wanted, rel=1e-3)


def test_reverse_conduction_waits_for_the_charge_or_lasts_all_dead_time():
    case, p = demo_case(), power(1, demo_case())
    design = built(STATICS[0])
    ready, front = placed(dab, design, case, link(1, case, v=260.0, swing=0.0, nodes=1))
    at = setting(design, ready, p, case)
    for part, turn, v in (
        ("switch", at.turn_module, at.v_in), ("rectifier", at.turns_link[0], at.v_out),
    ):  # fmt: skip
        own = parts.switch.device(getattr(design, part), case)
        q = 2.0 * parts.charge_and_energy(own.charge, v)[0]
        expected = np.where(
            turn.i > 0.0,
            np.maximum(turn.i * own.t_dead - q, 0.0),
            -turn.i * own.t_dead,
        )
        found = next(x for x in front.placed.parts if x.path == f"boost.{part}").stress
        assert found.i_reverse_dead == pytest.approx(at.rate * expected, rel=1e-9)
    assert (at.turn_module.i < 0.0).any()
    assert (at.turns_link[0].i > 0.0).any()


def test_triangles_spare_current_at_part_load_and_far_from_the_ratio():
    case, p = demo_case(), power(1, demo_case())
    squares = []
    for modulation in ("phase_shift", "triangular"):
        static = {"modulation": modulation, "series": "choke"}
        design = built(static)
        on = link(1, case, v=260.0)
        ready, _ = placed(dab, design, case, on)
        squares.append(setting(design, ready, p, case).square)
    assert (squares[1] <= squares[0] * (1.0 + 1e-12)).all()
    light = case.points.label.index("10 % load")
    assert squares[1][0, light] < 0.5 * squares[0][0, light]


@STATIC
def test_every_variable_matters(static, rng):
    case = demo_case()
    names = case.catalogue.names()
    values = drawn(Design, static, 4, rng, **{"transformer.core": 12, "burst": 0.2})
    if static["series"] == "choke":
        # A ferrite, a powder, and less leakage than is wanted.
        values["series.choke.core"] = designs([12, 34, 12, 34])
        values["series.shift"] = designs([0.26] * 4)
    base = books(placed(dab, build(Design, values, static), case, link(4, case))[1], case)
    for v in variables(Design, names, static=static):
        now = values[v.field]
        moved = np.where(now > 0.5 * (v.lo + v.hi), v.lo, v.hi)
        changed = build(Design, {**values, v.field: moved}, static)
        found = books(placed(dab, changed, case, link(4, case))[1], case)
        different = [
            not np.array_equal(a.value, b.value)
            for a, b in zip(base.entries, found.entries, strict=True)
        ]
        assert any(different), v.path


@STATIC
def test_idle_rows_carry_no_limit_but_voltages(static, rng):
    case = demo_case()
    _, front = placed(dab, made(static, 40, rng), case, link(40, case))
    idle = case.points.p_ac[0, :, 0] == 0.0
    for entry in front.placed.books.of(Kind.LIMIT):
        if entry.path not in {"boost.leakage", "boost.dead_time"}:
            assert (np.broadcast_to(entry.value, (40, idle.size, 1))[:, idle] <= 0.0).all()


def test_load_rejection_raises_voltage_and_flux():
    case = demo_case()
    design = built(STATICS[0])
    on, p = link(1, case), power(1, case)
    rows = case.points.rejection[0, :, 0] > 0.0
    found = []
    for top in (None, on.v_max):
        ready = dab.prepare(design, v_in=case.points.v_pv, v_out=on.v_nodes, case=case, v_top=top)
        front = dab.place("boost", design, ready, p, case)
        found.append({part.path: part.stress for part in front.placed.parts})
    lift = (on.v_max / (on.v_rms * (1.0 + on.swing / on.v_rms)))[0, rows]
    assert (lift > 1.1).all()
    for part, name in (("rectifier", "v_block"), ("transformer", "i_m_peak")):
        low, high = (getattr(x[f"boost.{part}"], name)[0, rows] for x in found)
        assert high / low == pytest.approx(lift, rel=2e-3)
    assert (found[0]["boost.switch"].v_block == found[1]["boost.switch"].v_block).all()


def test_power_beyond_the_worst_corner_misses_its_limit():
    # The lowest module and the bottom of the swing together decide.
    case = demo_case()
    wanted = [0.1, 0.2, 0.35]
    design = built(STATICS[0], 3, **{"series.shift": wanted})
    _, front = placed(dab, design, case, link(3, case))
    margin = front.placed.books.find("boost.power", Kind.LIMIT)
    least = case.points.v_pv[0, :, 0].argmin()
    assert (np.diff(margin.value.max(axis=1)[:, 0]) > 0.0).all()
    assert margin.value.max(axis=1)[0, 0] < 0.0 < margin.value.max(axis=1)[2, 0]
    assert (margin.actual.argmax(axis=1)[:, 0] == least).all()


def node_in_time(turn, v, charge, t_dead, steps=4000):
    """Voltage by which L moves a constant capacitance, integrated; diodes hold it at V."""
    u, i, dt = 0.0, turn.i.item(), t_dead / steps
    top = 0.0
    for _ in range(steps):
        i += (turn.v_far.item() - u) / turn.inductance.item() * dt
        u = min(max(u + i / (charge / v) * dt, 0.0), v)
        top = max(top, u)
    return top


@pytest.mark.parametrize("shift", [0.05, 0.1])
def test_edges_reach_what_inductance_and_charge_say(shift):
    case, p = demo_case(), power(1, demo_case())
    static = {"modulation": "phase_shift", "series": "choke"}
    design = built(static, **{"series.shift": shift})
    ready, _ = placed(dab, design, case, link(1, case, swing=0.0, nodes=1))
    at = setting(design, ready, p, case)
    row = int(np.argmax(case.points.weight))
    for turn, v in ((at.turn_module, at.v_in), (at.turns_link[0], at.v_out)):
        turn = dataclasses.replace(
            turn,
            **{
                name: np.broadcast_to(getattr(turn, name), p.shape)[:, row : row + 1]
                for name in ("i", "inductance", "v_far")
            },
        )
        volt = np.broadcast_to(v, p.shape)[0, row, 0]
        for t_dead, charge in ((30e-9, 60e-9), (60e-9, 200e-9)):
            found = arc(
                turn.i, designs(volt), turn.v_far, inductance=turn.inductance,
                charge=designs(charge), t_dead=designs(t_dead),
            )  # fmt: skip
            expected = node_in_time(turn, volt, charge, t_dead)
            assert found.item() == pytest.approx(expected, rel=0.02)


def test_more_magnetising_current_spares_capacitive_loss_at_the_link():
    case = demo_case()
    shares = [0.1, 0.3, 0.9]
    static = {"modulation": "triangular", "series": "choke"}
    design = built(static, 3, magnetising=shares)
    _, front = placed(dab, design, case, link(3, case))
    lost = books(front, case).find("boost.rectifier.capacitive", Kind.LOSS).value
    light = case.points.label.index("20 % load")
    assert (np.diff(lost[:, light, 0]) < 0.0).all()
    copper = books(front, case).find("boost.transformer.copper_ac", Kind.LOSS).value
    assert copper[2, light, 0] > copper[0, light, 0]


def test_legs_that_turn_apart_drive_more_through_the_windings():
    case = demo_case()
    swings = []
    for modulation in ("phase_shift", "triangular"):
        static = {"modulation": modulation, "series": "choke"}
        _, front = placed(dab, built(static), case, link(1, case, v=260.0))
        swings.append(front.v_winding[0, case.points.label.index("10 % load"), 0])
    assert swings[1] > 2.0 * swings[0]


def test_half_of_the_edges_without_current_are_hard():
    case, p = demo_case(), power(1, demo_case())
    design = built({"modulation": "triangular", "series": "choke"})
    ready, _ = placed(dab, design, case, link(1, case, v=260.0))
    at = setting(design, ready, p, case)
    light = case.points.label.index("10 % load")
    assert at.waves.triangular[0, light].all()
    # A step up: no leg at the module has current, and each burns Q·V of two devices' charge.
    own = parts.switch.device(design.switch, case)
    v = at.v_in[:, light : light + 1]
    q = parts.charge_and_energy(own.charge, v)[0]
    expected = 4.0 * parts.HARD_SHARE * q * v * at.rate[:, light : light + 1]
    lost = parts.module_switches(at).edges.capacitive[:, light : light + 1]
    assert 4.0 * lost == pytest.approx(expected, rel=1e-6)


def test_held_gates_draw_a_current_in_proportion_to_the_link():
    base = Point(33.0, 200.0, 200.0, 6.5, 1.4e-6, 30e-6, 110e3, triangles=False)
    loaded = dataclasses.replace(base, power=160.0, drive=200.0 / 160.0)
    first, second = (simulate(point, steps=800) for point in (base, loaded))
    assert second.mean("v:o") > 1.1 * first.mean("v:o")
    assert second.mean("i:in") / first.mean("i:in") == pytest.approx(
        second.mean("v:o") / first.mean("v:o"), rel=0.01
    )


def test_what_reaches_the_module_grows_with_swing_and_pauses():
    case = demo_case()
    design = built(STATICS[0], burst=0.3)
    ripples = []
    for swing in (0.02, 0.1):
        on = link(1, case, swing=swing)
        ready, _ = placed(dab, design, case, on)
        ripples.append(dab.module_ripple(design, ready, on, power(1, case), case))
    assert (ripples[1] >= ripples[0]).all()
    full = case.points.label.index("100 % load")
    assert ripples[1][0, full, 0] == pytest.approx(5.0 * ripples[0][0, full, 0], rel=0.05)
    assert (ripples[0][0, case.points.p_ac[0] == 0.0] == 0.0).all()
    # Bursts: a triangle of the charge that the module delivers in the pause.
    c = capacitor.capacitance_at(design.input, case.points.v_pv, case)
    p = power(1, case)
    share = p / ready.least_power
    pause = (1.0 - share) * 4.0 / (share * design.f)
    triangle = (p / case.points.v_pv * pause / c)[0, 0, 0] / 6.0**0.5
    assert ripples[0][0, 0, 0] * case.points.v_pv[0, 0, 0] == pytest.approx(triangle, rel=0.02)
