"""Flyback with active clamp that delivers a rectified sine to an unfolder.

    module ──┬── L_k ── primary ──┬── S ── ground      secondary ── D ── C_f ── unfolder
             └── C_c ──── S_c ────┘

One or two phases, half a period apart.  The power pulsates as 2·P·sin²θ from the module
to the grid, so that the storage stands at the module.  Two ways to drive the clamp
switch, see ``flyback_waves``.
"""

from __future__ import annotations

import dataclasses
import math

from models.axes import Array, array_namespace, line_max, line_mean, point_max, point_min
from models.case import Case
from models.ledger import Kind, Ledger, at_least, at_most, booking, joined
from models.parts import capacitor, ceramic, diode, resistor, switch, transformer
from models.physics.semiconductor import charge_and_energy
from models.stages import flyback_ripple as ripple
from models.stages import flyback_stress as stress
from models.stages.flyback_waves import Circuit, complementary, short_pulse
from models.stages.ports import FrontTraits, Output
from models.stages.stage import Placed
from models.stages.unfolder import Demand
from models.variables import part, real, structure

# Pulse of the clamp switch over √(L_k·C_c) [rad]: long enough to use C_c, short enough
# to leave the slope of its current nearly straight; ours.
PULSE_ANGLE = 0.6

DUTY_MAX = 0.8  # [1]; common practice, no source
# Least time of a gate pulse, and the on-time wanted at the line's peak so that the rest of
# the cycle down to a fifth of it can be driven [s]; common practice, no source.
PULSE_MIN, ON_TIME_MIN = 100e-9, 500e-9

# Charge that C_c takes up in following the rectified sine over that of the clamp pulse:
# at 0.5 the clamp's rms current is 2 % low; computed here over a whole line cycle.
FOLLOW_MAX = 0.6

TRAITS = FrontTraits(
    title="active-clamp flyback",
    isolated=True,
    output=Output.RECTIFIED,
    regulated=True,
    common_negative=False,
    reverse=False,
)

# Mean power the magnetising inductance is laid out for, over rated [1]: losses included.
LAYOUT = 1.05


@dataclasses.dataclass(frozen=True)
class Design:
    """What may be varied of the flyback."""

    phases: int = structure(1, 2, meaning="phases, half a period apart")
    clamp: str = structure("short_pulse", "complementary", meaning="drive of the clamp switch")
    f: Array = real(50, 250, "kHz", "switching frequency", log=True)
    magnetising: Array = real(
        0.3, 1.0, "",
        "1: magnetising current just reaches zero at the line's peak, full power and lowest "
        "voltage; short pulse: it flows for this share of the period there; complementary: "
        "it swings by this share of its mean, up and down",
    )  # fmt: skip
    least_load: Array = real(
        0.03, 0.5, "",
        "a phase runs with no less than this share of its rated power; below, phases are "
        "shed, then half line cycles left out",
        log=True,
    )  # fmt: skip
    transformer: transformer.Design = part("transformer of each phase")
    main: switch.Design = part("switch of each phase")
    clamp_switch: switch.Design = part("clamp switch of each phase")
    rectifier: diode.Design = part("diode of each phase")
    clamp_capacitor: ceramic.Design = part("clamp capacitor of each phase")


@dataclasses.dataclass(frozen=True)
class Running:
    """How the stage shares its time among half line cycles and phases, (design, point, 1)."""

    p_run: Array  # [W], mean power of a half line cycle that runs
    share: Array  # of half line cycles that run [1]
    phases: Array  # that run then [1]


@dataclasses.dataclass(frozen=True)
class FlybackPorts:
    """What the stages around need, (design, point, 1)."""

    i_in_hf_rms: Array  # [A], switching ripple drawn from the module's capacitors
    i_out_hf_rms: Array  # [A], switching ripple into C_f
    f_hf: Array  # [Hz], its lowest frequency
    p_in: Array  # [W], from the input current of the waves
    noise: tuple[Array, ...]  # [A], harmonics of ``f`` of the output current, at the peak
    v_node: Array  # [V], swing of the primary at the peak of the line


def running(design: Design, p: Array, case: Case) -> Running:
    """Return which phases run when, at module power ``p`` [W].

    All phases run down to ``least_load`` of rated power, then one alone, and below what
    that one may carry at least, bursts of half line cycles at that power.
    """
    xp = array_namespace(p)
    rated = point_max(case.points.p_ac)
    least = design.least_load * rated / design.phases
    p_run = xp.maximum(p, least)
    many = p >= design.least_load * rated
    share = xp.where(case.points.p_ac > 0.0, p / p_run, 0.0)
    return Running(p_run, share, xp.where(many, float(design.phases), 1.0))


def in_half_cycles(design: Design, p: Array, case: Case) -> Running:
    """Return which phases run when, bursts being one half line cycle out of a whole number.

    What is stored at the module swings least so: running six half cycles of seven would
    swing it three times as far as seven of seven.  The power into the grid decides on the
    number, so that losses do not move it.

    Parameters
    ----------
    design : Design
        The flyback.
    p : Array
        Power at its input [W].
    case : Case
        Operating points.
    """
    xp = array_namespace(p)
    p_ac = case.points.p_ac
    least = design.least_load * point_max(p_ac) / design.phases
    number = xp.ceil(least / xp.where(p_ac > 0.0, p_ac, least) - 1e-9)
    run = running(design, p, case)
    share = xp.where(p_ac > 0.0, 1.0 / number, 0.0)
    return dataclasses.replace(run, p_run=xp.maximum(number * p, run.p_run), share=share)


def circuit(design: Design, v_drop: Array, case: Case) -> Circuit:
    """Return inductances, clamp capacitance and pulse length of a phase.

    L_b = V_i²·D₀²/(4·(P/N)·f), D₀ = V_r/(V_r + V_i), just ends at zero current at the
    line's peak; with the variable x, L_m = x²·L_b (short pulse) or L_b/x.

    Source
    ------
    Balance of power over the line cycle in discontinuous conduction: A. C. Kyritsis,
    E. C. Tatakis, N. P. Papanikolaou, IEEE Trans. Energy Convers. 23(1), 2008 (from memory).
    """
    xp = array_namespace(design.f)
    points = case.points
    rated = point_max(points.p_ac)
    full = points.p_ac >= 0.99 * rated
    v_in = point_min(xp.where(full, points.v_pv, xp.max(points.v_pv)))
    v_grid = point_min(xp.where(full, points.v_grid, xp.max(points.v_grid)))
    n = transformer.ratio(design.transformer)
    v_r = (math.sqrt(2.0) * v_grid + v_drop) / n
    swing = v_in * v_r / (v_r + v_in)
    border = swing * swing / (4.0 * LAYOUT * rated / design.phases * design.f)
    x = design.magnetising
    l_m = border * x * x if design.clamp == "short_pulse" else border / x
    l_k = transformer.leakage(design.transformer, case)
    c = capacitor.capacitance_at(design.clamp_capacitor, (2.0 / math.pi) * v_r, case)
    return Circuit(l_m, l_k, c, design.f, PULSE_ANGLE * xp.sqrt(l_k * c))


def phase(design: Design, run: Running, demand: Demand, case: Case) -> stress.Phase:
    """Return the waves of one phase at every line angle."""
    v_drop = diode.device(design.rectifier, case).v_0
    made = circuit(design, v_drop, case)
    n = transformer.ratio(design.transformer)
    v_in, v_r = case.points.v_pv, (demand.v + v_drop) / n
    power = demand.share * (run.p_run / run.phases)
    short = design.clamp == "short_pulse"
    waves = (short_pulse if short else complementary)(made, power, v_in=v_in, v_r=v_r)
    return stress.Phase(
        circuit=made,
        waves=waves,
        short=short,
        ratio=n,
        v_in=v_in,
        v_r=v_r,
        v_r_peak=(demand.v_peak + v_drop) / n,
        i_in=power / v_in,
        busy=run.share * run.phases / design.phases,
        runs=case.points.p_ac > 0.0,
    )


def place(
    path: str, design: Design, p: Array, demand: Demand, case: Case
) -> tuple[Placed, FlybackPorts]:
    """Return the flyback's parts and books, and what the stages around need.

    The ripple of the module's voltage within a half line cycle is left out: at 8 %
    amplitude the currents at the line's peak are right, those before it 4 % high and
    those after it 4 % low.

    Parameters
    ----------
    path : str
        Dotted path of the stage.
    design : Design
        The flyback.
    p : Array
        Power at its input [W], which a lossless stage would deliver.
    demand : Demand
        Voltage and power that the unfolder wants, of ``in_half_cycles(...).p_run``.
    case : Case
        Specification, operating points and catalogue.
    """
    run = in_half_cycles(design, p, case)
    one = phase(design, run, demand, case)
    count = design.phases
    main, clamp = switch.device(design.main, case), switch.device(design.clamp_switch, case)
    rectifier = diode.device(design.rectifier, case)
    bank = dataclasses.replace(design.clamp_capacitor, count=count * design.clamp_capacitor.count)
    held = stress.clamp_capacitor(one, count, case.points.f_grid)
    parts = (
        transformer.place(
            f"{path}.transformer", design.transformer,
            stress.transformer(one, demand.v_peak), case, count,
        ),
        switch.place(
            f"{path}.main", design.main, stress.main_switch(one, main, clamp), case, count
        ),
        switch.place(
            f"{path}.clamp_switch", design.clamp_switch,
            stress.clamp_switch(one, clamp, main), case, count,
        ),
        diode.place(f"{path}.rectifier", design.rectifier, stress.rectifier(one), case, count),
        capacitor.place(f"{path}.clamp_capacitor", bank, held, case),
        _damper(path, one, rectifier, count),
    )  # fmt: skip
    books = _figures(path, one, run, main, clamp) + _limits(
        path, one, main.t_dead + clamp.t_dead, case
    )
    return Placed(parts, books), _ports(one, run, count)


def _damper(
    path: str, one: stress.Phase, device: diode.DiodeDevice, count: int
) -> resistor.Resistor:
    """Return the resistor of the snubbers across the diodes, all phases in one.

    It has the characteristic impedance of leakage and junction.
    """
    xp = array_namespace(one.v_r)
    v = device.charge.v_ref
    charge, _ = charge_and_energy(device.charge, v)
    r = one.ratio * xp.sqrt(one.circuit.l_k * v / charge)
    power = count * stress.ringing_power(one, device)
    return resistor.place(f"{path}.damper", r, xp.sqrt(power / resistor.preferred(r)))


def _ports(one: stress.Phase, run: Running, count: int) -> FlybackPorts:
    xp = array_namespace(one.v_r)
    w, both = one.waves, run.phases > 1.5
    ripple_in, ripple_out = ripple.switching_ripple(one, count, both)
    returned = w.commutation * (w.i_start - w.i_peak)
    drawn = (w.duty - w.commutation) * (w.i_start + w.i_peak)
    p_in = 0.5 * one.v_in * line_mean(returned + drawn) * run.phases * run.share
    return FlybackPorts(
        i_in_hf_rms=ripple_in,
        i_out_hf_rms=ripple_out,
        f_hf=xp.where(both, 2.0, 1.0) * one.circuit.f,
        p_in=p_in,
        noise=ripple.noise(one, both),
        v_node=one.v_in + one.v_r_peak,
    )


def _figures(
    path: str, one: stress.Phase, run: Running, main: switch.Device, clamp: switch.Device
) -> Ledger:
    """Return what is worth reading besides the parts."""
    xp = array_namespace(one.v_r)
    c, i_peak = one.circuit, one.i_peak
    v = one.v_in + one.v_r_peak
    charge = charge_and_energy(main.charge, v)[0] + charge_and_energy(clamp.charge, v)[0]
    soft = i_peak * xp.sqrt(c.l_k / (charge * v))
    books = joined(
        booking(f"{path}.i_peak", Kind.FIGURE, i_peak, "peak current of the primary", "A"),
        booking(f"{path}.zero_voltage", Kind.FIGURE, soft,
                "current for a full swing at the line's peak, over needed: 1 is enough", ""),
        booking(f"{path}.burst", Kind.FIGURE, run.share, "half line cycles that run", ""),
        booking(f"{path}.phases_active", Kind.FIGURE, run.phases, "phases that run", ""),
        booking(f"{path}.l_m", Kind.FIGURE, c.l_m, "magnetising inductance wanted", "H"),
    )  # fmt: skip
    if not one.short:
        return books
    return books + booking(f"{path}.pulse", Kind.FIGURE, c.t_pulse, "pulse of S_c", "s")


def _limits(path: str, one: stress.Phase, t_dead: Array, case: Case) -> Ledger:
    """Return the region of the forms and what a controller can do.

    The dead times ``t_dead`` before and after a short pulse have to fit in the period too.
    """
    xp = array_namespace(one.v_r)
    w, c, unit = one.waves, one.circuit, xp.ones((1, 1, 1))

    def running_rows(x: Array, idle: float) -> Array:
        return xp.where(one.runs, x, idle)

    duty, peak = line_max(w.duty), one.i_peak
    if one.short:
        pulse = c.t_pulse
        flows = 1.0 + line_max(w.outside) + t_dead * c.f
        region = at_most(f"{path}.discontinuous", running_rows(flows, 0.0), unit, "",
                         "period in which current flows, and dead times")  # fmt: skip
        region += at_least(f"{path}.pulse", pulse, PULSE_MIN * unit, "s", "pulse of S_c")
    else:
        pulse = 0.25 / c.f
        region = at_most(f"{path}.clamp_region", running_rows(ripple.overstated(one), 0.0),
                         ripple.OVERSTATED_MAX * unit, "",
                         "error of the diode's current where S_c delays it")  # fmt: skip
    follow = 2.0 * math.pi * case.points.f_grid * c.c_clamp * one.v_r_peak / c.f
    return region + joined(
        at_most(f"{path}.duty", running_rows(duty, 0.0), DUTY_MAX * unit, "", "duty of S"),
        at_least(f"{path}.on_time", running_rows(duty / c.f, 1.0), ON_TIME_MIN * unit, "s",
                 "on-time of S at the line's peak"),
        at_most(f"{path}.clamp_follows", running_rows(follow / (0.5 * pulse * peak), 0.0),
                FOLLOW_MAX * unit, "", "charge of C_c in following the line, over its pulse"),
    )  # fmt: skip
