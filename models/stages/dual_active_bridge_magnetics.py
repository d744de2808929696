"""Transformer and series choke of a dual active bridge: spectra, flux, potentials."""

from __future__ import annotations

import math

from models.axes import Array, array_namespace
from models.parts import inductor, transformer
from models.parts.part import Part
from models.stages.dual_active_bridge_circuit import OwnChoke
from models.stages.dual_active_bridge_parts import Setting
from models.stages.dual_active_bridge_waves import Circuit, Waves
from models.stages.swing import highest, node_max, node_mean, total
from models.stress import Flux, InductorStress, TransformerStress, WindingStress

LEAST_CHOKE = 0.05  # of the series inductance, where the leakage is larger [1]
UNBALANCE = 0.1  # [1], swing between real windings over the link; common practice, no source
A_LEAST, T_LEAST = 1e-9, 1e-9  # [A] and shares of a period, divisor floors


def harmonic_squares(circuit: Circuit, w: Waves, load: Array | float) -> tuple[Array, Array]:
    """Return the mean squares of first and third harmonic of (v₁ − k·v₂)/(m·ω·L_s) [A²].

    Parameters
    ----------
    circuit : Circuit
        Turns, inductances, frequency.
    w : Waves
        The waves.
    load : Array or float
        k [1]: 1 for the current in L_s, 1 + L_s/L_m for that of the secondary.

    Source
    ------
    Fourier series of pulses; textbooks.
    """
    xp = array_namespace(w.v_2)
    sine_1 = xp.sin((0.5 * math.pi) * w.duty_1)
    sine_2 = xp.sin((0.5 * math.pi) * w.duty_2)
    cosine = xp.cos(math.pi * w.shift)
    scale = 2.0 / (math.pi * math.pi * circuit.f * circuit.l_s)
    first = _difference(w.v_1 * sine_1, load * w.v_2 * sine_2, cosine)
    third = _difference(
        w.v_1 * sine_1 * (3.0 - 4.0 * sine_1 * sine_1),
        load * w.v_2 * sine_2 * (3.0 - 4.0 * sine_2 * sine_2),
        cosine * (4.0 * cosine * cosine - 3.0),
    )
    half = 0.5 * scale * scale
    return half * first, (half / 81.0) * third


def _difference(a: Array, b: Array, cosine: Array) -> Array:
    """Return the square of the difference of two phasors."""
    xp = array_namespace(a, b)
    return xp.maximum(a * a + b * b - 2.0 * a * b * cosine, 0.0)


def _winding(
    at: Setting, square: Array, scale: Array | float, harmonics: tuple[Array, Array]
) -> WindingStress:
    """Return a winding's current: two harmonics and the rest; even ones there are none."""
    xp = array_namespace(square)
    first, third = (at.nodes.time(harmonic) * scale for harmonic in harmonics)
    zero = 0.0 * square
    rest = xp.maximum(square - first - third, 0.0)
    parts = (xp.sqrt(first), zero, xp.sqrt(third), xp.sqrt(rest))
    return WindingStress(zero, zero, at.circuit.f, parts)


def wound(at: Setting, primary: tuple[Array, Array]) -> Part:
    """Return the transformer, whose flux follows the link's bridge.

    The blocking capacitors keep its mean at zero; what a sudden change of the phase shift
    adds for some periods is left to the control.

    Parameters
    ----------
    at : Setting
        The stage.
    primary : tuple of Array
        Mean squares of first and third harmonic in L_s [A²].
    """
    w, circuit = at.waves, at.circuit
    xp = array_namespace(w.v_2)
    n, nodes = circuit.ratio, at.nodes
    duty = nodes.running(w.duty_2)
    secondary = harmonic_squares(circuit, w, 1.0 + circuit.l_s / circuit.l_m)
    stress = TransformerStress(
        l_m=circuit.l_m,
        # A link that rises takes its magnetising current along.
        i_m_peak=xp.maximum(highest(w.i_m), node_max(w.i_m * (at.v_top / at.v_out))),
        windings=(
            _winding(at, at.square, 1.0, primary),
            _winding(at, at.secondary_square, 1.0 / (n * n), secondary),
        ),
        flux=(
            Flux(
                f=circuit.f,
                linkage_pp=2.0 * circuit.l_m * nodes.running_rms(w.i_m),
                duty=0.5 * duty,
                flat=1.0 - duty,
                active=nodes.active,
            ),
        ),
        v_insulation=at.v_top + at.v_in,
    )
    return transformer.place(f"{at.path}.transformer", at.design.transformer, stress, at.case)


def flux_rise(w: Waves) -> Array:
    """Return the share of a period in which a triangle rises whose core loss is the choke's [1].

    The choke's flux runs through lines of unlike slope.  For a loss that grows with the
    slope to the power 1.5, D^(−½) = Σ|ΔI_j/ΔI|^1.5·t_j^(−½) over half a period, ΔI peak to
    peak; other powers of the slope, from 1.2 to 2.9, move it by some percent.

    Source
    ------
    K. Venkatachalam, C. R. Sullivan, T. Abdallah, H. Tacca, COMPEL 2002 (from memory).
    """
    xp = array_namespace(w.v_2)
    whole = xp.maximum(2.0 * w.i_crest, A_LEAST)
    root = 0.0 * w.v_2
    for t, (a, b) in zip(w.time, w.lines, strict=True):
        part = xp.abs(b - a) / whole
        root = root + part * xp.sqrt(part / xp.maximum(0.5 * t, T_LEAST))
    return xp.clip(1.0 / xp.maximum(root * root, 1.0), 1e-3, 0.5)


def choke(at: Setting, harmonics: tuple[Array, Array]) -> tuple[Part, ...]:
    """Return the series choke, if it is one of its own, less the leakage.

    Parameters
    ----------
    at : Setting
        The stage.
    harmonics : tuple of Array
        Mean squares of first and third harmonic in L_s [A²].
    """
    x, w, circuit = at.design.series, at.waves, at.circuit
    if not isinstance(x, OwnChoke):
        return ()
    xp = array_namespace(w.v_2)
    inductance = xp.maximum(circuit.l_s - at.leakage, LEAST_CHOKE * circuit.l_s)
    rise = at.nodes.running(flux_rise(w))
    stress = InductorStress(
        inductance=inductance,
        i_peak=highest(w.i_crest),
        winding=_winding(at, at.square, 1.0, harmonics),
        flux=(
            Flux(
                f=circuit.f,
                linkage_pp=2.0 * inductance * at.nodes.running_rms(w.i_crest),
                duty=rise,
                flat=1.0 - 2.0 * rise,
                active=at.nodes.active,
            ),
        ),
    )
    return (inductor.place(f"{at.path}.choke", x.choke, stress, at.case),)


def middles(at: Setting, first: Array) -> tuple[Array, Array, Array]:
    """Return by what the middles of the windings move, as swings of squares as strong [V].

    By half of the voltage of L_s, which lies in one lead of the primary, and by the legs of
    either bridge: full squares leave its middle at rest, pulses move it by V·cos(½·π·d).

    Parameters
    ----------
    at : Setting
        The stage.
    first : Array
        Mean square of the first harmonic in L_s [A²].

    Source
    ------
    Potentials of ideal windings, derived here.
    """
    w, circuit = at.waves, at.circuit
    xp = array_namespace(w.v_2)
    # The first harmonic of a square of swing v has the amplitude 2·v/π.
    series = (0.5 * math.pi * math.pi) * circuit.f * circuit.l_s * xp.sqrt(2.0 * first)
    return (
        series,
        w.v_1 * xp.cos((0.5 * math.pi) * w.duty_1),
        circuit.ratio * w.v_2 * xp.cos((0.5 * math.pi) * w.duty_2),
    )


def winding_swing(at: Setting, first: Array) -> Array:
    """Return the swing of a square as strong as what drives the windings' capacitance [V].

    All of ``middles`` are added as if in phase, which is an upper bound; at least
    ``UNBALANCE`` of the link is taken.

    Parameters
    ----------
    at : Setting
        The stage.
    first : Array
        Mean square of the first harmonic in L_s [A²].

    Source
    ------
    As ``middles``; unbalance common practice, no source.
    """
    xp = array_namespace(first)
    moved = node_max(total(middles(at, first)))
    return xp.maximum(moved, UNBALANCE * node_mean(at.v_out))
