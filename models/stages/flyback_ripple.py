"""What several phases of a flyback send to their neighbours, and where the forms are off."""

from __future__ import annotations

from models.axes import ANGLE, Array, array_namespace, line_mean
from models.physics.harmonics import pulse_harmonics
from models.stages.flyback_stress import HARMONICS, Mask, Phase
from models.stages.flyback_waves import shared_ripple

# Complementary drive outside its region: rms error of the diode's current over the charge
# that the form misplaces, and the most that is allowed over the line cycle [1]; computed
# here against the switched circuit.
OVERSTATED, OVERSTATED_MAX = 2.5, 0.02


def switching_ripple(phase: Phase, phases: int, both: Mask) -> tuple[Array, Array]:
    """Return the rms switching ripple [A] of all phases at input and output.

    ``both`` is True where two phases run, half a period apart.
    """
    xp = array_namespace(phase.v_r)
    means, squares = (phase.i_in, phase.i_out), (phase.ms_switch, phase.ms_secondary)
    ripples = [
        square - line_mean(mean * mean) for square, mean in zip(squares, means, strict=True)
    ]
    if phases == 2:
        crossed = shared_ripple(phase.waves)
        ripples = [
            xp.where(both, 2.0 * (alone + line_mean(product - mean * mean)), alone)
            for alone, product, mean in zip(ripples, crossed, means, strict=True)
        ]
    # A burst or a shed phase: ``busy`` counts phases, the sum counts half line cycles.
    share = xp.where(both, phase.busy, phases * phase.busy) if phases == 2 else phase.busy
    i_in, i_out = (xp.sqrt(xp.maximum(share * ripple, 0.0)) for ripple in ripples)
    return i_in, i_out / phase.ratio


def noise(phase: Phase, both: Mask) -> tuple[Array, ...]:
    """Return the harmonics of the output current [A], rms, at the peak of the line.

    Two phases half a period apart cancel the odd ones.
    """
    xp = array_namespace(phase.v_r)
    w, n = phase.waves, phase.ratio
    middle = phase.v_r.shape[ANGLE] // 2
    at_peak = slice(middle, middle + 1)
    square = w.ms_secondary[:, :, at_peak]
    mean = phase.i_out[:, :, at_peak]
    parts = pulse_harmonics(
        xp.maximum(square - mean * mean, 0.0), w.fall[:, :, at_peak], HARMONICS
    )
    factors = (xp.where(both, 2.0 if k % 2 else 0.0, 1.0) for k in range(HARMONICS))
    return tuple(k * xp.sqrt(part) / n for k, part in zip(factors, parts, strict=True))


def overstated(one: Phase) -> Array:
    """Return by how much the diode's rms current is too high in complementary drive [1].

    A rough upper bound, made of the charge misplaced at each angle; see ``complementary``.
    """
    xp = array_namespace(one.v_r)
    w = one.waves
    error = xp.minimum(OVERSTATED * w.outside, 1.0)
    return line_mean(w.ms_secondary * error) / xp.maximum(one.ms_secondary, 1e-12)
