"""What islands of one candidate give one another at a barrier."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import TYPE_CHECKING

from optimizer.budget import Settings
from optimizer.intake import received, started_from
from optimizer.problem import Problem
from optimizer.state import Tuning
from optimizer.trials import generator

if TYPE_CHECKING:
    from optimizer.course import Course

MIGRANTS = 10  # designs that an island takes from its neighbour at a barrier


def helped(
    course: Course, problems: Sequence[Problem], settings: Settings, tuning: Tuning
) -> Course:
    """Return the course after islands without a feasible design have taken some of others.

    Isolation serves different fronts; an island that has none has nothing to protect.
    """
    made = list(course.states)
    for i, state in enumerate(course.states):
        c, island = course.owner(i), int(state.key[2])
        front = course.fronts[c]
        if course.is_probe(i) or state.front.size or not front.size:
            continue
        if not state.evaluations and len(state.block_genes):
            donors = (k for k, s in enumerate(course.states) if course.owner(k) == c)
            donor = next(k for k in donors if course.states[k].front.size)
            made[i] = started_from(state, course.states[donor])
            continue
        rng = generator(settings.seed, c, island, course.barrier, 3)
        picked = rng.permutation(front.size)[:MIGRANTS]
        made[i] = received(state, front.at(picked), problems[c].sizes[1], tuning)
    return dataclasses.replace(course, states=made)


def exchanged(
    course: Course, problems: Sequence[Problem], settings: Settings, tuning: Tuning
) -> Course:
    """Return the course after every island has taken designs from the next in its ring."""
    made = list(course.states)
    for i, state in enumerate(course.states):
        c, island = course.owner(i), int(state.key[2])
        if course.is_probe(i) or settings.islands == 1:
            continue
        source = course.states[i - island + (island + 1) % settings.islands].front
        if source.size:
            rng = generator(settings.seed, c, island, course.barrier, 1)
            picked = rng.permutation(source.size)[:MIGRANTS]
            made[i] = received(state, source.at(picked), problems[c].sizes[1], tuning)
    return dataclasses.replace(course, states=made)
