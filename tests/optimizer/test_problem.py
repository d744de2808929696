import dataclasses
import types

import numpy as np
import pytest

from models.axes import Array
from models.errors import ModelError
from models.ledger import Kind, Ledger, booking
from models.variables import choice, real, row, structure, variables, whole
from optimizer.encode import Genes
from optimizer.problem import CHUNK, FAILED_MARGIN, LOAD, STEP, ColumnLimit, DesignProblem


@dataclasses.dataclass(frozen=True)
class Stage:
    f: Array = real(20, 200, "kHz", "frequency", log=True)
    turns: Array = whole(2, 20, "turns")
    core: Array = row("cores", "core")
    kind: Array = choice("a", "b", meaning="kind")


@dataclasses.dataclass(frozen=True)
class Design:
    stage: Stage
    phases: int = structure(1, 2, meaning="phases")


@dataclasses.dataclass
class Found:
    objectives: Array
    margins: Array
    columns: Array
    margin_names: tuple = ("stage.hot",)
    ledger: Ledger = dataclasses.field(default_factory=Ledger)


TOPOLOGY = types.SimpleNamespace(name="toy", design=Design)
GENES = Genes.of(variables(Design, {"cores": ("x", "y", "z")}))


def evaluated(topology, design, case):
    assert len(design.stage.f) % STEP == 0
    assert len(design.stage.f) <= CHUNK
    if (design.stage.turns == case).any():
        raise ModelError("stage.choke (loss) is not finite\nmore")
    f, turns = design.stage.f[:, 0, 0], design.stage.turns[:, 0, 0]
    out = np.stack([f / 1e5 * design.phases, turns + design.stage.core[:, 0, 0]], axis=1)
    heat = booking("stage.copper", Kind.LOSS, design.stage.f / 1e4 * np.ones((1, 3, 1)), "copper")
    return Found(out, (turns - 15.0)[:, None], out, ledger=heat)


def problem(case=99, limits=()):
    return DesignProblem(
        TOPOLOGY, {"phases": 2}, genes=GENES, case=case, evaluate_designs=evaluated, limits=limits
    )


def test_a_design_has_the_same_bits_in_every_batch(rng):
    p = problem()
    genes = p.space.snapped(rng.random((150, 4)))
    whole_batch = p.evaluate(genes).objectives
    for start, stop in ((0, 1), (3, 100), (149, 150), (0, 64)):
        assert (p.evaluate(genes[start:stop]).objectives == whole_batch[start:stop]).all()


@pytest.mark.parametrize(
    ("count", "sizes"),
    [(1, [32]), (96, [96]), (256, [256]), (300, [160, 160]), (600, [224, 224, 160])],
)
def test_chunks_are_even_so_that_little_is_padding(rng, count, sizes):
    p, seen = problem(), []

    def noted(topology, design, case):
        seen.append(len(design.stage.f))
        return evaluated(topology, design, case)

    p._evaluate_designs = noted
    assert len(p.evaluate(p.space.snapped(rng.random((count, 4)))).objectives) == count
    assert seen == sizes


def test_the_candidate_is_named_by_topology_and_structure():
    assert problem().name == "toy[phases=2]"


def test_a_failed_design_is_kept_with_its_reason_and_spoils_no_other(rng):
    p = problem(case=7)
    genes = p.space.snapped(rng.random((200, 4)))
    bad = p.genes.values(genes)[:, 1] == 7
    found = p.evaluate(genes)
    assert bad.any()
    assert (found.failed == bad).all()
    assert (found.margins[bad] == FAILED_MARGIN).all()
    assert np.isfinite(found.objectives).all()
    assert p.failures.count == bad.sum()
    assert p.failures.first[0]["reason"] == "stage.choke (loss) is not finite"
    clean = problem().evaluate(genes)
    assert (found.objectives[~bad] == clean.objectives[~bad]).all()


def test_a_pinned_result_is_one_more_margin(rng):
    p = problem(limits=[ColumnLimit(0, 1.0, 2.0, "pin: f <= 2")])
    found = p.evaluate(p.space.snapped(rng.random((10, 4))))
    assert p.margin_names == ("stage.hot", "pin: f <= 2")
    assert found.margins[:, 1] == pytest.approx(found.columns[:, 0] / 2.0 - 1.0)
    assert p.sizes == (2, 2, 2)


def test_every_block_answers_for_its_losses(rng):
    p = problem()
    genes = p.space.snapped(rng.random((70, 4)))
    found = p.evaluate(genes)
    assert p.blocks.names == ("stage",)
    assert p.blocks.limits.tolist() == [[True]]
    assert found.loads[:, 0] == pytest.approx(p.genes.values(genes)[:, 0] / 1e4 / LOAD)
