"""Our problems as pymoo sees them, and its default algorithms on them."""

import warnings

import numpy as np

from optimizer.encode import Kind

with warnings.catch_warnings():
    # The library warns of missing compiled modules and of its own deprecated calls.
    warnings.simplefilter("ignore")
    from pymoo.algorithms.moo.nsga2 import NSGA2, RankAndCrowdingSurvival
    from pymoo.core.mixed import (
        MixedVariableDuplicateElimination,
        MixedVariableMating,
        MixedVariableSampling,
    )
    from pymoo.core.problem import ElementwiseProblem, Problem
    from pymoo.core.variable import Choice, Integer, Real
    from pymoo.optimize import minimize


class Cube(Problem):
    """Genes in the unit cube, discrete ones cut into cells."""

    def __init__(self, problem):
        self._ours = problem
        n, (objectives, limits, _) = problem.space.size, problem.sizes
        super().__init__(n_var=n, n_obj=objectives, n_ieq_constr=limits, xl=0.0, xu=1.0)

    def _evaluate(self, x, out, *args, **kwargs):
        found = self._ours.evaluate(self._ours.space.snapped(x))
        out["F"], out["G"] = found.objectives, found.margins


class Mixed(Problem):
    """Real, whole and named variables, each of its own kind."""

    def __init__(self, problem):
        self._ours = problem
        space, (objectives, limits, _) = problem.space, problem.sizes
        kinds = {}
        for j, (kind, levels) in enumerate(zip(space.kinds, space.levels.tolist(), strict=True)):
            name = f"{j:03d}"
            if not levels:
                kinds[name] = Real(bounds=(0.0, 1.0))
            elif kind >= Kind.ROW:
                kinds[name] = Choice(options=list(range(levels)))
            else:
                kinds[name] = Integer(bounds=(0, levels - 1))
        super().__init__(vars=kinds, n_obj=objectives, n_ieq_constr=limits)

    def _evaluate(self, x, out, *args, **kwargs):
        space = self._ours.space
        values = np.array([[float(row[k]) for k in sorted(row)] for row in x])
        level = np.minimum(np.maximum(values.astype(int), 0), np.maximum(space.levels - 1, 0))
        centre = space.centres[np.arange(space.size), level]
        found = self._ours.evaluate(np.where(space.real, values, centre))
        out["F"], out["G"] = found.objectives, found.margins


class OneByOne(ElementwiseProblem):
    """One design a Python call."""

    def __init__(self, problem):
        self._ours = problem
        n, (objectives, limits, _) = problem.space.size, problem.sizes
        super().__init__(n_var=n, n_obj=objectives, n_ieq_constr=limits, xl=0.0, xu=1.0)

    def _evaluate(self, x, out, *args, **kwargs):
        found = self._ours.evaluate(self._ours.space.snapped(x[None, :]))
        out["F"], out["G"] = found.objectives[0], found.margins[0]


def default(problem, evaluations, seed):
    """NSGA2 with everything at its default, population 100."""
    _minimise(Cube(problem), NSGA2(), evaluations, seed)


def mixed(problem, evaluations, seed):
    """NSGA2 with the library's mating of mixed variables, everything else at its default."""
    algorithm = NSGA2(
        sampling=MixedVariableSampling(),
        mating=MixedVariableMating(eliminate_duplicates=MixedVariableDuplicateElimination()),
        eliminate_duplicates=MixedVariableDuplicateElimination(),
        survival=RankAndCrowdingSurvival(),
    )
    _minimise(Mixed(problem), algorithm, evaluations, seed)


def one_by_one(problem, evaluations, seed):
    """NSGA2 at its defaults, one design a call."""
    _minimise(OneByOne(problem), NSGA2(), evaluations, seed)


def _minimise(problem, algorithm, evaluations, seed):
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        minimize(problem, algorithm, ("n_eval", evaluations), seed=seed, verbose=False)
