"""Bridges of one fast leg as the search uses them: books, batches, limits, every variable."""

import numpy as np
import pytest

from models.axes import designs
from models.ledger import Kind
from models.variables import variables
from tests.stages.fast_leg_cases import MODULES, POINTS, Stage
from tests.stages.grid_cases import Point, transistor
from tests.stages.test_full_bridge_books import SURFACE, books, case, figures, placed, values

MANY = 1500
# What switches and choke of a bridge at 120 V may look like; the search finds it by itself.
LIKELY_SWITCHES = ("GaN 350 V class", "GaN 650 V class", "SiC 650 V class", "SiC 900 V class")
CHOKES = {
    "fixed": {
        "turns": (40.0, 120.0), "strand": (0.08e-3, 0.12e-3), "strands": (40.0, 120.0),
        "layers": (2.0, 5.0), "wire": (1.0, 1.0),
    },
    "triangular": {
        "turns": (15.0, 60.0), "strand": (0.04e-3, 0.1e-3), "strands": (60.0, 300.0),
        "layers": (2.0, 5.0), "wire": (1.0, 1.0),
    },
}  # fmt: skip


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
        if v.field.startswith("choke.") and name in CHOKES[kind]:
            low, high = CHOKES[kind][name]
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


def losses(kind, point=None, **changes):
    """Losses of one bridge [W] by path, its figures beside them."""
    base = {k: v for k, v in POINTS[kind]["300 W, 120 V"].items() if k != "point"}
    one = Stage(kind, point or Point(), **(base | changes))
    found = {}
    for part in one.parts.values():
        t = part.temperature(designs(SURFACE), designs(0.0))
        for e in part.book(t, one.case).of(Kind.LOSS):
            found[e.path.removeprefix("bridge.")] = e.value.item()
    return one, found


@pytest.mark.parametrize("kind", MODULES)
def test_losses_move_as_physics_says(kind):
    _, base = losses(kind)
    _, more = losses(kind, Point(p_ac=400.0))
    for name in ("fast.conduction", "line.conduction", "choke.copper_dc"):
        assert more[name] > base[name]
    _, larger = losses(
        kind, fast=transistor(r_on=150e-3, t_dead=1e-6 if kind != "fixed" else 80e-9)
    )
    assert larger["fast.conduction"] > 1.5 * base["fast.conduction"]


def test_twice_the_frequency_takes_twice_the_gate_power():
    (one, slow), (other, fast) = losses("fixed"), losses("fixed", f=120e3)
    assert fast["fast.gate"] == pytest.approx(2.0 * slow["fast.gate"], rel=1e-9)
    assert fast["line.gate"] == pytest.approx(slow["line.gate"], rel=1e-9)
    ratio = one.figure("ripple") / other.figure("ripple")
    assert ratio.item() == pytest.approx(2.0, rel=0.01)


def test_a_bound_on_the_frequency_lets_more_current_circulate_at_light_load():
    light = Point(p_ac=30.0)
    currents = []
    for f_high in (900e3, 300e3, 150e3):
        one, _ = losses("triangular", light, f_high=f_high)
        assert one.figure("f_highest").item() <= 1.03 * f_high
        currents.append(one.figure("reverse").item())
    assert currents[0] < currents[1] < currents[2]


def test_a_short_wait_for_the_node_is_refused_and_burns_its_charge():
    one, patient = losses("triangular")
    other, hasty = losses("triangular", t_dead=60e-9)
    assert one.limit("wait").value.item() < 0.0 < other.limit("wait").value.item()
    assert hasty["fast.capacitive"] > 2.0 * patient["fast.capacitive"]
