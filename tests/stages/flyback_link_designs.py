"""Designs of the flyback on a link that meet every limit in the demo case."""

import numpy as np

from models.axes import designs
from models.stages import flyback_link
from models.variables import build
from tests.stages.front_designs import demo_case, link, placed, power

V_LINK = 380.0


def _row(table, name):
    return demo_case().catalogue[table].rows.index(name)


def values(phases, clamp, **fixed):
    """Variables by field of one design for 300 W into 380 V."""
    switch, two = _row("switches", "GaN 350 V class"), phases == 2
    found = {
        "f": 62e3 if two else 77e3, "magnetising": 0.88, "least_load": 0.25, "snubber": 0.9,
        "transformer.core": _row("cores", "RM14" if two else "ETD49/25/16"),
        "transformer.ferrite": _row("ferrites", "F-LL"),
        "transformer.turns_primary": 8.0 if two else 6.0,
        "transformer.turns_secondary": 25.0 if two else 19.0,
        "transformer.primary_wire": 1, "transformer.primary_strand": 8e-5,
        "transformer.primary_strands": 400.0 if two else 600.0,
        "transformer.secondary_wire": 0, "transformer.secondary_strand": 0.73e-3,
        "transformer.secondary_strands": 1.0, "transformer.interleaved": 0,
        "main.row": switch, "main.r_on": 10e-3, "main.parallel": 2.0, "main.r_gate": 1.2,
        "main.t_dead": 50e-9,
        "clamp_switch.row": switch, "clamp_switch.r_on": 50e-3, "clamp_switch.parallel": 2.0,
        "clamp_switch.r_gate": 3.0, "clamp_switch.t_dead": 60e-9,
        "rectifier.row": _row("diodes", "SiC Schottky 1200 V 2 A class"),
        "rectifier.parallel": 1.0,
        "clamp_capacitor.row": _row("ceramic", "x7r-220n-450V"),
        "clamp_capacitor.count": 2.0,
        "input.row": _row("ceramic", "x7r-10u-100V"), "input.count": 40.0,
    }  # fmt: skip
    if clamp == "complementary":
        found |= {
            "magnetising": 0.5, "least_load": 0.5, "snubber": 1.45,
            "transformer.turns_primary": 10.0 if two else 8.0,
            "transformer.turns_secondary": 39.0 if two else 32.0,
            "transformer.primary_strands": 280.0 if two else 600.0,
            "transformer.secondary_strand": 0.47e-3 if two else 1e-3,
            "main.parallel": 3.0, "clamp_switch.r_on": 15e-3, "clamp_switch.parallel": 3.0,
            "clamp_capacitor.row": _row("ceramic", "x7r-2.2u-450V"),
            "clamp_capacitor.count": 22.0 if two else 40.0,
        }  # fmt: skip
    return {name: designs(x) for name, x in (found | fixed).items()}


def made(static, **fixed):
    """One design of the structure, with some variables otherwise."""
    return build(flyback_link.Design, values(**static, **fixed), static)


def still(case, *, v=V_LINK):
    """A link that does not swing."""
    return link(1, case, v=v, swing=0.0, nodes=1)


def set_up(design, case, on):
    """The stage prepared, its waves, and placed."""
    ready, front = placed(flyback_link, design, case, on)
    one = flyback_link.setting(design, ready, power(on.v_nodes.shape[0], case), case)
    return ready, one, front


def part(front, name):
    return next(p for p in front.placed.parts if p.path == f"boost.{name}")


def whole(winding):
    """Rms value of the whole current of a winding."""
    ripple = sum(h**2 for h in winding.harmonics)
    return np.sqrt(winding.i_dc**2 + winding.i_line_rms**2 + ripple)
