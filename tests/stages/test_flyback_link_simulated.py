"""Every stress of the flyback on a link against its switched circuit."""

import numpy as np
import pytest

from models.parts import capacitor
from models.stages import flyback_link
from models.variables import structures
from tests.stages.flyback_circuit import Point, simulated
from tests.stages.flyback_link_designs import V_LINK, made, part, set_up, still, whole
from tests.stages.front_designs import demo_case, power

# All structures at full power, one phase also at its least steady power.
POINTS = [(s, "full") for s in structures(flyback_link.Design)]
POINTS += [(s, "light") for s, _ in POINTS if s["phases"] == 1]
TOLERANCE = 0.02


def circuit(one, ready, at, phases_power):
    """The circuit of a phase at an operating point."""
    c = ready.circuit
    return Point(
        ready.v_in[at].item(), V_LINK, phases_power, ready.ratio.item(), c.l_m.item(),
        c.l_k.item(), c.c_clamp.item(), c.t_pulse.item() if one.short else 0.0, c.f.item(),
    )  # fmt: skip


def pairs(static, name):
    """Ours and the circuit's value of everything, at full power or far below."""
    case, design = demo_case(), made(static)
    ready, one, front = set_up(design, case, still(case))
    loads = np.where(case.points.p_ac > 0.0, case.points.p_ac, 1e6)
    row = int(np.argmin(np.where(case.points.p_ac >= 300.0, case.points.v_pv, 1e6)))
    if name == "light":
        # The least power at which all phases run without pauses.
        running = (one.run.phases == static["phases"]) & (one.run.share == 1.0)
        row = int(np.argmin(np.where(running, loads, 1e6)))
    at = (0, row, 0)
    p, n, phases = power(1, case)[at].item(), ready.ratio.item(), static["phases"]
    sim = simulated(circuit(one, ready, at, p / phases), phases=phases)
    wound, clamp = part(front, "transformer").stress, part(front, "clamp_capacitor").stress
    main, aid = part(front, "main").stress, part(front, "clamp_switch").stress
    rectifier, module = part(front, "rectifier").stress, part(front, "input")
    i_main = sim.value["i:main"] - sim.value["i:body"]
    i_clamp = sim.value["i:aid"] + sim.value["i:catch"]
    out = sum(sim.value[f"i:out{k or ''}"] for k in range(phases))
    mean = sim.step @ out
    i_m = sim.value["i:pri"] + n * sim.value["i:sec"]
    drawn = sim.value["i:in_"] - sim.mean("i:in_")
    c_in = capacitor.capacitance_at(design.input, ready.v_in, case)

    def rms(x):
        return np.sqrt(sim.step @ x**2)

    return at, sim, p, {
        "main": (main.i_rms, rms(i_main)),
        "main turns off": (main.edges[0].i_off, i_main.max()),
        "main blocks": (main.v_block, sim.peak("v:main")),
        "clamp": (aid.i_rms, rms(i_clamp) * (np.sqrt(0.5) if one.short else 1.0)),
        "clamp capacitor": (clamp.i_hf_rms, phases * rms(i_clamp)),
        "clamp voltage": (clamp.v_max, sim.peak("v:main") - ready.v_in[at]),
        "rectifier": (rectifier.i_rms, sim.rms("i:out")),
        "rectifier mean": (rectifier.i_avg, sim.mean("i:out")),
        "primary": (whole(wound.windings[0]), sim.rms("i:leak")),
        "secondary": (whole(wound.windings[1]), sim.rms("i:sec")),
        "flux": (wound.flux[0].linkage_pp, ready.circuit.l_m.item() * np.ptp(i_m)),
        "saturation": (wound.i_m_peak, i_m.max()),
        "module": (module.stress.i_hf_rms, sim.ripple_rms("i:in_")),
        "module swing": (
            2.0 * (module.stress.v_max - ready.v_in),
            np.ptp(np.cumsum(sim.step * drawn)) / (ready.circuit.f.item() * c_in),
        ),
        "link": (front.link_hf_rms, np.sqrt(sim.step @ out**2 - mean**2)),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("static", "name"), POINTS, ids=[f"{s['phases']}-{s['clamp']}-{n}" for s, n in POINTS]
)
def test_every_stress_is_that_of_the_switched_circuit(static, name):
    at, sim, p, found = pairs(static, name)
    assert abs(sim.mean("i:in_")) * demo_case().points.v_pv[at] == pytest.approx(p, rel=0.01)
    for what, (ours, theirs) in found.items():
        theirs = np.broadcast_to(theirs, ours.shape)[at]
        assert ours[at] == pytest.approx(theirs, rel=TOLERANCE), what
