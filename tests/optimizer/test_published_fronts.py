"""The search against test problems in print whose fronts are known."""

import warnings

import moocore
import numpy as np
import pytest

from optimizer.encode import Kind, Space
from optimizer.front import frame_of, staircase
from optimizer.island import advance
from optimizer.problem import Outcome
from optimizer.state import Tuning, founded

with warnings.catch_warnings():
    # The library warns of missing compiled modules and of its own deprecated calls.
    warnings.simplefilter("ignore")
    from pymoo.problems import get_problem


def osy_front():
    """The five stretches of the front as printed, kept where feasible and not dominated."""
    s = np.linspace(0.0, 1.0, 400)
    one, zero = np.ones_like(s), np.zeros_like(s)
    x3, x1 = 1.0 + 4.0 * s, 4.056 + 0.944 * s
    return np.concatenate(
        [
            np.stack(x, axis=1)
            for x in (
                (5 * one, one, x3, zero, 5 * one, zero),
                (5 * one, one, x3, zero, one, zero),
                (x1, (x1 - 2.0) / 3.0, one, zero, one, zero),
                (zero, 2 * one, 1.0 + 2.732 * s, zero, one, zero),
                (s, 2.0 - s, one, zero, one, zero),
            )
        ]
    )


def tnk_front():
    """The curve x² + y² = 1 + 0.1·cos(16·atan(x/y)) that the objectives may not pass."""
    angle = np.linspace(1e-6, np.pi / 2 - 1e-6, 20_000)
    # A hair outside the curve, so that rounding leaves it feasible.
    r = np.sqrt(1.0 + 0.1 * np.cos(16.0 * angle)) * (1.0 + 1e-12)
    return np.stack([r * np.sin(angle), r * np.cos(angle)], axis=1)


# Fronts that the library would fetch from the network, as designs; checked here.
DESIGNS = {"osy": osy_front, "tnk": tnk_front}


class Printed:
    """One of the library's problems, scaled to the unit cube.

    ``whole`` numbers the variables that take whole numbers only, from ``xl`` to ``xu``.
    """

    def __init__(self, name, whole=(), front=None, **options):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            self._problem = get_problem(name, **options)
        p = self._problem
        levels = np.zeros(p.n_var, dtype=np.int64)
        levels[list(whole)] = (p.xu - p.xl + 1)[list(whole)]
        kinds = np.where(levels > 0, Kind.WHOLE, Kind.REAL)
        self.space = Space.uniform(kinds, levels, np.arange(p.n_var) // 3)
        self.sizes = (p.n_obj, max(p.n_ieq_constr, 1), p.n_obj)
        self.name = self.topology = name
        self.front = front(self) if front else self._printed_front()

    def _printed_front(self):
        p = self._problem
        if self.name not in DESIGNS:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                return np.unique(p.pareto_front(), axis=0)
        f, g = self.at(DESIGNS[self.name]())
        return not_dominated(f[(g <= 1e-9).all(axis=1)])

    def at(self, x):
        """Objectives and constraints of designs in the problem's own variables."""
        p = self._problem
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            out = p.evaluate(x, return_as_dictionary=True)
        f = np.asarray(out["F"], dtype=float)
        return f, np.asarray(out["G"], float) if p.n_ieq_constr else np.full((len(f), 1), -1.0)

    def evaluate(self, genes):
        p = self._problem
        x = p.xl + genes * (p.xu - p.xl)
        x = np.where(self.space.real, x, p.xl + self.space.level(genes))
        f, g = self.at(x if self.space.real.any() else x.astype(bool))
        return Outcome(f, g, f, np.zeros(len(f), dtype=bool))


def not_dominated(f):
    return f[moocore.is_nondominated(np.ascontiguousarray(f))]


def searched(problem, evaluations, seed):
    """Objectives that one island finds."""
    state, _ = advance(founded((seed, 0, 0), problem), problem, Tuning(), evaluations)
    return state.front_objectives


def share_and_distance(problem, evaluations, seed):
    """Share of the known front's hypervolume, and IGD+ to it in its extents."""
    frame = frame_of(problem.front)
    found = searched(problem, evaluations, seed)
    unit = [(f - frame.best) / frame.extent for f in (found, problem.front)]
    share = frame.hypervolume(found) / frame.hypervolume(problem.front)
    return share, moocore.igd_plus(unit[0], ref=unit[1])


@pytest.mark.published("E. Zitzler, K. Deb, L. Thiele, Evolutionary Computation 8(2), 2000")
@pytest.mark.parametrize("name", ["zdt1", "zdt2", "zdt3", "zdt6"])
def test_unconstrained_fronts_are_found(name):
    share, distance = share_and_distance(Printed(name), 20_000, 1)
    assert share > 0.995
    assert distance < 0.003


@pytest.mark.published(
    "T. Binh, U. Korn 1997 (BNH); N. Srinivas, K. Deb 1994 (SRN); A. Osyczka, S. Kundu 1995 (OSY)"
)
@pytest.mark.parametrize(
    ("name", "evaluations"), [("bnh", 5_000), ("srn", 5_000), ("osy", 30_000)]
)
def test_constrained_fronts_are_found(name, evaluations):
    problem = Printed(name)
    for seed in (1, 2):
        share, distance = share_and_distance(problem, evaluations, seed)
        assert share > 0.99
        assert distance < 0.01


@pytest.mark.published("M. Tanaka et al., IEEE Int. Conf. Systems, Man and Cybernetics, 1995")
def test_a_front_in_pieces_on_a_curved_limit_is_found():
    share, distance = share_and_distance(Printed("tnk"), 15_000, 1)
    assert share > 0.99
    assert distance < 0.005


@pytest.mark.published("K. Ragsdell, D. Phillips, J. Eng. Ind. 98, 1976 (least cost of the beam)")
def test_both_ends_of_the_welded_beam_are_found():
    # Least cost 2.381 as in print; least deflection of the widest, highest bar by hand.
    found = searched(Printed("welded_beam", front=lambda p: None), 20_000, 1)
    assert found[:, 0].min() == pytest.approx(2.381, rel=5e-3)
    assert found[:, 1].min() == pytest.approx(2.1952 / (5.0 * 10.0**3), rel=5e-3)


def whole_first(problem):
    """Front of SRN with a whole first variable, by dense sampling of its 41 lines."""
    x = np.stack(np.meshgrid(np.arange(-20.0, 21.0), np.linspace(-20, 20, 20_001)), axis=-1)
    f, g = problem.at(x.reshape(-1, 2))
    f = f[(g <= 0.0).all(axis=1)]
    return f[staircase(f)]


def test_a_mixed_front_of_many_short_curves_is_found():
    # SRN with its first variable whole: the front was computed here.
    problem = Printed("srn", whole=[0], front=whole_first)
    for seed in (1, 2):
        share, distance = share_and_distance(problem, 6_000, seed)
        assert share > 0.99
        assert distance < 0.01


@pytest.mark.published("E. Zitzler, K. Deb, L. Thiele, Evolutionary Computation 8(2), 2000")
def test_a_front_of_bits_that_mislead_is_approached():
    problem = Printed("zdt5", whole=range(80), normalize=False)
    share, _ = share_and_distance(problem, 30_000, 1)
    # Nearly every block of five ends at its misleading second best before this.
    assert share > 0.9


@pytest.mark.published("K. Deb, L. Thiele, M. Laumanns, E. Zitzler, CEC 2002 (DTLZ2)")
def test_three_objectives_are_searched():
    problem = Printed("dtlz2", n_var=8, n_obj=3)
    # The unit sphere's first octant: hypervolume of its box up to 1.1 less the ball's eighth.
    exact = 1.1**3 - np.pi / 6.0
    found = searched(problem, 15_000, 1)
    assert moocore.hypervolume(found, ref=[1.1] * 3) > 0.97 * exact
