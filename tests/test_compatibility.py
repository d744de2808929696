"""Which stages can be joined; the expected table is that of the stages' known properties."""

import itertools
from pathlib import Path

import pytest

from models.spec_files import read_specification
from models.stages.ports import (
    BridgeTraits,
    CommonMode,
    FrontTraits,
    Output,
    StorageTraits,
    Store,
)
from models.topologies.compatibility import clashes, refusals

DEMO = Path(__file__).parent.parent / "runs" / "demo.toml"

FRONTS = {
    "rectified": FrontTraits("flyback", True, Output.RECTIFIED, True, False, False),
    "isolated": FrontTraits("isolated stage", True, Output.LINK, True, False, False),
    "fixed": FrontTraits("stage of fixed ratio", True, Output.LINK, False, False, False),
    "boost": FrontTraits("boost", False, Output.LINK, True, True, False),
    "floating": FrontTraits("cascaded boost", False, Output.LINK, True, False, False),
}
STORES = {
    "module": StorageTraits("electrolytics at the module", Store.MODULE, False),
    "small": StorageTraits("electrolytics in the link", Store.LINK, False),
    "swing": StorageTraits("film that swings", Store.LINK, True),
    "port": StorageTraits("ripple port", Store.LINK_PORT, False),
    "module port": StorageTraits("ripple port at the module", Store.MODULE_PORT, False),
    "shared": StorageTraits("two links that swing", Store.SHARED, True),
}
BRIDGES = {
    "unfolder": BridgeTraits("unfolder", CommonMode.LINE, Output.RECTIFIED, False),
    "quiet": BridgeTraits("full bridge, bipolar", CommonMode.CONSTANT, Output.LINK, True),
    "pulsed": BridgeTraits("full bridge, unipolar", CommonMode.PULSED, Output.LINK, True),
    "line": BridgeTraits("one fast leg", CommonMode.LINE, Output.LINK, True),
    "neutral": BridgeTraits("common-ground half bridge", CommonMode.ZERO, Output.LINK, True),
}
# What each front admits: storages, and bridges.
LINKS = {"module", "small", "port", "module port"}
TABLE = {
    "rectified": ({"module", "module port"}, {"unfolder"}),
    "isolated": (LINKS | {"swing"}, {"quiet", "pulsed", "line", "neutral"}),
    "fixed": (LINKS, {"quiet", "pulsed", "line", "neutral"}),
    "boost": (LINKS | {"swing"}, {"quiet", "neutral"}),
    "floating": (LINKS | {"swing"}, {"quiet"}),
}


@pytest.mark.parametrize("names", list(itertools.product(FRONTS, STORES, BRIDGES)))
def test_a_combination_is_valid_exactly_where_the_table_has_it(names):
    front, store, bridge = names
    stores, bridges = TABLE[front]
    if bridge == "neutral" and front not in ("rectified", "fixed"):
        stores = stores | {"shared"}
    valid = store in stores and bridge in bridges
    found = clashes(FRONTS[front], STORES[store], BRIDGES[bridge])
    assert (found == ()) == valid
    assert all(
        any(t in reason for t in (FRONTS[front].title, STORES[store].title, BRIDGES[bridge].title))
        for reason in found
    )


def specification(*, grid=(), roof=(), limits=(), output=()):
    """The demo's specification with other entries in some sections."""
    spec = read_specification(DEMO)
    return spec.model_copy(
        update={
            "grid": (spec.grid[0].model_copy(update=dict(grid)),),
            **{
                name: getattr(spec, name).model_copy(update=dict(changes))
                for name, changes in (("roof", roof), ("limits", limits), ("output", output))
            },
        }
    )


def boosted(**changes):
    return refusals(FRONTS["boost"], STORES["swing"], BRIDGES["quiet"], specification(**changes))


def test_half_the_grid_across_the_module_must_stay_below_the_current_to_earth():
    grid = {"voltage_v": 230.0, "frequency_hz": 50}
    roof = {"capacitance_nf_per_kw": 150.0}
    output = {"rated_power_w": 400.0}
    fine = boosted(grid=grid, roof=roof, output=output, limits={"leakage_line_ma": 10.0})
    assert fine == ()
    # 2·π·50 Hz·(150 nF/kW·0.4 kW)·115 V = 2.17 mA.
    (reason,) = boosted(grid=grid, roof=roof, output=output, limits={"leakage_line_ma": 2.0})
    assert "2.2 mA" in reason
    assert "limits.leakage_line_ma = 2" in reason


def test_a_neutral_tied_to_the_module_wants_a_neutral():
    spec = specification(grid={"voltage_v": 240.0, "frequency_hz": 60, "kind": "split_phase"})
    (reason,) = refusals(FRONTS["boost"], STORES["shared"], BRIDGES["neutral"], spec)
    assert "neutral" in reason
    assert refusals(FRONTS["isolated"], STORES["swing"], BRIDGES["neutral"], spec) == ()


@pytest.mark.parametrize(("bridge", "refused"), [("quiet", False), ("unfolder", True)])
def test_reactive_power_needs_a_bridge_that_gives_it(bridge, refused):
    spec = specification(output={"rated_power_w": 400.0, "power_factor": -0.8})
    found = refusals(FRONTS["isolated"], STORES["small"], BRIDGES[bridge], spec)
    assert bool(found) == refused
