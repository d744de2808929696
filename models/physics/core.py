"""Magnetic cores: loss of any flux waveform, saturation, permeability under bias.

Losses are sums of Steinmetz terms, because a single power law fails between 25 and
500 kHz; each term is a power law of its own and is carried to other waveforms by
itself.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace

MU_0 = 4e-7 * math.pi  # [H/m]
F_0 = 100e3  # [Hz], frequency at which Steinmetz coefficients are stated
B_0 = 0.1  # [T], amplitude at which they are stated
OERSTED = 1e3 / (4.0 * math.pi)  # [A/m]

# Saturation of manganese-zinc power ferrite, from memory of data sheets: 0.49 T at
# 25 °C [T], falling [T/K]; a data sheet states at least 0.33 T at 100 °C, 250 A/m.
B_SAT_25, B_SAT_SLOPE = 0.49, -1.33e-3

# Flux shares closer to the ends than this are outside what the waveform correction was
# published for [1]; the loss is held there.
SHARE_MIN = 0.02
# Keep logarithms finite for an idle core [T] and an absent term [W/m³].
B_FLOOR, P_FLOOR = 1e-9, 1e-30


@dataclasses.dataclass(frozen=True)
class SteinmetzTerm:
    """One power law P = p·(f/F_0)^alpha·(B̂/B_0)^beta; arrays of shape (design, 1, 1)."""

    p: Array  # [W/m³] at F_0 and B_0
    alpha: Array  # [1]
    beta: Array  # [1]


def sine_loss(terms: tuple[SteinmetzTerm, ...], f: Array, b: Array) -> Array:
    """Return the core loss density [W/m³] of a sinusoidal flux.

    P_v = Σ p_i·(f/F_0)^α_i·(B̂/B_0)^β_i

    Low by 1.0 to 1.3 times under a bias up to 100 mT and by 2 times near 200 mT (from
    memory), which no term contains.

    Parameters
    ----------
    terms : tuple of SteinmetzTerm
        Power laws of the material.
    f : Array
        Frequency [Hz].
    b : Array
        Amplitude B̂ of the flux density, half of peak to peak [T].

    Source
    ------
    C. P. Steinmetz, "On the law of hysteresis", 1892, with the frequency exponent added
    by practice (from memory).
    """
    xp = array_namespace(f, b)
    ln_f, ln_b = xp.log(f / F_0), xp.log(xp.maximum(b, B_FLOOR) / B_0)
    loss = xp.zeros_like(ln_f)
    for term in terms:
        loss = loss + term.p * xp.exp(term.alpha * ln_f + term.beta * ln_b)
    return loss


def triangle_loss(
    terms: tuple[SteinmetzTerm, ...],
    f: Array,
    b_pp: Array,
    duty: Array,
    flat: Array | float = 0.0,
) -> Array:
    """Return the core loss density [W/m³] of a triangle with a flat part.

    P_v = Σ_i k_i·ΔB^β·f^α·[s_r^(1−α) + s_f^(1−α)],  s_r = D,  s_f = 1 − D − flat,
    k_i = p_i·F_0^−α·B_0^−β / [(2π)^(α−1)·2^(β−α)·∫₀^2π |cos θ|^α dθ]

    The flat interval itself contributes nothing: relaxation in it is left out, so that
    loss with long flat intervals is low.  Shares below 0.02, sharper than the published
    range, are held there.  Bias: as ``sine_loss``.

    Parameters
    ----------
    terms : tuple of SteinmetzTerm
        Power laws of the material.
    f : Array
        Frequency [Hz].
    b_pp : Array
        Flux density ΔB from peak to peak [T].
    duty : Array
        Share D of the period during which it rises [1].
    flat : Array or float
        Share of the period without voltage [1]; the rest falls.

    Source
    ------
    K. Venkatachalam, C. R. Sullivan, T. Abdallah and H. Tacca, "Accurate prediction of
    ferrite core loss with nonsinusoidal waveforms using only Steinmetz parameters",
    IEEE COMPEL, 2002 (from memory).
    """
    xp = array_namespace(f, b_pp)
    # What may vary over the line angle is touched as a logarithm: sums and one
    # exponential for each term and slope, several times faster than powers.
    ln_f = xp.log(f / F_0)
    ln_b = xp.log(xp.maximum(b_pp, B_FLOOR))
    rise = xp.clip(duty, SHARE_MIN, 1.0 - SHARE_MIN)
    ln_rise = xp.log(rise)
    ln_fall = xp.log(xp.maximum(1.0 - rise - flat, SHARE_MIN))
    loss: Array = xp.zeros_like(ln_f)
    for term in terms:
        size = term.beta * ln_b + (_log_coefficient(term) + term.alpha * ln_f)
        slope = 1.0 - term.alpha
        loss = loss + xp.exp(size + slope * ln_rise) + xp.exp(size + slope * ln_fall)
    return loss


def _log_coefficient(term: SteinmetzTerm) -> Array:
    """Return ln(k_i·F_0^α) of one term, for ΔB in tesla."""
    xp = array_namespace(term.p)
    return (
        xp.log(xp.maximum(term.p, P_FLOOR))
        - term.beta * math.log(2.0 * B_0)
        + term.alpha * math.log(2.0)
        - (term.alpha - 1.0) * math.log(2.0 * math.pi)
        - xp.log(_cosine_integral(term.alpha))
    )


def _cosine_integral(alpha: Array) -> Array:
    """Return ∫₀^2π |cos θ|^α dθ = 2√π·Γ(x + ½)/Γ(x + 1), x = α/2, for α above −1.

    The quotient of gamma functions is raised to x + 6 by its recurrence and taken there
    from its asymptotic series (error below 1e-6): no library offers it to all arrays.
    """
    xp = array_namespace(alpha)
    x = alpha / 2.0
    raised = xp.ones_like(x)
    for k in range(6):
        raised = raised * (x + k + 1.0) / (x + k + 0.5)
    y = x + 6.0
    series = 1.0 + (-1.0 / 8.0 + (1.0 / 128.0 + (5.0 / 1024.0 - 21.0 / 32768.0 / y) / y) / y) / y
    return 2.0 * math.sqrt(math.pi) * raised * series / xp.sqrt(y)


def temperature_factor(t: Array, t_m: Array, c: Array) -> Array:
    """Return core loss at ``t`` over that at 100 °C [1].

    F(T) = (1 + c·(T − T_m)²) / (1 + c·(100 − T_m)²)

    Fitted from 0 to 120 °C; the parabola overstates the loss outside.

    Parameters
    ----------
    t : Array
        Temperature [°C].
    t_m : Array
        Temperature T_m of least loss [°C].
    c : Array
        Curvature [1/K²].

    Source
    ------
    Common form of data sheets; no publication.
    """
    return (1.0 + c * (t - t_m) ** 2) / (1.0 + c * (100.0 - t_m) ** 2)


def saturation(t: Array) -> Array:
    """Return the flux density at which power ferrite saturates [T] at ``t`` [°C].

    B_sat(T) = 0.49 T − 1.33 mT/K·(T − 25 °C), held outside −40 to 200 °C.

    Source
    ------
    Data sheets of manganese-zinc power ferrite (from memory).
    """
    xp = array_namespace(t)
    return B_SAT_25 + B_SAT_SLOPE * (xp.clip(t, -40.0, 200.0) - 25.0)


def bias_permeability(h: Array, *, a: Array, b: Array, c: Array) -> Array:
    """Return the incremental permeability of a powder core over its initial one [1].

    µ/µ_i = 0.01 / (a + b·H^c),  H in oersted as in the published curves

    Parameters
    ----------
    h : Array
        Magnetising force N·I/l_e [A/m].
    a : Array
        Constant of the fit [1], 0.01 for µ = µ_i without bias.
    b : Array
        Coefficient for H in oersted [1].
    c : Array
        Exponent [1].

    Source
    ------
    Curve fits in powder-core catalogues (from memory).
    """
    xp = array_namespace(h)
    oersted = xp.maximum(xp.abs(h) / OERSTED, 1e-6)
    return 0.01 / (a + b * xp.exp(c * xp.log(oersted)))


def powder_inductance(turns: Array, area: Array, length: Array, mu: Array) -> Array:
    """Return µ0·µ·N²·A_e/l_e, the inductance [H] of a core without gap.

    Parameters
    ----------
    turns : Array
        Turns N [1].
    area : Array
        Effective area A_e [m²].
    length : Array
        Effective length l_e [m].
    mu : Array
        Relative permeability at the bias [1].

    Source
    ------
    Definition of the effective dimensions, IEC 60205 (from memory).
    """
    return MU_0 * mu * turns**2 * area / length
