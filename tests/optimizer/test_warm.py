"""What a parent's designs are worth under other pins."""

import dataclasses

import numpy as np
import pytest

from models.errors import PinError, RunError
from optimizer.archive import open_run
from optimizer.blocks import PARENTS
from optimizer.course import opened
from optimizer.encode import Genes, gene_of
from optimizer.engine import sweep
from optimizer.front import frame_of
from optimizer.pins import Scope, parse, resolved
from optimizer.problem import Outcome
from optimizer.state import APART
from optimizer.store import SCHEMA, packed
from optimizer.warm import FEW, GIVEN, pinned_gap, preview, start_from, unchanged
from tests.optimizer.stand_in import COLUMNS, SETTINGS, VARIABLES, StandIn, store_for
from tests.optimizer.test_blocks import Chain
from tests.optimizer.test_course import after_a_round

NAMES = [c["name"] for c in COLUMNS]
PARENT = dataclasses.replace(SETTINGS, evaluations=9000)


class Pinned(StandIn):
    """The stand-in under pins."""

    def __init__(self, name, topology, *texts):
        scope = Scope(topology, {}, VARIABLES)
        (left,) = resolved([parse(t) for t in texts], [scope], NAMES)
        super().__init__(name, topology, genes=left.genes)
        self.limits = left.limits
        self.sizes = (2, 4 + len(self.limits), 2)
        self.margin_names = (*self.margin_names, *(limit.text for limit in self.limits))

    def evaluate(self, genes):
        found = super().evaluate(genes)
        extra = [limit.margin(found.columns)[:, None] for limit in self.limits]
        margins = np.concatenate([found.margins, *extra], axis=1)
        return Outcome(found.objectives, margins, found.columns, found.failed)


def two(*texts):
    return [Pinned("a", "boost", *texts), Pinned("b", "other", *texts)]


@pytest.fixture(scope="module")
def parent(tmp_path_factory):
    problems = two()
    with store_for(tmp_path_factory.mktemp("runs"), problems, PARENT) as store:
        sweep(problems, PARENT, store)
    return open_run(store.folder)


def values(problem, genes, path):
    at = [g.variable.path for g in problem.genes.genes].index(path)
    return problem.genes.values(genes)[:, at]


@pytest.mark.parametrize(
    ("pin", "path", "inside"),
    [
        ("box.height_mm <= 22", "box.height_mm", lambda v: v <= 0.022),
        ("boost.f_khz = 90", "boost.f_khz", lambda v: np.isclose(v, 90e3, rtol=1e-12)),
        ("boost.core not in [core 5]", "boost.core", lambda v: v != 5),
        ("boost.turns >= 12", "boost.turns", lambda v: v >= 12),
    ],
)
def test_every_seed_keeps_to_a_pin_on_a_variable(parent, pin, path, inside):
    problems = two(pin)
    start = start_from(parent, problems, 3)
    for problem in problems:
        seeds = start.seeds[problem.name]
        assert 20 < len(seeds) <= GIVEN
        assert inside(values(problem, seeds, path)).all()
        assert seeds.tobytes() == problem.space.snapped(seeds).tobytes()


def test_the_gap_is_zero_exactly_for_designs_inside_the_pins():
    full, rng = Genes.of(VARIABLES), np.random.default_rng(1)
    genes = full.space.snapped(rng.random((500, full.space.size)))
    problem = Pinned("a", "boost", "link.v <= 400", "link.kind in [a, c]", "boost.turns <= 20")
    v, kind, turns = (
        values(Pinned("a", "boost"), genes, p) for p in ("link.v", "link.kind", "boost.turns")
    )
    inside = (v <= 400.0) & (kind != 1) & (turns <= 20)
    gap = pinned_gap(full, problem.genes, genes)
    assert 0 < inside.sum() < 500
    assert ((gap == 0.0) == inside).all()
    # Where only the voltage is off, the gap is its share of the range of 350 to 480 V.
    only = (v > 400.0) & (kind != 1) & (turns <= 20)
    assert gap[only] == pytest.approx((v[only] - 400.0) / 130.0)


def test_designs_that_satisfy_a_pin_are_counted_as_they_are_stored(parent):
    stored = np.concatenate([parent.fronts[0].columns, parent.clouds[0].columns])
    bound = float(np.median(stored[:, 1]))
    counts = start_from(parent, two(f"volume_l <= {bound!r}"), 1).counts["boost"]
    assert counts.stored == len(stored)
    assert counts.satisfied == (stored[:, 1] <= bound).sum()
    assert counts.survived <= counts.evaluated
    # What satisfied the pins before does so still, evaluated again.
    assert counts.survived >= min(counts.satisfied, 96)


def test_of_designs_that_violate_a_pin_on_a_result_the_nearest_come_first(parent):
    front, cloud = parent.fronts[0], parent.clouds[0]
    volume = np.concatenate([front.columns, cloud.columns])[:, 1]
    bound = 0.999 * float(volume.min())
    problem = two(f"volume_l <= {bound!r}")[0]
    start = start_from(parent, [problem], 1)
    assert start.counts["boost"].satisfied == 0
    nearest = np.concatenate([front.genes, cloud.genes])[volume.argmin()]
    assert nearest.tobytes() in {row.tobytes() for row in start.seeds["a"]}


def test_copies_that_break_limits_of_the_converter_are_no_start(parent):
    problem = two()[0]
    problem.hopeless = True
    start = start_from(parent, [problem], 1)
    assert start.seeds == {}
    counts = start.counts["boost"]
    assert (counts.survived, counts.given) == (0, 0)
    assert counts.evaluated > 100
    # What violates nothing but a pin on a result is one, but leaves room for random designs.
    bound = 0.9 * float(parent.fronts[0].columns[:, 1].min())
    only_pin = start_from(parent, two(f"volume_l <= {bound!r}")[:1], 1)
    assert only_pin.counts["boost"].survived == 0
    assert 0 < len(only_pin.seeds["a"]) <= FEW < PARENTS


def test_the_same_parent_pins_and_seed_give_the_same_bits(parent):
    pins = ("box.height_mm <= 22", "loss_w <= 9")
    one, again, other = (start_from(parent, two(*pins), s) for s in (5, 5, 6))
    assert {k: v.tobytes() for k, v in one.seeds.items()} == {
        k: v.tobytes() for k, v in again.seeds.items()
    }
    assert one.counts == again.counts
    assert one.seeds["a"].tobytes() != other.seeds["a"].tobytes()


def test_a_quarter_are_copies_mutated_where_nothing_is_pinned(parent):
    problem, tried = two("boost.ripple <= 0.5")[0], []
    evaluate = problem.evaluate
    problem.evaluate = lambda genes: tried.append(genes) or evaluate(genes)
    counts = start_from(parent, [problem], 2).counts["boost"]
    (genes,) = tried
    assert counts.mutated == pytest.approx(0.25 * len(genes), rel=0.05)
    base, copies = genes[: -counts.mutated], genes[-counts.mutated :]
    pinned = [g != gene_of(g.variable) for g in problem.genes.genes].index(True)
    assert np.isin(copies[:, pinned], base[:, pinned]).all()
    free = np.delete(np.arange(genes.shape[1]), pinned)
    assert not np.isin(copies[:, free], base[:, free]).all()


def test_what_the_child_does_not_share_starts_from_nothing(parent):
    fewer = StandIn("a", "boost", genes=Genes.of(VARIABLES[:-1]))
    fewer.limits = ()
    other = two()[0]
    other.name = "new"
    start = start_from(parent, [fewer, other], 1)
    assert start.seeds == {}
    assert start.counts["boost"].stored == 0


def test_seeds_of_a_parent_put_the_child_ahead(parent):
    child = two("link.v <= 430")
    short = dataclasses.replace(SETTINGS, evaluations=3000, seed=8)
    seeds = start_from(parent, child, 8).seeds
    warm, cold = sweep(child, short, seeds=seeds), sweep(child, short)
    both = np.concatenate([f.objectives for f in (*warm.fronts, *cold.fronts)])
    frame = frame_of(both)
    assert frame.hypervolume(warm.fronts[0].objectives) > frame.hypervolume(
        cold.fronts[0].objectives
    )


def test_a_run_knows_which_designs_of_its_front_came_from_its_parent(parent, tmp_path):
    child = two()
    start = start_from(parent, child, 1)
    short = dataclasses.replace(SETTINGS, evaluations=1500)
    with store_for(tmp_path, child, short) as store:
        content = packed({"schema": np.array(SCHEMA), **start.seeds})
        (store.folder / "seeds.npz").write_bytes(content)
        sweep(child, short, store, seeds=start.seeds)
    run = open_run(store.folder)
    assert {k: v.tobytes() for k, v in run.stored_seeds().items()} == {
        k: v.tobytes() for k, v in start.seeds.items()
    }
    size, same = unchanged(run)["boost"]
    assert size == run.fronts[0].size
    assert 0 < same <= size
    run.manifest["parent"] = {"run": "gone"}
    (store.folder / "seeds.npz").unlink()
    with pytest.raises(RunError, match=r"lost its seeds.npz"):
        run.stored_seeds()


def test_a_preview_tells_what_further_pins_leave_of_stored_designs(parent):
    renamed = dict(zip(NAMES, ("weighted_efficiency_pct", "power_density_kw_l"), strict=True))
    run = open_run(parent.folder)
    run.columns = tuple(dataclasses.replace(c, name=renamed[c.name]) for c in run.columns)
    whole = preview(run, [])
    assert [p.topology for p in whole] == ["boost", "other"]
    assert all(p.left == p.stored > 0 for p in whole)
    stored = np.concatenate([run.fronts[0].columns, run.clouds[0].columns])
    genes = np.concatenate([run.fronts[0].genes, run.clouds[0].genes])
    kind = values(two()[0], genes, "link.kind")
    few = preview(run, ["weighted_efficiency_pct <= 6", "link.kind = a", "topology = boost"])
    inside = (stored[:, 0] <= 6.0) & (kind == 0)
    assert 0 < few[0].left == inside.sum() < few[0].stored
    assert few[0].efficiency == stored[inside, 0].max()
    assert few[0].density == stored[inside, 1].max()
    assert (few[1].left, few[1].density, few[1].efficiency) == (0, None, None)
    with pytest.raises(PinError, match="contradict"):
        preview(run, ["link.v <= 400", "link.v >= 410"])


def test_one_island_starts_from_nothing_and_goes_alone_while_the_others_have_seeds():
    problems = [Chain()]
    settings = dataclasses.replace(SETTINGS, evaluations=30_000, islands=3)
    seeds = {Chain().name: sweep(problems, settings).fronts[0].genes}
    course = opened(problems, settings, seeds)
    assert [len(s.seeds) > 0 for s in course.states] == [True, True, False]
    course, _ = after_a_round(course, problems, settings)
    seeded, other, fresh = course.states
    assert seeded.front.size > 0
    assert other.front.size > 0
    assert fresh.evaluations > 0
    course, _ = after_a_round(course, problems, settings)
    known = {row.tobytes() for row in course.states[0].front_genes}
    assert not known & {row.tobytes() for row in course.states[2].genes}
    cold = opened(problems, settings, {})
    assert not any(s.clock[APART] for s in cold.states)
