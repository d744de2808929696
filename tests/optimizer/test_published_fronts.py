"""The search against test problems in print whose fronts are known."""

import warnings

import moocore
import numpy as np
import pytest

from optimizer.encode import Space
from optimizer.front import frame_of
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
    """One of the library's problems, its reals scaled to the unit cube."""

    def __init__(self, name, **options):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            self._problem = get_problem(name, **options)
            if name not in DESIGNS:
                self.front = np.unique(self._problem.pareto_front(), axis=0)
        p = self._problem
        self.space = Space.uniform([0] * p.n_var, [0] * p.n_var, np.arange(p.n_var) // 3)
        self.sizes = (p.n_obj, max(p.n_ieq_constr, 1), p.n_obj)
        self.name = self.topology = name
        if name in DESIGNS:
            known = self.evaluate((DESIGNS[name]() - p.xl) / (p.xu - p.xl))
            f = known.objectives[(known.margins <= 1e-9).all(axis=1)]
            self.front = f[moocore.is_nondominated(f)]

    def evaluate(self, genes):
        p = self._problem
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            out = p.evaluate(p.xl + genes * (p.xu - p.xl), return_as_dictionary=True)
        f = out["F"]
        g = out["G"] if p.n_ieq_constr else np.full((len(f), 1), -1.0)
        return Outcome(f, g, f, np.zeros(len(f), dtype=bool))


def share_found(problem, evaluations, seed):
    """Share of the known front's hypervolume, in its own frame."""
    frame = frame_of(problem.front)
    state, _ = advance(founded((seed, 0, 0), problem), problem, Tuning(), evaluations)
    return frame.hypervolume(state.front_objectives) / frame.hypervolume(problem.front)


@pytest.mark.published("E. Zitzler, K. Deb, L. Thiele, Evolutionary Computation 8(2), 2000")
@pytest.mark.parametrize("name", ["zdt1", "zdt3"])
def test_unconstrained_fronts_are_found(name):
    assert share_found(Printed(name), 20_000, 1) > 0.995


@pytest.mark.published("T. Binh, U. Korn 1997 (BNH); A. Osyczka, S. Kundu 1995 (OSY); as in print")
@pytest.mark.parametrize(("name", "evaluations"), [("bnh", 5_000), ("osy", 30_000)])
def test_constrained_fronts_are_found(name, evaluations):
    problem = Printed(name)
    assert min(share_found(problem, evaluations, seed) for seed in (1, 2)) > 0.99


@pytest.mark.published("M. Tanaka et al., IEEE Int. Conf. Systems, Man and Cybernetics, 1995")
def test_a_front_in_pieces_on_a_curved_limit_is_found():
    assert share_found(Printed("tnk"), 15_000, 1) > 0.99


@pytest.mark.published("K. Deb, L. Thiele, M. Laumanns, E. Zitzler, CEC 2002 (DTLZ2)")
def test_three_objectives_are_searched():
    problem = Printed("dtlz2", n_var=8, n_obj=3)
    # The unit sphere's first octant: hypervolume of its box up to 1.1 less the ball's eighth.
    exact = 1.1**3 - np.pi / 6.0
    state, _ = advance(founded((1, 0, 0), problem), problem, Tuning(), 15_000)
    assert moocore.hypervolume(state.front_objectives, ref=[1.1] * 3) > 0.97 * exact
