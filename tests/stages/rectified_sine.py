"""A case and designs for the stages of a flyback with unfolder."""

import dataclasses
import types

import numpy as np

from models.axes import designs, points
from models.catalogues import SCHEMAS
from models.parts import ceramic, diode, electrolytic, film, switch, transformer
from models.parts.catalogue import Catalogue, read_table
from models.stages import flyback, module_buffer, unfolder

CATALOGUE = Catalogue({name: read_table(name, schema) for name, schema in SCHEMAS.items()})


@dataclasses.dataclass(frozen=True)
class Rows:
    """Operating points as the stages read them."""

    v_pv: np.ndarray
    p_ac: np.ndarray
    v_grid: np.ndarray
    v_nominal: np.ndarray
    f_grid: np.ndarray
    power_factor: np.ndarray
    kappa: np.ndarray
    rejection: np.ndarray
    thermal: np.ndarray
    hours: np.ndarray
    weight: np.ndarray


def case(v_pv=(35.0,), p_ac=(300.0,), v_grid=(230.0,), power_factor=1.0, rejection=0.0,
         kappa=18.0, ripple_max=None):  # fmt: skip
    """A case of as many rows as the longest argument has."""
    n = max(len(np.atleast_1d(x)) for x in (v_pv, p_ac, v_grid, rejection))

    def row(x):
        return points(np.broadcast_to(np.asarray(x, dtype=float), (n,)))

    rows = Rows(
        v_pv=row(v_pv), p_ac=row(p_ac), v_grid=row(v_grid), v_nominal=row(230.0),
        f_grid=row(50.0), power_factor=row(power_factor), kappa=row(kappa),
        rejection=row(rejection), thermal=row(1.0), hours=row(8760.0 / n), weight=row(1.0 / n),
    )  # fmt: skip
    limits = types.SimpleNamespace(
        module_ripple_max_pct=ripple_max, trd_max_pct=3.0, junction_margin_k=25.0
    )
    life = types.SimpleNamespace(electrolytic_cap_years=20.0)
    spec = types.SimpleNamespace(limits=limits, life=life)
    return types.SimpleNamespace(spec=spec, points=rows, catalogue=CATALOGUE)


def index(table, name):
    return np.full((1, 1, 1), CATALOGUE[table].rows.index(name), dtype=np.int64)


def transistor(name, r_on, t_dead=60e-9, r_gate=3.0):
    return switch.Design(
        index("switches", name), designs(r_on), designs(1.0), designs(r_gate), designs(t_dead)
    )


def wound(turns, interleaved):
    return transformer.Design(
        core=index("cores", "PQ32/30"), ferrite=np.zeros((1, 1, 1), np.int64),
        turns_primary=designs(turns[0]), turns_secondary=designs(turns[1]),
        primary_wire=np.ones((1, 1, 1), np.int64), primary_strand=designs(0.1e-3),
        primary_strands=designs(400.0), secondary_wire=np.ones((1, 1, 1), np.int64),
        secondary_strand=designs(0.1e-3), secondary_strands=designs(60.0),
        interleaved=np.full((1, 1, 1), interleaved, np.int64),
    )  # fmt: skip


def stage(phases=1, clamp="short_pulse", f=100e3, magnetising=0.85, least_load=0.2,
          clamp_row="x7r-1u-250V", clamp_count=1.0, turns=(4.0, 24.0), interleaved=1):  # fmt: skip
    """A flyback for 300 W from 35 V into 230 V."""
    return flyback.Design(
        phases=phases, clamp=clamp, f=designs(f), magnetising=designs(magnetising),
        least_load=designs(least_load), transformer=wound(turns, interleaved),
        main=transistor("GaN 200 V class", 8e-3),
        clamp_switch=transistor("GaN 200 V class", 25e-3),
        rectifier=diode.Design(index("diodes", "SiC Schottky 1200 V 5 A class"), designs(1.0)),
        clamp_capacitor=ceramic.Design(index("ceramic", clamp_row), designs(clamp_count)),
    )  # fmt: skip


def bridge(row="film-470n-630V-305VAC", side=0):
    return unfolder.Design(
        switch=unfolder.Transistor(
            index("switches", "SJ 650 V class"), designs(40e-3), designs(1.0)
        ),
        filter=film.Design(index("film", row), designs(1.0)),
        side=np.full((1, 1, 1), side, np.int64),
    )


def storage(row="can-2200u-80V-10kh", count=4.0):
    return module_buffer.Design(
        storage=electrolytic.Design(
            index("electrolytic", row), designs(count), np.zeros((1, 1, 1), np.int64)
        ),
        bypass=ceramic.Design(index("ceramic", "x7r-10u-100V"), designs(6.0)),
    )
