"""The specification as a whole: what it is by default, what it refuses to be."""

import math
import typing

import pydantic
import pytest

from models import spec as module
from models.errors import SpecError
from models.module_view import module_window
from models.operating import make_case
from models.results import NAMES
from models.spec import Grid, Limits, Output, Section, Specification
from models.spec_rules import complaints

SHEET = {"v_mp_v": 33.0, "i_mp_a": 9.8, "v_oc_v": 40.2, "i_sc_a": 10.4}
SECTIONS = [
    cls
    for cls in vars(module).values()
    if isinstance(cls, type) and issubclass(cls, Section) and cls is not Section
]


def asked(**changes):
    """Return a small specification with some sections replaced."""
    sections = {
        "module": [dict(SHEET)],
        "grid": [{"voltage_v": 120, "frequency_hz": 60}],
        "output": {"rated_power_w": 300},
    }
    return Specification.model_validate({**sections, **changes})


def complained(**changes):
    return [f"{c.key}: {c.message}" for c in complaints(asked(**changes), results=NAMES)]


@pytest.mark.parametrize("section", SECTIONS, ids=lambda cls: cls.__name__)
def test_every_key_has_a_meaning_and_every_number_a_unit_and_a_range(section):
    for key, field in section.model_fields.items():
        if section is Specification and issubclass(type(field.default), Section):
            continue
        if key == "output":
            continue
        assert field.description, f"{section.__name__}.{key} has no description"
        kinds = {field.annotation, *typing.get_args(field.annotation)}
        if kinds & {int, float} and key not in ("window_v", "window_pu", "power_factor"):
            assert field.json_schema_extra["unit"], key
            ends = {e for part in field.metadata for e in ("ge", "le") if hasattr(part, e)}
            assert ends == {"ge", "le"}, key


UNITS = {
    "V": "_v", "A": "_a", "W": "_w", "°C": "_c", "mm": "_mm", "mA": "_ma", "%": "_pct", "h": "_h",
    "years": "_years", "°": "_deg", "K": "_k", "%/K": "_pct_per_k", "%/°C": "_pct_per_c",
    "nF/kW": "_nf_per_kw", "€": "_max", "1": "",
}  # fmt: skip


@pytest.mark.parametrize("section", SECTIONS, ids=lambda cls: cls.__name__)
def test_a_key_carries_its_unit_as_suffix(section):
    for key, field in section.model_fields.items():
        if field.json_schema_extra:
            assert key.endswith(UNITS[field.json_schema_extra["unit"]]), key


def test_only_module_grid_and_rated_power_must_be_given():
    spec = asked()
    assert spec.output.weighting == "cec"
    assert spec.grid[0].window_pu == (0.88, 1.10)
    assert spec.life.wanted_years == 25
    assert spec.roof.full_power_ambient_c == 45
    assert spec.objectives.maximise == ("power_density_kw_l", "weighted_efficiency_pct")
    assert not complaints(spec, results=NAMES)


def test_a_specification_cannot_be_changed():
    spec = asked()
    with pytest.raises(pydantic.ValidationError, match="frozen"):
        spec.output.rated_power_w = 400
    assert isinstance(spec.module, tuple)
    assert isinstance(spec.objectives.minimise, tuple)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, True, "400", None, 10**400])
def test_only_finite_numbers_are_numbers(value):
    with pytest.raises(pydantic.ValidationError):
        Output(rated_power_w=value)


@pytest.mark.parametrize("field", ["height_max_mm", "cost_max"])
@pytest.mark.parametrize("value", [math.nan, math.inf, 0.0, -5.0, False])
def test_optional_limits_are_checked_when_given(field, value):
    with pytest.raises(pydantic.ValidationError):
        Limits.model_validate({field: value})


@pytest.mark.parametrize(("value", "good"), [
    (1.0, True), (0.8, True), (-0.8, True), (-0.95, True), (0.79, False), (-0.5, False),
    (0.0, False), (1.01, False), (math.nan, False),
])  # fmt: skip
def test_the_power_factor_is_at_least_four_fifths_in_size(value, good):
    if good:
        assert Output(rated_power_w=300, power_factor=value).power_factor == value
    else:
        with pytest.raises(pydantic.ValidationError):
            Output(rated_power_w=300, power_factor=value)


@pytest.mark.parametrize(
    "window", [[1.1, 0.88], [0.5, 1.1], [0.9, 1.3], [0.9], [0.9, 1.0, 1.1], [math.nan, 1.1], 1.0]
)
def test_a_grid_window_is_two_rising_numbers_within_range(window):
    with pytest.raises(pydantic.ValidationError):
        Grid.model_validate({"voltage_v": 230, "frequency_hz": 50, "window_pu": window})


@pytest.mark.parametrize("kind", ["line_neutral", "split_phase", "line_line_wye"])
def test_every_kind_of_grid_is_accepted(kind):
    assert Grid(voltage_v=208, frequency_hz=60, kind=kind).kind == kind


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"module": [{**SHEET, "v_mp_v": 41.0}]}, "module.0.v_mp_v: v_mp_v = 41 is not below"),
        ({"module": [{**SHEET, "i_mp_a": 11.0}]}, "i_mp_a = 11 is not below i_sc_a = 10.4"),
        ({"module": [{"v_mp_v": 33.0}]}, "missing: i_mp_a, v_oc_v, i_sc_a"),
        ({"module": [{**SHEET, "listed": "x"}]}, "listed = 'x' and v_mp_v = 33 exclude"),
        ({"climate": {"profile": "a", "csv": "b"}}, "profile = 'a' and csv = 'b' exclude"),
        (
            {"roof": {"hot_ambient_c": 40}},
            "hot_ambient_c = 40 °C is below full_power_ambient_c = 45 °C",
        ),
        ({"roof": {"derating_pct_per_k": 10}}, "derating_pct_per_k = 10 leaves no power at hot"),
        ({"roof": {"touch_limit_c": 60}}, "touch_limit_c = 60 °C is not above the air around"),
        ({"limits": {"leakage_line_ma": 40}}, "leakage_line_ma = 40 mA is above leakage_total_ma"),
        (
            {"grid": [{"voltage_v": 120, "frequency_hz": 60, "window_pu": [0.9, 1.2],
                       "max_transient_pu": 1.1}]},
            "max_transient_pu = 1.1 is below the upper end of window_pu = [0.9, 1.2]",
        ),
        ({"objectives": {"maximise": ["cots"]}}, "there is no result 'cots'"),
        ({"objectives": {"maximise": []}}, "leave nothing to search for"),
        ({"objectives": {"minimise": ["power_density_kw_l"]}}, "stands twice in maximise and"),
        ({"topologies": {"include": ["a"], "exclude": ["a"]}}, "'a' stands in include and in"),
    ],
)  # fmt: skip
def test_a_contradiction_names_both_values(changes, expected):
    found = complained(**changes)
    assert len(found) == 1
    assert expected in found[0]


def test_names_are_checked_only_where_they_are_known():
    spec = asked(topologies={"include": ["nonsense"]}, objectives={"minimise": ["nonsense"]})
    assert complaints(spec) == []
    found = complaints(spec, topologies=["common"], results=["cost"])
    assert "there is no topology 'nonsense'" in [c.message for c in found]
    assert "there is no result 'nonsense'" in [c.message for c in found]


def test_a_case_is_refused_by_the_same_rules(tmp_path):
    with pytest.raises(SpecError, match=r"module\.0\.v_mp_v: v_mp_v = 41 is not below"):
        make_case(asked(module=[{**SHEET, "v_mp_v": 41.0}]), tmp_path)


def test_the_window_spans_all_modules():
    low, high = module_window(asked())
    both = module_window(asked(module=[SHEET, {**SHEET, "v_mp_v": 40.0, "v_oc_v": 49.0}]))
    assert both[0] == pytest.approx(low, rel=1e-9)
    assert both[1] > high
    given = module_window(asked(module=[{**SHEET, "window_v": [20.0, 50.0]}]))
    assert given == (20.0, 50.0)
