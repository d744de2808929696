"""Resistor and capacitor across the output diode of the coupled-inductor boost.

When the diode has stopped, the leakage rings with its junction and with the windings.  A
capacitor C_s = k·C_j with its resistor damps that; what the diode bears then and what it
costs follow from k.
"""

from __future__ import annotations

import dataclasses

from models.axes import Array, array_namespace
from models.case import Case
from models.ledger import Kind, Ledger, booking, joined
from models.parts import resistor
from models.parts.diode import DiodeDevice
from models.parts.part import Fact, Item
from models.physics.semiconductor import charge_and_energy, recovery_charge, recovery_rise

# Peak over plateau less one of the ring with the best resistor, 1/(1 + A·k^B), and peak of
# the ring that a current I leaves over I·Z, C·k^D; fitted here to the circuit of leakage,
# constant junction and snubber within 1 % for k = 0.5 … 8.
OVERSHOOT, OVERSHOOT_POWER = 0.48, 0.9
KICK, KICK_POWER = 0.74, -0.2
# Best resistor over Z, R₀ + R₁/k, within 5 % there.
R_0, R_1 = 0.6, 1.0
T_RECOVERY = 100.0  # [°C], at which the recovery charge is taken
PICO = 1e-12  # [F]
# One ceramic of 1 kV class with its share of the board; invented.
COST, FOOTPRINT, HEIGHT, MASS = 0.03, 8e-6, 1.6e-3, 0.02e-3  # [€], [m²], [m], [kg]


@dataclasses.dataclass(frozen=True)
class Snubber:
    """What stands across each diode; (design, 1, 1)."""

    device: DiodeDevice  # with the windings' capacitance beside its charge
    c: Array  # [F], C_s of the E12 row
    r: Array  # [Ω]
    z: Array  # [Ω], √(n²·L_k/C_j)
    overshoot: Array  # [1]
    kick: Array  # [1]

    def kicked(self, i: Array, slope: Array) -> Array:
        """Return what recovery adds to the peak of the ring [V]; both taken to coincide.

        All of the recovery charge is taken to flow before the diode snaps, I_rr =
        √(2·Q·di/dt), which is too much for soft diodes.

        Parameters
        ----------
        i : Array
            Current before its commutation [A].
        slope : Array
            Slope of that [A/s].
        """
        xp = array_namespace(i)
        hot = self.device.q_rr * recovery_rise(T_RECOVERY + 0.0 * self.device.q_rr)
        back = xp.sqrt(2.0 * recovery_charge(hot, self.device.i_rated, i) * slope)
        return self.kick * self.z * back

    def power(self, v: Array, rate: Array) -> Array:
        """Return the heat of one snubber [W]: rate·(V·Q_j − E_j + C_s·V²)."""
        charge, energy = charge_and_energy(self.device.charge, v)
        return rate * (v * charge - energy + self.c * v * v)

    def place(self, path: str, power: Array, count: int) -> Damper:
        """Return ``count`` snubbers, the heat of all in one resistor, at a ``power`` each."""
        xp = array_namespace(power)
        built = resistor.preferred(self.r)
        return Damper(path, built, xp.sqrt(count * power / built), self.c, count)


@dataclasses.dataclass(frozen=True)
class Damper(resistor.Resistor):
    """Placed snubbers of all phases."""

    c: Array  # [F], of one
    count: int

    def book(self, t: Array, case: Case) -> Ledger:
        """Return the resistor's books and those of the capacitors."""
        path, n = f"{self.path}.ceramic", self.count + 0.0 * self.c
        what = "snubber capacitor"
        return joined(
            super().book(t, case),
            booking(path, Kind.COST, n * COST, f"{what}; invented price"),
            booking(path, Kind.AREA, n * FOOTPRINT, what),
            booking(path, Kind.VOLUME, n * FOOTPRINT * HEIGHT, what),
            booking(path, Kind.HEIGHT, 0.0 * n + HEIGHT, what),
            booking(path, Kind.MASS, n * MASS, what),
            booking(path, Kind.PIECES, n, what),
            booking(f"{self.path}.capacitance", Kind.FIGURE, self.c, what, "F"),
        )

    def items(self, t: Array, case: Case) -> tuple[Item, ...]:
        """Return the lines of the first design."""
        build = (Fact("capacitance of one", float(self.c[0, 0, 0]), "F"),)
        ceramic = Item(f"{self.path}.ceramic", "ceramic capacitor, class I", self.count, build, ())
        return (*super().items(t, case), ceramic)


def snubber(k: Array, device: DiodeDevice, *, l_ring: Array, c_windings: Array) -> Snubber:
    """Return the snubber of the diode.

    Parameters
    ----------
    k : Array
        Capacitance wanted over that of the junction [1].
    device : DiodeDevice
        The diode.
    l_ring : Array
        Leakage at the secondary n²·L_k [H].
    c_windings : Array
        Capacitance of the windings as it appears at the diode [F].

    Source
    ------
    Fits of this module; the question is that of W. McMurray, "Optimum snubbers for power
    semiconductors", IEEE Trans. Ind. Appl. 8(5), 1972 (from memory), with a junction beside.
    """
    xp = array_namespace(k)
    loaded = dataclasses.replace(device.charge, extra=c_windings)
    own = dataclasses.replace(device, charge=loaded)
    c_j = charge_and_energy(loaded, loaded.v_ref)[0] / loaded.v_ref
    c = PICO * resistor.preferred(k * c_j / PICO)
    log = xp.log(c / c_j)
    z = xp.sqrt(l_ring / c_j)
    return Snubber(
        device=own,
        c=c,
        r=z * (R_0 + R_1 * c_j / c),
        z=z,
        overshoot=1.0 / (1.0 + OVERSHOOT * xp.exp(OVERSHOOT_POWER * log)),
        kick=KICK * xp.exp(KICK_POWER * log),
    )


def windings_seen(c_between: Array, ratio: Array) -> Array:
    """Return the capacitance between the windings as it appears at the diode [F].

    C·(n − 1)²/(3·n²): the voltage between both grows evenly along them from the common
    end, to (n − 1)/n of what the diode's node moves.  Windings wound against each other
    have (n + 1)².

    Parameters
    ----------
    c_between : Array
        Capacitance between the windings [F].
    ratio : Array
        n [1].

    Source
    ------
    Energy of a linear voltage, derived here.
    """
    return c_between * (ratio - 1.0) ** 2 / (3.0 * ratio * ratio)
