"""The waves of an LLC resonant stage in volts and amperes, and what all its parts share."""

from __future__ import annotations

import dataclasses
import functools
import math

from models.axes import Array, array_namespace
from models.case import Case
from models.parts import capacitor, diode, switch
from models.physics.llc_table import Wave
from models.physics.semiconductor import charge_and_energy
from models.stages.llc_tank import Design, Doubler, Tank, Transistor
from models.stages.swing import Nodes, node_mean


@dataclasses.dataclass(frozen=True)
class Setting:
    """What every part of one stage is placed with; arrays along the nodes of the swing."""

    path: str
    design: Design
    tank: Tank
    wave: Wave
    v_in: Array  # [V]
    v_out: Array  # [V]
    v_top: Array  # [V], highest of the link, load rejection included
    power: Array  # [W], while it runs
    nodes: Nodes
    case: Case

    @functools.cached_property
    def v_r(self) -> Array:
        """Output voltage as the primary sees it [V]."""
        return self.v_out / self.tank.gain

    @functools.cached_property
    def unit(self) -> Array:
        """Current V_r/Z₀ of the normalised waves [A]."""
        return self.v_r / self.tank.z_0

    @functools.cached_property
    def f_nodes(self) -> Array:
        """Switching frequency [Hz], along the nodes."""
        return self.tank.f_0 / self.wave.period

    @functools.cached_property
    def f(self) -> Array:
        """Mean switching frequency while it runs, else the resonance [Hz]."""
        xp = array_namespace(self.v_out)
        runs = self.nodes.active > 0.0
        return xp.where(runs, self.nodes.running(self.f_nodes), self.tank.f_0)

    @functools.cached_property
    def rate(self) -> Array:
        """Switching periods per second, pauses left out [Hz]."""
        return self.f * self.nodes.active

    @functools.cached_property
    def i_off(self) -> Array:
        """Current that the bridge turns off [A], along the nodes."""
        return self.wave.off * self.unit

    @functools.cached_property
    def tank_square(self) -> Array:
        """Mean square of the tank's current [A²], pauses included."""
        return self.nodes.time((self.wave.tank * self.unit) ** 2)

    @functools.cached_property
    def secondary_square(self) -> Array:
        """Mean square of the secondary's current [A²], pauses included."""
        return self.nodes.time((self.wave.secondary * self.unit / self.tank.turns) ** 2)

    @functools.cached_property
    def own(self) -> switch.Device:
        """Each switch at the module."""
        return switch.device(self.design.switch, self.case)

    @functools.cached_property
    def swept(self) -> tuple[Array, Array]:
        """Charge of a bridge node and of the rectifiers that an edge moves [C].

        2·Q(V_in) of a leg, and 2·(N_s/N_p)·Q(V_out) of the rectifiers, at the primary: the
        magnetising current charges both side by side.
        """
        x = self.design.rectifier
        if isinstance(x, Transistor):
            law = switch.device(x.position(), self.case).charge
        else:
            law = diode.device(x, self.case).charge
        leg = 2.0 * charge_and_energy(self.own.charge, self.v_in)[0]
        return leg, 2.0 * self.tank.turns * charge_and_energy(law, self.level)[0]

    @functools.cached_property
    def level(self) -> Array:
        """Rms value of the link's voltage [V]."""
        return array_namespace(self.v_out).sqrt(node_mean(self.v_out * self.v_out))

    @functools.cached_property
    def module_ripple(self) -> Array:
        """Switching ripple at the module, peak to peak [V].

        ΔV = 2√2·I_ac/(2π·f·C), as if it were a sine: 2 % low to 20 % high against the
        waves of ``llc_modes``, up to half as much again at little load.
        """
        xp = array_namespace(self.v_out)
        share = xp.maximum(self.nodes.active, 1e-3)
        current = self.nodes.running(self.power) / self.v_in
        square = xp.maximum(self.drawn_square / share - current * current, 0.0)
        c = capacitor.capacitance_at(self.design.input, self.v_in, self.case)
        return 2.0 * xp.sqrt(2.0 * square) / (2.0 * math.pi * self.pulses * c)

    @property
    def drawn_square(self) -> Array:
        """Mean square of the current drawn from the module [A²], pauses included."""
        return self.tank_square * (1.0 if self.design.primary == "full" else 0.5)

    @property
    def pulses(self) -> Array:
        """Frequency of the current drawn from the module [Hz]."""
        return (2.0 if self.design.primary == "full" else 1.0) * self.f

    @property
    def doubles(self) -> bool:
        """True for a voltage doubler."""
        return isinstance(self.design.secondary, Doubler)
