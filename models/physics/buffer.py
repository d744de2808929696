"""The pulsating power of a single-phase grid and the swing it causes in a capacitor.

A converter that draws constant power p from its source and feeds u·i into a
single-phase grid leaves S_p·cos(2θ + ψ) to a capacitor, whose voltage follows from its
energy exactly::

    v(θ) = V₀·√(1 + k·sin(2θ + ψ)),   k = S_p/(ω·C·V₀²),   V₀² = mean of v²

V₀ is therefore the rms value; the extremes are V₀·√(1 ± k).
"""

from __future__ import annotations

from models.axes import Array, array_namespace

# Swing beyond which the closed forms are evaluated at this value instead: the capacitor
# would empty within a quarter cycle; limits on k refuse such designs.
K_LARGEST = 0.95  # [1]


def swing_ratio(s_p: Array, omega: Array, c: Array, v_rms: Array) -> Array:
    """Return the relative swing k = S_p/(ω·C·V₀²) of the energy in a capacitor.

    Not clamped: what exceeds one is a capacitor that cannot hold the energy.

    Parameters
    ----------
    s_p : Array
        Amplitude S_p of the pulsating power [W].
    omega : Array
        Angular line frequency ω [rad/s].
    c : Array
        Capacitance C [F], above zero.
    v_rms : Array
        Rms voltage V₀ [V], above zero.

    Source
    ------
    Energy balance, derived here.  The limit k = 1 is the least capacitance of a ripple
    port: P. T. Krein, R. S. Balog, M. Mirjafari, "Minimum energy and capacitance
    requirements for single-phase inverters and rectifiers using a ripple port", IEEE
    Trans. Power Electron. 27(11), 2012 (from memory).
    """
    return s_p / (omega * c * v_rms * v_rms)


def swing_voltage(v_rms: Array, k_sine: Array) -> Array:
    """Return the voltage V₀·√(1 + k·sin(2θ + ψ)) [V] along the angle axis.

    Parameters
    ----------
    v_rms : Array
        Rms voltage V₀ [V].
    k_sine : Array
        k·sin(2θ + ψ) [1], above −1.

    Source
    ------
    Energy balance, derived here.
    """
    xp = array_namespace(k_sine)
    return v_rms * xp.sqrt(1.0 + k_sine)


def mean_voltage(v_rms: Array, k: Array) -> Array:
    """Return the mean voltage V₀·(1 − k²/16 − 15·k⁴/1024) [V].

    A series in k; at k = 0.9 it is 0.7 % high.

    Parameters
    ----------
    v_rms : Array
        Rms voltage V₀ [V].
    k : Array
        Relative swing k [1], at most one.

    Source
    ------
    Binomial series of the swing, derived here.
    """
    k2 = k * k
    return v_rms * (1.0 - k2 * (1.0 / 16.0 + 15.0 / 1024.0 * k2))


def ripple_current(s_p: Array, v_rms: Array, k: Array) -> Array:
    """Return the rms current [A] of the capacitor: (S_p/V₀)/√(1 + √(1 − k²)).

    Exact, all multiples of twice the line frequency included.

    Parameters
    ----------
    s_p : Array
        Amplitude S_p of the pulsating power [W].
    v_rms : Array
        Rms voltage V₀ [V].
    k : Array
        Relative swing k [1], at most one.

    Source
    ------
    Integral of the squared current over the cycle, derived here.
    """
    xp = array_namespace(s_p, v_rms, k)
    return s_p / v_rms / xp.sqrt(1.0 + xp.sqrt(1.0 - k * k))


def swing_ratio_max(v_rms: Array, v_peak: Array, m_max: Array, sin_phi: Array) -> Array:
    """Return the largest swing k at which m_max·v(θ) still covers the grid at every angle.

    k_max = (r·sin φ + √(r²·sin²φ + 4·(1 − r)))/2,   r = (V_pk/(m_max·V₀))²

    Exact for the swing above; zero where the link is too low even without swing.

    Parameters
    ----------
    v_rms : Array
        Rms voltage V₀ of the link [V].
    v_peak : Array
        Peak V_pk of the bridge's fundamental voltage [V].
    m_max : Array
        Largest modulation index m_max [1].
    sin_phi : Array
        Sine of the angle φ by which the bridge's current lags its voltage [1].

    Source
    ------
    Derived here from the swing and the sine of the grid.
    """
    xp = array_namespace(v_rms, v_peak, m_max, sin_phi)
    r = v_peak / (m_max * v_rms)
    r = r * r
    b = r * sin_phi
    root = xp.sqrt(xp.maximum(b * b + 4.0 * (1.0 - r), 0.0))
    return xp.clip(0.5 * (b + root), 0.0, K_LARGEST)


def modulation_peak(v_peak: Array, v_rms: Array, *, k: Array, sin_phi: Array) -> Array:
    """Return the largest modulation index |u|/v over the line cycle [1].

    m = (V_pk/V₀)·√((1 − k·sin φ)/(1 − k²))

    It is the condition k ≤ k_max solved for m_max, exact for the swing above.

    Parameters
    ----------
    v_peak : Array
        Peak V_pk of the bridge's fundamental voltage [V].
    v_rms : Array
        Rms voltage V₀ of the link [V].
    k : Array
        Relative swing k [1], below one.
    sin_phi : Array
        Sine of the angle φ by which the bridge's current lags its voltage [1].

    Source
    ------
    The same condition, solved for the index.
    """
    xp = array_namespace(v_peak, v_rms, k, sin_phi)
    return v_peak / v_rms * xp.sqrt((1.0 - k * sin_phi) / (1.0 - k * k))


def least_voltage(v_peak: Array, m_max: Array, swing: Array, sin_phi: Array) -> Array:
    """Return the least rms link voltage V₀ [V] at which k just reaches k_max.

    V₀² = (r + √(r² + 4·a² − 4·a·r·sin φ))/2,   r = (V_pk/m_max)²,   a = S_p/(ω·C)

    It is the condition k ≤ k_max solved for V₀ with k = a/V₀².

    Parameters
    ----------
    v_peak : Array
        Peak V_pk of the bridge's fundamental voltage [V].
    m_max : Array
        Largest modulation index m_max [1].
    swing : Array
        k·V₀² = S_p/(ω·C) [V²], C referred to this link.
    sin_phi : Array
        Sine of the angle φ by which the bridge's current lags its voltage [1].

    Source
    ------
    The same condition, solved for the voltage.
    """
    xp = array_namespace(v_peak, m_max, swing, sin_phi)
    r = v_peak / m_max
    r = r * r
    root = xp.sqrt(xp.maximum(r * r + 4.0 * swing * (swing - r * sin_phi), 0.0))
    return xp.sqrt(0.5 * (r + root))


def rejected_voltage(v: Array, power: Array, time: float, c: Array) -> Array:
    """Return the voltage √(v² + 2·P·t/C) [V] after the source fed a cut-off link.

    Parameters
    ----------
    v : Array
        Voltage when the grid is lost [V]; its peak is the worst moment.
    power : Array
        Power P that still flows in [W].
    time : float
        Time t until the source stops [s].
    c : Array
        Capacitance C [F], above zero.

    Source
    ------
    Energy balance, derived here.
    """
    xp = array_namespace(v, power, c)
    return xp.sqrt(v * v + 2.0 * time * power / c)
