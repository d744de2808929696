"""Tables: what is read comes out in SI, what is wrong is named with row and column."""

import numpy as np
import pytest

from models.errors import CatalogueError
from models.parts.catalogue import Column, Schema, parse_table, read_table

SCHEMA = Schema(
    {"r_on": Column("mΩ", 1e-3, 1e4), "q_g": Column("nC", 0.0), "legs": Column("1", 1, 9, True)},
    texts=("material",),
)
HEADER = "name,r_on [mΩ],q_g [nC],legs [1],material,source"
GOOD = f"{HEADER}\nsmall,50,12.5,3,GaN,invented\nlarge,5,80,3,Si,invented\n"


def parsed(text):
    return parse_table("switches", SCHEMA, text, "mine.csv")


def refused(text):
    """Return the mistakes found in a text."""
    with pytest.raises(CatalogueError) as caught:
        parsed(text)
    return caught.value.mistakes


def with_cell(value, column=1):
    cells = ["small", "50", "12.5", "3", "GaN", "invented"]
    cells[column] = value
    return f"{HEADER}\n{','.join(cells)}\n"


def test_columns_come_out_in_si_units():
    table = parsed(GOOD)
    assert table.rows == ("small", "large")
    np.testing.assert_allclose(table.columns["r_on"], [50e-3, 5e-3], rtol=1e-12)
    np.testing.assert_allclose(table.columns["q_g"], [12.5e-9, 80e-9], rtol=1e-12)
    assert table.texts["material"] == ("GaN", "Si")


def test_a_gather_keeps_the_shape_of_its_index():
    index = np.array([1, 0, 1]).reshape(3, 1, 1)
    gathered = parsed(GOOD).at("r_on", index)
    assert gathered.shape == (3, 1, 1)
    np.testing.assert_allclose(gathered[:, 0, 0], [5e-3, 50e-3, 5e-3], rtol=1e-12)


def test_selected_rows_keep_columns_and_texts_together():
    table = parsed(GOOD).where(np.array([False, True]))
    assert table.rows == ("large",)
    assert table.texts["material"] == ("Si",)
    assert table.columns["r_on"].tolist() == [5e-3]


def test_order_of_columns_blanks_and_line_ends_do_not_matter():
    text = "\ufeffsource, material ,legs [1],q_g [nC],r_on [mΩ],name\r\n\r\n"
    text += "invented, GaN ,3, 12.5 ,50,small\r\n,,,,,\r\n"
    table = parsed(text)
    assert table.rows == ("small",)
    assert table.texts["material"] == ("GaN",)
    assert table.columns["r_on"].tolist() == [50e-3]


def test_a_quoted_comma_belongs_to_the_cell():
    assert parsed(with_cell('"GaN, lateral"', 4)).texts["material"] == ("GaN, lateral",)


@pytest.mark.parametrize(
    "cell", ["nan", "NaN", "inf", "-inf", "1e999", "", "50 mΩ", "1_000", "0x10", "٣", "1,5"]
)
def test_a_cell_that_is_no_plain_number_is_refused(cell):
    quoted = f'"{cell}"' if "," in cell else cell
    (mistake,) = refused(with_cell(quoted))
    assert (mistake.line, mistake.column) == (2, 7)
    assert "row 2, column 'r_on [mΩ]'" in mistake.message
    assert repr(cell) in mistake.message
    assert "is not a number" in mistake.message


def test_infinity_is_refused_where_the_range_has_no_upper_end():
    (mistake,) = refused(with_cell("inf", 2))
    assert "is not a number" in mistake.message


@pytest.mark.parametrize(
    ("cell", "column", "remedy"),
    [
        ("0", 1, "must be at least 0.001 and at most 10000 mΩ"),
        ("-1", 2, "must be at least 0 nC"),
        ("2.5", 3, "must be a whole number at least 1 and at most 9"),
        ("10", 3, "must be a whole number at least 1 and at most 9"),
    ],
)
def test_a_value_outside_its_range_names_value_and_range(cell, column, remedy):
    (mistake,) = refused(with_cell(cell, column))
    assert f"{cell!r} is outside the accepted range" in mistake.message
    assert mistake.remedy == remedy


def test_all_mistakes_are_reported_at_once_in_the_order_of_the_file():
    text = f"{HEADER}\n\na,x,1,3,GaN,s\nb,1,y,3,GaN,s\nc,1,1,3,GaN\na,1,1,3,GaN,s\n,1,1,3,GaN,s\n"
    found = refused(text)
    assert [(m.line, m.column) for m in found] == [(3, 3), (4, 5), (5, 1), (6, 1), (7, 1)]
    assert "has 5 cells, the header 6" in found[2].message
    assert "'a' is empty or stands twice" in found[3].message
    assert "'' is empty or stands twice" in found[4].message


def test_lines_are_those_of_the_file_after_a_cell_of_several_lines():
    text = f'{HEADER}\n"two\nlines",1,1,3,GaN,s\nb,x,1,3,GaN,s\n'
    (mistake,) = refused(text)
    assert (mistake.line, mistake.column) == (4, 3)


def test_a_misspelt_column_is_unknown_and_its_right_name_is_offered():
    found = refused(GOOD.replace("r_on [mΩ]", "ron [mΩ]"))
    assert "the column 'r_on [mΩ]' is missing" in found[0].message
    assert "did you mean 'ron [mΩ]'?" in found[0].remedy
    assert found[1].message == "unknown column 'ron [mΩ]'"
    assert found[1].remedy == "did you mean 'r_on [mΩ]'?"
    assert (found[1].line, found[1].column) == (1, 6)


def test_a_column_in_another_unit_is_not_taken():
    found = refused(GOOD.replace("[mΩ]", "[Ω]"))
    assert "unknown column 'r_on [Ω]'" in [m.message for m in found]
    assert "did you mean 'r_on [mΩ]'?" in [m.remedy for m in found]


def test_a_column_that_stands_twice_is_refused():
    found = refused(f"{HEADER},q_g [nC]\na,1,1,3,GaN,s,2\n")
    assert [m.message for m in found] == ["the column 'q_g [nC]' stands twice"]


@pytest.mark.parametrize("text", ["", "\n\n", "\ufeff", " , ,\n"])
def test_an_empty_file_says_what_its_first_row_must_be(text):
    (mistake,) = refused(text)
    assert "is empty" in mistake.message
    assert HEADER in mistake.remedy


def test_a_table_without_rows_is_refused():
    (mistake,) = refused(HEADER + "\n")
    assert "has no rows" in mistake.message


def test_semicolons_between_cells_are_recognised():
    (mistake,) = refused(GOOD.replace(",", ";"))
    assert "separate cells by commas" in mistake.remedy


@pytest.mark.parametrize(
    "broken", ['"open,1,1,3,GaN,s', 'a"b","c"d,1,1,3,GaN,s', "a,\0,1,3,GaN,s"]
)
def test_what_is_not_csv_is_refused_with_its_row(broken):
    (mistake,) = refused(f"{HEADER}\ngood,1,1,3,GaN,s\n{broken}\n")
    assert mistake.line == 3


def test_a_table_without_keys_needs_neither_name_nor_source():
    schema = Schema({"hours": Column("h", 0, 8784)}, keyed=False)
    table = parse_table("climate", schema, "hours [h]\n10\n20\n", "bins.csv")
    assert table.columns["hours"].tolist() == [10.0, 20.0]


def test_a_file_that_cannot_be_read_is_named(tmp_path):
    latin = tmp_path / "latin.csv"
    latin.write_bytes(GOOD.encode("latin-1", "replace") + b"\xb5\n")
    for path, reason in [
        (tmp_path / "absent.csv", "No such file"),
        (tmp_path, "not a file"),
        (latin, "not UTF-8"),
    ]:
        with pytest.raises(CatalogueError, match=reason) as caught:
            read_table("switches", SCHEMA, path)
        assert str(path) in str(caught.value)


def test_the_message_begins_as_editors_jump():
    with pytest.raises(CatalogueError, match=r"^mine\.csv:2:7: row 2, column 'r_on \[mΩ\]'"):
        parsed(with_cell("x"))
