"""Stresses of the flyback's own front designs against the switched circuit."""

import functools
import math

import numpy as np
import pytest

from tests.front.reference import full_power, names, reference
from tests.front.wiring import at_full, flyback_of
from tests.stages.flyback_circuit import Point, measured, simulated

DESIGNS = names("flyback_unfolder")
REGION_EDGE = 0.02  # waves.outside up to which every instant is compared
TOLERANCE = 0.02

pytestmark = [pytest.mark.slow, pytest.mark.parametrize("name", DESIGNS)]


def points(name):
    """One phase at the line angles over which the stage averages, at full power."""
    phase, row = flyback_of(name).phase, full_power(reference(name))[0]
    c, n = phase.circuit, phase.ratio.item()
    v_in = float(phase.v_in[0, row, 0])
    count = phase.v_r.shape[2]
    return [
        Point(
            v_in, float(phase.v_r[0, row, k]) * n, float(phase.i_in[0, row, k]) * v_in, n,
            c.l_m.item(), c.l_k.item(), c.c_clamp.item(),
            c.t_pulse.item() if phase.short else 0.0, c.f.item(),
        )
        for k in range(count)
    ]  # fmt: skip


@functools.cache
def seen(name):
    """Every angle simulated with all phases: the figures of one, and the sums of both."""
    phases = reference(name).design.flyback.phases
    found = []
    for point in points(name):
        waves = simulated(point, phases=phases, steps=3000)
        out = sum(waves.value[f"i:out{k or ''}"] for k in range(phases))
        v_out = waves.value["v:out"]
        magnetising = waves.value["i:pri"] + point.ratio * waves.value["i:sec"]
        found.append(
            measured(point, waves)
            | {
                "in_ripple": waves.ripple_rms("i:in_"),
                "out_ripple": math.sqrt(waves.step @ out**2 - (waves.step @ out) ** 2),
                "primary": waves.rms("i:leak"),
                "i_out": waves.mean("i:out"),
                "i_in": waves.mean("i:in_") / phases,
                "v_diode": -float(np.median(v_out[v_out < 0.8 * v_out.min()])),
                "swing": float(np.ptp(magnetising)),
            }
        )
    return found


def line_rms(rows, key):
    return math.sqrt(np.mean([row[key] ** 2 for row in rows]))


def test_currents_of_every_part_over_the_line_are_simulated_within_two_percent(name):
    one = flyback_of(name)
    phase, parts, ports = one.phase, one.parts, one.ports
    row, rows = full_power(reference(name))[0], seen(name)
    phases, n = reference(name).design.flyback.phases, phase.ratio.item()
    windings = parts["flyback.transformer"].stress.windings
    whole = [
        math.sqrt(
            at_full(w.i_dc, row) ** 2
            + at_full(w.i_line_rms, row) ** 2
            + sum(at_full(h, row) ** 2 for h in w.harmonics)
        )
        for w in windings
    ]
    diode_stress = parts["flyback.rectifier"].stress
    clamp_bank = parts["flyback.clamp_capacitor"].stress
    main = parts["flyback.main"].stress
    found = {
        "switch rms": (at_full(main.i_rms, row), line_rms(rows, "ms_switch")),
        "primary rms": (whole[0], line_rms(rows, "primary")),
        "secondary rms": (whole[1], line_rms(rows, "ms_secondary") / n),
        "diode rms": (at_full(diode_stress.i_rms, row), line_rms(rows, "ms_secondary") / n),
        "diode average": (at_full(diode_stress.i_avg, row), np.mean([r["i_out"] for r in rows])),
        "clamp rms": (at_full(clamp_bank.i_hf_rms, row) / phases, line_rms(rows, "ms_clamp")),
        "input ripple": (at_full(ports.i_in_hf_rms, row), line_rms(rows, "in_ripple")),
        "output ripple": (at_full(ports.i_out_hf_rms, row), line_rms(rows, "out_ripple")),
    }  # fmt: skip
    wrong = {k: v for k, v in found.items() if abs(v[0] / v[1] - 1.0) > TOLERANCE}
    assert not wrong


def test_peaks_at_every_angle_are_simulated_within_two_percent(name):
    phase = flyback_of(name).phase
    row = full_power(reference(name))[0]
    waves = phase.waves
    wrong = {}
    for k, one in enumerate(seen(name)):
        at = k
        voltage = float(phase.v_in[0, row, 0] + waves.v_clamp[0, row, at])
        found = {
            "i_peak": (float(waves.i_peak[0, row, at]), one["i_peak"], one["i_peak"]),
            "v_edge": (float(waves.v_edge[0, row, at]), one["v_edge"], one["v_clamp"]),
            "switch voltage": (
                voltage,
                float(phase.v_in[0, row, 0]) + one["v_clamp"],
                voltage,
            ),
            "diode voltage": (float(phase.v_diode[0, row, at]), one["v_diode"], one["v_diode"]),
            "magnetising swing": (
                float((waves.i_peak - waves.i_start)[0, row, at]), one["swing"], one["swing"],
            ),
        }  # fmt: skip
        # Near the zero crossing complementary drive leaves its region, which costs the
        # current at turn-on first; rms values are held over the whole line above.
        if float(waves.outside[0, row, at]) < REGION_EDGE:
            found["i_on"] = (-float(waves.i_peak[0, row, at]), one["i_on"], one["i_peak"])
        wrong |= {
            (at, key): (a, b)
            for key, (a, b, scale) in found.items()
            if abs(a - b) > TOLERANCE * abs(scale)
        }
    assert not wrong


def test_the_phases_together_draw_the_power_told(name):
    phase, ports = flyback_of(name).phase, flyback_of(name).ports
    row, power = full_power(reference(name))
    assert ports.p_in[0, row, 0] == pytest.approx(power, rel=1e-3)
    v_in = float(phase.v_in[0, row, 0])
    phases = reference(name).design.flyback.phases
    drawn = np.mean([r["power_in"] for r in seen(name)]) * phases
    assert drawn == pytest.approx(power, rel=0.01)
    assert np.mean([r["i_in"] for r in seen(name)]) * phases * v_in == pytest.approx(
        power, rel=0.01
    )
