"""One module on one grid: the rows of the table of operating points that it asks for."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

import numpy as np

from models.climate import Climate
from models.module_view import WINDOW_CELL_C, ModuleView
from models.points import Purpose
from models.pv_module import STC_W_M2, cell_temperature
from models.spec import Grid, Specification
from models.spec_rules import FULL_SUN, air_behind
from models.year import SHARE_AC, derating, year_bins

# Loads as shares of rated AC power, and their weights.  CEC: California Energy
# Commission test protocol; European: EN 50530, whose loads are shares of the DC power
# (the difference, a few per cent of load, moves the result by less than 0.1 points).
WEIGHTS = {
    "cec": ((0.10, 0.04), (0.20, 0.05), (0.30, 0.12), (0.50, 0.21), (0.75, 0.53), (1.0, 0.05)),
    "european": ((0.05, 0.03), (0.10, 0.06), (0.20, 0.13), (0.30, 0.10), (0.50, 0.48), (1.0, 0.2)),
}
LABORATORY_C = 25.0  # [°C], air around the box under test; both protocols (from memory)
COLD_CELL_C = float(WINDOW_CELL_C[0])  # of the highest maximum-power voltage


@dataclasses.dataclass(frozen=True)
class Row:
    """One operating point before it becomes a column of arrays; units as in ``points``."""

    label: str
    purpose: Purpose
    v_pv: float
    p_ac: float
    v_grid: float
    f_grid: float
    power_factor: float
    t_air: float
    t_module: float
    irradiance: float
    kappa: float
    v_nominal: float
    weight: float = 0.0
    hours: float = 0.0
    rejection: float = 0.0
    thermal: float = 1.0


@dataclasses.dataclass(frozen=True)
class Site:
    """One module on one grid."""

    spec: Specification
    view: ModuleView
    grid: Grid
    suffix: str  # tells the rows of several sites apart

    def weighted(self, share: float) -> Iterator[Row]:
        """Yield the loads of the weighted efficiency as a laboratory measures them.

        Parameters
        ----------
        share : float
            Sum of the weights of this site [1].
        """
        view, output = self.view, self.spec.output
        voltages = {"": view.v_nominal}
        if output.three_voltages:
            voltages = {
                ", lowest module voltage": view.v_low,
                ", nominal module voltage": view.v_nominal,
                ", highest module voltage": view.v_high,
            }
        for name, voltage in voltages.items():
            for load, weight in WEIGHTS[output.weighting]:
                power = load * output.rated_power_w
                # The sun that gives this power, for the curvature κ at it.
                sun = min(max(STC_W_M2 * power / SHARE_AC / view.p_nominal, 20.0), 1200.0)
                yield self._row(
                    f"{100 * load:g} % load{name}",
                    Purpose.WEIGHTED,
                    v_pv=voltage,
                    p_ac=power,
                    ambient=LABORATORY_C,
                    sun=sun,
                    cell=LABORATORY_C,
                    t_air=LABORATORY_C,
                    t_module=LABORATORY_C,
                    power_factor=1.0,
                    weight=weight * share / len(voltages),
                )

    def corners(self) -> Iterator[Row]:
        """Yield the edges of the window at full power, and the hottest roof."""
        view, roof, rated = self.view, self.spec.roof, self.spec.output.rated_power_w
        warm, corner = roof.full_power_ambient_c, Purpose.CORNER
        yield self._row("lowest module voltage", corner, v_pv=view.v_low, p_ac=rated, ambient=warm)
        yield self._row(
            "highest module voltage", corner, v_pv=view.v_high, p_ac=rated,
            ambient=COLD_CELL_C, cell=COLD_CELL_C, t_air=COLD_CELL_C,
        )  # fmt: skip
        for name, share in zip(("lowest", "highest"), self.grid.window_pu, strict=True):
            yield self._row(
                f"{name} grid voltage", corner, v_pv=view.v_nominal, p_ac=rated, ambient=warm,
                v_grid=share * self.grid.voltage_v,
            )  # fmt: skip
        hot = roof.hot_ambient_c
        v_hot = float(view.at(FULL_SUN, self._cell(hot, FULL_SUN)).v_mp[0])
        yield self._row(
            "hottest roof",
            Purpose.HOT,
            # Below the window the inverter holds its lowest voltage and gives up power.
            v_pv=min(max(v_hot, view.v_low), view.v_high),
            p_ac=rated * float(derating(np.array(hot), self.spec)),
            ambient=hot,
        )

    def unpowered(self) -> Iterator[Row]:
        """Yield idle in record cold, and the loss of the grid at full power."""
        view, roof, volts = self.view, self.spec.roof, self.grid.voltage_v
        cold = roof.record_cold_c
        yield self._row(
            "idle, record cold", Purpose.IDLE, v_pv=view.v_cold, p_ac=0.0, ambient=cold,
            cell=cold, t_air=cold, v_grid=self.grid.max_transient_pu * volts, thermal=0.0,
        )  # fmt: skip
        yield self._row(
            "load rejection", Purpose.REJECTION, v_pv=view.v_nominal,
            p_ac=self.spec.output.rated_power_w, ambient=roof.full_power_ambient_c,
            v_grid=self.grid.window_pu[1] * volts, rejection=1.0, thermal=0.0,
        )  # fmt: skip

    def year(self, climate: Climate) -> Iterator[Row]:
        """Yield the year: the night at nominal voltages without power, then the days."""
        for each in year_bins(climate, self.view, self.spec):
            yield self._row(
                f"year: {each.ambient:.0f} °C, {each.irradiance:.0f} W/m², {each.hours:.0f} h",
                Purpose.CLIMATE,
                v_pv=each.v_pv,
                p_ac=each.power,
                ambient=each.ambient,
                sun=each.irradiance,
                t_air=each.t_air,
                t_module=each.t_module,
                kappa=each.kappa,
                hours=each.hours,
                thermal=1.0 if each.power > 0.0 else 0.0,
            )

    def _cell(self, ambient: float, sun: float) -> float:
        noct = self.view.diode.noct
        return float(cell_temperature(np.array(ambient), np.array(sun), noct))

    def _row(
        self,
        label: str,
        purpose: Purpose,
        *,
        v_pv: float,
        p_ac: float,
        ambient: float,
        sun: float = FULL_SUN,
        cell: float | None = None,
        t_air: float | None = None,
        t_module: float | None = None,
        kappa: float | None = None,
        v_grid: float | None = None,
        power_factor: float | None = None,
        weight: float = 0.0,
        hours: float = 0.0,
        rejection: float = 0.0,
        thermal: float = 1.0,
    ) -> Row:
        """Return a row; what is not given follows from ambient and sun."""
        behind = self.spec.roof.module_side
        warm = self._cell(ambient, sun) if cell is None else cell
        air = air_behind(ambient, sun, module_side=behind) if t_air is None else t_air
        facing = (warm if behind else air) if t_module is None else t_module
        return Row(
            label + self.suffix,
            purpose,
            v_pv=v_pv,
            p_ac=p_ac,
            v_grid=self.grid.voltage_v if v_grid is None else v_grid,
            f_grid=float(self.grid.frequency_hz),
            power_factor=self.spec.output.power_factor if power_factor is None else power_factor,
            t_air=air,
            t_module=facing,
            irradiance=sun,
            kappa=float(self.view.at(sun, warm).kappa[0]) if kappa is None else kappa,
            v_nominal=self.grid.voltage_v,
            weight=weight,
            hours=hours,
            rejection=rejection,
            thermal=thermal,
        )
