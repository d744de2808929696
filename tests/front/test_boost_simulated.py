"""Stresses of the boost of the tool's own front designs against the switched circuit."""

import dataclasses
import functools
import math

import numpy as np
import pytest

from models.parts import capacitor
from models.stages import series_capacitor_boost as boost
from models.stages.series_capacitor_stress import Stress
from tests.front.reference import full_power, names, reference
from tests.front.wiring import at_full, bridge_of
from tests.stages.series_capacitor_netlist import arguments, simulate
from tests.stages.test_series_capacitor_modes import figures, scale

DESIGNS = names("series_capacitor_boost_half_bridge")
TOLERANCE = 0.02
INSTANTS = ("v_on", "v_off", "d_falls", "d_block", "s_falls", "s_block")
BLOCKED = 0.1  # by which a blocking voltage may be called too high

pytestmark = [pytest.mark.slow, pytest.mark.parametrize("name", DESIGNS)]


def at(x, row, node):
    """A stress at one operating point and node of the swing."""
    if isinstance(x, tuple):
        return tuple(at(one, row, node) for one in x)
    i, k = min(row, x.shape[1] - 1), min(node, x.shape[2] - 1)
    return x[:1, i : i + 1, k : k + 1]


def stress_at(found, row, node):
    return Stress(
        **{f.name: at(getattr(found, f.name), row, node) for f in dataclasses.fields(Stress)}
    )


@functools.cache
def simulated(name):
    """The design at full power, at every node of the swing of its link."""
    x, case = reference(name).design.boost, reference(name).case
    prepared, found = bridge_of(name).prepared, bridge_of(name).stress
    row = full_power(reference(name))[0]
    return [
        simulate(
            **arguments(prepared.ready, found, design=0, point=row, node=node),
            inductance=prepared.inductance.item(),
            f=x.f.item(),
            capacitance=capacitor.capacitance(x.series, case).item(),
            synchronous=isinstance(x, boost.SynchronousDesign),
        )
        for node in range(prepared.ready.v_out.shape[2])
    ]


def test_every_figure_at_every_node_of_the_swing_is_simulated_within_two_percent(name):
    prepared, found = bridge_of(name).prepared, bridge_of(name).stress
    row, x = full_power(reference(name))[0], reference(name).design.boost
    c = capacitor.capacitance(x.series, reference(name).case).item()
    wrong = {}
    for node, seen in enumerate(simulated(name)):
        v_out = at(prepared.ready.v_out, row, node).item()
        assert seen["v_out"] == pytest.approx(v_out, rel=0.005)
        ours = figures(stress_at(found, row, node), c, x.f.item())
        # What a voltage of one instant misses: the momentary ripple of the capacitors.
        ripple = 0.5 * max(seen[f"c_swing_{k}"] for k in range(1, x.phases))
        wrong |= {
            (node, key): (value, seen[key])
            for key, value in ours.items()
            if abs(value - seen[key])
            > TOLERANCE * scale(key, seen) + (ripple if key.startswith(INSTANTS) else 0.0)
        }
    assert not wrong


def test_stresses_of_the_parts_over_the_swing_are_simulated_within_two_percent(name):
    parts = bridge_of(name).parts
    row, seen = full_power(reference(name))[0], simulated(name)
    n = reference(name).design.boost.phases
    full = functools.partial(at_full, row=row)
    rectifier = (
        "rectifier"
        if isinstance(reference(name).design.boost, boost.SynchronousDesign)
        else "diode"
    )

    def rms(key):
        return math.sqrt(np.mean([one[key] ** 2 for one in seen]))

    def mean(key):
        return float(np.mean([one[key] for one in seen]))

    choke = parts["boost.choke"].stress
    winding = choke.winding
    square = full(winding.i_dc) ** 2 + sum(full(h) ** 2 for h in winding.harmonics)
    found = {
        "choke rms": (math.sqrt(square), math.sqrt(np.mean([rms(f"l_rms_{k}") ** 2
                                                            for k in range(1, n + 1)]))),
        "choke peak": (full(choke.i_peak), max(one[f"l_peak_{k}"] for one in seen
                                               for k in range(1, n + 1))),
        "input ripple": (full(parts["boost.input"].stress.i_hf_rms), rms("in_rms")),
    }  # fmt: skip
    for k in range(1, n + 1):
        own, other = parts[f"boost.switch_{k}"].stress, parts[f"boost.{rectifier}_{k}"].stress
        found |= {
            f"switch {k} rms": (full(own.i_rms), rms(f"s_rms_{k}")),
            f"rectifier {k} rms": (full(other.i_rms), rms(f"d_rms_{k}")),
        }
        if rectifier == "diode":
            found[f"diode {k} average"] = full(other.i_avg), mean(f"d_avg_{k}")
    for k in range(1, n):
        held = parts[f"boost.series_{k}"].stress
        found |= {
            f"series {k} rms": (full(held.i_hf_rms), rms(f"c_rms_{k}")),
            f"series {k} mean": (full(held.v_mean), mean(f"v_c_{k}")),
        }
    # The link's current without its mean at every instant.
    found["link rms"] = full(bridge_of(name).front.link_hf_rms), rms("link_rms")
    floor = {"input ripple": TOLERANCE * sum(mean(f"l_avg_{k}") for k in range(1, n + 1))}
    wrong = {
        key: (a, b)
        for key, (a, b) in found.items()
        if abs(a - b) > max(TOLERANCE * abs(b), TOLERANCE * floor.get(key, 0.0))
    }
    assert not wrong


def test_no_device_blocks_more_than_its_books_say(name):
    """Ripple of the series capacitors included, at full power and every node of the swing."""
    parts, row, seen = bridge_of(name).parts, full_power(reference(name))[0], simulated(name)
    kinds = {"switch": "s", "diode": "d", "rectifier": "d"}
    for path, part in parts.items():
        kind, _, k = path.removeprefix("boost.").partition("_")
        if kind in kinds:
            highest = max(one[f"{kinds[kind]}_block_{k}"] for one in seen)
            booked = at_full(part.stress.v_block, row)
            assert (1.0 - 0.005) * highest <= booked <= (1.0 + BLOCKED) * highest, path


def test_the_power_drawn_at_the_swing_is_the_power_told(name):
    power = full_power(reference(name))[1]
    drawn = np.mean([one["power"] for one in simulated(name)])
    assert drawn == pytest.approx(power, rel=0.01)
