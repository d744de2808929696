"""Start values of the control loops of one design, with the margins they leave.

A loop is a plant (quotient of polynomials in s), a delay and a few filters, closed by a
proportional-integral controller.  The values start a commissioning; they replace none.
Over sampled eigenvalues the delay model puts the gain limit of a current loop 5 % high.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from models.physics.grid import DELAY_PERIODS

Response = NDArray[np.complex128]
Filter = Callable[[NDArray[np.float64]], Response]

F_LOW, F_HIGH, POINTS = 1e-2, 1e5, 20001  # [Hz], [Hz], [1] of the margin search


@dataclasses.dataclass(frozen=True)
class Plant:
    """What a controller acts on; its sign is already made positive."""

    description: str
    num: tuple[float, ...]  # highest power of s first
    den: tuple[float, ...]
    delay: float = 0.0  # [s]
    filters: tuple[Filter, ...] = ()

    def response(self, f: NDArray[np.float64]) -> Response:
        """Return the complex gain at ``f`` [Hz]."""
        omega = 2.0 * math.pi * f
        found = signal.freqs(self.num, self.den, omega)[1] * np.exp(-1j * omega * self.delay)
        for step in self.filters:
            found = found * step(omega)
        return np.asarray(found, dtype=np.complex128)


@dataclasses.dataclass(frozen=True)
class Loop:
    """Start values of one loop; nan where a margin does not exist."""

    name: str
    plant: str
    kp: float
    ki: float
    unit: str  # of kp; ki is that per second
    crossover: float  # [Hz]
    phase_margin: float  # [°]
    gain_margin: float  # [dB]
    note: str = ""


def closed(name: str, plant: Plant, gains: tuple[float, float], unit: str, note: str = "") -> Loop:
    """Return a loop with the margins that given gains leave, all crossings looked at.

    Parameters
    ----------
    name : str
        Name of the loop.
    plant : Plant
        What the controller acts on.
    gains : tuple of float
        Proportional gain [unit] and integral gain [unit/s].
    unit : str
        Unit of the proportional gain.
    note : str
        What has to be said about it.

    Source
    ------
    Bode's criterion; textbooks.
    """
    f = np.geomspace(F_LOW, F_HIGH, POINTS)
    whole = plant.response(f) * (gains[0] + gains[1] / (2j * math.pi * f))
    size = np.abs(whole)
    phase = np.unwrap(np.angle(whole))
    phase = phase - 2.0 * math.pi * np.round((phase[0] + math.pi / 2) / (2.0 * math.pi))
    falls = np.flatnonzero((size[:-1] >= 1.0) & (size[1:] < 1.0))
    turns = np.flatnonzero((phase[:-1] > -math.pi) & (phase[1:] <= -math.pi))
    crossover = margin = gain = math.nan
    if falls.size:
        crossover = float(f[falls[-1]])
        margin = 180.0 + math.degrees(float(phase[falls].min()))
    if turns.size:
        gain = -20.0 * math.log10(float(size[turns].max()))
    return Loop(name, plant.description, *gains, unit, crossover, margin, gain, note)


def proportional_integral(
    name: str, plant: Plant, unit: str, *, crossover: float, margin: float, note: str = ""
) -> Loop:
    """Return the loop whose PI controller puts crossover and phase margin exactly.

    φ_PI = −180° + PM − arg G,  T_i = tan(φ_PI + 90°)/ω_c,
    K_p = 1/(|G|·√(1 + 1/(ω_c·T_i)²)).  Where φ_PI would leave −90° … −2° no PI can do
    it: the loop comes back without gains and says so.

    Parameters
    ----------
    name : str
        Name of the loop.
    plant : Plant
        What the controller acts on.
    unit : str
        Unit of the proportional gain.
    crossover : float
        Wanted crossover frequency [Hz].
    margin : float
        Wanted phase margin [°].
    note : str
        What has to be said about it.

    Source
    ------
    Frequency response design; textbooks.
    """
    omega = 2.0 * math.pi * crossover
    g = complex(plant.response(np.array([crossover]))[0])
    lag = math.radians(margin - 180.0) - math.atan2(g.imag, g.real)
    lag = (lag + math.pi) % (2.0 * math.pi) - math.pi
    if not -math.pi / 2.0 < lag < math.radians(-2.0):
        why = (
            f"no PI gives {margin:.0f}° at {crossover:.3g} Hz: it would have to turn the phase "
            f"by {math.degrees(lag):.0f}°; lower the crossover"
        )
        return Loop(name, plant.description, 0.0, 0.0, unit, crossover, math.nan, math.nan, why)
    t_i = math.tan(lag + math.pi / 2.0) / omega
    kp = 1.0 / (abs(g) * math.sqrt(1.0 + 1.0 / (omega * t_i) ** 2))
    return closed(name, plant, (kp, kp / t_i), unit, note)


def butterworth(f: float) -> Filter:
    """Return a Butterworth low-pass of third order with corner ``f`` [Hz].

    Source
    ------
    S. Butterworth, "On the theory of filter amplifiers", 1930 (from memory).
    """
    num, den = signal.butter(3, 2.0 * math.pi * f, analog=True)
    return lambda omega: np.asarray(signal.freqs(num, den, omega)[1], dtype=np.complex128)


def moving_average(time: float) -> Filter:
    """Return the mean over the last ``time`` [s]; zero at the multiples of 1/time.

    Source
    ------
    Fourier integral; textbooks.
    """
    return lambda omega: np.asarray(
        np.sinc(omega * time / (2.0 * math.pi)) * np.exp(-0.5j * omega * time),
        dtype=np.complex128,
    )


def delay(f: float) -> float:
    """Return the delay 1.5/f [s] of computation and hold at sampling frequency ``f`` [Hz].

    Source
    ------
    Holmes, Lipo, McGrath and Kong, 2009 (from memory).
    """
    return DELAY_PERIODS / f
