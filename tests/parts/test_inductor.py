"""Inductors: copper and core loss add up, the gap follows, limits bind where they should."""

import dataclasses

import numpy as np
import pytest
from scipy.optimize import brentq

from models.axes import angles, designs, line_mean
from models.ledger import Kind
from models.parts import cores, inductor
from models.parts.part import Anchor
from models.physics.core import MU_0, SteinmetzTerm, triangle_loss
from models.stress import Flux, InductorStress, WindingStress
from models.variables import build, variables
from tests.parts.wound_case import CATALOGUE, case, drawn, one_of, row

POINTS = 3
CASE = case(POINTS)
CLOSED = designs(0.0)


def choke(**changes: np.ndarray) -> inductor.Design:
    """A sensible choke: 250 µH for 3 A on a PQ26/25."""
    return dataclasses.replace(
        inductor.Design(
            core=row("cores", "PQ26/25"),
            ferrite=row("ferrites", "F-LL"),
            powder=row("powders", "sendust 60"),
            wire=np.array([[[1]]]),
            strand=designs(0.1e-3),
            strands=designs(40),
            layers=designs(2),
            turns=designs(30),
        ),
        **changes,
    )


def stress(
    inductance: float = 250e-6, i_peak: float = 3.0, i_dc: float = 2.0, ripple: float = 0.3
) -> InductorStress:
    one = np.ones((1, POINTS, 1))
    f = designs(100e3)
    return InductorStress(
        inductance=designs(inductance),
        i_peak=i_peak * one,
        winding=WindingStress(i_dc * one, 0.5 * one, f, (ripple * one, 0.3 * ripple * one)),
        flux=(Flux(f, ripple * np.sqrt(12) * inductance * one, 0.4 * one),),
    )


def place(design=None, load=None, count=1):
    return inductor.place("boost.choke", design or choke(), load or stress(), CASE, count)


def settled(part, t_anchor: float = 60.0):
    t = part.temperature(np.full((1, POINTS, 1), t_anchor), CLOSED)
    return t, part.book(t, CASE)


def margin(books, name: str) -> float:
    return books.find(f"boost.choke.{name}", Kind.LIMIT).value.max()


def test_a_sensible_choke_meets_every_limit():
    _, books = settled(place())
    assert max(e.value.max() for e in books.of(Kind.LIMIT)) <= 0.0


def test_books_by_cause_are_the_heat():
    part = place(count=3)
    t, books = settled(part)
    assert books.total(Kind.LOSS) == pytest.approx(part.loss(t), rel=1e-12)
    assert {e.path for e in books.of(Kind.LOSS)} == {
        "boost.choke.copper_dc",
        "boost.choke.copper_ac",
        "boost.choke.core",
    }


def test_direct_current_heats_the_direct_resistance():
    part = place(load=stress(ripple=1e-6))
    books = part.book(np.full((1, POINTS, 1), 20.0), CASE)
    resistance = 1.724e-8 * 30 * 56.2e-3 * 1.03 / (40 * np.pi / 4 * 0.1e-3**2)
    direct = books.find("boost.choke.copper_dc", Kind.LOSS).value
    assert direct == pytest.approx(resistance * (2.0**2 + 0.5**2), rel=1e-9)


def test_fine_litz_loses_little_more_than_its_direct_resistance():
    part = place()
    t = np.full((1, POINTS, 1), 100.0)
    ripple = part.book(t, CASE).find("boost.choke.copper_ac", Kind.LOSS).value
    least = part.coils[0].resistance(t) * (0.3**2 + 0.09**2)
    assert (ripple / least > 1.0).all()
    assert (ripple / least < 1.5).all()


def test_solid_wire_of_the_same_copper_loses_more_at_high_frequency():
    solid = place(
        choke(wire=np.array([[[0]]]), strand=designs(0.1e-3 * np.sqrt(40)), strands=designs(1))
    )
    assert solid.coppers[0].eddy.item(0) > 5 * place().coppers[0].eddy.item(0)


def test_the_gap_stores_the_energy():
    part = place()
    shape = 30**2 * MU_0 * 118e-6 / 250e-6
    # Without fringing the gap would be shape − l_e/µ_r; fringing makes it larger.
    assert part.gap.item() == pytest.approx(
        shape * part.fringing.item() - 55.5e-3 / 2000, rel=0.01
    )
    assert part.inductance == pytest.approx(250e-6, rel=0.01)


def test_flux_density_is_linkage_over_turns_and_least_area():
    assert place().b_peak == pytest.approx(250e-6 * 3.0 / (30 * 108e-6))


def test_saturation_binds_sooner_when_hot():
    part = place(load=stress(i_peak=4.2))
    cold = part.book(np.full((1, POINTS, 1), 25.0), CASE)
    hot = part.book(np.full((1, POINTS, 1), 120.0), CASE)
    assert margin(cold, "saturation") < 0.0 < margin(hot, "saturation")


def test_saturation_limit_is_three_tenths_of_a_tesla_at_a_hundred_degrees():
    bound = place().book(np.full((1, POINTS, 1), 100.0), CASE)
    limit = bound.find("boost.choke.saturation", Kind.LIMIT)
    assert limit.bound == pytest.approx(0.30)


def test_temperature_balances_loss_and_cooling():
    part = place()
    r_th = 1.2 * part.core.r_th.item()

    def balance(t: float) -> float:
        return 60.0 + r_th * part.loss(np.full((1, POINTS, 1), t)).max() - t

    t, _ = settled(part)
    assert t.max() == pytest.approx(brentq(balance, 60, 200), rel=1e-9)


def test_potting_cools():
    part = place()
    closed = part.temperature(np.full((1, 1, 1), 60.0), designs(0.0))
    potted = part.temperature(np.full((1, 1, 1), 60.0), designs(1.0))
    assert (potted - 60).max() < 0.45 * (closed - 60).max()


def test_runaway_is_held_above_the_limit():
    part = place(load=stress(i_dc=100.0))
    t, books = settled(part)
    assert t == pytest.approx(300.0)
    assert margin(books, "temperature") > 1.0


def test_idle_rows_have_no_temperature_limit():
    part = place(load=stress(i_dc=100.0))
    _, books = settled(part)
    limit = books.find("boost.choke.temperature", Kind.LIMIT).value
    assert (limit[0, :-1] > 0).all()
    assert limit[0, -1] <= 0


def test_every_piece_is_counted():
    t = np.full((1, POINTS, 1), 80.0)
    one, three = place().book(t, CASE), place(count=3).book(t, CASE)
    for kind in (Kind.VOLUME, Kind.AREA, Kind.MASS, Kind.COST, Kind.PIECES, Kind.LOSS):
        assert three.total(kind) == pytest.approx(3 * one.total(kind))
    assert three.total(Kind.HEIGHT) == pytest.approx(one.total(Kind.HEIGHT))


@pytest.mark.parametrize(
    ("change", "limit"),
    [
        ({"strands": designs(400)}, "fill"),
        ({"layers": designs(1)}, "breadth"),
        ({"layers": designs(8)}, "layers"),
        ({"turns": designs(150)}, "gap_most"),
        ({"turns": designs(15)}, "saturation"),
        ({"turns": designs(3)}, "gap_least"),
    ],
)
def test_what_cannot_be_wound_shows_in_its_limit(change, limit):
    _, books = settled(place(choke(**change)))
    assert margin(books, limit) > 0.0


def powder_choke(**changes: np.ndarray) -> inductor.Design:
    ring = row("cores", "T33.0x19.9x10.7")
    return choke(core=ring, turns=designs(70), layers=designs(2), strands=designs(60), **changes)


def test_a_powder_ring_needs_no_gap_but_its_inductance_under_bias():
    _, books = settled(place(powder_choke(), stress(inductance=150e-6)))
    assert max(e.value.max() for e in books.of(Kind.LIMIT)) <= 0.0
    _, books = settled(place(powder_choke(), stress(inductance=150e-6, i_peak=12.0)))
    assert margin(books, "inductance") > 0.0
    assert margin(books, "gap_least") < 0.0


def test_powder_inductance_under_bias():
    part = place(powder_choke(), stress(i_peak=4.0))
    oersted = 70 * 4.0 / 81.4e-3 / 79.577
    share = 0.01 / (0.01 + 2.142e-6 * oersted**1.855)
    full = MU_0 * 60 * 70**2 * 67.2e-6 / 81.4e-3
    assert part.inductance == pytest.approx(share * full, rel=1e-4)


def test_powder_cores_lose_by_their_own_law():
    flux = (Flux(designs(100e3), designs(70 * 67.2e-6 * 0.2), designs(0.5)),)
    part = place(powder_choke(), dataclasses.replace(stress(), flux=flux))
    alone = SteinmetzTerm(designs(544.4e3), designs(1.36), designs(1.781))
    density = triangle_loss((alone,), designs(100e3), designs(0.2), designs(0.5)).item()
    assert part.core_loss.item() == pytest.approx(density * 5480e-9, rel=1e-9)
    # A symmetric triangle loses a little less than the sine of equal peak.
    assert 0.92 * 544e3 < density < 544e3


@pytest.mark.parametrize("count", [32, 64])
@pytest.mark.parametrize(("offset", "rel"), [(0.0, 2e-3), (0.5, 1e-3)])
def test_a_coarser_line_angle_keeps_the_core_loss(count, offset, rel):
    """Ripple of a leg with modulation 0.6 to 0.95, over half a cycle or a whole one."""
    core = cores.core(row("cores", "PQ26/25"), CASE)
    material = cores.ferrite(row("ferrites", "F-HF"), CASE)
    span = np.pi if count == 32 else 2 * np.pi
    theta = angles(count, span)
    depth = designs([0.6, 0.8, 0.95])
    # offset ½: bipolar leg around half duty; 0: unipolar, duty reaches zero.
    duty = offset + (1 - offset) * depth * (np.sin(theta) if offset else np.abs(np.sin(theta)))
    duty = np.clip(duty, 0.0, 1.0)
    linkage = 380.0 * duty * (1 - duty) / 100e3
    fine_theta = angles(4096, span)
    fine = offset + (1 - offset) * depth * (
        np.sin(fine_theta) if offset else np.abs(np.sin(fine_theta))
    )
    fine = np.clip(fine, 0.0, 1.0)
    exact = line_mean(
        triangle_loss(
            material.terms,
            designs(100e3),
            380.0 * fine * (1 - fine) / 100e3 / (40 * core.a_e),
            fine,
        )
    )
    flux = (Flux(designs(100e3), linkage, duty),)
    found = cores.core_loss(core, material, designs(40), flux)
    assert found == pytest.approx(exact * core.v_e, rel=rel)


def random_stress(rng, count: int) -> InductorStress:
    def some(lo, hi, *shape):
        return rng.uniform(lo, hi, shape)

    f = some(40e3, 300e3, count, 1, 1)
    duty = 0.5 + 0.5 * some(0.3, 1, count, POINTS, 1) * np.sin(angles(64))
    inductance = some(20e-6, 800e-6, count, 1, 1)
    harmonics = tuple(some(0, 1, count, POINTS, 1) / n for n in range(1, 6))
    return InductorStress(
        inductance,
        some(0, 30, count, POINTS, 1),
        WindingStress(some(0, 9, count, POINTS, 1), some(0, 9, count, POINTS, 1), f, harmonics),
        (Flux(f, 400 * duty * (1 - duty) / f, duty, some(0, 0.2, count, POINTS, 1)),),
    )


def test_any_design_is_finite_and_a_batch_is_its_designs(rng):
    count = 60
    declared = variables(inductor.Design, CATALOGUE.names())
    design = build(inductor.Design, drawn(declared, count, rng), {})
    load = random_stress(rng, count)
    _, books = settled(inductor.place("boost.choke", design, load, CASE))
    for entry in books.entries:
        assert np.isfinite(entry.value).all(), entry.path
        if entry.kind is Kind.LOSS:
            assert (entry.value >= 0).all()
    for i in (0, 17, 59):
        _, alone = settled(inductor.place("boost.choke", one_of(design, i), one_of(load, i), CASE))
        for entry, single in zip(books.entries, alone.entries, strict=True):
            assert (entry.value[min(i, entry.value.shape[0] - 1)] == single.value[0]).all(), (
                entry.path
            )


def test_an_idle_choke_loses_nothing():
    idle = stress(i_dc=0.0, i_peak=0.0, ripple=0.0)
    idle = dataclasses.replace(
        idle, winding=dataclasses.replace(idle.winding, i_line_rms=np.zeros((1, POINTS, 1)))
    )
    t, _ = settled(place(load=idle))
    assert place(load=idle).loss(t).max() < 1e-9
    assert t == pytest.approx(60.0)


def test_winding_data_can_be_built():
    part = place()
    assert part.anchor is Anchor.INSIDE
    t, _ = settled(part)
    (item,) = part.items(t, CASE)
    build_ = {fact.name: fact.value for fact in item.build}
    assert build_["core"] == "PQ26/25"
    assert build_["turns"] == 30
    assert build_["wire"] == "litz"
    assert build_["air gap of the centre leg"] == pytest.approx(part.gap.item())
    assert {f.name: f.bound for f in item.stress}["temperature"] == 125.0
    (ring,) = place(powder_choke()).items(t, CASE)
    assert ring.what == "powder-core inductor"
    assert "air gap of the centre leg" not in {fact.name for fact in ring.build}


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [("F-LL", False, False), ("F-VHF", True, False), ("F-GEN", False, False)],
)
def test_a_ferrite_outside_the_band_of_its_loss_fit_is_refused(name, low, high):
    # At 100 kHz: a ferrite fitted from 300 kHz on would promise less loss than any has.
    _, books = settled(place(choke(ferrite=row("ferrites", name))))
    assert (books.find("boost.choke.band_low", Kind.LIMIT).value > 0.0).item() is low
    assert (books.find("boost.choke.band_high", Kind.LIMIT).value > 0.0).item() is high


def test_a_powder_core_has_no_band():
    ring = next(n for n, p in zip(CATALOGUE["cores"].rows, CATALOGUE["cores"].columns["powder"],
                                  strict=True) if p > 0.5)  # fmt: skip
    _, books = settled(place(choke(core=row("cores", ring), ferrite=row("ferrites", "F-VHF"))))
    for edge in ("low", "high"):
        assert books.find(f"boost.choke.band_{edge}", Kind.LIMIT).value.item() <= 0.0


def test_a_handful_of_solid_wires_is_the_most_a_turn_can_have():
    solid = np.array([[[0]]])
    for strands, broken in ((8.0, False), (9.0, True)):
        _, books = settled(place(choke(wire=solid, strands=designs(strands))))
        assert (books.find("boost.choke.wires", Kind.LIMIT).value > 0.0).item() is broken
    _, books = settled(place(choke(strands=designs(200.0))))
    assert books.find("boost.choke.wires", Kind.LIMIT).value.item() <= 0.0
