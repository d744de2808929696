"""What islands of one candidate give one another at a barrier."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import TYPE_CHECKING

from optimizer.budget import Settings
from optimizer.front import Front
from optimizer.intake import received, started_from
from optimizer.problem import Problem
from optimizer.state import APART, State, Tuning
from optimizer.trials import generator

if TYPE_CHECKING:
    from optimizer.course import Course

MIGRANTS = 10  # designs that an island takes from its neighbour at a barrier


def helped(
    course: Course, problems: Sequence[Problem], settings: Settings, tuning: Tuning
) -> Course:
    """Return the course after islands without a feasible design have taken some of others.

    Isolation serves different fronts; an island that has none has nothing to protect.
    But what it finds by itself lies elsewhere: only one that has looked for long is helped.
    Nothing crosses from one ring to another, nor early to an island that is to find by
    itself what lies far from the seeds of the others.
    """
    layout = settings.layout(len(problems))
    early = course.evaluations.sum() < settings.isolated * settings.evaluations
    made = list(course.states)
    for i, state in enumerate(course.states):
        c, island = course.owner(i), int(state.key[2])
        if course.is_probe(i) or not course.live[c] or state.front.size:
            continue
        if state.evaluations < tuning.own:
            continue
        if early and state.clock[APART]:
            continue
        first = i - island + layout.ring(island) * layout.size
        ring = course.states[first : first + layout.size]
        donor = next((s for s in ring if s.front.size), None)
        if donor is None:
            continue
        if not state.evaluations and len(state.block_genes):
            made[i] = started_from(state, donor)
            continue
        front = merged_front(ring, tuning.front)
        rng = generator(settings.seed, c, island, course.barrier, 3)
        picked = rng.permutation(front.size)[:MIGRANTS]
        made[i] = received(state, front.at(picked), problems[c].sizes[1], tuning)
    return dataclasses.replace(course, states=made)


def exchanged(
    course: Course, problems: Sequence[Problem], settings: Settings, tuning: Tuning
) -> Course:
    """Return the course after every island has taken designs from the next in its ring."""
    layout = settings.layout(len(problems))
    made = list(course.states)
    for i, state in enumerate(course.states):
        c, island = course.owner(i), int(state.key[2])
        if course.is_probe(i) or not course.live[c] or layout.size == 1:
            continue
        source = course.states[i - island + layout.next(island)].front
        if source.size:
            rng = generator(settings.seed, c, island, course.barrier, 1)
            picked = rng.permutation(source.size)[:MIGRANTS]
            made[i] = received(state, source.at(picked), problems[c].sizes[1], tuning)
    return dataclasses.replace(course, states=made)


def merged_front(states: Sequence[State], limit: int) -> Front:
    """Return what several islands know together; there is at least one."""
    front = states[0].front
    for state in states[1:]:
        front = front.merged(state.front, limit)[0]
    return front
