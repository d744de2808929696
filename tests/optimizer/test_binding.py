"""What binds: the designs of a made-up front against the evaluation that the search uses."""

import csv
import io
import itertools
import json
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner

from models.errors import RunError
from optimizer.active import ACTIVE, ActiveBound, ActiveLimit
from optimizer.archive import open_run
from optimizer.binding import DesignBindings, bindings, design_bindings, summary
from optimizer.budget import Settings
from optimizer.cli import main
from optimizer.comparison_figures import binding_figure
from optimizer.launch import new_store, prepared, stored_case
from tests.optimizer.made_runs import made_run

DEMO = Path(__file__).parent.parent.parent / "runs" / "demo.toml"
PINS = (
    "topology in [flyback_unfolder]", "flyback.phases = 2", "flyback.clamp = complementary",
    "box.height_mm <= 40", "emi.stages = 2", "cost <= 100",
)  # fmt: skip
COUNT = 260  # more than one batch


def placed(problem, genes):
    """Set some genes at an end, one of them without effect, and one in the middle."""
    names = [g.variable.path for g in problem.genes.genes]
    genes[:, names.index("box.height_mm")] = 1.0
    genes[:, names.index("box.wall_mm")] = 0.0
    genes[:, names.index("flyback.main.r_gate_ohm")] = 0.5
    # Held to what the row offers, which is far more: the lowest values do nothing.
    genes[:, names.index("unfolder.switch.r_on_mohm")] = 0.0
    return problem.space.snapped(genes)


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    """A run folder whose front is random designs, its problem and its case."""
    root = tmp_path_factory.mktemp("runs")
    ready = prepared(DEMO, PINS)
    (problem,) = ready.problems
    genes = placed(problem, np.random.default_rng(2).random((COUNT, problem.space.size)))
    # Invented objectives along a straight line: every design stands on the front.
    line = np.linspace(0.0, 1.0, COUNT)
    found = problem.evaluate(genes)
    columns = found.columns.copy()
    columns[:, 0], columns[:, 1] = 1.0 - line, 90.0 + line
    store = new_store(ready, Settings(seed=1, evaluations=1000), root)
    with store:
        store.archive(
            {"barrier": np.array(1), "c0.front.genes": genes, "c0.front.columns": columns,
             "c0.front.objectives": -columns[:, :2]},
            [],
        )  # fmt: skip
        store.status({"state": "ended", "designs": COUNT})
    run = open_run(store.folder)
    return SimpleNamespace(
        run=run, problem=problem, genes=genes, margins=found.margins, case=stored_case(run)
    )


@pytest.fixture(scope="module")
def front(scene):
    """What binds the whole front."""
    return bindings(scene.run, scene.case)["flyback_unfolder"]


def test_every_active_limit_and_no_other_is_reported_with_its_margin(scene, front):
    order = {d.id: i for i, d in enumerate(scene.run.front_of("flyback_unfolder"))}
    assert len(front) == COUNT
    names = [n.removeprefix("pin: ") for n in scene.problem.margin_names]
    by_genes = {g.tobytes(): m for g, m in zip(scene.genes, scene.margins, strict=True)}
    for item in front:
        margins = by_genes[item.design.genes.tobytes()]
        wanted = {n: m for n, m in zip(names, margins.tolist(), strict=True) if m >= -ACTIVE}
        assert {x.path: x.margin for x in item.limits} == pytest.approx(wanted)
        assert order[item.design.id] >= 0


def test_one_design_alone_is_bound_by_the_same(scene, front):
    for item in (front[0], front[-1]):
        alone = design_bindings(scene.run, scene.case, item.design)
        assert alone.part == item.part
        assert [x.path for x in alone.limits] == [x.path for x in item.limits]
        assert alone.bounds == item.bounds


def test_actual_value_and_bound_give_the_margin_back(front):
    for item in front[:20]:
        for x in item.limits:
            if x.kind == "limit":
                side = x.actual / x.bound - 1.0
                assert (side if x.sense == "<=" else -side) == pytest.approx(x.margin, abs=1e-9)


def test_ends_say_what_they_are_the_end_of(front):
    ends = {b.path: b for b in front[0].bounds}
    assert (ends["box.wall_mm"].kind, ends["box.wall_mm"].end) == ("range", "lowest")
    height = ends["box.height_mm"]
    assert (height.kind, height.end, height.pins) == ("pin", "highest", ("box.height_mm <= 40",))
    assert height.value == pytest.approx(40.0)
    assert (ends["emi.stages"].kind, ends["emi.stages"].end) == ("pin", "held")
    assert "flyback.main.r_gate_ohm" not in ends
    assert "unfolder.switch.r_on_mohm" not in ends


def test_an_end_binds_exactly_where_stepping_off_it_changes_something(scene, front):
    """Every variable that stands at an end is stepped inwards here, one evaluation each."""
    space, evaluate = scene.problem.space, scene.problem.evaluate
    silent = 0
    for item in (front[0], front[COUNT // 2], front[-1]):
        genes = item.design.genes
        alone = design_bindings(scene.run, scene.case, item.design)
        found = {b.path for b in alone.bounds if b.end != "held"}
        for j, gene in enumerate(scene.problem.genes.genes):
            levels = gene.levels
            # Ends, and one step inwards of each: the next level, or 5 % of the range.
            ends, steps = (0.01, 0.99), (0.05, 0.95)
            if levels:
                centres = space.centres[j, :levels]
                ends, steps = (centres[0], centres[-1]), (centres[1 % levels], centres[levels - 2])
            at_low, at_high = genes[j] <= ends[0], genes[j] >= ends[1]
            if levels == 1 or gene.variable.kind == "choice" or not (at_low or at_high):
                assert gene.variable.path not in found
                continue
            moved = genes.copy()
            moved[j] = steps[0] if at_low else steps[1]
            both = evaluate(np.stack([genes, moved]))
            changed = (both.columns[0] != both.columns[1]).any()
            changed |= (both.margins[0] != both.margins[1]).any()
            assert (gene.variable.path in found) == changed, gene.variable.path
            silent += not changed
    assert silent > 0  # the law has been tried on variables that do nothing, too


def test_parts_of_the_front_lie_in_its_order(front):
    parts = [item.part for item in front]
    assert parts[0] == "best power density"
    assert parts[-1] == "best weighted efficiency"
    changes = sum(a != b for a, b in itertools.pairwise(parts))
    assert changes == len(set(parts)) - 1


def test_an_unknown_topology_is_refused(tmp_path, scene):
    run = made_run(tmp_path, "other", {"boost": [(0.2, 97.0), (0.3, 96.0)]})
    with pytest.raises(RunError, match="not known to this version"):
        bindings(run, scene.case)


def item(part, *, limits=(), bounds=()):
    """Return made-up bindings of a design."""
    return DesignBindings(None, part, tuple(limits), tuple(bounds))


def limit(path, meaning="peak flux density", at="full power"):
    """Return a made-up active limit."""
    return ActiveLimit(path, meaning, "limit", -0.01, at, "T", "<=", 0.29, 0.3)


def bound(path, kind="range", *, natural=False, pins=()):
    """Return a made-up active bound."""
    return ActiveBound(path, "stages", kind, "highest", 2, "", pins, natural)


def test_limits_of_one_meaning_count_a_design_once():
    designs = [
        item("dense", limits=[limit("a.saturation"), limit("b.saturation")]),
        item("dense", limits=[limit("b.saturation", at="hottest roof")]),
        item("knee"),
        item("knee"),
    ]
    (row,) = summary({"t": designs})
    assert row.share == pytest.approx(0.5)
    assert row.places == {"a.saturation": 0.25, "b.saturation": 0.5}
    assert row.by_part == {"dense": 1.0, "knee": 0.0}
    assert row.at == "full power"
    assert row.title == "b.saturation and 1 more"


def test_a_range_that_binds_most_of_a_front_may_be_too_narrow():
    often = [item("knee", bounds=[bound("emi.stages")])] * 3 + [item("knee")]
    assert "range may be too narrow" in summary({"t": often})[0].hint
    seldom = [item("knee", bounds=[bound("emi.stages")])] + [item("knee")] * 3
    assert "too narrow" not in summary({"t": seldom})[0].hint
    table = [item("knee", bounds=[bound("core", "table")])]
    assert "table may end too early" in summary({"t": table})[0].hint


def test_no_hint_where_nothing_lies_beyond_or_a_pin_decided():
    one = [item("knee", bounds=[bound("x.parallel", natural=True)])]
    assert summary({"t": one})[0].hint == "2, fewer cannot be"
    pinned = [item("knee", bounds=[bound("x.f_khz", "pin", pins=("x.f_khz <= 2",))])]
    assert summary({"t": pinned})[0].hint == "2, set by the pin x.f_khz <= 2"


def test_limits_come_first_and_the_widest_of_them():
    designs = [
        item("knee", limits=[limit("a", "rare"), limit("b", "common")], bounds=[bound("c")]),
        item("knee", limits=[limit("b", "common")], bounds=[bound("c")]),
    ]
    assert [r.meaning for r in summary({"t": designs})] == ["common", "rare", "stages"]
    figure = binding_figure(summary({"t": designs}), "What limits it")
    assert list(figure.data[0].y) == ["c, highest", "a", "b"]


def test_the_command_prints_a_table_a_design_and_data(scene, front):
    words = ["limits", scene.run.name, "--runs", str(scene.run.folder.parent)]
    found = CliRunner().invoke(main, words)
    assert found.exit_code == 0, found.output
    assert "A limit is active from 2 % below it on" in found.stdout
    name = front[0].design.id
    one = CliRunner().invoke(main, [*words, "--design", name]).stdout
    assert front[0].limits[0].path in one
    assert "set by the pin box.height_mm <= 40" in one
    document = json.loads(CliRunner().invoke(main, [*words, "--json"]).stdout)
    assert len(document["designs"]) == COUNT
    lines = CliRunner().invoke(main, [*words, "--csv", "--design", name]).stdout
    rows = [r for r in csv.reader(io.StringIO(lines)) if not r[0].startswith("# ")]
    assert len({len(r) for r in rows}) == 1
    refused = CliRunner().invoke(main, [*words, "--topology", "nothing"])
    assert refused.exit_code == 2
    assert "it has: flyback_unfolder" in refused.output
