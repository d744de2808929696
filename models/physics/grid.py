"""What the grid asks of an inverter: phasors, pulsating power, distortion, leakage.

Angles θ run from the zero crossing of the grid voltage; a phasor with parts (re, im)
is the rms value of √2·(re·sin θ + im·cos θ).
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import ANGLE, Array, array_namespace

# Current loop: share of the period's delay, phase margin and lag of the integrator.
DELAY_PERIODS = 1.5  # [1], computation and hold; common practice, no source
PHASE_MARGIN = 60.0  # [°], common practice, no source
INTEGRATOR_LAG = 6.0  # [°], common practice, no source


@dataclasses.dataclass(frozen=True)
class Phasors:
    """Rms phasors at the bridge, parts along sin θ (re) and cos θ (im)."""

    u_re: Array  # [V], fundamental of the bridge's voltage
    u_im: Array
    i_re: Array  # [A], fundamental of the current out of the bridge
    i_im: Array
    v_filter: Array  # [V], rms across the filter capacitor
    i_grid: Array  # [A], rms into the grid


@dataclasses.dataclass(frozen=True)
class Pulsation:
    """Power at the bridge, p(θ) = P − a·cos 2θ + b·sin 2θ, and its share for a capacitor."""

    p: Array  # mean power P [W]
    cosine: Array  # a = S_p·cos ψ [W]
    sine: Array  # b = S_p·sin ψ [W]
    s_p: Array  # amplitude S_p [W]
    sin_phi: Array  # sine of the lag of the bridge's current [1]


def bridge_phasors(
    v_grid: Array,
    power: Array,
    power_factor: Array,
    *,
    omega: Array,
    l_bridge: Array,
    c: Array,
    l_grid: Array,
) -> Phasors:
    """Return voltage and current that a bridge needs behind an LCL filter.

    I_g = S/V·e^(−jφ);  V_c = V + jωL₂·I_g;  I = I_g + jωC·V_c;  U = V_c + jωL₁·I

    Resistances are left out: they turn the voltage by less than a degree.

    Parameters
    ----------
    v_grid : Array
        Rms grid voltage V [V].
    power : Array
        Active power into the grid [W].
    power_factor : Array
        Power factor at the grid [1]; negative where the current leads.
    omega : Array
        Angular line frequency ω [rad/s].
    l_bridge : Array
        Bridge-side inductance L₁ [H].
    c : Array
        Filter capacitance C [F].
    l_grid : Array
        Grid-side inductance L₂ [H].

    Source
    ------
    Network analysis; textbooks.
    """
    xp = array_namespace(v_grid, power, power_factor, l_bridge, c)
    cosine = xp.abs(power_factor)
    sine = xp.sqrt(xp.maximum(1.0 - cosine * cosine, 0.0)) * xp.sign(power_factor)
    i_grid = power / (v_grid * cosine)
    g_re, g_im = i_grid * cosine, -i_grid * sine
    x_2, x_1, b = omega * l_grid, omega * l_bridge, omega * c
    c_re, c_im = v_grid - x_2 * g_im, x_2 * g_re
    i_re, i_im = g_re - b * c_im, g_im + b * c_re
    return Phasors(
        u_re=c_re - x_1 * i_im,
        u_im=c_im + x_1 * i_re,
        i_re=i_re,
        i_im=i_im,
        v_filter=xp.sqrt(c_re * c_re + c_im * c_im),
        i_grid=i_grid,
    )


def pulsation(x: Phasors) -> Pulsation:
    """Return the mean and the pulsating power at the bridge [W].

    u·i = P − S_p·cos(2θ + ψ) exactly, S_p·e^(jψ) = U·I without conjugate; the energy in
    the filter is part of it.

    Source
    ------
    Product of two sines; textbooks.
    """
    xp = array_namespace(x.u_re)
    cosine = x.u_re * x.i_re - x.u_im * x.i_im
    sine = x.u_re * x.i_im + x.u_im * x.i_re
    s_p = xp.sqrt(cosine * cosine + sine * sine)
    reactive = x.u_im * x.i_re - x.u_re * x.i_im
    return Pulsation(
        p=x.u_re * x.i_re + x.u_im * x.i_im,
        cosine=cosine,
        sine=sine,
        s_p=s_p,
        sin_phi=reactive / xp.maximum(s_p, 1e-12),
    )


def resonance(l_bridge: Array, l_grid: Array, c: Array) -> Array:
    """Return the resonant frequency √((L₁ + L₂)/(L₁·L₂·C))/2π [Hz] of an LCL filter.

    Parameters
    ----------
    l_bridge : Array
        Inductance L₁ [H].
    l_grid : Array
        Inductance L₂ [H].
    c : Array
        Capacitance C [F].

    Source
    ------
    M. Liserre, F. Blaabjerg, S. Hansen, "Design and control of an LCL-filter-based
    three-phase active rectifier", IEEE Trans. Ind. Appl. 41(5), 2005 (from memory).
    """
    xp = array_namespace(l_bridge, l_grid, c)
    return xp.sqrt((l_bridge + l_grid) / (l_bridge * l_grid * c)) / (2.0 * math.pi)


def damping_resistance(f_res: Array, c: Array) -> Array:
    """Return the resistance 1/(3·ω_res·C) [Ω] in series with the filter capacitor.

    Parameters
    ----------
    f_res : Array
        Resonant frequency [Hz].
    c : Array
        Filter capacitance C [F].

    Source
    ------
    Liserre, Blaabjerg and Hansen, 2005, as above (from memory).
    """
    return 1.0 / (6.0 * math.pi * f_res * c)


def lcl_admittance(
    f: Array, l_bridge: Array, l_grid: Array, *, c: Array, r_damp: Array
) -> tuple[Array, Array]:
    """Return grid current and capacitor current per bridge voltage [S], magnitudes.

    Y_g = |Z_c/(Z₁·Z₂ + Z_c·(Z₁ + Z₂))|,  Y_c = |Z₂|/|…| with Z_c = R_d + 1/(jωC).
    The grid counts as a short circuit; its inductance makes the current smaller.

    Parameters
    ----------
    f : Array
        Frequency [Hz], above the resonance.
    l_bridge : Array
        Inductance L₁ [H].
    l_grid : Array
        Inductance L₂ [H].
    c : Array
        Capacitance C [F].
    r_damp : Array
        Damping resistance R_d [Ω].

    Source
    ------
    Network analysis; textbooks.
    """
    xp = array_namespace(f, l_bridge, l_grid, c, r_damp)
    omega = 2.0 * math.pi * f
    x_1, x_2, x_c = omega * l_bridge, omega * l_grid, -1.0 / (omega * c)
    re = -x_1 * x_2 - x_c * (x_1 + x_2)
    im = r_damp * (x_1 + x_2)
    whole = xp.sqrt(re * re + im * im)
    return xp.sqrt(r_damp * r_damp + x_c * x_c) / whole, x_2 / whole


def current_loop(f: Array, inductance: Array) -> tuple[Array, Array]:
    """Return proportional [Ω] and integral [Ω/s] gain of the grid-current loop.

    f_c = (90° − PM − 6°)/(360°·T_d),  K_p = 2πf_c·L,  K_i = K_p·2πf_c·tan 6°,
    T_d = 1.5/f.  The filter's resonance is left out of the gains.

    Parameters
    ----------
    f : Array
        Switching and sampling frequency [Hz].
    inductance : Array
        Sum L of the filter's inductances [H].

    Source
    ------
    D. G. Holmes, T. A. Lipo, B. P. McGrath, W. Y. Kong, "Optimized design of stationary
    frame three phase AC current regulators", IEEE Trans. Power Electron. 24(11), 2009
    (from memory).
    """
    f_c = (90.0 - PHASE_MARGIN - INTEGRATOR_LAG) / 360.0 * f / DELAY_PERIODS
    omega_c = 2.0 * math.pi * f_c
    k_p = omega_c * inductance
    return k_p, k_p * omega_c * math.tan(math.radians(INTEGRATOR_LAG))


def line_harmonics(half: Array, theta: Array, orders: tuple[int, ...]) -> tuple[Array, ...]:
    """Return amplitudes of odd harmonics of a wave that changes sign every half cycle.

    Parameters
    ----------
    half : Array
        The wave over the first half cycle.
    theta : Array
        Its angles θ [rad], equally spaced over π.
    orders : tuple of int
        Odd orders of the line frequency.

    Source
    ------
    Fourier series; textbooks.
    """
    xp = array_namespace(half)
    angle = theta[0, 0, :, None] * xp.asarray([float(h) for h in orders])
    count = theta.shape[ANGLE]
    # One product of matrices instead of two means for each order.
    parts = half @ xp.concat((xp.sin(angle), xp.cos(angle)), axis=1)
    found = []
    for j in range(len(orders)):
        re, im = parts[..., j : j + 1], parts[..., j + len(orders) : j + len(orders) + 1]
        found.append(2.0 / count * xp.sqrt(re * re + im * im))
    return tuple(found)


def line_product(x: Array, y: Array) -> Array:
    """Return the line mean of x·y without an array of products; same shape both.

    In the unit [x]·[y].

    Source
    ------
    Arithmetic.
    """
    xp = array_namespace(x, y)
    return xp.vecdot(x, y, axis=-1)[..., None] / x.shape[ANGLE]


def distortion_current(
    voltages: tuple[Array, ...],
    orders: tuple[int, ...],
    *,
    omega: Array,
    inductance: Array,
    gains: tuple[Array, Array],
) -> Array:
    """Return the rms current [A] that harmonic voltages drive against the current loop.

    I_h = V_h/(√2·|jhωL + K_p + K_i/(jhω)|), added as root of the sum of squares.

    Parameters
    ----------
    voltages : tuple of Array
        Amplitudes V_h [V].
    orders : tuple of int
        Their orders h.
    omega : Array
        Angular line frequency ω [rad/s].
    inductance : Array
        Sum L of the filter's inductances [H].
    gains : tuple of Array
        K_p [Ω] and K_i [Ω/s] of the loop.

    Source
    ------
    Network analysis; loop model derived here.
    """
    xp = array_namespace(omega, inductance, *voltages)
    k_p, k_i = gains
    total: Array = 0.0 * omega
    for v, h in zip(voltages, orders, strict=True):
        x = h * omega * inductance - k_i / (h * omega)
        total = total + 0.5 * v * v / (k_p * k_p + x * x)
    return xp.sqrt(total)


def base_capacitance(power: float, v_grid: Array, omega: Array) -> Array:
    """Return the base capacitance P/(ω·V²) [F] of a grid connection.

    Parameters
    ----------
    power : float
        Rated power P [W].
    v_grid : Array
        Nominal grid voltage V [V].
    omega : Array
        Angular line frequency ω [rad/s].

    Source
    ------
    Definition of per-unit quantities; textbooks.
    """
    return power / (omega * v_grid * v_grid)


def ground_current(v: Array, f: Array, c: Array) -> Array:
    """Return the rms current ω·C·V [A] through the capacitance to earth.

    Inductance and earth resistance in the loop are left out; they matter near the
    loop's resonance, far above the line frequency.

    Parameters
    ----------
    v : Array
        Rms voltage V across the loop [V].
    f : Array
        Its frequency [Hz].
    c : Array
        Capacitance C of the loop [F]; module and winding capacitance in series if the
        converter is isolated.

    Source
    ------
    Ohm's law.
    """
    return 2.0 * math.pi * f * c * v
