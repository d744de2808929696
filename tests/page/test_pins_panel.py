"""The pins panel: what is gathered, what is refused, what is left, what a re-run is given."""

import dash
import pytest

from models.errors import PinError
from optimizer.page import jobs, pins_panel
from optimizer.page.library import Library
from tests.page.made import many

ADD = {"type": "pin-add", "pin": "height_mm <= 45"}


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    root = tmp_path_factory.mktemp("runs")
    many(root, 400)
    return Library(root)


@pytest.fixture
def run(library):
    return library.run(library.names()[0])


def text_of(component):
    """Return every text below a component."""
    if isinstance(component, (list, tuple)):
        return " ".join(text_of(c) for c in component)
    if isinstance(component, dash.development.base_component.Component):
        return text_of(getattr(component, "children", None))
    return "" if component is None else str(component)


def gathered(run, source, clicks=1, text="", pins=()):
    return pins_panel.gathered(run, source, clicks, text=text, pins=list(pins))


def test_a_button_adds_its_pin_once_and_says_so(run):
    pins, said, _, spoken = gathered(run, ADD)
    assert pins == ["height_mm <= 45"]
    assert said is None
    assert "height_mm" in spoken
    assert gathered(run, ADD, pins=pins)[0] == pins


def test_a_button_that_was_only_drawn_adds_nothing(run):
    assert gathered(run, ADD, clicks=None)[0] is dash.no_update


def test_text_is_brought_to_the_plain_written_form_and_the_field_emptied(run):
    pins, _, text, _ = gathered(run, {"type": "pins-text"}, text="  cost<=60 ")
    assert pins == ["cost <= 60"]
    assert text == ""


def test_pins_go_one_by_one_and_all_at_once(run):
    both = ["cost <= 60", "height_mm <= 45"]
    assert gathered(run, {"type": "pin-remove", "pin": both[0]}, pins=both)[0] == both[1:]
    assert gathered(run, {"type": "pins-do", "what": "clear"}, pins=both)[0] == []


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("cost 60", "cannot be read"),
        ("boxx.height_mm <= 25", "did you mean box.height_mm"),
        ("height_mm >= 50", "contradict each other"),
        ("weighted_efficiency_pct >= 101", "never exceeds 100 %"),
    ],
)
def test_a_pin_that_cannot_hold_is_refused_with_the_reason(run, text, words):
    pins, said, _, _ = gathered(run, {"type": "pins-text"}, text=text, pins=["height_mm <= 45"])
    assert pins is dash.no_update
    assert words in text_of(said)
    assert said.role == "alert"


def test_a_clash_names_both_pins(run):
    said = gathered(run, {"type": "pins-text"}, text="height_mm >= 50", pins=["height_mm <= 45"])[
        1
    ]
    assert "height_mm <= 45" in text_of(said)
    assert "height_mm >= 50" in text_of(said)


def test_without_a_panel_a_wrong_pin_is_an_error_for_the_frame():
    with pytest.raises(PinError, match="cannot be read"):
        gathered(None, {"type": "pin-add", "pin": "nonsense"})
    assert gathered(None, ADD)[0] == [ADD["pin"]]


def test_there_is_an_end_to_the_pins_and_to_their_length(run):
    with pytest.raises(PinError, match="more than"):
        pins_panel.check(run, [f"cost <= {60 + k}" for k in range(pins_panel.MOST + 1)])
    with pytest.raises(PinError, match="characters"):
        pins_panel.check(run, [f"topology not in [{'x' * pins_panel.LONGEST}]"])


def test_the_preview_counts_what_is_left_as_a_filter_of_the_table_does(library, run):
    table = library.table(run)
    bound = float(table["power_density_kw_l"].median())
    left = int((table["power_density_kw_l"] >= bound).sum())
    told = text_of(pins_panel.body(run, [f"power_density_kw_l >= {bound!r}"]))
    assert f"{left:,} of {len(table):,} stored designs" in told
    assert "A re-run can do better" in told


def test_every_pin_has_its_own_button_to_remove_it(run):
    drawn = str(pins_panel.body(run, ["cost <= 60", "height_mm <= 45"]))
    assert drawn.count("pin-remove") == 2


def test_a_re_run_is_given_the_pins_and_the_way_to_both_fronts(library, run, monkeypatch):
    asked = []
    monkeypatch.setattr(jobs, "rerun", lambda *given: asked.append(given) or "child-1")
    told = pins_panel.started(library, run, ["height_mm<=45"])
    assert asked == [(library, run.name, ["height_mm <= 45"])]
    assert f"runs={run.name}%2Cchild-1" in str(told)


def test_a_re_run_with_pins_that_clash_is_not_started(library, run):
    with pytest.raises(PinError, match="contradict"):
        pins_panel.started(library, run, ["height_mm <= 45", "height_mm >= 50"])
