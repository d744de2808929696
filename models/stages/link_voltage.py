"""The voltage of a link that stores the power which pulsates at twice the line frequency."""

from __future__ import annotations

import math

from models.axes import Array, array_namespace, swing_nodes
from models.case import Case
from models.ledger import Kind, Ledger, at_most, booking, joined
from models.physics import buffer
from models.stages.grid_filter import GridSide
from models.stages.ports import Link
from models.stress import CapacitorStress

TRIP_TIME = 2e-3  # [s], until the front stops when the grid is lost; common practice, no source
# Reference above the least voltage, for the sensors [1]; common practice, no source.
RESERVE = 1.01
# Swing of the energy that counts as small [1]: 3.5 % of voltage; the region in which one
# voltage may stand for the whole cycle in a stage of fixed ratio in front.
K_SMALL = 0.07


def link_voltage(
    ratio: Array, c: Array, side: GridSide, m_max: Array, *, nodes: int, case: Case
) -> Link:
    """Return the voltage of a link.

    The reference follows the grid: V₀ is the nominal value ratio·√2·V/m_max, or 1 % above
    the least that covers the grid's peak with the swing, whichever is higher.  At idle the
    body diodes of the bridge hold the link at the peak of the grid.

    Parameters
    ----------
    ratio : Array
        Nominal voltage over the peak of the grid at full modulation [1], (design, 1, 1).
    c : Array
        Capacitance that takes the pulsating power [F], (design, 1, 1).
    side : GridSide
        Pulsating power and bridge voltage.
    m_max : Array
        Largest modulation index of the bridge [1], (design, 1, 1).
    nodes : int
        Gauss-Chebyshev nodes of the swing for the stage in front; 1 where it hardly moves.
    case : Case
        Operating points.
    """
    points = case.points
    xp = array_namespace(c, side.u_peak)
    s_p, sin_phi = side.power.s_p, side.power.sin_phi
    least = buffer.least_voltage(side.u_peak, m_max, s_p / (side.omega * c), sin_phi)
    nominal = ratio * math.sqrt(2.0) * points.v_nominal / m_max
    idle = math.sqrt(2.0) * points.v_grid
    v = xp.where(side.running > 0.0, xp.maximum(nominal, RESERVE * least), idle)
    k = buffer.swing_ratio(s_p, side.omega, c, v)
    held = xp.minimum(k, buffer.K_LARGEST)
    top, bottom = v * xp.sqrt(1.0 + held), v * xp.sqrt(1.0 - held)
    rejected = buffer.rejected_voltage(top, points.p_ac, TRIP_TIME, c)
    return Link(
        v=buffer.swing_voltage(v, side.swing_sine * (held / xp.maximum(s_p, 1e-9))),
        v_rms=v,
        v_min=bottom,
        v_max=xp.where(points.rejection > 0.0, rejected, top),
        v_nodes=buffer.swing_voltage(v, held * swing_nodes(nodes)) if nodes > 1 else v,
        swing=0.5 * (top - bottom),
        k=k,
        k_max=buffer.swing_ratio_max(v, side.u_peak, m_max, sin_phi),
        c=c,
    )


def link_stress(link: Link, side: GridSide, i_hf: Array, f_hf: Array) -> CapacitorStress:
    """Return the stress of the capacitor that takes all of the pulsating power.

    Parameters
    ----------
    link : Link
        The link.
    side : GridSide
        Pulsating power.
    i_hf : Array
        Rms current at switching frequency [A].
    f_hf : Array
        Its frequency [Hz].
    """
    xp = array_namespace(link.k)
    k = xp.minimum(link.k, buffer.K_LARGEST)
    return CapacitorStress(
        v_mean=buffer.mean_voltage(link.v_rms, k),
        v_max=link.v_max,
        v_swing=2.0 * link.swing,
        i_line_rms=buffer.ripple_current(side.power.s_p, link.v_rms, k),
        i_hf_rms=i_hf,
        f_hf=f_hf,
    )


def link_books(path: str, link: Link, k_bound: Array, case: Case) -> Ledger:
    """Return the figures of a link and the limit on its swing [1] while power flows."""
    xp = array_namespace(link.k)
    k = xp.where(case.points.p_ac > 0.0, link.k, 0.0)
    return joined(
        booking(f"{path}.swing", Kind.FIGURE, link.k, "swing of the energy in the link", "1"),
        booking(f"{path}.v_min", Kind.FIGURE, link.v_min, "least voltage of the link", "V"),
        booking(f"{path}.v_max", Kind.FIGURE, link.v_max, "largest voltage of the link", "V"),
        at_most(f"{path}.swing", k, xp.maximum(k_bound, 0.01), "1",
                "swing of the energy in the link, within what grid and model allow"),
    )  # fmt: skip
