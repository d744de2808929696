"""Cases and designs for the tests of grid-side stages."""

import dataclasses

import numpy as np

from models.axes import designs
from models.case import Case
from models.parts import capacitor, cores, emi_choke, inductor, switch
from models.parts.catalogue import Catalogue, read_table
from models.points import OperatingPoints, Purpose
from models.spec import Grid, Module, Output, Specification
from models.stages import common_ground_half_bridge as bridge
from models.stages import emi, film_links, grid_filter

SCHEMAS = {
    **capacitor.SCHEMAS,
    "switches": switch.SCHEMA,
    "cores": cores.CORES,
    "ferrites": cores.FERRITES,
    "powders": cores.POWDERS,
    "emi_chokes": emi_choke.SCHEMA,
}
CATALOGUE = Catalogue({name: read_table(name, schema) for name, schema in SCHEMAS.items()})


def row(table, name):
    """Row number as an index array of one design."""
    return np.full((1, 1, 1), CATALOGUE[table].rows.index(name), dtype=np.int64)


def index(value):
    return np.full((1, 1, 1), value, dtype=np.int64)


@dataclasses.dataclass(frozen=True)
class Point:
    p_ac: float = 300.0
    v_grid: float = 120.0
    power_factor: float = 1.0
    purpose: Purpose = Purpose.WEIGHTED


def make_case(*rows, v_nominal=120.0, f_grid=60.0):
    """A case with the given rows."""
    n = len(rows)

    def axis(values):
        return np.array(values, dtype=float).reshape(1, n, 1)

    def same(value):
        return np.full((1, n, 1), float(value))

    spec = Specification(
        module=(Module(v_mp_v=33.0, i_mp_a=9.1, v_oc_v=40.0, i_sc_a=9.6),),
        grid=(Grid(voltage_v=v_nominal, frequency_hz=int(f_grid)),),
        output=Output(rated_power_w=300.0),
    )
    points = OperatingPoints(
        label=tuple(f"row {i}" for i in range(n)),
        purpose=tuple(r.purpose for r in rows),
        v_pv=same(33.0),
        p_ac=axis([r.p_ac for r in rows]),
        v_grid=axis([r.v_grid for r in rows]),
        f_grid=same(f_grid),
        power_factor=axis([r.power_factor for r in rows]),
        t_air=same(45.0),
        t_module=same(60.0),
        irradiance=same(1000.0),
        kappa=same(15.0),
        weight=same(1.0 / n),
        hours=same(8760.0 / n),
        v_nominal=same(v_nominal),
        rejection=axis([float(r.purpose is Purpose.REJECTION) for r in rows]),
        thermal=axis([float(r.purpose not in (Purpose.REJECTION, Purpose.IDLE)) for r in rows]),
    )
    return Case(spec, points, CATALOGUE)


def choke(core="PQ26/25", turns=40.0, powder="sendust 60"):
    return inductor.Design(
        core=row("cores", core),
        ferrite=index(0),
        powder=row("powders", powder),
        wire=index(1),
        strand=designs(0.1e-3),
        strands=designs(60.0),
        layers=designs(3.0),
        turns=designs(turns),
    )


def film(name, count=1.0):
    return capacitor.Film(row=row("film", name), count=designs(count))


def transistor(name="GaN 650 V class", r_on=75e-3, t_dead=80e-9):
    return switch.Design(
        row=row("switches", name),
        r_on=designs(r_on),
        parallel=designs(1.0),
        r_gate=designs(5.0),
        t_dead=designs(t_dead),
    )


def filter_design(stages=1, c_f="film-470n-630V-305VAC", l_grid=100e-6):
    return grid_filter.Design(
        inductance=designs(l_grid),
        choke=choke(turns=20.0),
        capacitor=film(c_f),
        emi=emi.Design(
            stages=designs(float(stages)),
            choke=emi_choke.Design(row=row("emi_chokes", "frame 3.3 mH 4 A")),
            x=film("film-220n-630V-305VAC"),
            y=index(2),
        ),
    )


def bridge_design(f=100e3, carriers=0, l_doubler=400e-6, l_choke=600e-6, t_dead=80e-9):
    return bridge.Design(
        f=designs(f),
        carriers=index(carriers),
        leg_a=transistor(t_dead=t_dead),
        leg_b=transistor(t_dead=t_dead),
        doubler_inductance=designs(l_doubler),
        doubler=choke(),
        choke_inductance=designs(l_choke),
        choke=choke(turns=60.0),
    )


def links_design(ratio=1.086, c_1="film-10u-400V", n_1=4.0, c_2="film-2.2u-500V", n_2=5.0):
    return film_links.Design(ratio=designs(ratio), c_1=film(c_1, n_1), c_2=film(c_2, n_2))
