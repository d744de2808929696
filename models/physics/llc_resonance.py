"""An LLC resonant converter that switches at its resonance: closed forms.

There the output follows the input whatever the load, and the tank's current is a sine.
Normalised as in ``models.physics.llc_modes``.
"""

from __future__ import annotations

import math

from models.axes import Array, array_namespace
from models.physics.llc_table import Wave


def at_resonance(p: Array, ratio: Array) -> Wave:
    """Return the waves at f = f₀ and V_i' = V_r [1].

    a = π/2·p in phase, j_m = π/(2·m) the peak of the triangle of L_m, so that the tank
    carries √((a² + j_m²)/2) and the secondary √(a²/2 + j_m²·(5/6 − 8/π²)).

    Parameters
    ----------
    p : Array
        Power P·Z₀/V_r² [1].
    ratio : Array
        Magnetising over resonant inductance m [1].

    Source
    ------
    B. Yang, "Topology investigation of front end DC/DC converter for distributed power
    system", dissertation, 2003 (from memory); the fundamentals derived here.
    """
    xp = array_namespace(p, ratio)
    a = (0.5 * math.pi) * p
    j_m = (0.5 * math.pi) / ratio + 0.0 * a
    real, reactive = 0.5 * a * a, j_m * j_m
    # Secondary: a·sin x less j_m·(cos x − triangle), whose fundamental is 8/π²·cos x.
    left = 0.5 * (1.0 - 8.0 / math.pi**2) ** 2
    tank, peak = xp.sqrt(real + 0.5 * reactive), xp.sqrt(a * a + reactive)
    return Wave(
        period=xp.ones_like(a),
        off=j_m,
        tank=tank,
        tank_1=tank,
        secondary=xp.sqrt(real + (5.0 / 6.0 - 8.0 / math.pi**2) * reactive),
        secondary_1=xp.sqrt(real + left * reactive),
        tank_peak=peak,
        capacitor_peak=peak,
        magnetising_peak=j_m,
        commutated=xp.zeros_like(a),
    )
