"""A small mixed problem for tests of the search: invented numbers, real trade-offs.

A two-stage converter reduced to what makes it hard: real, whole, row and choice
variables, a section of the front that hangs on one row with re-tuned partners, and
limits that few random designs meet.
"""

import sys
from pathlib import Path

import numpy as np

from models.variables import Variable
from optimizer.budget import Settings
from optimizer.encode import Genes
from optimizer.engine import resume, sweep
from optimizer.problem import Outcome
from optimizer.store import Store, create

ROWS = tuple(f"core {i}" for i in range(8))  # invented
VARIABLES = (
    Variable("boost.f_khz", "boost.f", "real", 20e3, 400e3, "kHz", "switching frequency", True),
    Variable("boost.ripple", "boost.ripple", "real", 0.1, 1.5, "", "current ripple"),
    Variable("boost.turns", "boost.turns", "whole", 4.0, 60.0, "", "turns", True),
    Variable("boost.core", "boost.core", "row", 0.0, 7.0, "", "core", options=ROWS),
    Variable("link.v", "link.v", "real", 350.0, 480.0, "", "link voltage"),
    Variable("link.kind", "link.kind", "choice", 0.0, 2.0, "", "link", options=("a", "b", "c")),
    Variable("box.height_mm", "box.height", "real", 0.015, 0.05, "mm", "height"),
)
COLUMNS = (
    {"name": "loss_w", "unit": "W", "meaning": "loss"},
    {"name": "volume_l", "unit": "l", "meaning": "volume"},
)
VOLUME = np.geomspace(1.0, 40.0, 8)  # [cm³], invented
SATURATION = np.array([0.35, 0.4, 0.33, 0.45, 0.36, 0.9, 0.38, 0.4])  # [T], invented


class StandIn:
    """The problem; ``shift`` makes a worse structure of the same topology."""

    def __init__(self, name="boost", topology="boost", shift=0.0, genes=None, hopeless=False):
        self.name, self.topology, self.shift = name, topology, shift
        self.genes = genes or Genes.of(VARIABLES)
        self.space = self.genes.space
        self.sizes = (2, 4, 2)
        self.structure = {"boost.phases": 1}
        self.margin_names = ("saturation", "window", "link", "height")
        self.hopeless = hopeless

    def evaluate(self, genes):
        f, r, turns, core, v, kind, h = self.genes.values(genes).T
        core, kind = core.astype(int), kind.astype(int)
        size, b_sat = VOLUME[core], SATURATION[core]
        ripple = 10.0 * r
        choke = 40.0 * 0.6 / (f * ripple)
        flux = choke * (10.0 + ripple / 2) / (turns * 0.6e-4 * size ** (2 / 3))
        swing = np.minimum(flux * ripple / (20.0 + ripple), 1.0)
        copper = 4e-5 * turns**2 * 1e2 * (1 + (f / 2e5) ** 1.2 * r) / size**0.4
        core_loss = 2.0 * (f / 1e5) ** 1.4 * (swing / 0.1) ** 2.4 * size * 0.03
        switching = f * (v / 400.0) ** 2 * np.array([1.0, 0.8, 1.4])[kind] * 2.5e-5
        loss = 1.0 + copper + core_loss + switching + self.shift
        volume = 0.05 + size * 2e-3 + 0.1 * np.array([1.0, 1.3, 0.7])[kind] * (400 / v) ** 2
        volume = volume + 0.04 * (1e5 / f) ** 0.6 * r + 0.2 * (h - 0.015) + 0.01 * self.shift
        margins = np.stack(
            [
                flux / (0.85 * b_sat) - 1.0,
                turns * 2.2e-2 / size**0.66 - 1.0,
                (370.0 + 10.0 * kind) / v - 1.0 + (1.0 if self.hopeless else 0.0),
                1e3 * (0.008 * size**0.33 / h - 1.0),
            ],
            axis=1,
        )
        f_ = np.stack([loss, volume], axis=1)
        return Outcome(f_, margins, f_.copy(), np.zeros(len(f_), dtype=bool))


def store_for(root: Path, problems, settings: Settings) -> Store:
    """Return a store in a new folder."""
    return create(
        root,
        "test",
        specification="[grid]\n",
        catalogue={"cores.csv": "name,source\ncore 0,invented\n"},
        candidates=[
            {
                "name": p.name,
                "topology": p.topology,
                "structure": p.structure,
                "variables": p.genes.record(),
                "limits": list(p.margin_names),
            }
            for p in problems
        ],
        columns=COLUMNS,
        manifest={"settings": settings.__dict__, "pins": []},
    )


SETTINGS = Settings(seed=5, evaluations=24_000, islands=2, round_evaluations=600)


def problems():
    """Return two structures of one topology and one of another."""
    return [
        StandIn("boost[boost.phases=1]"),
        StandIn("boost[boost.phases=2]", shift=3.0),
        StandIn("other", topology="other", shift=0.4),
    ]


def main(folder: str) -> None:
    """Sweep in a folder, or go on there, saving after every island's turn: for kill tests."""
    import optimizer.engine as engine

    engine.CHECKPOINT_EVERY = 0.0
    where = Path(folder)
    if where.exists():
        with Store(where) as store:
            resume(problems(), SETTINGS, store)
    else:
        with store_for(where.parent, problems(), SETTINGS) as store:
            store.folder.rename(where)
            store.folder = where
            sweep(problems(), SETTINGS, store)


if __name__ == "__main__":
    main(sys.argv[1])
