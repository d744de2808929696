import numpy as np
import pytest

from models.variables import Variable
from optimizer.encode import Gene, Genes, genes_from
from tests.optimizer.stand_in import VARIABLES

GENES = Genes.of(VARIABLES)


def test_every_level_of_every_discrete_variable_comes_back_from_its_gene():
    space = GENES.space
    for j, gene in enumerate(GENES.genes):
        for k, value in enumerate(gene.allowed):
            row = np.full((1, space.size), 0.5)
            row[0, j] = space.centres[j, k]
            assert GENES.values(row)[0, j] == value
            assert GENES.encoded(GENES.values(row))[0, j] == space.centres[j, k]


def test_values_survive_the_way_to_genes_and_back(rng):
    genes = GENES.space.snapped(rng.random((500, 7)))
    again = GENES.encoded(GENES.values(genes))
    discrete = ~GENES.space.real
    assert (again[:, discrete] == genes[:, discrete]).all()
    np.testing.assert_allclose(GENES.values(again), GENES.values(genes), rtol=1e-13)


def test_values_never_leave_their_range(rng):
    edges = rng.integers(0, 2, (200, 7)).astype(float)
    values = GENES.values(GENES.space.snapped(edges))
    lo = np.array([v.lo for v in VARIABLES])
    hi = np.array([v.hi for v in VARIABLES])
    assert (values >= lo).all()
    assert (values <= hi).all()


def test_a_logarithmic_variable_gives_equal_ratios_equal_room():
    f = GENES.values(np.full((3, 7), 0.5) * np.array([[0.0], [1.0], [2.0]]))[:, 0]
    assert f[1] / f[0] == pytest.approx(f[2] / f[1], rel=1e-12)


def test_snapping_is_idempotent_and_reflects(rng):
    space = GENES.space
    genes = space.snapped(rng.uniform(-0.5, 1.5, (300, 7)))
    assert (genes >= 0.0).all()
    assert (genes <= 1.0).all()
    assert (space.snapped(genes) == genes).all()
    assert space.snapped(np.full((1, 7), 1.25))[0, 1] == pytest.approx(0.75)


def test_narrowed_and_dropped_levels_are_all_that_is_reached(rng):
    turns = Gene(VARIABLES[2], 4.0, 60.0, (5, 9, 30))
    held = Gene(VARIABLES[4], 400.0, 400.0)
    genes = Genes((GENES.genes[0], GENES.genes[1], turns, GENES.genes[3], held))
    values = genes.values(genes.space.snapped(rng.random((300, 5))))
    assert set(values[:, 2]) == {5.0, 9.0, 30.0}
    assert (values[:, 4] == 400.0).all()
    assert 4 not in genes.space.free


def test_a_value_outside_goes_to_the_nearest_and_is_named():
    values = np.array([1e3, 0.5, 100.0, 2.0, 400.0, 1.0, 0.02])
    assert GENES.outside(values) == ("boost.f_khz", "boost.turns")
    near = GENES.values(GENES.encoded(values[None]))[0]
    assert near[0] == pytest.approx(20e3, rel=1e-12)
    assert near[2] == 60.0
    assert GENES.outside(np.array([5e4, 0.5, 10.0, 2.0, 400.0, 1.0, 0.02])) == ()


def test_arrays_stand_along_the_design_axis_under_the_field_path():
    arrays = GENES.arrays(np.full((3, 7), 0.5))
    assert list(arrays) == [v.field for v in VARIABLES]
    assert all(a.shape == (3, 1, 1) for a in arrays.values())


def test_the_record_gives_the_same_genes_back():
    assert genes_from(GENES.record()) == GENES


def test_stages_are_the_groups():
    assert GENES.space.groups.tolist() == [0, 0, 0, 0, 1, 1, 2]


def test_a_single_row_catalogue_is_no_freedom():
    one = Genes.of([Variable("a.row", "a.row", "row", 0.0, 0.0, "", "", options=("x",))])
    assert one.space.free.size == 0
    assert one.values(np.array([[0.9]]))[0, 0] == 0.0
