"""Constant draws, relays and copper: what a converter spends besides its power path."""

from types import SimpleNamespace

import numpy as np
import pytest

from models.axes import designs, points
from models.ledger import Kind, joined
from models.parts import housekeeping

HOLDING, LATCHING = (housekeeping.Design(relay=designs(k).astype(int)) for k in (0, 1))

# Full power, awake without power, night.
CASE = SimpleNamespace(
    points=SimpleNamespace(
        p_ac=points([300.0, 0.0, 0.0]),
        irradiance=points([1000.0, 200.0, 0.0]),
        thermal=points([1.0, 0.0, 0.0]),
    )
)
CURRENTS = {"i_module": points([10.0, 0.0, 0.0]), "i_grid": points([1.25, 0.0, 0.0])}


def books(design, poles=2):
    placed = housekeeping.place("aux", design, CASE, **CURRENTS, relay_poles=poles)
    t = points([60.0, 20.0, 10.0])
    return joined(*(part.book(part.temperature(t, designs(0.0)), CASE) for part in placed))


def losses(design, poles=2):
    return {
        e.path: (e.value + points([0.0, 0.0, 0.0]))[0, :, 0]
        for e in books(design, poles).of(Kind.LOSS)
    }


def test_the_supply_draws_all_loads_over_its_efficiency():
    total = sum(v for k, v in losses(HOLDING).items() if k != "aux.wiring.copper")
    assert total[0] == pytest.approx((0.35 + 0.12 + 0.15 + 2 * 0.2) / 0.78)
    assert total[1] == pytest.approx((0.35 + 0.12 + 0.15) / 0.78)


def test_night_leaves_a_small_draw():
    found = losses(HOLDING)
    assert sum(v[2] for v in found.values()) == pytest.approx(housekeeping.NIGHT)
    assert 0.03 <= housekeeping.NIGHT <= 0.1
    assert books(HOLDING).find("aux.night", Kind.FIGURE).value.item() == housekeeping.NIGHT


def test_latching_relays_spend_nothing_but_money():
    assert losses(LATCHING)["aux.relay.hold"][0] == 0.0
    assert losses(HOLDING, poles=4)["aux.relay.hold"][0] == pytest.approx(0.8)
    price = [books(d).find("aux.relay", Kind.COST).value.item() for d in (HOLDING, LATCHING)]
    assert price == pytest.approx([0.9, 1.35])


def test_two_poles_share_a_relay():
    rooms = [books(HOLDING, n).find("aux.relay", Kind.VOLUME).value.item() for n in (2, 3, 4)]
    assert rooms == pytest.approx([2.5e-6, 5e-6, 5e-6])


def test_copper_besides_the_parts_costs_half_a_watt_at_thirty_volts():
    # 5 mΩ carry 300 W: 1.1, 0.5, 0.28 W at 20, 30, 40 V: arithmetic.
    for v, watts in ((20.0, 1.1), (30.0, 0.5), (40.0, 0.28)):
        placed = housekeeping.place(
            "aux", HOLDING, CASE,
            i_module=points([300.0 / v, 0.0, 0.0]), i_grid=points([0.0, 0.0, 0.0]),
            relay_poles=2,
        )  # fmt: skip
        copper = placed[-1].loss(points([60.0, 20.0, 10.0]))[0, 0, 0]
        assert copper == pytest.approx(watts, rel=0.03)
    assert losses(HOLDING)["aux.wiring.copper"][0] == pytest.approx(5e-3 * 100 + 20e-3 * 1.25**2)


def test_assemblies_take_their_room_in_every_design():
    batch = housekeeping.Design(relay=designs([0, 1, 0]).astype(int))
    ledger = books(batch)
    assert ledger.total(Kind.VOLUME)[:, 0, 0] == pytest.approx([21.5e-6] * 3)
    for kind in (Kind.AREA, Kind.MASS, Kind.COST, Kind.PIECES):
        assert ledger.total(kind).shape == (3, 1, 1)
        assert (ledger.total(kind) > 0).all()
    for entry in ledger.entries:
        assert np.isfinite(entry.value).all()


def test_electronics_are_limited_by_what_is_around_them():
    placed = housekeeping.place("aux", HOLDING, CASE, **CURRENTS, relay_poles=2)
    hot = placed[0].book(points([126.0, 126.0, 126.0]), CASE)
    found = hot.find("aux.control.temperature", Kind.LIMIT).value[0, :, 0]
    assert found[0] == pytest.approx(0.2)
    assert (found[1:] < 0).all()


def test_every_assembly_stands_on_the_bill():
    placed = housekeeping.place("aux", HOLDING, CASE, **CURRENTS, relay_poles=4)
    lines = [item for part in placed for item in part.items(points([60.0, 20.0, 10.0]), CASE)]
    assert [item.quantity for item in lines] == [1, 1, 2, 1, 1]
