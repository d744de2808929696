"""Resistor and capacitor across the output diode of the coupled-inductor boost.

When the diode has stopped, the leakage rings with its junction and with the windings.  A
capacitor C_s = k·C_j with its resistor damps that; what the diode bears then and what it
costs follow from k.
"""

from __future__ import annotations

import dataclasses

from models.axes import Array, array_namespace
from models.ledger import Kind, Ledger, booking, joined
from models.parts import resistor
from models.parts.diode import DiodeDevice
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

    def peak(self, v: Array, i: Array, slope: Array) -> Array:
        """Return the highest voltage of the diode [V].

        All of the recovery charge is taken to flow before the diode snaps, I_rr =
        √(2·Q·di/dt), and both rings to peak together: too high for soft diodes.

        Parameters
        ----------
        v : Array
            Voltage it blocks when the ring is over [V].
        i : Array
            Current before its commutation [A].
        slope : Array
            Slope of that [A/s].
        """
        xp = array_namespace(v)
        hot = self.device.q_rr * recovery_rise(T_RECOVERY + 0.0 * self.device.q_rr)
        back = xp.sqrt(2.0 * recovery_charge(hot, self.device.i_rated, i) * slope)
        return v * (1.0 + self.overshoot) + self.kick * self.z * back

    def power(self, v: Array, rate: Array) -> Array:
        """Return the heat of one snubber [W]: rate·(V·Q_j − E_j + C_s·V²)."""
        charge, energy = charge_and_energy(self.device.charge, v)
        return rate * (v * charge - energy + self.c * v * v)

    def place(self, path: str, power: Array, count: int) -> tuple[resistor.Resistor, Ledger]:
        """Return the resistors of ``count`` snubbers, all heat in one, and the capacitors."""
        xp = array_namespace(power)
        placed = resistor.place(path, self.r, xp.sqrt(count * power / resistor.preferred(self.r)))
        n = count + 0.0 * self.c
        books = joined(
            booking(f"{path}.ceramic", Kind.COST, n * COST, "snubber capacitor; invented price"),
            booking(f"{path}.ceramic", Kind.AREA, n * FOOTPRINT, "snubber capacitor"),
            booking(f"{path}.ceramic", Kind.VOLUME, n * FOOTPRINT * HEIGHT, "snubber capacitor"),
            booking(f"{path}.ceramic", Kind.HEIGHT, 0.0 * n + HEIGHT, "snubber capacitor"),
            booking(f"{path}.ceramic", Kind.MASS, n * MASS, "snubber capacitor"),
            booking(f"{path}.ceramic", Kind.PIECES, n, "snubber capacitor"),
            booking(f"{path}.capacitance", Kind.FIGURE, self.c, "snubber capacitor", "F"),
        )
        return placed, books


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
