"""Designs of front stages for tests: drawn at random, placed on a link, improved."""

from __future__ import annotations

import dataclasses
import functools
from pathlib import Path

import numpy as np

from models.axes import swing_nodes
from models.ledger import Kind
from models.operating import make_case
from models.spec_files import read_specification
from models.stages.ports import Link
from models.variables import build, variables

DEMO = Path(__file__).parent.parent.parent / "runs" / "demo.toml"
T_BOX = 60.0  # [°C] of the wall and the inside of the box


@functools.cache
def demo_case():
    """The case of the demo specification."""
    return make_case(read_specification(DEMO), DEMO.parent)


def drawn(cls, static, count, rng, **fixed):
    """Return variables by field: uniform in the box, on a log scale where declared."""
    values = {}
    for v in variables(cls, demo_case().catalogue.names(), static=static):
        x = rng.uniform(size=(count, 1, 1))
        value = v.lo * (v.hi / v.lo) ** x if v.log else v.lo + (v.hi - v.lo) * x
        values[v.field] = np.round(value) if v.discrete else value
        if v.field in fixed:
            values[v.field] = np.full((count, 1, 1), float(fixed[v.field]))
    return values


def link(count, case, *, v=200.0, swing=0.1, nodes=3):
    """Return a link that swings with the power of the row, and more at load rejection."""
    share = case.points.p_ac / case.points.p_ac.max() * swing
    mean = np.full((count, 1, 1), v)
    top = mean * (1.0 + share) * (1.0 + 0.15 * case.points.rejection)
    return Link(
        v=mean + 0.0 * share,
        v_rms=mean + 0.0 * share,
        v_min=mean * (1.0 - share),
        v_max=top,
        v_nodes=mean * (1.0 + share * swing_nodes(nodes)),
        swing=mean * share,
        k=2.0 * share + 0.0 * mean,
        k_max=np.full_like(mean, 0.5),
        c=np.full_like(mean, 50e-6),
    )


def power(count, case, share=1.04):
    """Return the power at the module, some losses included."""
    return case.points.p_ac * share + 0.5 + np.zeros((count, 1, 1))


def placed(stage, design, case, on):
    """Return the stage prepared and placed on a link."""
    ready = stage.prepare(
        design, v_in=case.points.v_pv, v_out=on.v_nodes, case=case, v_top=on.v_max
    )
    count = on.v_nodes.shape[0]
    return ready, stage.place("boost", design, ready, power(count, case), case)


def books(front, case):
    """Return everything that a stage and its parts book in a box at ``T_BOX``."""
    air = np.full((front.link_hf_rms.shape[0], case.points.count, 1), T_BOX)
    ledger = front.placed.books
    for part in front.placed.parts:
        ledger = ledger + part.book(part.temperature(air, 0.0 * air), case)
    return ledger


def worst(ledger, count):
    """Return limits by path: the worst margin of every design, (design,)."""
    found = {}
    for entry in ledger.of(Kind.LIMIT):
        margin = np.broadcast_to(entry.value, (count, *entry.value.shape[1:]))
        found[entry.path] = margin.reshape(count, -1).max(axis=1)
    return found


def one(design, i):
    """Return design ``i`` of a batch as a batch of its own."""
    changes = {}
    for field in dataclasses.fields(design):
        value = getattr(design, field.name)
        if dataclasses.is_dataclass(value):
            changes[field.name] = one(value, i)
        elif isinstance(value, np.ndarray):
            changes[field.name] = value[i : i + 1]
    return dataclasses.replace(design, **changes)


def improved(stage, cls, static, rng, *, v=200.0, count=200, rounds=40, cost=None):
    """Return the sum of violations of the best design that a plain search finds, and it.

    Differential moves between the better fifth; ``cost`` of the books counts on top where
    all limits are met.
    """
    case = demo_case()
    names = variables(cls, case.catalogue.names(), static=static)
    values = drawn(cls, static, count, rng)

    def violation(x):
        _, front = placed(stage, build(cls, x, static), case, link(count, case, v=v))
        ledger = books(front, case)
        left = sum(np.maximum(m, 0.0) ** 0.5 for m in worst(ledger, count).values())
        return left if cost is None else np.where(left > 0.0, left, cost(ledger))

    score = violation(values)
    for _ in range(rounds):
        if cost is None and score.min() == 0.0:
            break
        ranks = np.argsort(score)[: count // 5]
        a, b, c = (rng.choice(ranks, count) for _ in range(3))
        trial = {}
        for x in names:
            now = values[x.field]
            taken = now[a] + 0.6 * (now[b] - now[c])
            swapped = np.where(rng.uniform(size=now.shape) < 0.5, now[a], now[b])
            moved = swapped if x.options else taken
            fresh = drawn(cls, static, count, rng)[x.field]
            moved = np.where(rng.uniform(size=now.shape) < 0.05, fresh, moved)
            moved = np.clip(moved, x.lo, x.hi)
            trial[x.field] = np.round(moved) if x.discrete else moved
        found = violation(trial)
        better = found < score
        score = np.where(better, found, score)
        for name, now in values.items():
            values[name] = np.where(better.reshape(-1, 1, 1), trial[name], now)
    best = int(np.argmin(score))
    return score[best], {name: x[best : best + 1] for name, x in values.items()}
