"""How the legs of a dual active bridge turn: currents that move their nodes in dead times.

Each bridge has two legs; after a phase shift both turn at once, in a triangle one after the
other.  The legs may change places from period to period, so that all four switches of a
bridge share alike.
"""

from __future__ import annotations

import dataclasses

from models.axes import Array, array_namespace
from models.stages.dual_active_bridge_waves import Circuit, Waves


@dataclasses.dataclass(frozen=True)
class Turn:
    """Turn-off of a leg, in its own volts and amperes."""

    i: Array  # [A], positive where it drives the node towards the other rail
    inductance: Array  # [H], that keeps the current
    v_far: Array  # [V], where the inductance would take the node at rest
    share: Array | float = 1.0  # of the bridge's edges that are like this [1]


def at_module(circuit: Circuit, w: Waves, *, triangles: bool) -> Turn:
    """Return how the legs at the module turn, as far as they find a current.

    After a phase shift each leg sees half of L_s, behind which the link's bridge still holds
    −V₂.  The crest of a step down turns one leg; all other ends of a triangle find no
    current, which leaves them out of ``share``.

    Parameters
    ----------
    circuit : Circuit
        Turns, inductances, frequency.
    w : Waves
        The waves.
    triangles : bool
        Whether the control knows them.
    """
    xp = array_namespace(w.v_2)
    shifted = Turn(w.end, 0.5 * circuit.l_s, 0.5 * (w.v_1 - w.v_2))
    if not triangles:
        return shifted
    crest = Turn(w.i_crest, circuit.l_s, w.v_1 - w.v_2, xp.where(w.v_1 >= w.v_2, 0.5, 0.0))
    return _leg(w, crest, shifted)


def at_link(circuit: Circuit, w: Waves, *, triangles: bool) -> tuple[Turn, ...]:
    """Return how the legs at the link turn; the magnetising current always helps.

    After a phase shift V₁ helps too.  The crest of a step up turns one leg; at all other
    ends of a triangle L_m holds its current.

    Parameters
    ----------
    circuit : Circuit
        Turns, inductances, frequency.
    w : Waves
        The waves.
    triangles : bool
        Whether the control knows them; without, both legs are alike and told once.
    """
    xp = array_namespace(w.v_2)
    n, square = circuit.ratio, circuit.ratio * circuit.ratio
    v_in, v_out, i_m = n * w.v_1, n * w.v_2, w.i_m / n
    shifted = Turn(w.turn / n + i_m, (0.5 * square) * circuit.l_s, 0.5 * (v_in + v_out))
    if not triangles:
        return (shifted,)
    up = w.v_1 < w.v_2
    first = Turn(
        xp.where(up, w.i_crest / n, 0.0) + i_m,
        square * xp.where(up, circuit.l_s, circuit.l_m),
        xp.where(up, v_in, 0.0),
    )
    second = Turn(i_m, square * circuit.l_m, v_out)
    return tuple(dataclasses.replace(_leg(w, leg, shifted), share=0.5) for leg in (first, second))


def _leg(w: Waves, triangle: Turn, shifted: Turn) -> Turn:
    """Return what a leg finds in the modulation at hand."""
    xp = array_namespace(w.v_2)
    return Turn(
        *(
            xp.where(w.triangular, getattr(triangle, f.name), getattr(shifted, f.name))
            for f in dataclasses.fields(Turn)
        )
    )
