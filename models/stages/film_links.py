"""Two film links that swing together and carry the line-frequency energy.

    P ──┬────────┐     link 1: P–M, V₁       M is neutral and module negative
       C₁       C₂     link 2: P–N, V₂ = 2·V₁
    M ──┘        │
    N ───────────┘

The doubler between them keeps V₁ = V₂/2 at every angle, so that both hold the energy as
one capacitance C_eq = C₂ + C₁/4 at V₂ would.
"""

from __future__ import annotations

import dataclasses

from models.axes import Array, array_namespace
from models.case import Case
from models.ledger import Kind, at_most, booking, joined
from models.parts import capacitor, film
from models.physics import buffer
from models.stages.grid_filter import GridSide
from models.stages.link_voltage import link_voltage
from models.stages.ports import StorageTraits, Store
from models.stages.stage import Placed
from models.stress import CapacitorStress
from models.variables import part, real

TRAITS = StorageTraits("two film links", Store.SHARED, swings=True)

# Gauss-Chebyshev nodes of the swing for the stage in front [1]: over random designs its
# loss is 0.15 % off in the mean and 0.6 % in one of twenty.
NODES = 3


@dataclasses.dataclass(frozen=True)
class Design:
    """Voltage and capacitors of the links."""

    ratio: Array = real(
        1.02, 1.35, "", "nominal voltage of link 1 over the peak of the grid at full modulation"
    )
    c_1: capacitor.Film = part("capacitor of link 1")
    c_2: capacitor.Film = part("capacitor of link 2")


@dataclasses.dataclass(frozen=True)
class Links:
    """The swing of both links; angles over half a line cycle, in which it repeats."""

    v_2: Array  # [V], along the angle
    v_2_rms: Array  # [V]
    v_2_max: Array  # [V], load rejection included
    v_1_rms: Array  # [V]
    v_1_min: Array  # [V]
    v_1_nodes: Array  # [V], at Gauss-Chebyshev nodes of the swing, (design, point, 3)
    k: Array  # [1]
    k_max: Array  # [1]
    share_1: Array  # current of C₁ over that of C_eq [1], (design, 1, 1)
    share_2: Array  # the same of C₂ [1]
    i_line: Array  # [A], rms current of C_eq


@dataclasses.dataclass(frozen=True)
class HighFrequency:
    """Rms current at switching frequency in each link capacitor."""

    i_1: Array  # [A]
    f_1: Array  # [Hz]
    i_2: Array  # [A]
    f_2: Array  # [Hz]


def swing(design: Design, side: GridSide, m_max: Array, case: Case) -> Links:
    """Return the voltages of both links, see ``link_voltage``.

    At idle the body diodes of the bridge hold link 2 at the peak-to-peak value of the grid.

    Parameters
    ----------
    design : Design
        The links.
    side : GridSide
        Pulsating power and bridge voltage.
    m_max : Array
        Largest modulation index u/V₁ of the bridge [1], (design, 1, 1).
    case : Case
        Operating points.
    """
    c_1, c_2 = capacitor.capacitance(design.c_1, case), capacitor.capacitance(design.c_2, case)
    c_equal = c_2 + 0.25 * c_1
    # Seen from link 1, at half the voltage, the same energy needs four times the capacitance.
    one = link_voltage(design.ratio, 4.0 * c_equal, side, m_max, nodes=NODES, case=case)
    xp = array_namespace(one.k)
    v_2 = 2.0 * one.v_rms
    held = xp.minimum(one.k, buffer.K_LARGEST)
    return Links(
        v_2=2.0 * one.v,
        v_2_rms=v_2,
        v_2_max=2.0 * one.v_max,
        v_1_rms=one.v_rms,
        v_1_min=one.v_min,
        v_1_nodes=one.v_nodes,
        k=one.k,
        k_max=one.k_max,
        share_1=0.5 * c_1 / c_equal,
        share_2=c_2 / c_equal,
        i_line=buffer.ripple_current(side.power.s_p, v_2, held),
    )


def place(path: str, design: Design, links: Links, hf: HighFrequency, case: Case) -> Placed:
    """Return both capacitors with the limit on the swing.

    Parameters
    ----------
    path : str
        Dotted path in the topology.
    design : Design
        The links.
    links : Links
        Voltages of ``swing``.
    hf : HighFrequency
        Currents at switching frequency, of the stages on both sides.
    case : Case
        Specification, operating points and catalogue.
    """
    xp = array_namespace(links.k)
    running = case.points.p_ac > 0.0
    bound = xp.maximum(links.k_max, 0.01)
    books = joined(
        booking(f"{path}.swing", Kind.FIGURE, links.k, "swing of the energy in the links", "1"),
        booking(f"{path}.v_1_min", Kind.FIGURE, links.v_1_min, "least voltage of link 1", "V"),
        booking(f"{path}.v_2_max", Kind.FIGURE, links.v_2_max, "largest voltage of link 2", "V"),
        at_most(f"{path}.swing", xp.where(running, links.k, 0.0), bound, "1",
                "swing that still covers the grid's peak"),
    )  # fmt: skip
    stress_1 = _stress(links, 0.5, links.share_1, hf.i_1, hf.f_1)
    stress_2 = _stress(links, 1.0, links.share_2, hf.i_2, hf.f_2)
    return Placed(
        (
            film.place(f"{path}.c_1", design.c_1, stress_1, case),
            film.place(f"{path}.c_2", design.c_2, stress_2, case),
        ),
        books,
    )


def _stress(links: Links, ratio: float, share: Array, i_hf: Array, f_hf: Array) -> CapacitorStress:
    """Return the stress of one link capacitor; ``ratio`` is its voltage over V₂."""
    xp = array_namespace(links.k)
    k = xp.minimum(links.k, buffer.K_LARGEST)
    v = ratio * links.v_2_rms
    return CapacitorStress(
        v_mean=buffer.mean_voltage(v, k),
        v_max=ratio * links.v_2_max,
        v_swing=v * (xp.sqrt(1.0 + k) - xp.sqrt(1.0 - k)),
        i_line_rms=share * links.i_line,
        i_hf_rms=i_hf,
        f_hf=f_hf,
    )
