"""A real topology cut down to few levels of ten variables, and its true front.

All of its designs can be evaluated once (``tests/benchmarks/bench_reduced.py
--enumerate``); after that a table answers in place of the models, and what a search
found can be held against everything there is.
"""

import hashlib
import json
from pathlib import Path

import numpy as np

from models.variables import UNITS
from optimizer.blocks import Blocks
from optimizer.encode import Kind, Space
from optimizer.launch import prepared
from optimizer.problem import Outcome

ROOT = Path(__file__).parent.parent.parent
CUT = ROOT / "tests" / "data" / "reduced_front_flyback.json"
FRONT = CUT.with_suffix(".npz")
KINDS = {"real": Kind.WHOLE, "whole": Kind.WHOLE, "row": Kind.ROW, "choice": Kind.CHOICE}


def models_hash():
    """Eight hex digits of everything that the objectives depend on."""
    found = hashlib.sha256()
    files = [*ROOT.glob("models/**/*.py"), *ROOT.glob("models/**/*.csv"), CUT]
    for path in [*sorted(files), ROOT / "runs" / "demo.toml"]:
        found.update(path.read_bytes())
    return found.hexdigest()[:8]


def in_si(variable, shown):
    """The SI value or row number of a value as written."""
    if variable.options:
        return float(variable.options.index(shown))
    return float(shown) * UNITS[variable.unit][0]


class Reduced:
    """The problem, evaluated by the models."""

    def __init__(self):
        cut = json.loads(CUT.read_text(encoding="utf-8"))
        self.levels = cut["levels"]
        self._whole = next(
            p for p in prepared(ROOT / "runs" / "demo.toml").problems
            if p.topology == cut["topology"] and p.structure == cut["structure"]
        )  # fmt: skip
        variables = [g.variable for g in self._whole.genes.genes]
        paths = [v.path for v in variables]
        self._columns = [paths.index(p) for p in self.levels]
        written = {**cut["held"], **{p: given[0] for p, given in self.levels.items()}}
        self._row = np.array([in_si(v, written[v.path]) for v in variables])
        moving = [variables[j] for j in self._columns]
        self._values = [
            np.array([in_si(v, x) for x in given])
            for v, given in zip(moving, self.levels.values(), strict=True)
        ]
        stages = [v.field.split(".")[0] for v in moving]
        self.space = Space.uniform(
            [KINDS[v.kind] for v in moving],
            [len(given) for given in self.levels.values()],
            [sorted(set(stages)).index(s) for s in stages],
        )
        self.margin_names = self._whole.margin_names
        self.blocks = Blocks.of([v.field for v in moving], self.margin_names)
        self.sizes = self._whole.sizes
        self.name = self.topology = "reduced flyback"

    @property
    def count(self):
        """Number of designs there are."""
        return int(np.prod(self.space.levels))

    def numbered(self, numbers):
        """Levels of the designs with these numbers."""
        return np.stack(np.unravel_index(numbers, self.space.levels), axis=1)

    def at_levels(self, levels):
        """What designs given by levels (n, variables) come to."""
        values = np.repeat(self._row[None, :], len(levels), axis=0)
        for j, column in enumerate(self._columns):
            values[:, column] = self._values[j][levels[:, j]]
        return self._whole.evaluate(self._whole.genes.encoded(values))

    def evaluate(self, genes):
        """What designs given by genes come to."""
        return self.at_levels(self.space.level(genes))


class Tabled(Reduced):
    """The same problem, looked up in a table of all designs."""

    def __init__(self, table):
        super().__init__()
        held = np.load(table)
        self._objectives, self._margins = held["objectives"], held["margins"]
        self._limits = held["limits"]
        self.hash = str(held["models"])

    def evaluate(self, genes):
        """What the table says; limits that no design violates are left at -1."""
        number = np.ravel_multi_index(tuple(self.space.level(genes).T), self.space.levels)
        n = len(number)
        margins = np.full((n, self.sizes[1]), -1.0)
        margins[:, self._limits] = self._margins[number]
        columns = np.zeros((n, self.sizes[2]))
        return Outcome(self._objectives[number], margins, columns, np.zeros(n, dtype=bool))


def true_front():
    """Levels and objectives of the true front as stored."""
    held = np.load(FRONT)
    return held["levels"], held["objectives"]
