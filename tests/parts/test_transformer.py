"""Transformers: both windings on one core, leakage by order, reinforced insulation."""

import dataclasses

import numpy as np
import pytest

from models.axes import angles, designs
from models.ledger import Kind
from models.parts import transformer
from models.parts.coil import Coil
from models.physics.core import MU_0
from models.stress import Flux, TransformerStress, WindingStress
from models.variables import build, variables
from tests.parts.wound_case import CATALOGUE, case, drawn, one_of, row

POINTS = 3
CASE = case(POINTS)
ONE = np.ones((1, POINTS, 1))


def design(**changes: np.ndarray) -> transformer.Design:
    """A sensible flyback transformer 6:36 on an ETD39."""
    return dataclasses.replace(
        transformer.Design(
            core=row("cores", "ETD39/20/13"),
            ferrite=row("ferrites", "F-LL"),
            turns_primary=designs(6),
            turns_secondary=designs(36),
            primary_wire=np.array([[[1]]]),
            primary_strand=designs(0.1e-3),
            primary_strands=designs(200),
            secondary_wire=np.array([[[1]]]),
            secondary_strand=designs(0.1e-3),
            secondary_strands=designs(20),
            interleaved=np.array([[[0]]]),
        ),
        **changes,
    )


def stress(*, i_m_peak: float = 20.0, alternating: bool = True) -> TransformerStress:
    f = designs(100e3)
    primary = WindingStress(4.0 * ONE, 0.0 * ONE, f, (4.0 * ONE, 2.0 * ONE, 1.5 * ONE))
    secondary = WindingStress(0.6 * ONE, 0.3 * ONE, f, (0.6 * ONE, 0.3 * ONE, 0.2 * ONE))
    return TransformerStress(
        l_m=designs(7e-6),
        i_m_peak=i_m_peak * ONE,
        windings=(primary, secondary),
        flux=(Flux(f, 7e-6 * i_m_peak * ONE, 0.4 * ONE, 0.1 * ONE),),
        v_insulation=designs(400.0),
        alternating=alternating,
    )


def place(made=None, load=None, count=1):
    return transformer.place(
        "flyback.transformer", made or design(), load or stress(), CASE, count
    )


def settled(part):
    t = part.temperature(np.full((1, POINTS, 1), 60.0), designs(0.0))
    return t, part.book(t, CASE)


def margin(books, name: str) -> float:
    return books.find(f"flyback.transformer.{name}", Kind.LIMIT).value.max()


def test_a_sensible_transformer_meets_every_limit():
    _, books = settled(place())
    limits = {e.path: e.value.max() for e in books.of(Kind.LIMIT)}
    assert max(limits.values()) <= 0.0, limits


def test_books_by_cause_are_the_heat():
    part = place(count=2)
    t, books = settled(part)
    assert books.total(Kind.LOSS) == pytest.approx(part.loss(t), rel=1e-12)


def test_ratio_is_that_of_whole_turns():
    assert transformer.ratio(design()).item() == 6.0


def test_leakage_follows_the_height_of_both_windings():
    core, made = place().core, design()
    primary, secondary = place().coils
    expected = (
        MU_0 * 36 * core.mlt / core.bw * ((primary.build + secondary.build) / 3 + 0.3e-3)
    ).item()
    assert transformer.leakage(made, CASE).item() == pytest.approx(expected)
    # A coupled pair of this size leaks about one percent.
    assert 0.002 < expected / 7e-6 < 0.05


def test_a_sandwich_leaks_less_and_loses_less():
    plain, sandwich = design(), design(interleaved=np.array([[[1]]]))
    ratio = transformer.leakage(plain, CASE) / transformer.leakage(sandwich, CASE)
    assert 1.8 < ratio.item() < 4.0
    for before, after in zip(place(plain).coppers, place(sandwich).coppers, strict=True):
        assert after.eddy.max() < before.eddy.max()


def test_a_sandwich_halves_the_layers_of_solid_wire_that_count():
    solid = {
        "secondary_wire": np.array([[[0]]]),
        "secondary_strand": designs(0.5e-3),
        "secondary_strands": designs(1),
        "turns_secondary": designs(90),
    }
    plain = place(design(**solid)).coils[1]
    halved = place(design(**solid, interleaved=np.array([[[1]]]))).coils[1]
    assert plain.layers.item() == halved.layers.item() == 2
    ratio = plain.eddy_factor(designs(20e3)) / halved.eddy_factor(designs(20e3))
    # Thin layers: (5·2² − 1)/(5·1² − 1).
    assert ratio.item() == pytest.approx(19 / 4, rel=0.03)


def test_sandwich_halves_are_whole_layers():
    odd = place(design(interleaved=np.array([[[1]]]), turns_primary=designs(7)))
    assert odd.coils[0].layers.item() % 2 == 0
    assert odd.coils[0].field_share.item() == 0.5


@pytest.mark.parametrize("turns", [10, 37, 100, 200])
def test_layers_hold_all_turns_within_the_breadth(turns):
    winding: Coil = place(design(turns_secondary=designs(turns))).coils[1]
    size = winding.bundle.item()
    per_layer = np.floor(winding.breadth.item() / size)
    assert winding.layers.item() == np.ceil(turns / per_layer)
    assert winding.occupied.item() <= winding.breadth.item()


def test_windings_that_conduct_in_turn_lose_more():
    t = np.full((1, POINTS, 1), 100.0)

    def ripple(alternating: bool):
        books = place(load=stress(alternating=alternating)).book(t, CASE)
        return books.find("flyback.transformer.copper_ac", Kind.LOSS).value

    assert ripple(True) == pytest.approx(1.3 * ripple(False))


def test_triple_insulation_takes_room_on_the_primary_only():
    primary, secondary = place().coils
    assert primary.bundle.item() == pytest.approx(
        1.155 * np.sqrt(200) * 79e-6 * 1.12 * (100 / 79) ** 0.97 + 0.2e-3
    )
    assert secondary.bundle.item() == pytest.approx(
        1.155 * np.sqrt(20) * 79e-6 * 1.12 * (100 / 79) ** 0.97
    )


def test_magnetising_current_saturates():
    assert place().b_peak == pytest.approx(7e-6 * 20.0 / (6 * 123e-6))
    _, books = settled(place(load=stress(i_m_peak=40.0)))
    assert margin(books, "saturation") > 0.0


def test_core_loss_counts_flux_at_the_primary():
    twice = dataclasses.replace(
        stress(),
        flux=tuple(dataclasses.replace(x, linkage_pp=2 * x.linkage_pp) for x in stress().flux),
    )
    ratio = place(load=twice).core_loss / place().core_loss
    assert (ratio > 2**2.4).all()
    assert (ratio < 2**2.6).all()


@pytest.mark.parametrize(
    ("change", "limit"),
    [
        ({"core": row("cores", "T33.0x19.9x10.7")}, "ferrite"),
        ({"secondary_strands": designs(300)}, "fill"),
        ({"secondary_strands": designs(300)}, "layers"),
        ({"turns_primary": designs(40)}, "gap_most"),
        ({"turns_primary": designs(2)}, "saturation"),
    ],
)
def test_what_cannot_be_wound_shows_in_its_limit(change, limit):
    _, books = settled(place(design(**change)))
    assert margin(books, limit) > 0.0


def test_insulation_bears_its_working_voltage_only():
    load = dataclasses.replace(stress(), v_insulation=designs(1200.0))
    _, books = settled(place(load=load))
    assert margin(books, "insulation") == pytest.approx(0.2)


def test_any_design_is_finite_and_a_batch_is_its_designs(rng):
    count = 60
    declared = variables(transformer.Design, CATALOGUE.names())
    made = build(transformer.Design, drawn(declared, count, rng), {})

    def some(lo, hi, *shape):
        return rng.uniform(lo, hi, shape)

    f = some(40e3, 300e3, count, 1, 1)

    def winding(scale):
        return WindingStress(
            some(0, scale, count, POINTS, 1),
            some(0, scale, count, POINTS, 1),
            f,
            tuple(some(0, scale, count, POINTS, 1) / n for n in range(1, 6)),
        )

    load = TransformerStress(
        some(1e-6, 50e-6, count, 1, 1),
        some(0, 60, count, POINTS, 1),
        (winding(10.0), winding(2.0)),
        (
            Flux(
                f,
                some(0, 3e-4, count, POINTS, 1) * np.abs(np.sin(angles(32, np.pi))),
                some(0, 1, count, POINTS, 1),
                some(0, 0.5, count, POINTS, 1),
            ),
        ),
        some(100, 900, count, 1, 1),
        alternating=True,
    )
    _, books = settled(place(made, load))
    leak = transformer.leakage(made, CASE)
    assert np.isfinite(leak).all()
    assert (leak > 0).all()
    for entry in books.entries:
        assert np.isfinite(entry.value).all(), entry.path
    for i in (0, 31, 59):
        _, alone = settled(place(one_of(made, i), one_of(load, i)))
        for entry, single in zip(books.entries, alone.entries, strict=True):
            own = entry.value[min(i, entry.value.shape[0] - 1)]
            assert (own == single.value[0]).all(), entry.path


def test_winding_data_can_be_built():
    part = place(design(interleaved=np.array([[[1]]])))
    t, _ = settled(part)
    (item,) = part.items(t, CASE)
    facts = {fact.name: fact.value for fact in item.build}
    assert facts["core"] == "ETD39/20/13"
    assert facts["primary turns"] == 6
    assert facts["secondary turns"] == 36
    assert facts["order"] == "half primary, secondary, half primary"
    assert facts["leakage inductance"] > 0
    rms = {fact.name: fact.value for fact in item.stress}["primary rms current"]
    assert rms == pytest.approx(np.sqrt(16 + 16 + 4 + 2.25))


def test_flux_and_its_limit_on_the_sheet_are_of_one_point():
    load = stress()
    several = np.array([20.0, 19.0, 10.0]).reshape(1, POINTS, 1)
    part = place(load=dataclasses.replace(load, i_m_peak=several))
    t = np.array([40.0, 110.0, 60.0]).reshape(1, POINTS, 1)
    (item,) = part.items(t, CASE)
    flux = next(fact for fact in item.stress if fact.name == "peak flux density")
    saturation = margin(part.book(t, CASE), "saturation")
    assert flux.value / flux.bound == pytest.approx(1.0 + saturation, rel=1e-12)
