"""Bridges and ripple ports of the tool's own designs against switched circuits, full power."""

import dataclasses
import math
import types

import numpy as np
import pytest

from models.axes import designs
from models.stages import (
    fast_leg,
    flyback,
    full_bridge_ac_freewheel,
    full_bridge_bipolar,
    full_bridge_dc_freewheel,
    full_bridge_unipolar,
    ripple_port_link,
    ripple_port_module,
)
from models.stages.ripple_port_link import Design as LinkPort
from tests.front.linked_stages import full, with_stage
from tests.front.reference import at_row, full_power, names, reference
from tests.stages import (
    fast_leg_cases,
    full_bridge_cases,
    test_ripple_port_link,
    test_ripple_port_module,
)
from tests.stages.link_circuit import pulsating

TOLERANCE = 0.02
# Edges count at some angles of the cycle, and dead times jump from angle to angle.
EDGES = 0.03
FLOOR, VOLTS = 0.005, 0.1  # [A], [V]

FULL_BRIDGES = {
    full_bridge_bipolar: "bipolar",
    full_bridge_unipolar: "unipolar",
    full_bridge_ac_freewheel: "ac",
    full_bridge_dc_freewheel: "dc",
}

pytestmark = pytest.mark.slow


class Stage:
    """A bridge of a front design as the cases of its stage have it."""

    def __init__(self, name, kind):
        one = full(name)
        self.kind, self.case, self.design = kind, one.case, one.design.bridge
        self.f_grid = one.case.points.f_grid.item()
        self.filter, self.side, link = one.design.filter, one.behind.side, one.behind.link
        # A ripple port makes the link swing as a larger capacitor would.
        c = self.side.power.s_p / (self.side.omega * link.k * link.v_rms**2)
        self.link = dataclasses.replace(link, c=c)
        self.bridge = one.behind.bridge
        self.parts = {p.path.removeprefix("bridge."): p for p in self.bridge.placed.parts}
        self.books = self.bridge.placed.books

    def stress(self, name):
        return self.parts[name].stress

    def figure(self, name):
        return self.books.find(f"bridge.{name}", fast_leg_cases.Kind.FIGURE).value


def wrong(found, wanted, t_dead):
    """What is off; dead times are simulated for one of their own."""
    off = {}
    for key, theirs in wanted.items():
        ours, share, floor = found[key], TOLERANCE, FLOOR
        if key.startswith("dead time"):
            ours = ours * full_bridge_cases.T_DEAD / t_dead
            share, floor = 0.1, VOLTS
        elif "turn-o" in key:
            share = EDGES
        elif key.startswith("voltage 3"):
            share, floor = EDGES, VOLTS
        if abs(ours - theirs) > share * abs(theirs) + floor:
            off[key] = (ours, theirs)
    return off


@pytest.mark.parametrize("name", with_stage("bridge", *FULL_BRIDGES))
def test_full_bridge(name):
    kind = FULL_BRIDGES[full(name).wiring.bridge]
    stage = Stage(name, kind)
    found, wanted = full_bridge_cases.closed(stage), full_bridge_cases.simulated(stage)
    late = [getattr(stage.design, s).t_dead.item() for s in full_bridge_cases.SWITCHES[kind]]
    # With several kinds of switches each edge has a dead time of its own.
    kept = {k: v for k, v in wanted.items() if len(late) == 1 or not k.startswith("dead time")}
    assert not wrong(found, kept, late[0])


@pytest.mark.parametrize("name", with_stage("bridge", fast_leg))
def test_bridge_of_one_fast_leg(name):
    stage = Stage(name, "fixed")
    found, wanted = fast_leg_cases.closed(stage), fast_leg_cases.simulated(stage)
    # Its dead-time waves are those of two legs.
    kept = {k: v for k, v in wanted.items() if not k.startswith("dead time")}
    assert not wrong(found, kept, stage.design.fast.t_dead.item())


@pytest.mark.parametrize("name", with_stage("storage", ripple_port_link))
def test_ripple_port_at_the_link(name, monkeypatch):
    one = full(name)
    design, side, link = one.behind.stored, one.behind.side, one.behind.link
    assert isinstance(design, LinkPort)
    still = types.SimpleNamespace(i_front=0.0, i_bridge=0.0, f_bridge=designs(1e5))
    found = ripple_port_link.place("link", design, link, side, still, one.case)

    def told(case, side):
        # Of this design's own filter and choke.
        x = pulsating(case, side, side.l_bridge)
        power = side.u * side.i
        turn = 2.0 * np.mean(power * np.exp(2j * side.theta))
        return dataclasses.replace(x, s_p=abs(turn), psi=float(np.angle(-np.conj(turn))))

    monkeypatch.setattr(test_ripple_port_link, "pulsating", told)
    wanted = test_ripple_port_link.simulated(one.case, design, side, link, found)
    values = test_ripple_port_link.closed(found)
    values["link pulses"] = found.parts[0].stress.i_hf_rms.item()
    assert not test_ripple_port_link.differences(values, wanted)


@pytest.mark.parametrize("name", names("flyback_port_unfolder"))
def test_ripple_port_at_the_module(name, monkeypatch):
    item = reference(name)
    row, power = full_power(item)
    case, x = at_row(item.case, row), item.design
    p = designs(power)
    run = flyback.in_half_cycles(x.flyback, p, case)
    assert run.share.item() == 1.0
    found = ripple_port_module.place(
        "buffer", x.buffer, p, p_run=run.p_run, i_hf_rms=designs(0.0), f_hf=designs(1e5), case=case
    )
    v = case.points.v_pv.item()
    monkeypatch.setattr(test_ripple_port_module, "V_PV", v)
    monkeypatch.setattr(
        test_ripple_port_module, "OMEGA", 2.0 * math.pi * case.points.f_grid.item()
    )
    held = ripple_port_module.storage(x.buffer, p, run.p_run, case)
    design = dataclasses.replace(x.buffer, bottom=held.low)
    wanted = test_ripple_port_module.simulated(design, power, power)
    values = test_ripple_port_link.closed(found, "buffer")
    values["storage v_max"] = held.high.item()
    values["choke fast"] = found.parts[-1].stress.i_hf_rms.item()
    assert not test_ripple_port_link.differences(values, wanted)
