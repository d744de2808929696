"""Reading a specification: all mistakes at once, each with place, value and remedy."""

import tomllib
from pathlib import Path

import pytest

from models.climate import profiles
from models.errors import SpecError
from models.operating import make_case, oddities
from models.results import NAMES
from models.spec import Specification
from models.spec_files import parse_specification, read_specification, template
from models.toml_positions import positions

DEMO = Path(__file__).parent.parent / "runs" / "demo.toml"
GOOD = """\
[[module]]
v_mp_v = 33.0
i_mp_a = 9.8
v_oc_v = 40.2
i_sc_a = 10.4

[[grid]]
voltage_v = 120
frequency_hz = 60

[output]
rated_power_w = 300
"""


def mistakes(text, folder=Path()):
    with pytest.raises(SpecError) as caught:
        parse_specification(text, "mine.toml", folder, topologies=["flyback"], results=NAMES)
    return caught.value.mistakes


def only(text, folder=Path()):
    (mistake,) = mistakes(text, folder)
    return mistake


def test_a_good_text_is_read():
    spec = parse_specification(GOOD, "mine.toml", Path())
    assert spec.grid[0].voltage_v == 120


@pytest.mark.parametrize(
    ("old", "new", "place", "message", "remedy"),
    [
        ("rated_power_w = 300", 'rated_power_w = "400 W"', (12, 1),
         "output.rated_power_w must be a number in W, but is '400 W'",
         "write 400; the unit is part of the name"),
        ("rated_power_w = 300", "rated_power_w = 900", (12, 1),
         "output.rated_power_w = 900 W is outside the accepted range",
         "must be from 150 to 600 W"),
        ("rated_power_w = 300", "rated_power_w = nan", (12, 1),
         "output.rated_power_w must be a finite number, but is nan",
         "must be from 150 to 600 W"),
        ("rated_power_w = 300", "rated_power_w = -inf", (12, 1),
         "output.rated_power_w must be a finite number, but is -inf",
         "must be from 150 to 600 W"),
        ("rated_power_w = 300", "rated_power_w = true", (12, 1),
         "output.rated_power_w must be a number in W, but is true", "write a number;"),
        ("rated_power_w = 300", "rated_power_w = 2026-01-01", (12, 1),
         "output.rated_power_w must be a number in W, but is 2026-01-01", "write a number;"),
        ("rated_power_w = 300", "rated_powr_w = 300", (11, 1),
         "output.rated_power_w is missing", "add rated_power_w = …: rated continuous power"),
        ("frequency_hz = 60", "  frequency_hz = 55", (9, 3),
         "grid[1].frequency_hz = 55 is not a known choice", "choices: 50, 60"),
        ("frequency_hz = 60", 'frequency_hz = 60\nkind = "split_fase"', (10, 1),
         "grid[1].kind = 'split_fase' is not a known choice",
         "did you mean split_phase? choices: line_neutral, split_phase, line_line_wye"),
        ("frequency_hz = 60", "frequency_hz = 60\nwindow_pu = [0.9]", (10, 1),
         "grid[1].window_pu[2] is missing", "give two numbers, as in [0.88, 1.10]"),
        ("frequency_hz = 60", 'frequency_hz = 60\nwindow_pu = [\n  0.9,\n  "x"]', (12, 3),
         "grid[1].window_pu[2] must be a number, but is 'x'", "write a number"),
        ("frequency_hz = 60", "frequency_hz = 60\nwindow_pu = [1.1, 0.9]", (10, 1),
         "grid[1].window_pu: [1.1, 0.9] must be two rising numbers from 0.7 to 1.2",
         "continuous"),
        ("[[grid]]", "[grid]", (7, 1), "grid may stand several times",
         "write [[grid]] instead of [grid]"),
        ("[output]", "[roof]\nmodule_side = 1\n[output]", (12, 1),
         "roof.module_side must be true or false, but is 1", "write true or false"),
        ("[output]", "[sweep]\nseed = 1.5\n[output]", (12, 1),
         "sweep.seed must be a whole number, but is 1.5", "write a number"),
        ("[output]", "[objectives]\nmaximise = 'cost'\n[output]", (12, 1),
         "objectives.maximise must be a list, but is 'cost'", "write it in square brackets"),
        ("[output]", "[objectives]\nmaximise = [1]\n[output]", (12, 13),
         "objectives.maximise[1] must be a text in quotes, but is 1", 'write "1"'),
        ("[output]", "[project]\nname = '../../x'\n[output]", (12, 1),
         "project.name has a character that is not allowed, but is '../../x'", "name of the run;"),
        ("[output]", "[limts]\ncost_max = 1\n[output]", (11, 1),
         "unknown section [limts]", "did you mean limits?"),
        ("[output]", "[roof]\nheight_max_mm = 35\n[output]", (12, 1),
         "unknown entry roof.height_max_mm", "did you mean limits.height_max_mm, in another"),
        ("[output]", "[limits]\nhieght_max_mm = 35\n[output]", (12, 1),
         "unknown entry limits.hieght_max_mm", "did you mean height_max_mm?"),
        ("[output]", "[limits]\nxyzzy = 35\n[output]", (12, 1),
         "unknown entry limits.xyzzy", "known here: height_max_mm, cost_max"),
    ],
)  # fmt: skip
def test_a_mistake_names_place_value_and_remedy(old, new, place, message, remedy):
    found = mistakes(GOOD.replace(old, new))
    first = found[0]
    assert (first.line, first.column) == place
    assert first.message.startswith(message)
    assert first.remedy.startswith(remedy)


@pytest.mark.parametrize(
    ("removed", "message", "remedy"),
    [
        ("[output]\nrated_power_w = 300\n", "output is missing", "add a section [output]"),
        ("[[grid]]\nvoltage_v = 120\nfrequency_hz = 60\n", "grid is missing",
         "add a section [[grid]]"),
    ],
)  # fmt: skip
def test_a_missing_section_is_asked_for(removed, message, remedy):
    mistake = only(GOOD.replace(removed, ""))
    assert (mistake.message, mistake.remedy) == (message, remedy)


def test_an_empty_file_misses_everything_that_must_be_given():
    assert [m.message for m in mistakes("")] == [
        "module is missing", "grid is missing", "output is missing",
    ]  # fmt: skip


def test_all_mistakes_come_at_once_in_the_order_of_the_file():
    text = GOOD.replace("9.8", '"x"').replace("120", "5").replace("300", "nan")
    text = "[roof]\nemisivity = 0.8\n" + text
    found = mistakes(text)
    assert [m.line for m in found] == [2, 5, 10, 14]
    with pytest.raises(SpecError, match=r"4 mistakes in mine\.toml; nothing was started; further"):
        parse_specification(text, "mine.toml", Path())


def test_the_message_shows_the_line_and_points_at_it():
    with pytest.raises(SpecError) as caught:
        parse_specification(GOOD.replace("= 300", '= "400 W"'), "mine.toml", Path())
    assert str(caught.value).splitlines()[:3] == [
        "mine.toml:12:1: output.rated_power_w must be a number in W, but is '400 W'",
        '    12 | rated_power_w = "400 W"',
        "       | ^ write 400; the unit is part of the name",
    ]


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("[output\nrated_power_w = 300\n", (1, 8)),
        (GOOD + "rated_power_w = 200\n", (13, 1)),
        (GOOD.replace("300", "300 W"), (12, 21)),
        (GOOD.replace("300", ""), (12, 17)),
        (GOOD + 'note = "open\n', (13, 13)),
        (GOOD + "x = [1, 2\n", (14, 1)),
        (GOOD + "x = " + "[" * 5000, None),
        (GOOD + "x = " + "9" * 5000, None),
        ("\0", (1, 1)),
    ],
)
def test_what_is_not_toml_is_refused_with_its_place(text, place):
    mistake = only(text)
    assert mistake.message.startswith("this is not TOML: ")
    assert "at line" not in mistake.message
    if place:
        assert mistake.line == place[0]


@pytest.mark.parametrize(
    ("addition", "line", "message", "remedy"),
    [
        ('[climate]\nprofile = "temprate"\n', 14,
         "climate.profile: there is no climate profile 'temprate'", "did you mean 'temperate'?"),
        ('[climate]\nprofile = "temperate"\ncsv = "x.csv"\n', 15,
         "climate.csv: profile = 'temperate' and csv = 'x.csv' exclude each other", "keep one"),
        ('[objectives]\nmaximise = ["costt"]\n', 14,
         "objectives.maximise[1]: there is no result 'costt'", "did you mean 'cost'?"),
        ('[topologies]\ninclude = [\n  "flyback",\n  "flybck"]\n', 16,
         "topologies.include[2]: there is no topology 'flybck'", "did you mean 'flyback'?"),
        ('[parts]\nexclude = ["F-GENN"]\n', 14,
         "parts.exclude: no table has a row 'F-GENN'", "did you mean"),
    ],
)  # fmt: skip
def test_further_checks_stand_at_their_key(addition, line, message, remedy):
    mistake = only(GOOD + addition)
    assert mistake.line == line
    assert mistake.message == message
    assert mistake.remedy.startswith(remedy)


def test_a_module_that_no_diode_fits_is_refused_at_its_section():
    mistake = only(GOOD.replace("i_sc_a = 10.4", "i_sc_a = 10.4\ncells_in_series = 180"))
    assert mistake.line == 2
    assert mistake.message.startswith("module[1].v_mp_v: no single-diode curve passes")


def test_an_unknown_listed_module_is_refused_at_its_key():
    second = '[[module]]\nname = "b"\nlisted = "no such row of the list"\n'
    mistake = only(GOOD + second)
    assert mistake.line == 15
    assert mistake.message.startswith("module[2].listed: the public module list has no row")


def test_mistakes_in_a_table_of_ones_own_name_that_file(tmp_path):
    (tmp_path / "mine.csv").write_text("name,source\n", encoding="utf-8")
    (tmp_path / "year.csv").write_text(
        "ambient [°C],irradiance [W/m²],hours [h]\n20,nan,8760\n", encoding="utf-8"
    )
    text = GOOD + '[parts]\nferrites = "mine.csv"\n[climate]\ncsv = "year.csv"\n'
    found = mistakes(text, tmp_path)
    assert {Path(m.file).name for m in found} == {"mine.csv", "year.csv"}
    assert any("'nan' is not a number" in m.message for m in found)


@pytest.mark.parametrize(
    ("content", "reason"), [(None, "No such file"), (b"\xff\xfe[", "byte 1 is not UTF-8")]
)
def test_a_file_that_cannot_be_read_is_named(tmp_path, content, reason):
    path = tmp_path / "spec.toml"
    if content:
        path.write_bytes(content)
    with pytest.raises(SpecError, match=reason) as caught:
        read_specification(path)
    assert str(path) in str(caught.value)


def test_a_folder_is_no_specification(tmp_path):
    with pytest.raises(SpecError, match="it is not a file"):
        read_specification(tmp_path)


def test_a_byte_order_mark_and_foreign_line_ends_do_no_harm(tmp_path):
    path = tmp_path / "spec.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert read_specification(path).output.rated_power_w == 300


def test_paths_start_at_the_folder_of_the_file(tmp_path):
    (tmp_path / "year.csv").write_text(
        "ambient [°C],irradiance [W/m²],hours [h]\n5,0,4380\n20,700,4380\n", encoding="utf-8"
    )
    path = tmp_path / "spec.toml"
    path.write_text(GOOD + '[climate]\ncsv = "year.csv"\n', encoding="utf-8")
    assert read_specification(path).climate.csv == "year.csv"


def test_places_are_found_in_every_way_to_write_toml():
    text = '''# head
a."b c" = { x = 1, y = [2, 3] }  # tail = [
text = """
[not.a.section]
key = 1 \\""" """
raw = \'\'\'
[nor this]\'\'\'
  [one.two]
list = [ # comment ]
  "x]", [1,
  2] ,
]
[[many]]
k = 1.0
[many.inner]
k = 'it''
[[many]]
k = 2
'''.replace("'it''", "'it'")
    tomllib.loads(text)
    found = positions(text)
    assert found[("a", "b c")] == (2, 1)
    assert found[("a", "b c", "x")] == (2, 13)
    assert found[("a", "b c", "y", 1)] == (2, 28)
    assert ("not", "a", "section") not in found
    assert found[("raw",)] == (6, 1)
    assert found[("one", "two")] == (8, 3)
    assert found[("one", "two", "list", 1)] == (10, 9)
    assert found[("one", "two", "list", 1, 1)] == (11, 3)
    assert found[("many", 0, "k")] == (14, 1)
    assert found[("many", 0, "inner", "k")] == (16, 1)
    assert found[("many", 1)] == (17, 1)
    assert found[("many", 1, "k")] == (18, 1)


def test_the_template_is_a_good_specification():
    spec = parse_specification(template(), "template.toml", Path(), results=NAMES)
    assert make_case(spec, Path()).points.count == 20


def test_the_template_shows_every_key_with_its_default():
    shown = template()
    values = tomllib.loads(shown)
    for name, field in Specification.model_fields.items():
        section = values[name][0] if isinstance(values[name], list) else values[name]
        keys = set(section)
        model = field.annotation
        model = model.__args__[0] if hasattr(model, "__args__") else model
        for key, inner in model.model_fields.items():
            off = f"\n# {key} = " in shown
            assert (key in keys) != off, f"{name}.{key}"
            default = inner.default
            if off:
                assert default is None or key in ("p_mp_pct_per_c",), f"{name}.{key}"
            elif default is not None and not inner.is_required():
                given = tuple(section[key]) if isinstance(section[key], list) else section[key]
                assert given == default, f"{name}.{key}"
    assert all(name in shown for name in profiles())


def test_the_demo_is_good_and_nothing_about_it_is_odd():
    spec = read_specification(DEMO, results=NAMES)
    assert oddities(spec, DEMO.parent) == ()
    assert make_case(spec, DEMO.parent).points.count == 20
    assert "invented" in DEMO.read_text(encoding="utf-8")
