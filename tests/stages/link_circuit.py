"""Cases, currents and averaged circuits for the tests of links and ripple ports."""

import dataclasses
import math

import numpy as np
from scipy.integrate import solve_ivp

from models.axes import designs
from models.ledger import Kind, joined
from models.parts import capacitor, ceramic
from models.points import Purpose
from models.stages import grid_filter
from models.stages.ports import LinkCurrents
from models.variables import build, variables
from tests.stages.grid_cases import CATALOGUE, Point, filter_design, make_case, row

M_MAX = designs(0.97)
L_BRIDGE = designs(2e-3)

# Rows that every storage has to survive with finite numbers.
ROWS = (
    Point(),
    Point(p_ac=30.0),
    Point(p_ac=6.0),
    Point(v_grid=105.6),
    Point(v_grid=132.0),
    Point(power_factor=0.8),
    Point(power_factor=-0.8),
    Point(purpose=Purpose.REJECTION),
    Point(p_ac=0.0, v_grid=144.0, purpose=Purpose.IDLE),
)


@dataclasses.dataclass(frozen=True)
class Pulsating:
    """What a bridge draws, by complex arithmetic."""

    power: float  # [W]
    s_p: float  # [W]
    psi: float  # [rad]
    omega: float  # [rad/s]
    u: complex  # [V], rms phasor of the bridge

    def stored(self, t):
        """Power into the storage [W]."""
        return self.s_p * np.cos(2.0 * self.omega * t + self.psi)


def side_of(case, l_bridge=L_BRIDGE):
    return grid_filter.bridge_side(filter_design(), l_bridge, case)


def pulsating(case, side, l_bridge=L_BRIDGE):
    """Pulsating power of the first row."""
    points = case.points
    omega = 2.0 * math.pi * points.f_grid[0, 0, 0]
    v, p, factor = (x[0, 0, 0] for x in (points.v_grid, points.p_ac, points.power_factor))
    phi = math.copysign(math.acos(abs(factor)), factor)
    grid = p / v / abs(factor) * np.exp(-1j * phi)
    middle = v + 1j * omega * filter_design().inductance.item() * grid
    current = grid + 1j * omega * side.c.item() * middle
    u = middle + 1j * omega * l_bridge.item() * current
    return Pulsating(p, abs(u * current), float(np.angle(u * current)), omega, u)


def averaged_link(x, c, v_start, cycles=2):
    """Voltage of a capacitor between constant power and a bridge, over the last line cycle."""
    cycle = 2.0 * math.pi / x.omega

    def slope(t, v):
        return x.stored(t) / (c * v)

    ran = solve_ivp(
        slope, (0.0, cycles * cycle), [v_start], rtol=1e-9, atol=1e-9, dense_output=True
    )
    t = np.linspace((cycles - 1) * cycle, cycles * cycle, 4000, endpoint=False)
    return t, ran.sol(t)[0]


def currents(case, i=1.0, f=100e3):
    """Currents of the stages on both sides; they rest where no power flows."""
    running = np.where(case.points.p_ac > 0.0, 1.0, 0.0)
    return LinkCurrents(i * running, designs(f), 0.5 * i * running, f * running)


def electrolytics(name, count=1.0):
    return capacitor.Electrolytic(
        row=row("electrolytic", name),
        count=designs(count),
        mounting=np.zeros((1, 1, 1), dtype=np.int64),
    )


def ceramics(name, count=10.0):
    return ceramic.Design(row=row("ceramic", name), count=designs(count))


def random_designs(cls, n, rng, corners=False):
    """Random designs of a stage, uniform or logarithmic as declared, or corners of the box."""
    values = {}
    for v in variables(cls, CATALOGUE.names()):
        share = rng.integers(0, 2, n).astype(float) if corners else rng.random(n)
        x = v.lo * (v.hi / v.lo) ** share if v.log else v.lo + (v.hi - v.lo) * share
        values[v.field] = (np.round(x) if v.discrete else x).reshape(-1, 1, 1)
    return values, build(cls, values, {})


def placed_books(placed, case, t=60.0):
    """Ledger of a stage with every part at one temperature."""
    n = max(part.loss(np.full((1, 1, 1), t)).shape[0] for part in placed.parts)
    hot = np.full((n, case.points.count, 1), t)
    return joined(placed.books, *(part.book(hot, case) for part in placed.parts))


def worst_limits(books, n):
    """Largest margin of every limit over the rows, by path; at most 0 is met."""
    return {
        e.path: np.broadcast_to(np.max(e.value, axis=(1, 2)), (n,)) for e in books.of(Kind.LIMIT)
    }


def laws(cls, place, rng, rows=ROWS, n=40):
    """Hold what every storage must: finite, no loss below zero, batch and single alike.

    ``place(design, case)`` returns the placed stage; every variable must change something.
    """
    case = make_case(*rows)
    for corners in (False, True):
        values, design = random_designs(cls, n, rng, corners)
        books = placed_books(place(design, case), case)
        for entry in books.entries:
            assert np.isfinite(entry.value).all(), entry.path
            if entry.kind is Kind.LOSS:
                assert (entry.value >= 0.0).all(), entry.path
        for j in (0, n - 1):
            alone = build(cls, {k: v[j : j + 1] for k, v in values.items()}, {})
            single = placed_books(place(alone, case), case)
            for one, many in zip(single.entries, books.entries, strict=True):
                assert one.path == many.path
                whole = np.broadcast_to(many.value, (n, *many.value.shape[1:]))
                np.testing.assert_array_equal(one.value, whole[j : j + 1], err_msg=one.path)


def idle_variables(cls, place, rng, n=30):
    """Return the variables that change no booking of any of ``n`` random designs."""
    case = make_case(*ROWS)
    values, design = random_designs(cls, n, rng)
    before = placed_books(place(design, case), case)
    found = []
    for v in variables(cls, CATALOGUE.names()):
        x = values[v.field]
        other = np.where(x < 0.5 * (v.lo + v.hi), v.hi, v.lo)
        after = placed_books(place(build(cls, {**values, v.field: other}, {}), case), case)
        pairs = zip(before.entries, after.entries, strict=True)
        if all(np.array_equal(a.value, b.value) for a, b in pairs):
            found.append(v.path)
    return found


def book(books, path, kind=Kind.FIGURE):
    """One booking's value in the first row."""
    return float(books.find(path, kind).value[0, 0, 0])
