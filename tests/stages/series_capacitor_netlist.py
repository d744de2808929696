"""The series-capacitor boost as a netlist, for comparison with its closed forms.

``simulate`` takes plain numbers, so that a design from any front can be put through it:
gate times, inductance and capacitance are all it needs of a design; ``arguments`` takes
them out of a batch.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.stages.series_capacitor_modes import Ready
from models.stages.series_capacitor_stress import Stress
from tests.simulation.netlist import Netlist, Waves, steady_state

WINDING = 1e-3  # [Ω], so that the currents of the phases are determinate


def simulate(
    *,
    v_in: float,
    v_out: float,
    power: float,
    inductance: float,
    f: float,
    capacitance: float,
    duty: Sequence[float],
    synchronous: bool = False,
    start: dict[str, float] | None = None,
    steps: int = 2400,
    warm: int = 30,
    output_capacitance: float = 0.0,
) -> dict[str, float]:
    """Return every figure of the stage's stress by name, as "s_rms_2".

    ``v_in``, ``v_out`` [V] and ``power`` [W] set source and load, ``duty`` [1] the
    on-times of S_1 … S_N; the output voltage is a result ("v_out").  A linear
    ``output_capacitance`` [F] across every switch and diode makes its edges cost energy,
    which needs many more ``steps``.
    """
    n = len(duty)
    net = Netlist()
    net.source("in", "in", "0", v_in)
    gates: dict[str, list[tuple[float, float]]] = {}
    for k in range(1, n + 1):
        net.resistor(f"r{k}", "in", f"p{k}", WINDING)
        net.inductor(f"l{k}", f"p{k}", f"s{k}", inductance)
        net.switch(f"q{k}", f"s{k}", "0")
        a, b = ("s1" if k == 1 else f"x{k - 1}"), ("o" if k == n else f"x{k}")
        off = (k - 1) / n, (k - 1) / n + 1.0 - duty[k - 1]
        gates[f"q{k}"] = [(off[1], off[0] + 1.0)]
        if synchronous:
            net.switch(f"d{k}", a, b)
            gates[f"d{k}"] = [off]
        else:
            net.diode(f"d{k}", a, b)
        if output_capacitance:
            net.capacitor(f"qc{k}", f"s{k}", "0", output_capacitance)
            net.capacitor(f"dc{k}", a, b, output_capacitance)
        if k < n:
            net.capacitor(f"c{k}", f"x{k}", f"s{k + 1}", capacitance)
    net.capacitor("co", "o", "0", 100e-6)
    net.resistor("load", "o", "0", v_out**2 / power)
    waves = steady_state(
        net,
        period=1.0 / f,
        gates=gates,
        start={"co": v_out, **(start or {})},
        steps=steps,
        warm=warm,
    )
    return _figures(waves, n, duty)


def arguments(
    ready: Ready, found: Stress, *, design: int, point: int, node: int
) -> dict[str, object]:
    """Return what ``simulate`` needs of one design at one operating point and swing node.

    Left to add: ``inductance``, ``f`` and ``capacitance`` of the design, and whether it
    is ``synchronous``.  The stage must not be in bursts there for powers to agree.
    """

    def number(x: np.ndarray) -> float:
        at = (design, point, node)
        return float(x[tuple(min(i, n - 1) for i, n in zip(at, x.shape, strict=True))])

    start = {f"l{k}": number(v) for k, v in enumerate(found.l_valley, start=1)}
    start |= {f"c{k}": number(v) for k, v in enumerate(found.v_c, start=1)}
    return {
        "v_in": number(ready.on.v_in),
        "v_out": number(ready.v_out),
        "power": number(found.power),
        "duty": [number(d) for d in found.duty],
        "start": start,
    }


def _figures(waves: Waves, n: int, duty: Sequence[float]) -> dict[str, float]:
    found = {"v_out": waves.mean("v:o"), "in_rms": waves.ripple_rms("i:in")}
    found |= {"in_ripple": waves.swing("i:in"), "link_rms": waves.rms("i:co")}
    found["power"] = waves.product("v:in", "i:in")
    found["loss"] = found["power"] - waves.product("v:load", "i:load")
    for k in range(1, n + 1):
        start, end = (k - 1) / n, (k - 1) / n + 1.0 - duty[k - 1]
        found |= {
            f"l_avg_{k}": waves.mean(f"i:l{k}"),
            f"l_rms_{k}": waves.rms(f"i:l{k}"),
            f"l_peak_{k}": waves.peak(f"i:l{k}"),
            f"l_valley_{k}": waves.valley(f"i:l{k}"),
            f"l_ripple_{k}": waves.swing(f"i:l{k}"),
            f"s_rms_{k}": waves.rms(f"i:q{k}"),
            f"s_peak_{k}": waves.peak(f"i:q{k}"),
            f"s_off_{k}": waves.before(f"i:q{k}", start),
            f"s_on_{k}": waves.after(f"i:q{k}", end),
            f"v_on_{k}": waves.before(f"v:q{k}", end),
            f"v_off_{k}": waves.after(f"v:q{k}", start),
            f"s_block_{k}": waves.peak(f"v:q{k}"),
            f"d_avg_{k}": waves.mean(f"i:d{k}"),
            f"d_rms_{k}": waves.rms(f"i:d{k}"),
            f"d_block_{k}": -waves.valley(f"v:d{k}"),
            f"d_rises_to_{k}": -waves.after(f"v:d{k}", end),
        }
        before = k - 1
        if before:
            found |= {
                f"d_falls_from_{before}": -waves.before(f"v:d{before}", end),
                f"d_falls_to_{before}": -waves.after(f"v:d{before}", end),
            }
            if k == 2:
                found["s_falls_from"] = waves.before("v:q1", end)
                found["s_falls_to"] = waves.after("v:q1", end)
        if k < n:
            found |= {
                f"v_c_{k}": waves.mean(f"v:c{k}"),
                f"c_rms_{k}": waves.rms(f"i:c{k}"),
                f"c_swing_{k}": waves.swing(f"v:c{k}"),
            }
    return found
