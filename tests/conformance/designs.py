"""Designs for tests over the registry: random ones, and their corners."""

from pathlib import Path

import numpy as np

from models.operating import make_case
from models.spec_files import read_specification
from models.topologies import TOPOLOGIES
from models.variables import build, structures, variables

ROOT = Path(__file__).parent.parent.parent
DEMO = ROOT / "runs" / "demo.toml"


def demo_case():
    """The case of the demo specification."""
    return make_case(read_specification(DEMO), DEMO.parent)


def candidates():
    """Every (topology, structure) of the registry."""
    return [(t, s) for t in TOPOLOGIES.values() for s in structures(t.design)]


def name_of(candidate):
    """A readable test id."""
    topology, static = candidate
    return topology.name + "".join(f"-{v}" for v in static.values())


def random_values(topology, static, case, n, rng, corners=False):
    """Arrays by field path: uniform (log where declared), or at the corners of the box."""
    values = {}
    for v in variables(topology.design, case.catalogue.names(), static=static):
        share = rng.integers(0, 2, n).astype(float) if corners else rng.random(n)
        x = v.lo * (v.hi / v.lo) ** share if v.log else v.lo + (v.hi - v.lo) * share
        values[v.field] = (np.round(x) if v.discrete else x).reshape(-1, 1, 1)
    return values


def made(topology, static, values):
    """The nested design."""
    return build(topology.design, values, static)
