"""Why a candidate takes no part, in words with both numbers."""

from pathlib import Path

import pytest

from models.errors import SpecError
from models.spec_files import parse_specification
from models.topologies import TOPOLOGIES, exclusions, nearest
from models.variables import structures

DEMO = Path(__file__).parent.parent / "runs" / "demo.toml"
BOOST, FLYBACK = "series_capacitor_boost_half_bridge", "flyback_unfolder"


def reasons(*changes):
    """Exclusions of the demo specification after textual changes, all of which must hit."""
    text = DEMO.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return exclusions(parse_specification(text, "t.toml", DEMO.parent))


def test_both_topologies_serve_the_demo():
    assert not any(reasons().values())


def test_line_to_line_grids_are_refused_where_neutral_is_tied():
    found = reasons(
        ('kind = "line_neutral"', 'kind = "split_phase"'), ("voltage_v = 120", "voltage_v = 240")
    )
    assert not found[FLYBACK]
    assert "must be the neutral" in found[BOOST][0]
    assert "339 V" in found[BOOST][0]


def test_reactive_power_is_refused_where_power_goes_one_way():
    found = reasons(("[output]", "[output]\npower_factor = 0.9"))
    assert "0.9" in found[FLYBACK][0]
    assert not found[BOOST]


def test_a_module_window_outside_the_checked_one_is_refused_by_both():
    module = DEMO.read_text(encoding="utf-8")
    line = next(x for x in module.splitlines() if x.startswith("v_mp_v"))
    found = reasons((line, line + "\nwindow_v = [60, 95]"))
    for name in (FLYBACK, BOOST):
        assert "60 and 95 V" in found[name][0]
        assert "15 to 65 V" in found[name][0]


def test_filters_of_the_specification_name_themselves():
    found = reasons(("[output]", '[topologies]\nisolation = "isolated"\n[output]'))
    assert not found[FLYBACK]
    assert "topologies.isolation" in found[BOOST][0]
    with pytest.raises(SpecError, match=r"did you mean"):
        parse_specification(
            DEMO.read_text(encoding="utf-8") + '\n[topologies]\ninclude = ["flyback_unfoldr"]\n',
            "t.toml", DEMO.parent, topologies=tuple(TOPOLOGIES),
        )  # fmt: skip


def test_the_registry_names_each_topology_by_its_own_name():
    for name, topology in TOPOLOGIES.items():
        assert topology.name == name
        assert topology.source
        assert topology.diagram.strip()
        assert structures(topology.design)
    assert nearest("flyback").endswith("flyback_unfolder?")
