"""The loops of converters with one link: margins, feed-forward, and what a fixed ratio changes."""

import dataclasses
import math

import pytest

from models.physics.loops import Unfolder
from models.physics.loops_linked import Linked, ModulePort, Port, linked, module_port

PORT = Port(f=120e3, inductance=200e-6, c=30e-6, v=220.0, crossover=120e3 / 22.5)
CONVERTER = Linked(
    power=315.0, v_grid=240.0, f_grid=60.0, v_module=33.0, v_link=400.0, c_link=30e-6,
    f_front=100e3, l_front=40e-6, c_module=60e-6, regulated=True, f_bridge=50e3,
    l_bridge=1.5e-3, l_grid=0.4e-3, c_filter=1e-6, r_damp=20.0,
)  # fmt: skip


def by_name(loops):
    return {loop.name: loop for loop in loops}


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"l_front": 0.0},
        {"regulated": False},
        {"port": PORT},
        {"regulated": False, "port": PORT},
    ],
)
def test_every_loop_of_a_linked_converter_is_stable(changes):
    for loop in linked(dataclasses.replace(CONVERTER, **changes)):
        assert loop.phase_margin > 25.0, loop.name
        assert loop.gain_margin > 4.0, loop.name


def test_the_link_loop_crosses_where_asked_with_the_gain_of_an_integrator():
    loop = by_name(linked(CONVERTER))["link, mean, fast"]
    assert loop.crossover == pytest.approx(8.0, rel=1e-3)
    assert loop.phase_margin == pytest.approx(60.0, abs=0.1)
    # At 8 Hz the mean over half a cycle is nearly one: K ≈ ω·C·V/(V_pk/2), a little less.
    plain = 2 * math.pi * 8.0 * 30e-6 * 400.0 / (math.sqrt(2.0) * 240.0 / 2.0)
    assert loop.kp == pytest.approx(plain, rel=0.1)


def test_behind_a_fixed_ratio_the_module_capacitance_adds_and_no_front_loop_is_left():
    fixed = dataclasses.replace(CONVERTER, regulated=False, c_module=2e-3)
    loops = by_name(linked(fixed))
    assert "module voltage" not in loops
    more = 1.0 + 2e-3 * (33.0 / 400.0) ** 2 / 30e-6
    ours, plain = loops["link, mean, fast"], by_name(linked(CONVERTER))["link, mean, fast"]
    assert ours.kp / plain.kp == pytest.approx(more, rel=1e-6)


def test_a_port_holds_its_storage_at_five_hertz_whatever_its_size():
    for c in (10e-6, 60e-6):
        x = dataclasses.replace(CONVERTER, port=dataclasses.replace(PORT, c=c))
        loop = by_name(linked(x))["ripple port, mean square of the storage"]
        assert loop.crossover == pytest.approx(5.0, rel=0.02)


def test_a_port_at_the_module_holds_its_voltage_and_the_grid_current_its_energy():
    x = ModulePort(
        power=315.0, v_grid=240.0, f_grid=60.0, v_module=33.0, c_module=60e-6,
        voltage_loop=PORT.crossover / 6.0, port=PORT,
        grid=Unfolder(
            power=315.0, v_grid=240.0, f_grid=60.0, v_module=33.0, c_module=60e-6,
            f_front=100e3, l_grid=0.5e-3, c_filter=0.47e-6, r_damp=2.0,
        ),
    )  # fmt: skip
    loops = by_name(module_port(x))
    assert loops["module voltage"].crossover == pytest.approx(PORT.crossover / 6.0, rel=1e-3)
    for loop in loops.values():
        assert loop.phase_margin > 25.0, loop.name
