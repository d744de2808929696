"""Electrolytic capacitors across the module: they store the power that pulsates.

Everything behind them may draw 2·P·sin²θ.  What swings at the module costs energy,
because the module leaves its maximum power point twice a line cycle; the same price is
paid for a ripple that leaks through a DC-DC stage, so that ``mppt_utilisation`` and
``ripple_books`` serve every topology.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace
from models.case import Case
from models.ledger import Kind, Ledger, at_most, booking, joined
from models.parts import capacitor, ceramic, electrolytic
from models.physics.capacitor import electrolytic_resistance, frequency_multiplier
from models.stages.ports import StorageTraits, Store
from models.stages.stage import Placed
from models.stress import CapacitorStress
from models.variables import part

TRAITS = StorageTraits("electrolytics at the module", Store.MODULE, swings=False)

# Amplitude over voltage up to which loss and ripple were checked: there the ripple is
# right to 0.5 %, the loss up to 18 % low; computed here by integration in time.
RIPPLE_VALID = 0.10  # [1]
RIPPLE_LARGEST = 0.30  # [1], the formula is evaluated here beyond

END_OF_LIFE = 0.8  # [1], capacitance left; published endurance tests

# Series resistance of a can warm and at high frequency over its value at 20 °C, on top
# of the frequency multiplier [1]; common practice, no source.
WARM = 0.5


@dataclasses.dataclass(frozen=True)
class Design:
    """Capacitors across the module."""

    storage: electrolytic.Design = part("electrolytics that store the pulsating power")
    bypass: ceramic.Design = part("ceramics that take the switching ripple")


@dataclasses.dataclass(frozen=True)
class Ripple:
    """Ripple at the module, (design, point, 1)."""

    ratio: Array  # [1], amplitude over voltage
    i_rms: Array  # [A] in the capacitor, at twice the line frequency


def mppt_utilisation(kappa: Array, ripple_ratio: Array) -> Array:
    """Return the share of the module's power left by a sinusoidal ripple [1].

    η = 1 − κ·r²/4,   κ = −P''(V)·V²/P at the maximum

    The second-order term alone: the loss is at most 4 % low up to r = 0.04 and 4 to
    18 % low at 0.10.  Evaluated at 0.30 beyond that.

    Parameters
    ----------
    kappa : Array
        Curvature κ of the module's power [1].
    ripple_ratio : Array
        Amplitude over mean voltage r [1].

    Source
    ------
    Series of the power about its maximum.  S. B. Kjaer, J. K. Pedersen, F. Blaabjerg,
    "A review of single-phase grid-connected inverters for photovoltaic modules", IEEE
    Trans. Ind. Appl. 41(5), 2005 (from memory), with a polynomial in place of κ.
    """
    xp = array_namespace(kappa, ripple_ratio)
    r = xp.minimum(ripple_ratio, RIPPLE_LARGEST)
    return 1.0 - 0.25 * kappa * r * r


def ripple(p: Array, p_run: Array, *, c: Array, v: Array, omega: Array, kappa: Array) -> Ripple:
    """Return the ripple of a module that feeds 2·P·sin²θ through a capacitor.

    r₀ = P/(2·ω·C·V²),   r = 2·r₀/(1 + √(1 + κ·r₀²))

    because the module itself gives way: the power it loses is missing in the ripple.
    In burst operation one half line cycle in p_run/P runs; with x = acos(1 − P/p_run)
    the energy swings by [(p_run − P)·(π − x) + p_run·sin x]/ω peak to peak instead of
    P/ω, and r is half of that swing over C·V².

    Below 10 % amplitude the ripple is 0.5 % right, at 17 % it is 2 % high.  p_run/P has to
    be whole: six half cycles of seven would swing three times as far as said here.

    Parameters
    ----------
    p : Array
        Mean power P [W].
    p_run : Array
        Mean power of a half line cycle that runs [W], at least P.
    c, v : Array
        Capacitance C [F] and mean voltage V of the module [V].
    omega : Array
        Angular line frequency ω [rad/s].
    kappa : Array
        Curvature κ of the module's power [1].

    Source
    ------
    Energy balance, derived here.
    """
    xp = array_namespace(p, p_run, c)
    share = xp.clip(p / xp.maximum(p_run, 1e-9), 0.0, 1.0)
    cosine = 1.0 - share
    sine = xp.sqrt(xp.maximum(share * (2.0 - share), 0.0))
    pulsating = (p_run - p) * (math.pi - xp.acos(cosine)) + p_run * sine
    r_0 = pulsating / (2.0 * omega * c * v * v)
    damped = 2.0 / (1.0 + xp.sqrt(1.0 + kappa * r_0 * r_0))
    square = xp.maximum(1.5 * p_run * p - p * p, 0.0)
    return Ripple(damped * r_0, damped * xp.sqrt(square) / v)


def ripple_books(ratio: Array, case: Case, worn: Array | None = None) -> Ledger:
    """Return what a ripple at the module costs and its limits.

    Parameters
    ----------
    ratio : Array
        Amplitude over voltage [1], (design, point, 1).
    case : Case
        Specification and operating points.
    worn : Array, optional
        The same with capacitors at the end of their life; the limits hold for it.
    """
    xp = array_namespace(ratio)
    points = case.points
    worst = ratio if worn is None else worn
    one = xp.ones((1, 1, 1))
    books = joined(
        booking("module.mppt_efficiency", Kind.FIGURE, mppt_utilisation(points.kappa, ratio),
                "share of the module's power left by the ripple", ""),
        booking("module.ripple", Kind.FIGURE, ratio, "ripple amplitude over module voltage", ""),
        at_most("module.ripple", worst, RIPPLE_VALID * one, "",
                "ripple at the module at the end of life, region of the model"),
    )  # fmt: skip
    wanted = case.spec.limits.module_ripple_max_pct
    if wanted is None:
        return books
    full = points.p_ac >= 0.99 * xp.max(points.p_ac)
    held = xp.where(full, worst, 0.0)
    return books + at_most(
        "module.ripple_wanted", held, 0.01 * wanted * one, "", "ripple at the module, full power"
    )


def place(
    path: str,
    design: Design,
    p: Array,
    *,
    p_run: Array,
    i_hf_rms: Array,
    f_hf: Array,
    case: Case,
) -> Placed:
    """Return the capacitors across the module with ripple, use of the module and limits.

    The electrolytics carry the pulsating power alone; the switching ripple divides
    between their series resistance and the reactance of the ceramics.

    Parameters
    ----------
    path : str
        Dotted path of the stage.
    design : Design
        Both banks.
    p : Array
        Mean power drawn [W]; a row without power into the grid has no ripple.
    p_run : Array
        Mean power of a half line cycle that runs [W].
    i_hf_rms : Array
        Switching ripple current drawn by the stage behind [A].
    f_hf : Array
        Its frequency [Hz].
    case : Case
        Specification, operating points and catalogue.
    """
    xp = array_namespace(p)
    points, runs = case.points, case.points.p_ac > 0.0
    p, p_run = xp.where(runs, p, 0.0), xp.where(runs, p_run, 0.0)
    c = capacitor.capacitance(design.storage, case)
    v, omega = points.v_pv, 2.0 * math.pi * points.f_grid
    new = ripple(p, p_run, c=c, v=v, omega=omega, kappa=points.kappa)
    worn = ripple(p, p_run, c=END_OF_LIFE * c, v=v, omega=omega, kappa=points.kappa)
    table, index = case.catalogue[electrolytic.TABLE], design.storage.row
    r_20 = electrolytic_resistance(table.at("c", index), table.at("tan_delta", index))
    speed = frequency_multiplier(f_hf)
    r = WARM * r_20 / (design.storage.count * speed * speed)
    x = 1.0 / (2.0 * math.pi * f_hf * capacitor.capacitance_at(design.bypass, v, case))
    size = xp.sqrt(r * r + x * x)
    swing, peak = 2.0 * new.ratio * v, v * (1.0 + worn.ratio)
    stored = CapacitorStress(v, peak, swing, new.i_rms, i_hf_rms * x / size, f_hf)
    # The ceramics share the line-frequency current by their capacitance: next to nothing.
    passed = CapacitorStress(v, peak, swing, 0.0 * new.i_rms, i_hf_rms * r / size, f_hf)
    eol = mppt_utilisation(points.kappa, worn.ratio)
    return Placed(
        (
            capacitor.place(f"{path}.storage", design.storage, stored, case),
            capacitor.place(f"{path}.bypass", design.bypass, passed, case),
        ),
        joined(
            ripple_books(new.ratio, case, worn.ratio),
            booking(f"{path}.ripple_worn", Kind.FIGURE, worn.ratio,
                    "ripple amplitude over module voltage with a fifth of C lost", ""),
            booking(f"{path}.mppt_efficiency_worn", Kind.FIGURE, eol,
                    "share of the module's power left by that ripple", ""),
        ),
    )  # fmt: skip
