"""The sheet on paper: everything of the HTML sheet, inside the margins, nothing overlapping."""

import copy
import io
import itertools
import subprocess
import sys

import numpy as np
import pypdf
import pytest

from models.errors import RipplefrontError
from optimizer.cautions import CAUTIONS
from optimizer.cli_designs import _write
from optimizer.opened import opened
from optimizer.sheet_blocks import Grid, Origin, Words, sections
from optimizer.sheet_data import sheet_data
from optimizer.sheet_files import FORMS
from optimizer.sheet_pdf import sheet_pdf
from optimizer.sheet_pdf_paper import (
    BOTTOM,
    LEFT,
    POINT,
    RIGHT,
    TOP,
    Paper,
    folded,
    printable,
    width,
)
from optimizer.sheet_pdf_tables import set_table
from optimizer.version import VERSION
from tests.conformance.designs import candidates, demo_case, random_values

HOSTILE = "<img src=x onerror=alert(1)> $\\frac{1}{0}$ =cmd 電 \u202e\x00 %PDF"
ORIGIN = Origin("run-one", {"boost.f_khz": "120"})
HAIR = 0.2  # [mm] of kerning, which the widths leave out


@pytest.fixture(scope="module", params=[0, -1], ids=["first", "last"])
def data(request):
    case = demo_case()
    topology, static = candidates()[request.param]
    values = random_values(topology, static, case, 1, np.random.default_rng(5))
    item = opened(topology, static, {k: float(v[0, 0, 0]) for k, v in values.items()}, case, "x1")
    return sheet_data(item)


@pytest.fixture(scope="module")
def hostile(data):
    bad = copy.deepcopy(data)
    bad["title"] = bad["label"] = HOSTILE
    bad["structure"] = {HOSTILE: HOSTILE}
    bad["bill"][0]["what"] = bad["bill"][0]["path"] = HOSTILE * 10
    bad["bill"][0]["build"][0]["value"] = "W" * 400
    bad["limits"][0]["path"] = bad["losses"]["rows"][0]["path"] = HOSTILE
    bad["waves"][0]["name"] = bad["volume"][0]["path"] = HOSTILE
    bad["protections"].insert(0, HOSTILE * 100)
    return bad


@pytest.fixture(scope="module")
def file(data):
    return sheet_pdf(data, ORIGIN)


@pytest.fixture(scope="module")
def pages(file):
    """The text of every page, as a reader of PDF finds it."""
    return [page.extract_text() for page in read(file).pages]


@pytest.fixture
def paper(monkeypatch):
    """The paper that the sheet is set on, to be looked at afterwards."""
    made = []
    monkeypatch.setattr("optimizer.sheet_pdf.Paper", lambda: made.append(Paper()) or made[0])
    return made


def words(text):
    return "".join(text.split())


def read(file):
    return pypdf.PdfReader(io.BytesIO(file))


def box(line):
    """Return the box of a line of text: left, right, foot, head [mm]."""
    end = line.x + width(line.text, line.size, line.face)
    return line.x, end, line.y - 0.2 * line.size * POINT, line.y + 0.72 * line.size * POINT


@pytest.mark.parametrize("kind", ["plain", "hostile"])
def test_nothing_overlaps_or_leaves_the_margins(request, paper, data, kind):
    sheet_pdf(data if kind == "plain" else request.getfixturevalue("hostile"), ORIGIN)
    for page in paper[0].pages:
        assert page.lines
        boxes = [box(line) for line in page.lines]
        for (x, end, foot, head), line in zip(boxes, page.lines, strict=True):
            assert x >= LEFT - HAIR, line
            assert end <= RIGHT + HAIR, line
            assert foot >= 7.0, line
            assert head <= TOP + 1.0, line
            assert line.y >= BOTTOM - 1.0 or line.size == 6.5, line
        ordered = sorted(zip(boxes, page.lines, strict=True), key=lambda b: -b[0][3])
        for k, (one, a) in enumerate(ordered):
            beside = itertools.takewhile(lambda b: b[0][3] > one[2], ordered[k + 1 :])  # noqa: B023
            for other, b in beside:
                apart = (
                    one[1] <= other[0] + HAIR
                    or other[1] <= one[0] + HAIR
                    or one[2] >= other[3] - 0.1
                    or other[2] >= one[3] - 0.1
                )
                assert apart, (a, b)


def test_every_text_of_the_sheet_can_be_selected(data, pages):
    found = words(" ".join(pages))
    for caution in CAUTIONS:
        assert words(caution) in found
    for part in sections(data):
        assert words(part.title) in found
        for block in part.blocks:
            if isinstance(block, Words):
                assert words(block.text) in found
            elif isinstance(block, Grid):
                for row in block.rows:
                    assert all(words(c)[:12] in found for c in row), row
    assert "Changedbyhand:boost.f_khz=120." in found


def test_every_page_says_where_it_comes_from(file, pages):
    count = len(pages)
    assert count > 5
    assert len({digest(text) for text in pages}) == 1
    for number, text in enumerate(pages, 1):
        assert f"page {number} of {count}" in text
        assert "run-one, changed by hand · design x1" in text
        assert f"version {VERSION}" in text
        assert "qualified people" in text
    box = read(file).pages[0].mediabox
    assert (round(box.width), round(box.height)) == (595, 842)


def digest(text):
    return text.split("sheet ")[-1].split(" ")[0]


def test_a_sheet_that_says_something_else_has_another_hash(data, pages):
    other = read(sheet_pdf({**data, "remarks": ["x"]}, ORIGIN)).pages[-1].extract_text()
    assert digest(other) != digest(pages[0])


def test_the_same_sheet_gives_the_same_bytes_without_a_date(data, file):
    assert file == sheet_pdf(data, ORIGIN)
    about = read(file).metadata
    assert about.creation_date is None
    assert about.modification_date is None
    assert about.title.startswith("Design sheet x1")


@pytest.mark.slow
def test_bytes_do_not_depend_on_the_process(tmp_path):
    code = (
        "import sys, json; from optimizer.sheet_pdf import sheet_pdf, Origin;"
        "import hashlib, numpy as np;"
        "from tests.conformance.designs import candidates, demo_case, random_values;"
        "from optimizer.opened import opened; from optimizer.sheet_data import sheet_data;"
        "case = demo_case(); t, s = candidates()[0];"
        "v = random_values(t, s, case, 1, np.random.default_rng(5));"
        "i = opened(t, s, {k: float(x[0, 0, 0]) for k, x in v.items()}, case, 'x1');"
        "print(hashlib.sha256(sheet_pdf(sheet_data(i), Origin('r'))).hexdigest())"
    )
    found = {
        subprocess.run(
            [sys.executable, "-c", code], check=True, capture_output=True, text=True,
            env={"PYTHONHASHSEED": seed, "PATH": ""},
        ).stdout
        for seed in ("1", "2")
    }  # fmt: skip
    assert len(found) == 1


def test_a_hostile_name_stays_text(hostile):
    found = " ".join(p.extract_text() for p in read(sheet_pdf(hostile, ORIGIN)).pages)
    assert "onerror=alert(1)" in words(found)
    assert "\\frac{1}{0}" in found
    assert words("W" * 400) in words(found)


def test_what_no_font_can_set_becomes_a_question_mark():
    assert printable("a\u202eb\x00c電\td\u00a0e Ω µ ≤ ³") == "a?b?c? d\u00a0e Ω µ ≤ ³"


@pytest.mark.parametrize("room", [1.0, 12.0, 60.0])
def test_lines_are_no_wider_than_their_room_and_lose_nothing(room):
    text = "bridge.leg_a.upper.hard_commutation of a very_long-name/without.an.end " + "W" * 60
    lines = folded(text, room, 7.0)
    assert words("".join(lines)) == words(text)
    assert all(width(line, 7.0) <= room or len(line) == 1 for line in lines)


def test_a_table_repeats_its_heads_and_divides_no_row():
    paper = Paper()
    rows = tuple(
        (f"row{k}", "several words that fold over lines " * 4, "1.5 kW") for k in range(90)
    )
    set_table(paper, Grid("A table", ("name", "what", "value"), rows, (2,)))
    assert len(paper.pages) > 2
    for page in paper.pages:
        assert [line.text for line in page.lines].count("value") == 1
    texts = [[line.text for line in page.lines] for page in paper.pages]
    assert sum(t.count("1.5 kW") for t in texts) == 90
    for k in range(90):
        assert sum(f"row{k}" in t for t in texts) == 1


def test_every_form_can_be_written_and_an_unknown_one_is_refused(data, tmp_path):
    for form in FORMS:
        _write(tmp_path / f"x.{form}", data, "run-one")
        assert (tmp_path / f"x.{form}").stat().st_size > 1000
    assert (tmp_path / "x.pdf").read_bytes().startswith(b"%PDF-")
    with pytest.raises(RipplefrontError, match=r"End the name in .html, .pdf, .json, .csv"):
        _write(tmp_path / "x.doc", data, "run-one")
    with pytest.raises(RipplefrontError, match="cannot be written"):
        _write(tmp_path / "none" / "x.pdf", data, "run-one")
