"""Conducted emission on the mains: what the limit leaves and what a ladder takes away.

No prediction beyond 1 MHz: windings and layout decide there.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace

BAND = 150e3  # [Hz], where the limit begins; CISPR 11 class B (from memory)
LIMIT = 66.0  # [dBµV], quasi-peak limit there; CISPR 11 class B (from memory)
LIMIT_SLOPE = 10.0 / math.log10(500.0 / 150.0)  # [dB/decade], down to 56 dBµV at 500 kHz
MARGIN = 6.0  # [dB], common practice, no source
DIFFERENTIAL = 100.0  # [Ω], two artificial mains networks of 50 Ω in series
COMMON = 25.0  # [Ω], the same in parallel


@dataclasses.dataclass(frozen=True)
class Section:
    """One step of a filter ladder: a capacitor across, then an inductance along.

    The resistance is in series with the capacitor.
    """

    c: Array  # [F]
    l: Array  # noqa: E741 -- [H]
    r: Array | float = 0.0  # [Ω]


def order_in_band(f: Array) -> Array:
    """Return the lowest harmonic n of ``f`` [Hz] at or above 150 kHz [1].

    Source
    ------
    Arithmetic; CISPR 11 band B begins at 150 kHz (from memory).
    """
    xp = array_namespace(f)
    return xp.ceil(BAND / f - 1e-9)


def limit(f: Array) -> Array:
    """Return the quasi-peak limit [dBµV] at ``f`` [Hz]: 66 − 19.1·log₁₀(f/150 kHz).

    The line from 150 to 500 kHz, extended to either side; above 500 kHz the true limit
    is 56 dBµV, so that the extension is on the safe side there.

    Source
    ------
    CISPR 11, group 1, class B, mains port (from memory).
    """
    xp = array_namespace(f)
    return LIMIT - LIMIT_SLOPE * xp.log10(f / BAND)


def need(f: Array, i: Array, load: float) -> Array:
    """Return the attenuation wanted [dB] of a noise current, with 6 dB in hand.

    20·log₁₀(I·Z/1 µV) − limit + 6 dB, where each conductor's 50 Ω network sees I in
    differential mode (Z = 50 Ω) and half of I in common mode (Z = 25 Ω).

    Parameters
    ----------
    f : Array
        Frequency of the noise [Hz].
    i : Array
        Its rms current I at the worst line angle [A].
    load : float
        DIFFERENTIAL or COMMON [Ω].

    Source
    ------
    CISPR 16 artificial network (from memory); margin: common practice, no source.
    """
    xp = array_namespace(f, i)
    per_line = min(load, DIFFERENTIAL / 2.0)
    # A picoampere is 120 dB below anything that matters.
    return 20.0 * xp.log10(xp.maximum(i, 1e-12) * per_line * 1e6) - limit(f) + MARGIN


def attenuation(f: Array, sections: tuple[Section, ...], load: float) -> Array:
    """Return source current over load current [dB] of a ladder at ``f`` [Hz].

    The source is a current; the sections follow from it to the load, each a capacitor
    across and an inductance along.  Losses beyond the given resistances are left out.

    Parameters
    ----------
    f : Array
        Frequency [Hz].
    sections : tuple of Section
        From the source to the load.
    load : float
        Resistance of the measuring network [Ω].

    Source
    ------
    Network analysis, computed here.
    """
    xp = array_namespace(f)
    _, _, i_re, i_im = _chain(f, sections, load)
    return 10.0 * xp.log10(i_re * i_re + i_im * i_im)


def transfer(f: Array, c: Array, sections: tuple[Section, ...], load: float) -> Array:
    """Return the voltage of a source over the current in the load [Ω] at ``f`` [Hz].

    The source stands behind a capacitance ``c`` [F]; sections as in ``attenuation``.

    Parameters
    ----------
    f : Array
        Frequency [Hz].
    c : Array
        Capacitance between source and ladder [F].
    sections : tuple of Section
        From the source to the load.
    load : float
        Resistance of the measuring network [Ω].

    Source
    ------
    Network analysis, computed here.
    """
    v_re, v_im, i_re, i_im = _chain(f, sections, load)
    xp = array_namespace(v_re)
    x = 1.0 / (2.0 * math.pi * f * c)
    return xp.hypot(v_re + x * i_im, v_im - x * i_re)


def _chain(
    f: Array, sections: tuple[Section, ...], load: float
) -> tuple[Array, Array, Array, Array]:
    """Return voltage and current at the source for one ampere in the load, both complex."""
    omega = 2.0 * math.pi * f
    i_re, i_im = 1.0 + 0.0 * omega, 0.0 * omega
    v_re, v_im = load + 0.0 * omega, 0.0 * omega
    for section in reversed(sections):
        x = omega * section.l
        v_re, v_im = v_re - x * i_im, v_im + x * i_re
        b = omega * section.c
        # 1/(R + 1/(jωC)) = (ω²C²R + jωC)/(1 + ω²C²R²)
        scale = b / (1.0 + (b * section.r) ** 2)
        g = scale * b * section.r
        i_re, i_im = i_re + g * v_re - scale * v_im, i_im + g * v_im + scale * v_re
    return v_re, v_im, i_re, i_im
