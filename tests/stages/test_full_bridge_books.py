"""Full bridges as the search uses them: books, batches, corners, limits, every variable."""

import dataclasses
import functools
import math

import numpy as np
import pytest

from models.axes import designs
from models.ledger import Kind, joined
from models.physics.emission import COMMON, need
from models.stages import emi, grid_filter, link_film
from models.variables import build, variables
from tests.conformance.designs import demo_case
from tests.stages.full_bridge_cases import MODULES, SWITCHES, Stage
from tests.stages.grid_cases import Point, film, filter_design, transistor

SURFACE = 70.0  # [°C], of the box
MANY = 1000
# What switches and choke of a bridge at 120 V may look like; the search finds it by itself.
LIKELY_SWITCHES = ("GaN 350 V class", "GaN 650 V class", "SiC 650 V class", "SiC 900 V class")
LIKELY = {
    "turns": (20.0, 60.0), "strand": (0.08e-3, 0.12e-3), "strands": (40.0, 120.0),
    "layers": (2.0, 5.0), "wire": (1.0, 1.0),
}  # fmt: skip


@functools.cache
def case():
    return demo_case()


def values(module, n, rng, corners=False):
    """Arrays by field path, uniform (log where declared), or at the corners."""
    found = {}
    for v in variables(module.Design, case().catalogue.names()):
        share = rng.integers(0, 2, n).astype(float) if corners else rng.random(n)
        x = v.lo * (v.hi / v.lo) ** share if v.log else v.lo + (v.hi - v.lo) * share
        found[v.field] = (np.round(x) if v.discrete else x).reshape(-1, 1, 1)
    return found


def placed(module, found):
    """The stage behind a film link and in front of a filter that stay the same."""
    design = build(module.Design, found, {})
    side = grid_filter.bridge_side(filter_design(), design.choke_inductance, case())
    m_max = module.modulation_limit(design, case())
    link_design = link_film.Design(ratio=designs(1.15), film=film("film-10u-450V", 4.0))
    link = link_film.swing(link_design, side, m_max, case())
    return module.place("bridge", design, side, link, case())


def books(bridge):
    """Everything that a bridge books, its parts on a hot box."""
    found = [bridge.placed.books]
    for part in bridge.placed.parts:
        t = part.temperature(designs(SURFACE), designs(1.0))
        found.append(part.book(t, case()))
    return joined(*found)


def figures(bridge):
    """Every array that a bridge hands on."""
    entries = [(f"{e.path} {e.kind.name}", e.value) for e in books(bridge).entries]
    ripple = bridge.ripple
    return dict(entries) | {
        "link": bridge.link_hf_rms,
        "earth line": bridge.v_earth_line,
        "earth": bridge.v_earth_hf,
        **{f"voltage {n}": v for n, v in enumerate(ripple.voltages)},
        **{f"dead time {n}": v for n, v in enumerate(ripple.dead_time)},
        "worst": ripple.v_worst,
        "node": ripple.v_node,
    }


@pytest.mark.parametrize("corners", [False, True])
@pytest.mark.parametrize("kind", MODULES)
def test_books_are_finite_and_nothing_gives_energy(kind, corners, rng):
    bridge = placed(MODULES[kind], values(MODULES[kind], 100, rng, corners))
    for name, value in figures(bridge).items():
        assert np.isfinite(value).all(), name
    for entry in books(bridge).of(Kind.LOSS):
        assert (entry.value >= 0.0).all(), entry.path


@pytest.mark.parametrize("kind", MODULES)
def test_a_batch_does_what_single_designs_do(kind, rng):
    found = values(MODULES[kind], 16, rng)
    whole = figures(placed(MODULES[kind], found))
    for i in (0, 7, 15):
        one = figures(placed(MODULES[kind], {k: v[i : i + 1] for k, v in found.items()}))
        for name, value in one.items():
            expected = whole[name][i : i + 1] if whole[name].shape[0] > 1 else whole[name]
            assert np.array_equal(value, expected), name


@pytest.mark.parametrize("kind", MODULES)
def test_every_variable_matters(kind, rng):
    module = MODULES[kind]
    found = values(module, 24, rng)
    base = figures(placed(module, found))
    for v in variables(module.Design, case().catalogue.names()):
        middle = 0.5 * (v.lo + v.hi)
        other = np.where(found[v.field] > middle, v.lo, v.hi)
        changed = figures(placed(module, found | {v.field: other}))
        assert any(not np.array_equal(base[name], changed[name]) for name in base), v.path


@pytest.mark.parametrize("kind", MODULES)
def test_some_random_design_meets_every_limit(kind):
    rng = np.random.default_rng(5)
    module = MODULES[kind]
    found = values(module, MANY, rng)
    rows = case().catalogue["switches"].rows
    fit = np.array([i for i, name in enumerate(rows) if name in LIKELY_SWITCHES], dtype=float)
    for v in variables(module.Design, case().catalogue.names()):
        name = v.field.rpartition(".")[2]
        if v.field.startswith("choke.") and name in LIKELY:
            low, high = LIKELY[name]
            x = low * (high / low) ** rng.random((MANY, 1, 1))
            found[v.field] = np.round(x) if v.discrete else x
        if name == "row":
            found[v.field] = rng.choice(fit, (MANY, 1, 1))
    good = np.ones((MANY, 1, 1), dtype=bool)
    for limit in books(placed(module, found)).of(Kind.LIMIT):
        met = (limit.value <= 0.0).all(axis=1, keepdims=True)
        assert met.any(), limit.path
        good &= met
    assert good.any()


@pytest.mark.parametrize("kind", MODULES)
def test_losses_move_as_physics_says(kind):
    def at(**changes):
        point = changes.pop("point", Point())
        one = Stage(kind, point, **changes)
        return one, losses_of(one)

    def losses_of(one):
        found = {}
        for part in one.parts.values():
            t = part.temperature(designs(SURFACE), designs(0.0))
            for e in part.book(t, one.case).of(Kind.LOSS):
                found[e.path] = e.value.item()
        return found

    name = SWITCHES[kind][0]
    _, base = at()
    _, more_power = at(point=Point(p_ac=400.0))
    assert more_power[f"bridge.{name}.conduction"] > base[f"bridge.{name}.conduction"]
    assert more_power["bridge.choke.copper_dc"] > base["bridge.choke.copper_dc"]
    one, faster = at(f=120e3)
    assert sum(faster[f"bridge.{s}.gate"] for s in SWITCHES[kind]) == pytest.approx(
        2.0 * sum(base[f"bridge.{s}.gate"] for s in SWITCHES[kind]), rel=1e-9
    )
    # Over the same volt-seconds the ripple is inversely as the frequency.
    slower, _ = at()
    found = [x.books.find("bridge.ripple", Kind.FIGURE).value.item() for x in (one, slower)]
    assert 2.0 * found[0] == pytest.approx(found[1], rel=0.01)
    _, larger = at(**{name: transistor(r_on=150e-3)})
    assert larger[f"bridge.{name}.conduction"] > 1.5 * base[f"bridge.{name}.conduction"]


def test_common_noise_of_three_levels_begins_at_the_switching_frequency():
    # Both nodes jump together at odd multiples of 60 kHz: the third lies in the band.
    one = Stage("unipolar", Point(), f=60e3)
    case_ = one.case
    found = grid_filter.place("filter", one.filter, one.side, one.bridge.ripple, case_)
    v = one.link.v_rms.item()
    current = math.sqrt(2.0) / math.pi * 2.0 * v * 2.0 * math.pi * 60e3 * grid_filter.C_NODE
    wanted = need(designs(180e3), designs(current), COMMON).item()
    limit = found.books.find("filter.emi.common", Kind.LIMIT)
    assert limit.actual.item() == pytest.approx(max(wanted, emi.LEAST), rel=1e-6)
    differential = found.books.find("filter.emi.harmonic", Kind.FIGURE).value
    assert differential.item() == pytest.approx(240e3, rel=1e-12)


def test_the_sheet_tells_the_turns_of_each_half_of_the_choke():
    one = Stage("bipolar", Point())
    choke = one.parts["choke"]
    (item,) = choke.items(designs(80.0), one.case)
    facts = {fact.name: fact.value for fact in item.build}
    assert facts["turns"] == 60.0
    assert facts["turns of each half, one half in each line"] == 30.0
    assert dataclasses.is_dataclass(choke)
