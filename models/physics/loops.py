"""The control loops of each kind of converter, as the design sheet prints them."""

from __future__ import annotations

import dataclasses
import math
from typing import Protocol

import numpy as np

from models.axes import designs
from models.physics.control import (
    Filter,
    Loop,
    Plant,
    butterworth,
    closed,
    delay,
    moving_average,
    proportional_integral,
)
from models.physics.grid import PHASE_MARGIN, current_loop

F_LINK_MEAN = 5.0  # [Hz], crossover of the link balance; common practice, no source
F_LINK_SLOW = 1.5  # [Hz], crossover behind the 10 Hz filter; common practice, no source
F_LINK_FAST = 8.0  # [Hz], crossover behind the half-cycle mean; common practice, no source
F_FILTER = 10.0  # [Hz]
DAMPING = 0.7  # [1], of the doubler's resonance; common practice, no source


@dataclasses.dataclass(frozen=True)
class CommonGround:
    """One common-ground converter at full power, SI."""

    power: float
    v_grid: float
    f_grid: float
    v_module: float
    v_link: float  # link 1; link 2 carries twice as much
    f_front: float
    l_front: float
    c_module: float
    c_1: float
    c_2: float
    f_bridge: float
    l_doubler: float
    l_bridge: float
    l_grid: float
    c_filter: float
    r_damp: float
    r_line: float = 0.15  # [Ω], filter and wiring; common practice, no source


@dataclasses.dataclass(frozen=True)
class Unfolder:
    """One converter that feeds a rectified sine through an unfolder, at full power, SI."""

    power: float
    v_grid: float
    f_grid: float
    v_module: float
    c_module: float
    f_front: float
    l_grid: float
    c_filter: float
    r_damp: float


def common_ground(x: CommonGround) -> tuple[Loop, ...]:
    """Return the loops of a boost, a doubler and a common-ground half bridge [V, A, Hz].

    Source
    ------
    Plants derived here from the averaged circuit.
    """
    v_peak = math.sqrt(2.0) * x.v_grid
    c_equal = x.c_2 + 0.25 * x.c_1
    half = moving_average(0.5 / x.f_grid)
    feed = f"with feed-forward 2·P/V_pk = {2.0 * x.power / v_peak:.3g} A"
    link = Plant(
        "(V_pk/2)/(s·C_eq·V₂)", (v_peak / 2.0,), (c_equal * 2.0 * x.v_link, 0.0), 0.0, (half,)
    )
    slow = dataclasses.replace(link, filters=(butterworth(F_FILTER),))
    return (
        *front(x),
        _balance(x, half),
        proportional_integral(
            "link 2, mean", slow, "A/V", crossover=F_LINK_SLOW, margin=PHASE_MARGIN,
            note=f"behind a third-order 10 Hz filter; {feed}",
        ),
        proportional_integral(
            "link 2, mean, fast", link, "A/V", crossover=F_LINK_FAST, margin=PHASE_MARGIN,
            note=f"behind the mean of half a line cycle; for film links; {feed}",
        ),
        *grid(x),
    )  # fmt: skip


class FrontData(Protocol):
    """What the loops of a front with a choke need, SI."""

    @property
    def power(self) -> float:
        """At the module [W]."""

    @property
    def v_module(self) -> float:
        """Voltage of the module [V]."""

    @property
    def f_front(self) -> float:
        """Switching frequency [Hz]."""

    @property
    def l_front(self) -> float:
        """Inductance [H]."""

    @property
    def c_module(self) -> float:
        """Capacitance at the module [F]."""


class GridData(Protocol):
    """What the loops of the grid current need, SI."""

    @property
    def f_bridge(self) -> float:
        """Switching frequency [Hz]."""

    @property
    def l_bridge(self) -> float:
        """Bridge-side inductance [H]."""

    @property
    def l_grid(self) -> float:
        """Grid-side inductance [H]."""

    @property
    def c_filter(self) -> float:
        """Capacitance of the filter [F]."""

    @property
    def r_damp(self) -> float:
        """Damping resistance [Ω]."""

    @property
    def r_line(self) -> float:
        """Resistance of filter and wiring [Ω]."""


def module_plant(c: float, g: float, f_inner: float, f: float) -> Plant:
    """Return what the loop of the module's voltage acts on [V/A], around a current loop.

    Parameters
    ----------
    c : float
        Capacitance at the module [F].
    g : float
        Conductance I/V of the module's line through its operating point [S].
    f_inner : float
        Crossover of the current loop [Hz].
    f : float
        Switching frequency, for the delay [Hz].

    Source
    ------
    Averaged circuit, derived here.
    """
    den = np.polymul([c, g], [1.0 / (2.0 * math.pi * f_inner), 1.0])
    return Plant("1/((s·C + I/V)(1 + s/ω_i))", (1.0,), tuple(float(d) for d in den), delay(f))


def front(x: FrontData) -> tuple[Loop, Loop]:
    """Return the loops of choke current and module voltage [V, A, Hz].

    Source
    ------
    Plants derived here from the averaged circuit.
    """
    f_inner = x.f_front / 20.0
    omega = 2.0 * math.pi * f_inner
    current = Plant("1/(s·L)", (1.0,), (x.l_front, 0.0), delay(x.f_front))
    voltage = module_plant(x.c_module, x.power / x.v_module**2, f_inner, x.f_front)
    return (
        closed("front choke current", current, (omega * x.l_front, 0.0), "V/A",
               "d = 1 − (v − K·(i* − i))/v₁, which feeds the link voltage forward"),
        proportional_integral(
            "module voltage", voltage, "A/V", crossover=f_inner / 6.0, margin=PHASE_MARGIN,
            note="sign inverted: more current lowers the voltage",
        ),
    )  # fmt: skip


def _balance(x: CommonGround, half: Filter) -> Loop:
    """Return the loop that keeps the mean of link 1 by the doubler's duty."""
    c_series = 1.0 / (1.0 / x.c_1 + 0.25 / x.c_2)
    gain = 2.0 * x.v_link * c_series / x.c_1
    damping = DAMPING * math.sqrt(x.l_doubler / c_series)
    plant = Plant(
        "V₂·C_s/C₁/(1 + s·R_v·C_s + s²·L_b·C_s)",
        (gain,),
        (x.l_doubler * c_series, damping * c_series, 1.0),
        delay(x.f_bridge),
        (half,),
    )
    note = f"active damping R_v = {damping:.2g} Ω on i_b − (P/V₁ − i_g*)"
    return closed("link 1, mean", plant, (0.0, 2.0 * math.pi * F_LINK_MEAN / gain), "1/V", note)


def grid(x: GridData) -> tuple[Loop, Loop]:
    """Return the grid-current loop, by its gains and with the filter's resonance [V, A, Hz].

    Source
    ------
    Plants derived here from the averaged circuit.
    """
    whole = x.l_bridge + x.l_grid
    k_p, k_i = (float(k.item()) for k in current_loop(designs(x.f_bridge), designs(whole)))
    wait = delay(x.f_bridge)
    plain = Plant("1/(s·L + R)", (1.0,), (whole, x.r_line), wait)
    r, c = x.r_damp, x.c_filter
    full = Plant(
        "LCL, bridge-side current",
        (x.l_grid * c, r * c, 1.0),
        (x.l_bridge * x.l_grid * c, c * whole * r, whole, 0.0),
        wait,
    )
    note = "feed the grid voltage forward; resonant instead of integral gain: same K"
    return (
        closed("grid current", plain, (k_p, k_i), "V/A", note),
        closed("grid current with filter", full, (k_p, k_i), "V/A", "margins of the same gains"),
    )


def unfolder(x: Unfolder) -> tuple[Loop, ...]:
    """Return the loops of a rectified-sine converter [V, A, Hz].

    The front stage is a current source for its output filter; a sharper resonance than
    the damping resistor leaves shows as a small gain margin.

    Source
    ------
    Plants derived here from the averaged circuit.
    """
    v_peak = math.sqrt(2.0) * x.v_grid
    module = Plant(
        "(V_pk/2)/(s·C_pv·V_pv)",
        (v_peak / 2.0,),
        (x.c_module * x.v_module, 0.0),
        0.0,
        (moving_average(0.5 / x.f_grid),),
    )
    output = Plant(
        "1/(s²·L·C + s·R_d·C + 1), source to grid current",
        (x.r_damp * x.c_filter, 1.0),
        (x.l_grid * x.c_filter, x.r_damp * x.c_filter, 1.0),
        delay(x.f_front),
    )
    f_res = 1.0 / (2.0 * math.pi * math.sqrt(x.l_grid * x.c_filter))
    sharpness = math.sqrt(x.l_grid / x.c_filter) / x.r_damp
    # The resonance lifts the integrator by its sharpness and must stay 8 dB below one.
    f_c = min(f_res / 10.0, x.f_front / 40.0, f_res / (2.5 * max(sharpness, 1.0)))
    return (
        proportional_integral(
            "module voltage, mean", module, "A/V", crossover=F_LINK_FAST, margin=PHASE_MARGIN,
            note="sets the amplitude of the current; behind the mean of half a line cycle; "
            f"with feed-forward 2·P/V_pk = {2.0 * x.power / v_peak:.3g} A",
        ),
        closed("grid current", output, (0.0, 2.0 * math.pi * f_c), "1",
               "corrects the front stage's current reference; its shape is fed forward"),
    )  # fmt: skip
