"""The flyback over a whole line cycle, simulated period by period."""

import math

import numpy as np
import pytest

from models.axes import designs
from models.parts import switch
from models.stages import flyback, flyback_ripple, flyback_stress, unfolder
from models.stages.flyback_waves import short_pulse
from tests.simulation.engine import R_OFF, Engine
from tests.simulation.netlist import Netlist
from tests.stages.flyback_circuit import Point, measured, phase, simulated
from tests.stages.rectified_sine import bridge, case, stage

pytestmark = pytest.mark.slow


def averaged(design, rows, p):
    """The stage's phase and rms currents: S, clamp, secondary times n [A]."""
    run = flyback.running(design, designs(p), rows)
    one = flyback.phase(design, run, unfolder.demand(bridge(side=1), run.p_run, rows), rows)
    own = switch.device(design.main, rows)
    return one, (
        flyback_stress.main_switch(one, own, own).i_rms.item(),
        flyback_stress.clamp_capacitor(one, design.phases, rows.points.f_grid).i_hf_rms.item()
        / design.phases,
        flyback_stress.rectifier(one).i_rms.item() * one.ratio.item(),
    )


def at_angle(one, k: int) -> Point:
    """The phase in complementary drive at one line angle of the last row."""
    c, n = one.circuit, one.ratio.item()
    v_in = float(one.v_in[0, -1, 0])
    return Point(
        v_in, one.v_r[0, -1, k] * n, one.i_in[0, -1, k] * v_in, n, c.l_m.item(), c.l_k.item(),
        c.c_clamp.item(), 0.0, c.f.item(),
    )  # fmt: skip


def test_short_pulses_over_half_a_line_cycle_with_the_clamp_following() -> None:
    rows = case(v_pv=(32.0,), p_ac=(150.0,))
    design = stage(f=100e3, magnetising=0.9, clamp_row="x7r-2.2u-250V", clamp_count=2.0)
    one, ours = averaged(design, rows, 155.0)
    assert float(one.waves.outside.max()) < 0.0
    c, n, v_in, f = one.circuit, one.ratio.item(), 32.0, 100e3
    count = 1000  # periods of 100 kHz in half a cycle of 50 Hz
    # The last tenth of the half cycle before settles the clamp.
    order = [*range(count - count // 10, count), *range(count)]
    theta = (np.arange(count) + 0.5) * math.pi / count
    drop = one.v_r_peak.item() * n - one.v_r.max() * n
    v_out = one.v_r.max() * n * np.sin(theta) + drop + 0.95
    power = 155.0 * 2.0 * np.sin(theta) ** 2
    waves = short_pulse(
        c, power.reshape(1, 1, -1), v_in=designs(v_in), v_r=(v_out / n).reshape(1, 1, -1)
    )
    first = order[0]
    state = np.array([0.0, 0.0, 0.0, waves.v_edge[0, 0, first]])
    diodes = (False, False, False)
    sums, inflow = np.zeros(3), 0.0
    for number, k in enumerate(order):
        point = Point(v_in, v_out[k], power[k], n, c.l_m.item(), c.l_k.item(), c.c_clamp.item(),
                      c.t_pulse.item(), f)  # fmt: skip
        net = Netlist()
        net.source("in_", "in", "0", v_in)
        phase(net, point)
        net.source("grid", "o", "0", point.v_out)
        duty = waves.duty[0, 0, k]
        times = {"main": [(0.0, duty)], "aid": [(1.0 - point.t_pulse * f, 1.0)]}
        engine = Engine(
            net.elements, net.mutual, nodes=len(net.nodes) - 1, period=1 / f, gates=times,
            steps=400,
        )  # fmt: skip
        record = []
        state, _, diodes = engine.period_from(state, diodes, record)
        if number >= count // 10:
            dt = np.array([r.dt for r in record]) * f
            voltage = np.array([r.unknowns for r in record])
            amps = branch_currents(engine, net, record, voltage)
            sums += [dt @ x**2 for x in amps]
            inflow += float(dt @ amps[0])
    seen = np.sqrt(sums / count)
    assert inflow / count * v_in == pytest.approx(155.0, rel=0.01)
    assert ours[0] == pytest.approx(seen[0], rel=0.01)
    assert ours[1] == pytest.approx(seen[1], rel=0.02)
    assert ours[2] == pytest.approx(seen[2] * n, rel=0.01)


def branch_currents(engine, net, record, voltage):
    """Currents of S, of the clamp and of the diode at every step."""
    volts = voltage @ engine.incidence(net.elements).T
    found = {}
    for group, states in ((engine.s, "switches"), (engine.d, "diodes")):
        for k, e in enumerate(group):
            on = np.array([getattr(r, states)[k] for r in record])
            number = [x.name for x in net.elements].index(e.name)
            found[e.name] = volts[:, number] / np.where(on, e.value, R_OFF)
    return found["main"] - found["body"], found["aid"] + found["catch"], found["out"]


COMPLEMENTARY = {
    "full power": (300.0, 0.5, 5.0, 100e3),
    "tenth of the power": (30.0, 0.6, 7.0, 100e3),
}


@pytest.mark.parametrize(("p", "x", "pieces", "f"), COMPLEMENTARY.values(), ids=COMPLEMENTARY)
def test_complementary_drive_at_steady_line_angles(p, x, pieces, f) -> None:
    # Steady state is sought at seven angles, those the stage averages over; the
    # second case stands at the edge of the region allowed.
    rows = case(v_pv=(35.0, 35.0), p_ac=(300.0, p))
    design = stage(
        clamp="complementary", f=f, magnetising=x, clamp_row="x7r-10u-100V",
        clamp_count=pieces, least_load=0.05, turns=(7.0, 42.0), interleaved=0,
    )  # fmt: skip
    run = flyback.running(design, designs(p), rows)
    one = flyback.phase(design, run, unfolder.demand(bridge(side=1), run.p_run, rows), rows)
    assert flyback_ripple.overstated(one)[0, -1, 0] <= flyback_ripple.OVERSTATED_MAX
    chosen = range(one.v_r.shape[2])
    sums = np.zeros(3)
    for k in chosen:
        point = at_angle(one, k)
        seen = measured(point, simulated(point))
        sums += [seen["ms_switch"] ** 2, seen["ms_clamp"] ** 2, seen["ms_secondary"] ** 2]
    ours = [
        float(x[0, -1].mean())
        for x in (one.waves.ms_switch, one.waves.ms_clamp, one.waves.ms_secondary)
    ]
    assert np.sqrt(ours) == pytest.approx(np.sqrt(sums / len(chosen)), rel=0.02)
