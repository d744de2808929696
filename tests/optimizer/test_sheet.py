"""The design sheet: complete, self-contained, cautious, and harmless whatever a part is called."""

import csv
import dataclasses
import io
import json
import re

import numpy as np
import pytest

from models.ledger import Kind
from optimizer.cautions import CAUTIONS
from optimizer.opened import EditError, edited, opened
from optimizer.sheet import safe_cell, sheet_csv, sheet_html, sheet_json
from optimizer.sheet_data import sheet_data
from tests.conformance.designs import candidates, demo_case, random_values

HOSTILE = "<img src=x onerror=alert(1)> =cmd"


@pytest.fixture(scope="module")
def case():
    return demo_case()


@pytest.fixture(scope="module", params=[0, -1], ids=["first", "last"])
def item(request, case):
    topology, static = candidates()[request.param]
    values = random_values(topology, static, case, 1, np.random.default_rng(5))
    return opened(topology, static, {k: float(v[0, 0, 0]) for k, v in values.items()}, case, "x1")


@pytest.fixture(scope="module")
def data(item):
    return sheet_data(item)


def test_the_sheet_adds_up_to_the_ledger(item, data):
    losses = data["losses"]
    total = sum(r["watts"][-1] for r in losses["rows"])
    # rows below half a milliwatt are left out of the table, not of the sum
    assert total == pytest.approx(losses["total_w"][-1], abs=0.02 + 1e-3 * total)
    cost = sum(r["value"] for r in data["cost"])
    assert cost == pytest.approx(item.evaluation.column("cost")[0], rel=1e-12)
    assert len(data["limits"]) == len(item.evaluation.margin_names)
    assert data["limits"] == sorted(data["limits"], key=lambda r: -r["margin"])


def test_every_section_that_a_builder_needs_is_there(item, data):
    placed = {p.path for p in item.evaluation.settled.parts}
    assert {line["path"] for line in data["bill"]} >= placed - {"house"}
    assert data["loops"]
    assert data["spectra"]
    assert len(data["protections"]) > 8
    assert len(data["checks"]) > 8
    assert any(line["stress"] for line in data["bill"])
    wound = [x for x in data["bill"] if any(f["name"] == "turns" for f in x["build"])]
    wound += [x for x in data["bill"] if any("primary" in f["name"] for f in x["build"])]
    assert wound
    lives = {e.path for e in item.evaluation.ledger.of(Kind.LIFE)}
    assert {row["path"] for row in data["life"]} == lives


def test_html_needs_no_network_and_shows_every_caution(data):
    text = sheet_html(data, "run")
    # The drawing code mentions addresses it never opens: the policy forbids any connection.
    markup = re.sub(r"<script[^>]*>.*?</script>", "", text, flags=re.DOTALL)
    assert not re.search(r"""(src|href)=["']?(https?:)?//""", markup)
    assert not re.search(r"<script[^>]*src=", text)
    assert "default-src 'none'" in text
    assert "Content-Security-Policy" in text
    plain = re.sub(r"\s+", " ", text)
    for caution in CAUTIONS:
        assert caution.split(":")[0].split(".")[0] in plain
    for heading in ("Where the watts go", "What limits it", "Will it last", "How to build it"):
        assert heading in text
    assert '"showSendToCloud": false' in text
    assert "nan" not in re.findall(r"<td[^>]*>([^<]*)</td>", text)


def test_json_is_strict_and_csv_reads_back(data):
    text = sheet_json(data)
    assert json.loads(text)["format"] == "ripplefront.sheet/1"
    assert json.loads(text)["cautions"] == list(CAUTIONS)
    rows = list(csv.reader(io.StringIO(sheet_csv(data))))
    assert rows[0][0].startswith("# ")
    assert {r[0] for r in rows} >= {"build", "stress", "results", "variables", "limits"}


def test_a_hostile_part_name_stays_text(data):
    bad = json.loads(sheet_json(data))
    bad["bill"][0]["what"] = HOSTILE
    bad["bill"][0]["build"][0]["value"] = HOSTILE
    bad["losses"]["rows"][0]["path"] = "</script><script>alert(1)</script>"
    text = sheet_html(bad)
    assert "<img src=x" not in text
    assert "<script>alert(1)" not in text
    assert safe_cell("=cmd") == "'=cmd"
    assert safe_cell("ok") == "ok"


def test_an_edit_changes_what_it_should_and_only_within_bounds(item):
    variable = next(v for v in item.variables if v.path == "box.length_mm")
    longer = edited(item, {"box.length_mm": f"{variable.shown(variable.hi):g}"})
    assert longer.evaluation.column("volume_l")[0] > 0.0
    assert longer.values["box.length"] == pytest.approx(variable.hi)
    assert item.values["box.length"] != longer.values["box.length"]
    with pytest.raises(EditError, match="outside its bounds"):
        edited(item, {"box.length_mm": "9000"})
    with pytest.raises(EditError, match=r"did you mean .*box\.length_mm"):
        edited(item, {"box.lenght_mm": "100"})
    with pytest.raises(EditError, match="not a number"):
        edited(item, {"box.length_mm": "long"})
    with pytest.raises(EditError, match="no choice"):
        edited(item, {"box.potting": "pottet"})


def test_an_efficiency_above_every_listed_inverter_is_remarked(item):
    columns = item.evaluation.columns.copy()
    columns[:, 2] = 98.7
    proud = dataclasses.replace(
        item, evaluation=dataclasses.replace(item.evaluation, columns=columns)
    )
    assert any("98.70 %" in remark for remark in sheet_data(proud)["remarks"])
