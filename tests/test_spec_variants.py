"""Variants of a specification: what they make, and every mistake in them with its place."""

import tomllib
from pathlib import Path

import pytest

from models.errors import SpecError
from models.results import NAMES
from models.spec import Specification
from models.spec_files import parse_specification, parse_variants, read_variants, template

DEMO = Path(__file__).parent.parent / "runs" / "demo.toml"
BASE = """\
# the house rules
[[module]]
v_mp_v = 33.0
i_mp_a = 9.8
v_oc_v = 40.2
i_sc_a = 10.4

[[grid]]
voltage_v = 120
frequency_hz = 60

[output]
rated_power_w = 300  # as sold now

[limits]
leakage_line_ma = 10
leakage_total_ma = 30
"""
FIRST = BASE.count("\n") + 1  # line of the first variant
SIX = BASE + "".join(
    f"""
[[variant]]
name = "{volt} V, {watt} W"
grid = [{{ voltage_v = {volt}, frequency_hz = {hertz} }}]
output.rated_power_w = {watt}
"""
    for volt, hertz in ((230, 50), (120, 60))
    for watt in (250, 300, 350)
)
CROSSED = BASE + "".join(
    f'[[variant]]\ngroup = "grid"\nname = "{volt} V"\n'
    f"[[variant.grid]]\nvoltage_v = {volt}\nfrequency_hz = {hertz}\n"
    for volt, hertz in ((230, 50), (120, 60))
) + "".join(
    f'[[variant]]\ngroup = "power"\nname = "{watt} W"\noutput.rated_power_w = {watt}\n'
    for watt in (250, 300, 350)
)  # fmt: skip


def parsed(text, folder=Path()):
    return parse_variants(text, "mine.toml", folder, topologies=["flyback"], results=NAMES)


def mistakes(text, folder=Path()):
    with pytest.raises(SpecError) as caught:
        parsed(text, folder)
    return caught.value.mistakes


def only(text, folder=Path()):
    (mistake,) = mistakes(text, folder)
    return mistake


def test_a_file_without_variants_is_one_as_it_stands():
    (one,) = parsed(BASE)
    assert (one.name, one.text) == ("", BASE)


def test_two_grids_and_three_ratings_are_six_specifications():
    six = parsed(SIX)
    assert [v.name for v in six][:4] == [
        "230 V, 250 W", "230 V, 300 W", "230 V, 350 W", "120 V, 250 W",
    ]  # fmt: skip
    found = [(v.spec.grid[0].voltage_v, v.spec.output.rated_power_w) for v in six]
    assert found == [(u, p) for u in (230, 120) for p in (250, 300, 350)]
    assert all(len(v.spec.grid) == 1 for v in six)


def test_groups_combine_to_the_same_six():
    assert [v.spec for v in parsed(CROSSED)] == [v.spec for v in parsed(SIX)]
    assert [v.name for v in parsed(CROSSED)] == [v.name for v in parsed(SIX)]


@pytest.mark.parametrize("text", [SIX, CROSSED, SIX.replace("\n", "\r\n")], ids=len)
def test_the_text_of_a_variant_gives_its_specification_without_the_file(text):
    for variant in parsed(text):
        assert "variant" not in tomllib.loads(variant.text)
        alone = parse_specification(variant.text, "specification.toml", Path())
        assert alone == variant.spec


def test_the_text_of_a_variant_keeps_comments_and_says_what_was_changed():
    text = parsed(SIX)[2].text
    assert text.startswith("# Variant: 230 V, 350 W\n# Made from mine.toml by changing grid, ")
    assert "# the house rules" in text
    assert "rated_power_w = 350  # as sold now" in text
    assert "[[grid]]\nvoltage_v = 230" in text


ODD_WAYS = {
    "inline section": BASE.replace("[output]\nrated_power_w = 300", "[output]\n")
    + '[[variant]]\nname = "a"\noutput = { rated_power_w = 350, weighting = "european" }\n',
    "dotted file": BASE.split("[output]")[0].replace(
        "# the house rules", "output.rated_power_w = 300\nlimits.trd_max_pct = 2"
    )
    + '[[variant]]\nname = "a"\nlimits = { trd_max_pct = 4 }\noutput.power_factor = 0.9\n',
    "variants first": '[[variant]]\nname = "a"\n[variant.life]\nwanted_years = 20\n' + BASE,
    "variants between": BASE + '[[variant]]\nname = "a"\nlife.wanted_years = 20\n'
    '[climate]\ntilt_deg = 30\n[[variant]]\nname = "b"\nclimate.tilt_deg = 5\n',
    "list of inline tables": "variant = [{ name = 'a', life = { wanted_years = 20 } }]\n" + BASE,
    "quoted keys": BASE + '[["variant"]]\n"name" = "a"\n"output"."rated_power_w" = 250\n',
    "section only in the variant": BASE + '[[variant]]\nname = "a"\npins.hold = ["cost <= 50"]\n',
    "module replaced": BASE + '[[variant]]\nname = "a"\n[[variant.module]]\nv_mp_v = 30.0\n'
    "i_mp_a = 9.0\nv_oc_v = 37.0\ni_sc_a = 9.9\n",
    "text with quotes": BASE + '[[variant]]\nname = "a \\"b\\" # c"\nlife.wanted_years = 20\n',
}


@pytest.mark.parametrize("text", ODD_WAYS.values(), ids=ODD_WAYS)
def test_every_way_to_write_toml_survives(text):
    for variant in parsed(text):
        alone = parse_specification(variant.text, "specification.toml", Path())
        assert alone == variant.spec
        assert parse_variants(text, "mine.toml", Path()) == parsed(text)
    first = parsed(text)[0]
    assert first.spec != Specification.model_validate(tomllib.loads(BASE))


@pytest.mark.parametrize("text", [SIX, SIX.replace("\n", "\r\n")], ids=["lf", "crlf"])
@pytest.mark.parametrize("fault", [BASE, "grid = 3", "no toml", IndexError("proxy")], ids=repr)
def test_a_text_that_its_editor_loses_is_written_anew(monkeypatch, text, fault):
    import models.spec_text

    def edited(text, made):
        if isinstance(fault, Exception):
            raise fault
        return fault

    monkeypatch.setattr(models.spec_text, "_rewritten", edited)
    variant = parsed(text)[0]
    alone = parse_specification(variant.text, "specification.toml", Path())
    assert alone == variant.spec
    assert "the house rules" in variant.text


def test_a_file_name_cannot_write_into_the_text():
    name = "a\n[[grid]]\n.toml"
    for variant in parse_variants(SIX, name, Path()):
        assert parse_specification(variant.text, "specification.toml", Path()) == variant.spec


def test_deep_nesting_is_a_mistake_and_no_fault():
    deep = ".".join(["output", *"abcdefghij" * 200])
    assert (
        "unknown entry output.a" in only(BASE + f'[[variant]]\nname = "a"\n{deep} = 1\n').message
    )
    deep = ".".join(["output.rated_power_w", *"abcdefghij" * 200])
    assert "must be a number in W" in only(BASE + f'[[variant]]\nname = "a"\n{deep} = 1\n').message
    deep = ".".join(["name", *"abcdefghij" * 200])
    found = mistakes(BASE + f"[[variant]]\n{deep} = 1\nlife.wanted_years = 20\n")
    assert "must be a text, but is a table" in found[0].message


def test_what_every_variant_brings_the_file_may_leave_out():
    text = CROSSED.replace("rated_power_w = 300  # as sold now", "")
    assert len(parsed(text)) == 6
    without = "\n".join(x for x in text.splitlines() if "output.rated_power_w = 350" not in x)
    found = mistakes(without)
    told = {m.message for m in found}
    assert "variant '350 W' changes nothing" in told
    assert "variant '230 V, 350 W': output.rated_power_w is missing" in told


def test_another_year_replaces_the_profile(tmp_path):
    (tmp_path / "year.csv").write_text(
        "ambient [°C],irradiance [W/m²],hours [h]\n5,0,4380\n20,700,4380\n", encoding="utf-8"
    )
    text = BASE + '[climate]\nprofile = "temperate"\n'
    text += '[[variant]]\nname = "own year"\nclimate.csv = "year.csv"\n'
    (variant,) = parsed(text, tmp_path)
    assert (variant.spec.climate.profile, variant.spec.climate.csv) == (None, "year.csv")
    assert parse_specification(variant.text, "x.toml", tmp_path) == variant.spec


A = '[[variant]]\nname = "a"\n'
B = '[[variant]]\nname = "b"\n'


@pytest.mark.parametrize(
    ("extra", "line", "message", "remedy"),
    [
        (A + "output.rated_power_w = 900\n", 2,
         "variant 'a': output.rated_power_w = 900 W is outside the accepted range",
         "must be from 150 to 600 W"),
        (A + "output.rated_powr_w = 350\n", 2,
         "variant 'a': unknown entry output.rated_powr_w", "did you mean rated_power_w?"),
        (A + "[variant.otput]\nrated_power_w = 350\n", 2,
         "variant 'a': unknown section [otput]", "did you mean output?"),
        (A + "grid = [{ voltage_v = 230, frequency_hz = 55 }]\n", 2,
         "variant 'a': grid[1].frequency_hz = 55 is not a known choice", "choices: 50, 60"),
        (A + "[variant.grid]\nvoltage_v = 230\n", 2,
         "variant 'a': grid may stand several times", "write [[variant.grid]] instead of"),
        (A + "limits.leakage_total_ma = 5\n", 2,
         "variant 'a': limits.leakage_line_ma: leakage_line_ma = 10 mA is above", "the whole"),
        (A + 'topologies.include = ["flybak"]\n', 2,
         "variant 'a': topologies.include[1]: there is no topology 'flybak'",
         "did you mean 'flyback'?"),
        (A, 0, "variant 'a' changes nothing", "add what differs"),
        (A + "output = {}\n", 0, "variant 'a' changes nothing", "add what differs"),
        ("[[variant]]\noutput.rated_power_w = 350\n", 0, "a variant needs a name", "add name = "),
        ("[[variant]]\nname = 230\noutput.rated_power_w = 350\n", 1,
         "the name of a variant must be a text, but is 230", "in quotes"),
        ('[[variant]]\nname = " "\noutput.rated_power_w = 350\n', 1,
         "must be a text, but is ' '", "in quotes"),
        ('[[variant]]\nname = "\\u001b[31mred"\noutput.rated_power_w = 350\n', 1,
         "letters that cannot be printed", "on one line"),
        (f'[[variant]]\nname = "{"x" * 201}"\noutput.rated_power_w = 350\n', 1,
         "is too long", "up to 200 letters"),
        (A + "sweep.designs = 5000\n", 2,
         "variant 'a' cannot change sweep: it holds for all variants", "move it to [sweep]"),
        (A + 'project.name = "x"\n', 2, "variant 'a' cannot change project", "move it"),
        (A + "group = 3\noutput.rated_power_w = 350\n", 2, "group of a variant must be a text",
         'group = "grid"'),
        ("[variant]\nname = 'a'\noutput.rated_power_w = 350\n", 0, "variants must be tables",
         "write [[variant]]"),
        (A + "output.rated_power_w = 350\n" + '[[variant]]\nname = "A "\n'
         "output.rated_power_w = 250\n", 4,
         "variant 2 has the name 'A' of variant 1", "another name"),
        (A + "output.rated_power_w = 350\n" + B + "output.rated_power_w = 350.0\n", 3,
         "variant 'b' asks for the same as 'a'", "change a value"),
        (A + 'group = "x"\noutput.rated_power_w = 350\n' + B + "life.wanted_years = 20\n", 4,
         "variant 'b' has no group, but others have", "one variant of each group"),
        (A + 'group = "x"\noutput.rated_power_w = 350\n' + B + 'group = "y"\n'
         "output.rated_power_w = 250\n", 7,
         "output.rated_power_w is changed by variant 'a' of group 'x' and by 'b' of group 'y'",
         "one group alone"),
        ("[[varient]]\nname = 'a'\noutput.rated_power_w = 350\n", 0,
         "unknown entry varient", "did you mean variant?"),
    ],
)  # fmt: skip
def test_a_mistake_in_a_variant_is_told_with_place_name_value_and_remedy(
    extra, line, message, remedy
):
    found = only(BASE + extra)
    assert message in found.message
    assert remedy in found.remedy
    assert found.line == FIRST + line
    assert found.file == "mine.toml"


def test_all_mistakes_come_at_once_each_once():
    text = SIX.replace("rated_power_w = 350", "rated_power_w = 3500").replace(
        "voltage_v = 120, frequency_hz = 60 }", "voltage_v = 120, frequency_hz = 6 }"
    )
    text = text.replace("v_oc_v = 40.2", 'v_oc_v = "40.2 V"')
    found = mistakes(text)
    assert [m.line for m in found] == sorted(m.line for m in found)
    assert [m.message.split(":")[0] for m in found] == [
        "module[1].v_oc_v must be a number in V, but is '40.2 V'",
        "variant '230 V, 350 W'",
        "variant '120 V, 250 W'",
        "variant '120 V, 300 W'",
        "variant '120 V, 350 W'",
        "variant '120 V, 350 W'",
    ]


def test_a_mistake_of_the_file_that_one_variant_escapes_stays_one_of_the_file():
    text = BASE.replace("frequency_hz = 60", "frequency_hz = 55") + A
    text += "grid = [{ voltage_v = 230, frequency_hz = 50 }]\n" + B + "life.wanted_years = 20\n"
    found = only(text)
    assert found.message == "grid[1].frequency_hz = 55 is not a known choice"
    assert found.line == 10


def test_a_mistake_of_a_group_is_told_once():
    text = CROSSED.replace("output.rated_power_w = 350", "output.rated_power_w = 35")
    assert "variant '350 W': output.rated_power_w = 35 W" in only(text).message


def test_a_rule_that_two_groups_break_together_names_the_one_that_set_the_value():
    text = BASE + A + 'group = "x"\nlimits.leakage_total_ma = 20\n'
    text += '[[variant]]\nname = "c"\ngroup = "x"\nlimits.leakage_total_ma = 40\n'
    text += B + 'group = "y"\nlimits.leakage_line_ma = 30\n'
    found = only(text)
    assert found.message.startswith("variant 'b': limits.leakage_line_ma")


def test_more_variants_than_a_night_can_hold_are_refused():
    rows = [
        f'[[variant]]\nname = "{g}{k}"\ngroup = "{g}"\n{key} = {k + start}\n'
        for g, key, start in (("a", "life.wanted_years", 10), ("b", "output.rated_power_w", 200))
        for k in range(9)
    ]
    assert "9 x 9 = 81 variants are more than 64" in only(BASE + "".join(rows)).message


def test_one_specification_is_not_taken_out_of_several():
    with pytest.raises(SpecError, match="the file holds 6 variants"):
        parse_specification(SIX, "mine.toml", Path())


def test_a_table_named_by_a_variant_is_checked(tmp_path):
    (tmp_path / "mine.csv").write_text("name,source\n", encoding="utf-8")
    found = mistakes(BASE + A + 'parts.cores = "mine.csv"\n', tmp_path)
    assert "mine.csv" in found[0].file


def test_the_example_in_the_template_works():
    shown = template()
    example = shown[shown.index("#   [[variant]]") :].replace("#   ", "")
    variants = parsed(shown + "\n" + example)
    assert [v.spec.output.rated_power_w for v in variants] == [250, 350]
    assert [v.spec.grid[0].voltage_v for v in variants] == [230, 120]


def test_the_demo_takes_variants(tmp_path):
    path = tmp_path / "demo.toml"
    path.write_text(DEMO.read_text(encoding="utf-8") + A + "output.rated_power_w = 250\n")
    (variant,) = read_variants(path, results=NAMES)
    assert str(tmp_path) not in variant.text
    assert variant.text.count("#") >= DEMO.read_text(encoding="utf-8").count("#")
