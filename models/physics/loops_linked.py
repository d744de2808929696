"""The control loops of converters with one direct-current link, as the sheet prints them."""

from __future__ import annotations

import dataclasses
import math

from models.physics.control import (
    Loop,
    Plant,
    butterworth,
    closed,
    delay,
    moving_average,
    proportional_integral,
)
from models.physics.grid import PHASE_MARGIN
from models.physics.loops import (
    F_FILTER,
    F_LINK_FAST,
    F_LINK_MEAN,
    F_LINK_SLOW,
    Unfolder,
    front,
    grid,
    module_plant,
    unfolder,
)


@dataclasses.dataclass(frozen=True)
class Port:
    """The ripple port of a converter, SI."""

    f: float
    inductance: float
    c: float
    v: float  # across its storage, rms
    crossover: float  # of its current loop [Hz]


@dataclasses.dataclass(frozen=True)
class Linked:
    """One converter with a link at full power, SI."""

    power: float
    v_grid: float
    f_grid: float
    v_module: float
    v_link: float
    c_link: float
    f_front: float
    l_front: float  # of the choke whose current is controlled; 0 where there is none
    c_module: float
    regulated: bool  # the front holds the module's voltage; else the link does
    f_bridge: float
    l_bridge: float
    l_grid: float
    c_filter: float
    r_damp: float
    port: Port | None = None
    r_line: float = 0.15  # [Ω], filter and wiring; common practice, no source


def linked(x: Linked) -> tuple[Loop, ...]:
    """Return the loops of front, link, ripple port and grid current [V, A, Hz].

    Source
    ------
    Plants derived here from the averaged circuit.
    """
    port = _port(x.port, x.f_grid) if x.port else ()
    return (*_module(x), *_link(x), *port, *grid(x))


@dataclasses.dataclass(frozen=True)
class ModulePort:
    """A converter that feeds a rectified sine, with a ripple port at the module, SI."""

    power: float
    v_grid: float
    f_grid: float
    v_module: float
    c_module: float  # beside the port
    voltage_loop: float  # crossover of the module voltage's loop [Hz]
    port: Port
    grid: Unfolder


def module_port(x: ModulePort) -> tuple[Loop, ...]:
    """Return the loops of a ripple port at the module and of the stage behind it [V, A, Hz].

    The port holds the module's voltage; the amplitude of the grid current holds the mean
    energy of the port's storage, d(v²)/dt = 2·p/C with p = V_pk/2 for each ampere.

    Source
    ------
    Plants derived here from the averaged circuit.
    """
    v_peak = math.sqrt(2.0) * x.v_grid
    module = module_plant(x.c_module, x.power / x.v_module**2, x.port.crossover, x.port.f)
    energy = Plant(
        "V_pk/(s·C)", (v_peak,), (x.port.c, 0.0), 0.0, (moving_average(0.5 / x.f_grid),)
    )
    current, _ = _port(x.port, x.f_grid)
    return (
        current,
        proportional_integral(
            "module voltage", module, "A/V", crossover=x.voltage_loop, margin=PHASE_MARGIN,
            note="sets the port's current; the pulsating power fed forward",
        ),
        proportional_integral(
            "ripple port, mean square of the storage", energy, "A/V²", crossover=F_LINK_FAST,
            margin=PHASE_MARGIN,
            note="sets the amplitude of the grid current; with feed-forward 2·P/V_pk = "
            f"{2.0 * x.power / v_peak:.3g} A",
        ),
        unfolder(x.grid)[1],
    )  # fmt: skip


def _module(x: Linked) -> tuple[Loop, ...]:
    """Return the loops that hold the module's voltage; none where the ratio is fixed."""
    if not x.regulated:
        return ()
    if x.l_front > 0.0:
        return front(x)
    plant = module_plant(x.c_module, x.power / x.v_module**2, x.f_front / 20.0, x.f_front)
    return (
        proportional_integral(
            "module voltage", plant, "A/V", crossover=x.f_front / 120.0, margin=PHASE_MARGIN,
            note="sets the current drawn; sign inverted: more current lowers the voltage; link "
            "and module voltage fed forward to the stage's own law, a twentieth of f fast",
        ),
    )  # fmt: skip


def _link(x: Linked) -> tuple[Loop, ...]:
    """Return the loops of the link's mean voltage, which set the amplitude of the current.

    With a fixed ratio the link's reference is that of the module's tracker.
    """
    v_peak = math.sqrt(2.0) * x.v_grid
    feed = f"with feed-forward 2·P/V_pk = {2.0 * x.power / v_peak:.3g} A"
    if not x.regulated:
        feed += "; its reference is the tracker's, times the ratio"
    # What stands at the module sums up with the link behind a fixed ratio.
    seen = 0.0 if x.regulated else x.c_module * (x.v_module / x.v_link) ** 2
    plant = Plant(
        "(V_pk/2)/(s·C·V)", (v_peak / 2.0,), ((x.c_link + seen) * x.v_link, 0.0), 0.0,
        (moving_average(0.5 / x.f_grid),),
    )  # fmt: skip
    slow = dataclasses.replace(plant, filters=(butterworth(F_FILTER),))
    return (
        proportional_integral(
            "link, mean", slow, "A/V", crossover=F_LINK_SLOW, margin=PHASE_MARGIN,
            note=f"behind a third-order 10 Hz filter; {feed}",
        ),
        proportional_integral(
            "link, mean, fast", plant, "A/V", crossover=F_LINK_FAST, margin=PHASE_MARGIN,
            note=f"behind the mean of half a line cycle; for film in the link; {feed}",
        ),
    )  # fmt: skip


def _port(port: Port, f_grid: float) -> tuple[Loop, Loop]:
    """Return the loops of a ripple port: current, and mean energy of its storage."""
    omega = 2.0 * math.pi * port.crossover
    current = Plant("1/(s·L)", (1.0,), (port.inductance, 0.0), delay(port.f))
    # d(v²)/dt = 2·p/C: a trim of the power, here in watts.
    energy = Plant("2/(s·C)", (2.0,), (port.c, 0.0), 0.0, (moving_average(0.5 / f_grid),))
    gain = 2.0 * math.pi * F_LINK_MEAN * port.c / 2.0
    return (
        closed("ripple port, current", current, (omega * port.inductance, 0.0), "V/A",
               "reference S_p·cos(2θ + ψ)/v of the storage, from the measured grid power"),
        closed("ripple port, mean square of the storage", energy, (gain, 0.0), "W/V²",
               "a trim of the port's power"),
    )  # fmt: skip
