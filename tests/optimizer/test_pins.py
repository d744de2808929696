import dataclasses
from pathlib import Path

import numpy as np
import pytest

from models.errors import PinError
from models.results import NAMES
from optimizer.demands import demands
from optimizer.launch import specifications
from optimizer.pins import Demand, Scope, parse, resolved
from tests.optimizer.stand_in import VARIABLES

RESULTS = ("cost", "electrolytics", "height_mm")
SCOPES = [
    Scope("boost_bridge", {"boost.phases": 1}, VARIABLES),
    Scope("boost_bridge", {"boost.phases": 2}, VARIABLES),
    Scope("flyback", {}, VARIABLES[4:]),
]


def pinned(*texts):
    return resolved([parse(t) for t in texts], SCOPES, RESULTS)


def gene(found, path, scope=0):
    return next(g for g in found[scope].genes.genes if g.variable.path == path)


@pytest.mark.parametrize(
    ("text", "form"),
    [
        ("box.height_mm <= 25", ("box.height_mm", "<=", ("25",))),
        ("boost.f_khz>=1e2", ("boost.f_khz", ">=", ("1e2",))),
        ("electrolytics = none", ("electrolytics", "=", ("none",))),
        ("boost.core in [PQ26/25, PQ32/30]", ("boost.core", "in", ("PQ26/25", "PQ32/30"))),
        ("topology not  in [a]", ("topology", "not in", ("a",))),
    ],
)
def test_the_written_form_is_read_and_written_back(text, form):
    pin = parse(text)
    assert (pin.path, pin.operator, pin.values) == form
    assert parse(str(pin)) == pin


@pytest.mark.parametrize(
    "text", ["", "cost", "cost < 5", "cost <=", "<= 5", "cost in 5", "cost = [5]", "a in [x,,y]"]
)
def test_what_is_no_pin_is_refused_with_an_example(text):
    with pytest.raises(PinError, match="PATH OP VALUE"):
        parse(text)


def test_a_bound_in_the_shown_unit_narrows_the_gene():
    found = pinned("boost.f_khz <= 150", "box.height_mm >= 20", "link.v = 400")
    assert gene(found, "boost.f_khz").hi == pytest.approx(150e3)
    assert gene(found, "box.height_mm", 2).lo == pytest.approx(0.020)
    assert gene(found, "link.v").levels == 1


def test_pins_on_levels_leave_the_allowed_ones():
    found = pinned("boost.turns <= 10", "boost.turns >= 9", "boost.core in [core 1, core 3]")
    assert gene(found, "boost.turns").allowed == (9, 10)
    assert gene(found, "boost.core").allowed == (1, 3)
    assert gene(pinned("link.kind not in [b]"), "link.kind").allowed == (0, 2)


def test_a_pin_on_a_static_choice_or_the_topology_leaves_candidates_out():
    assert [f is not None for f in pinned("boost.phases = 2")] == [False, True, True]
    assert [f is not None for f in pinned("topology not in [flyback]")] == [True, True, False]


def test_a_pin_on_a_result_becomes_a_limit_met_exactly_where_the_pin_holds():
    limits = pinned("cost <= 60", "electrolytics = none")[0].limits
    columns = np.array([[59.0, 0.0, 1.0], [61.0, 0.0, 1.0], [59.0, 2.0, 1.0]])
    worst = np.stack([limit.margin(columns) for limit in limits]).max(axis=0)
    assert (worst <= 0.0).tolist() == [True, False, False]


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("box.hieght_mm <= 25", "did you mean box.height_mm"),
        ("boost.f_hz <= 1", "did you mean boost.f_khz"),
        ("csot <= 5", "did you mean cost"),
        ("boost.core = cor 3", "did you mean core 3"),
        ("topology = flybck", "did you mean flyback"),
        ("boost.phases = 3", "choose among 1, 2"),
    ],
)
def test_a_misspelt_pin_names_the_nearest(text, hint):
    with pytest.raises(PinError, match=hint):
        pinned(text)


@pytest.mark.parametrize(
    "texts",
    [
        ("link.v <= 400", "link.v >= 410"),
        ("boost.turns = 5", "boost.turns = 6"),
        ("boost.core = core 1", "boost.core not in [core 1]"),
        ("cost <= 60", "cost >= 70"),
        ("electrolytics = 2", "electrolytics = none"),
    ],
)
def test_two_pins_that_clash_are_both_named(texts):
    with pytest.raises(PinError, match="contradict") as caught:
        pinned("height_mm <= 30", *texts)
    assert all(text in str(caught.value) for text in texts)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("link.v <= 100", "reaches from 350"),
        ("boost.turns = 5.5", "leaves no value"),
        ("link.v = high", "no number"),
        ("link.v in [400, 410]", "varies continuously"),
        ("cost in [4, 5]", "is a number"),
        ("link.kind <= 1", "Use =, in or not in|is never"),
        ("cost <= nan", "no number"),
    ],
)
def test_a_pin_that_does_not_suit_its_variable_says_why(text, reason):
    with pytest.raises(PinError, match=reason):
        pinned(text)


@pytest.mark.parametrize(
    ("texts", "reason"),
    [
        (("topology = flyback", "topology not in [flyback]"), "contradict"),
        (("topology = flyback", "boost.f_khz <= 150"), "no candidate that the second leaves has"),
        (("topology = flyback", "boost.phases = 2"), "no candidate that the second leaves has"),
        (("boost.phases = 1", "boost.phases = 2", "topology = boost_bridge"), "contradict"),
        (("boost.phases = 1", "boost.phases = 2"), "contradict"),
    ],
)
def test_pins_on_topology_and_structure_that_clash_are_both_named(texts, reason):
    with pytest.raises(PinError, match=reason) as caught:
        pinned("cost <= 60", *texts)
    assert all(f"'{text}'" in str(caught.value) for text in texts[:2])
    assert "Drop one of them" in str(caught.value)


def test_one_pin_that_leaves_no_candidate_is_named_alone():
    with pytest.raises(PinError, match=r"'topology not in .*leaves no candidate"):
        pinned("topology not in [flyback, boost_bridge]", "cost <= 60")


def test_a_pin_beyond_the_range_of_one_candidate_leaves_the_others():
    low = dataclasses.replace(VARIABLES[6], lo=0.015, hi=0.02)
    scopes = [Scope("flat", {}, (low,)), *SCOPES]
    found = resolved([parse("box.height_mm >= 25")], scopes, RESULTS)
    assert [f is not None for f in found] == [False, True, True, True]


def test_lists_without_a_common_part_are_named():
    texts = ("boost.core in [core 1, core 2]", "boost.core in [core 3]")
    with pytest.raises(PinError, match="contradict") as caught:
        pinned(*texts)
    assert all(text in str(caught.value) for text in texts)
    with pytest.raises(PinError, match="together leave no value"):
        pinned("boost.turns in [5, 6]", "boost.turns in [6, 7]", "boost.turns in [5, 7]")


def test_a_list_with_an_unknown_part_is_refused_by_name():
    with pytest.raises(PinError, match="never 'core 99'"):
        pinned("boost.core in [core 1, core 99]")


def test_excluded_parts_are_left_out():
    allowed = gene(pinned("boost.core not in [core 0, core 7]"), "boost.core").allowed
    assert allowed == (1, 2, 3, 4, 5, 6)


def test_an_outer_dimension_and_its_reported_result_are_one_quantity():
    with pytest.raises(PinError, match=r"'height_mm <= 25' and 'box.height_mm >= 30'"):
        pinned("height_mm <= 25", "box.height_mm >= 30")


LOW = Demand("height_mm", "<=", 40.0, "limits.height_max_mm = 40 in the specification", "Change")


@pytest.mark.parametrize("text", ["height_mm >= 60", "box.height_mm >= 45", "height_mm = 41"])
def test_a_pin_against_a_limit_of_the_specification_is_refused(text):
    with pytest.raises(PinError, match=r"cannot be met: limits.height_max_mm = 40.*\n  Change"):
        resolved([parse(text)], SCOPES, RESULTS, [LOW])


@pytest.mark.parametrize("text", ["height_mm <= 60", "box.height_mm = 25", "height_mm >= 40"])
def test_a_pin_that_a_limit_leaves_room_for_is_taken(text):
    assert any(resolved([parse(text)], SCOPES, RESULTS, [LOW]))


def test_a_clash_says_where_a_pin_was_made():
    with pytest.raises(PinError, match="'cost <= 5' in the specification and 'cost >= 6'"):
        resolved([parse("cost <= 5", "in the specification"), parse("cost >= 6")], SCOPES, RESULTS)


@pytest.mark.parametrize("text", ["cost <= -1", "peak_efficiency_pct >= 101", "worst_margin >= 1",
                                  "life_years <= 10", "trd_pct >= 8"])  # fmt: skip
def test_what_no_design_of_the_demo_can_have_is_refused(text):
    (only,) = specifications(Path(__file__).parents[2] / "runs" / "demo.toml")
    scopes = [Scope("any", {}, VARIABLES)]
    with pytest.raises(PinError, match="cannot be met"):
        resolved([parse(text)], scopes, NAMES, demands(only.spec))
