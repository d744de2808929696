"""Protections to provide and prototype checks to plan, with the numbers of one design."""

from __future__ import annotations

import math

SAFE_VOLTAGE = 60.0  # [V] DC, limit of what may be touched dry; IEC 62109-1 (from memory)
DISCHARGE_TIME = 300.0  # [s] after which covers may come off; IEC 62109-1 (from memory)


def discharge_note(name: str, c: float, v: float) -> str:
    """Return how much energy a capacitor holds and the bleeder that empties it in time.

    R = t/(C·ln(V/60 V)), from the exponential discharge.

    Parameters
    ----------
    name : str
        What the capacitor is called.
    c : float
        Capacitance [F].
    v : float
        Highest voltage across it [V].

    Source
    ------
    Discharge to 60 V: IEC 62109-1 (from memory); the time is a project default, not a
    requirement of the standard.
    """
    energy = 0.5 * c * v * v
    if v <= SAFE_VOLTAGE:
        return f"{name}: {1e6 * c:.3g} µF at up to {v:.0f} V holds {energy:.2g} J; below 60 V."
    resistance = DISCHARGE_TIME / (c * math.log(v / SAFE_VOLTAGE))
    return (
        f"{name}: {1e6 * c:.3g} µF at up to {v:.0f} V holds {energy:.2g} J. A bleeder of at most "
        f"{resistance / 1e6:.3g} MΩ brings it below 60 V in {DISCHARGE_TIME:.0f} s and costs "
        f"{1e3 * v * v / resistance:.0f} mW; without it wait and measure."
    )


def common_protections(v_grid: float, rated: float, isolated: bool) -> list[str]:
    """Return what every grid-connected module inverter needs, with its numbers.

    Values are design starts from common practice (no source) unless a standard is named;
    the standards were not at hand and their current text decides.
    """
    i_rated = rated / v_grid
    poles = "one pair of contacts" if isolated else "two contacts in series in line and in neutral"
    return [
        f"Grid relay: {poles}, checked before every start, rated for {1.5 * i_rated:.1f} A and "
        "the surge voltage of the grid.",
        f"Grid window: trip and reconnect by IEEE 1547 or EN 50549-1 as the place demands; "
        f"islanding detection by IEC 62116. Nominal {v_grid:.0f} V.",
        f"Peak current trip of the grid stage at about {2.2 * math.sqrt(2) * i_rated:.1f} A, in "
        f"hardware, faster than 2 µs.",
        f"DC in the grid current below {5 * i_rated:.0f} mA (0.5 % of rated, IEEE 1547-2018 from "
        "memory): the current sensor's offset and drift must stay below 0.3 % of rated.",
        "Surge: varistor and inductive input towards the grid for IEC 61000-4-5; varistor or "
        "suppressor at the module port.",
        "Module port: reverse polarity, over-voltage at record cold, insulation test before start "
        "where local rules ask for it.",
        "Thermal derating from a sensor on the wall; a second, independent cut-off.",
        "Watchdog with gate disable in hardware; under-voltage lockout of every driver.",
    ]


def common_checks() -> list[str]:
    """Return the measurements that a first prototype of any topology deserves."""
    return [
        "Efficiency at the weighted loads and three module voltages with a calibrated power "
        "analyser; compare every loss group with the table above before trusting the rest.",
        "Temperatures of every part with the box closed, at full power, hottest air, for hours.",
        "Switch voltages with ringing, at full power and at record-cold input voltage; compare "
        "with the derated ratings.",
        "Inductance of every wound part up to its peak current; ratio and leakage.",
        "Module voltage ripple at twice line frequency and the tracker's utilisation on a module "
        "simulator.",
        "Grid current harmonics to the 50th, DC component, power factor; conducted emission from "
        "150 kHz.",
        "Loop gains with an injected signal at three operating points; steps of 50 % to 100 % "
        "power and back.",
        "Loss of grid at full power: link and terminal voltages, time to trip, restart.",
        "Insulation, touch current and earth-fault behaviour by a qualified laboratory.",
    ]
