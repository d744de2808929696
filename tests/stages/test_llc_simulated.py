"""The LLC stage's stress against the switched circuit in time."""

import numpy as np
import pytest

from models.axes import points
from models.ledger import Kind
from models.parts import capacitor
from models.physics.llc_table import F_MOST
from models.stages import llc, llc_fixed_ratio
from tests.stages.llc_circuit import case, circuit, simulate, stage

TOLERANCE = 0.02
# Static choices, turns, module voltage, link voltage, power, and the mode they stand for.
REGULATED = {
    "below resonance": ({}, (4.0, 40.0), 32.0, 380.0, 300.0),
    "below, light load": ({}, (4.0, 40.0), 34.0, 380.0, 60.0),
    "above resonance": ({}, (4.0, 40.0), 46.0, 380.0, 300.0),
    "above, light load": ({}, (4.0, 40.0), 41.0, 380.0, 60.0),
    "half bridge": ({"primary": "half"}, (3.0, 57.0), 34.0, 380.0, 250.0),
    "doubler": ({"secondary": "doubler"}, (4.0, 20.0), 34.0, 380.0, 250.0),
    "half bridge, doubler": (
        {"primary": "half", "secondary": "doubler"}, (3.0, 30.0), 42.0, 380.0, 200.0,
    ),
}  # fmt: skip


def part(front, name):
    return next(p for p in front.placed.parts if p.path == f"llc.{name}")


def rms(winding):
    return float(np.sqrt(sum(h.item() ** 2 for h in winding.harmonics)))


def placed(module, x, v_in, v_out, power):
    c = case((power,), (v_in,))
    ready = module.prepare(x, v_in=points([v_in]), v_out=np.full((1, 1, 1), v_out), case=c)
    return ready, module.place("llc", x, ready, np.full((1, 1, 1), power), c), c


def simulated(x, ready, front, c, v_in, v_out, power):
    doubles = hasattr(x.secondary, "half")
    f = front.placed.books.find("llc.f", Kind.FIGURE).value.item()
    off = part(front, "switch").stress.edges[0].i_off.item()
    tank = circuit(ready.tank)
    v_c = power / (4.0 * f * tank.c_r * tank.drive * v_in)
    half = capacitor.capacitance(x.secondary.half, c).item() if doubles else 1.0
    return simulate(
        tank, v_in=v_in, v_out=v_out, power=power, f=f, doubles=doubles, half=half,
        start=(-off, v_c),
    )  # fmt: skip


def compare(x, ready, front, waves):
    """Hold every stress against its wave."""
    n, l_m = ready.tank.turns.item(), ready.tank.l_m.item()
    waves.value["i_m"] = waves.value["i:lp"] + n * waves.value["i:ls"]
    wound, switch = part(front, "transformer").stress, part(front, "switch").stress
    rectifier, bank = part(front, "rectifier").stress, part(front, "resonant").stress
    pairs = {
        "tank rms": (rms(wound.windings[0]), waves.rms("i:lr")),
        "secondary rms": (rms(wound.windings[1]), waves.rms("i:ls")),
        "switch rms": (switch.i_rms.item(), waves.rms("i:s1")),
        "turn-off": (switch.edges[0].i_off.item(), waves.before("i:lr", 0.5)),
        "blocking": (switch.v_block.item(), waves.peak("v:s1")),
        "magnetising peak": (wound.i_m_peak.item(), waves.peak("i_m")),
        "flux": (wound.flux[0].linkage_pp.item(), l_m * waves.swing("i_m")),
        "choke peak": (part(front, "choke").stress.i_peak.item(), waves.peak("i:lr")),
        "capacitor peak": (bank.v_max.item(), waves.peak("v:cr")),
        "capacitor rms": (bank.i_hf_rms.item(), waves.rms("i:cr")),
        "rectifier mean": (rectifier.i_avg.item(), waves.mean("i:d1")),
        "rectifier rms": (rectifier.i_rms.item(), waves.rms("i:d1")),
        "rectifier blocking": (rectifier.v_block.item(), -waves.valley("v:d1")),
        "module port": (part(front, "input").stress.i_hf_rms.item(), waves.ripple_rms("i:in")),
    }
    if hasattr(x.secondary, "half"):
        pairs["half rms"] = (0.5 * part(front, "half").stress.i_hf_rms.item(), waves.rms("i:ch"))
        ripple = 2.0 * (part(front, "half").stress.v_max.item() - 0.5 * ready.v_out.item())
        pairs["half ripple"] = (ripple, waves.swing("v:ch"))
    for name, (ours, theirs) in pairs.items():
        assert ours == pytest.approx(theirs, rel=TOLERANCE), name


@pytest.mark.parametrize("name", REGULATED)
def test_regulated_stress_is_that_of_the_circuit(name, rng):
    static, turns, v_in, v_out, power = REGULATED[name]
    x = stage(llc.Design, rng, turns=turns, **static)
    ready, front, c = placed(llc, x, v_in, v_out, power)
    assert front.active.item() == 1.0
    assert front.placed.books.find("llc.gain", Kind.LIMIT).value.item() <= 0.0
    waves = simulated(x, ready, front, c, v_in, v_out, power)
    assert waves.mean("v:o") == pytest.approx(v_out, rel=0.005)
    assert waves.product("v:load", "i:load") == pytest.approx(power, rel=0.01)
    compare(x, ready, front, waves)
    # Some of the current goes through the doubler's halves, the model's link is stiff.
    assert front.link_hf_rms.item() == pytest.approx(waves.ripple_rms("i:co"), rel=0.03)


@pytest.mark.parametrize("static", [{}, {"primary": "half"}], ids=("full", "half"))
def test_fixed_ratio_stress_is_that_of_the_circuit(static, rng):
    turns = (4.0, 40.0) if not static else (3.0, 60.0)
    x = stage(llc_fixed_ratio.Design, rng, turns=turns, ratio=12.0, **static)
    v_in, power = 36.0, 300.0
    v_out = llc_fixed_ratio.follows(x, case()).item() * v_in
    ready, front, c = placed(llc_fixed_ratio, x, v_in, v_out, power)
    waves = simulated(x, ready, front, c, v_in, v_out, power)
    assert waves.mean("v:o") == pytest.approx(v_out, rel=0.005)
    assert waves.product("v:load", "i:load") == pytest.approx(power, rel=0.01)
    compare(x, ready, front, waves)
    assert front.link_hf_rms.item() == pytest.approx(waves.ripple_rms("i:co"), rel=TOLERANCE)


@pytest.mark.parametrize("name", ["below resonance", "above resonance", "half bridge"])
def test_the_module_ripple_is_an_upper_bound_or_nearly(name, rng):
    static, turns, v_in, v_out, power = REGULATED[name]
    x = stage(llc.Design, rng, turns=turns, **static)
    ready, front, c = placed(llc, x, v_in, v_out, power)
    waves = simulated(x, ready, front, c, v_in, v_out, power)
    f = front.placed.books.find("llc.f", Kind.FIGURE).value.item()
    i = waves.value["i:in"]
    charge = np.cumsum((i - waves.mean("i:in")) * waves.step) / f
    exact = (charge.max() - charge.min()) / capacitor.capacitance_at(x.input, v_in, c).item()
    ripple = front.placed.books.find("llc.ripple", Kind.LIMIT).actual.item() * v_in
    assert 0.97 * exact < ripple < 1.6 * exact


def test_where_the_frequency_ends_it_runs_in_bursts_at_that_frequency(rng):
    x = stage(llc.Design, rng, ratio=12.0)
    _, front, _ = placed(llc, x, 46.0, 380.0, 20.0)
    f = front.placed.books.find("llc.f", Kind.FIGURE).value.item()
    f_0 = front.placed.books.find("llc.f_0", Kind.FIGURE).value.item()
    assert front.active.item() < 1.0
    assert f / f_0 == pytest.approx(F_MOST, rel=0.02)


def test_a_winding_keeps_its_whole_current_over_its_harmonics(rng):
    static, turns, v_in, v_out, power = REGULATED["below resonance"]
    x = stage(llc.Design, rng, turns=turns, **static)
    ready, front, c = placed(llc, x, v_in, v_out, power)
    waves = simulated(x, ready, front, c, v_in, v_out, power)
    time = np.cumsum(waves.step) - 0.5 * waves.step
    turn = np.exp(-2j * np.pi * time)
    for winding, name in zip(part(front, "transformer").stress.windings, ("lr", "ls"),
                             strict=True):  # fmt: skip
        fundamental = np.sqrt(2.0) * abs(np.sum(waves.step * waves.value[f"i:{name}"] * turn))
        assert winding.harmonics[0].item() == pytest.approx(fundamental, rel=TOLERANCE)


@pytest.mark.parametrize("name", ["below resonance", "above resonance", "half bridge"])
def test_the_flux_triangle_stands_for_the_voltage_of_the_magnetising_inductance(name, rng):
    """Σ|dB/dt|^α, α = 1.5, which core loss goes by at equal height."""
    static, turns, v_in, v_out, power = REGULATED[name]
    x = stage(llc.Design, rng, turns=turns, **static)
    ready, front, c = placed(llc, x, v_in, v_out, power)
    waves = simulated(x, ready, front, c, v_in, v_out, power)
    flux = part(front, "transformer").stress.flux[0]
    exact = float(waves.step @ abs(waves.value["v:lp"]) ** 1.5)
    v_r = v_out / ready.tank.gain.item()
    assert 2.0 * flux.duty.item() * v_r**1.5 == pytest.approx(exact, rel=0.05)
