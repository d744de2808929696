"""A flyback with unfolder, placed again with the waves of its simulation."""

import dataclasses
import math

import numpy as np

from models.axes import Array, angles
from models.ledger import Kind
from models.parts import capacitor, diode, switch
from models.stages import flyback, module_buffer, ripple_port, ripple_port_module, unfolder
from models.stages.flyback_waves import complementary, short_pulse
from tests.whole import fine, rectified
from tests.whole import recomputed as link
from tests.whole.averaged import HALF
from tests.whole.module_curve import curve


def plants(item):
    """The converter at every weighted row, as the simulation needs it."""
    x, case, rows = item.design, item.case, link.weighted(item.case)
    p = item.evaluation.settled.p_module
    run = flyback.in_half_cycles(x.flyback, p, case)
    behind = 1.0 if x.unfolder.side.item() == 1 else 0.0
    house = [e for e in item.evaluation.ledger.of(Kind.LOSS) if e.path.startswith("house.")]
    figure = item.evaluation.ledger.find("module.mppt_efficiency", Kind.FIGURE).value
    found = []
    for row in rows:

        def at(value, row=row):
            return float(link.at_rows(value, np.array([row]))[0])

        idle, power, share = sum(at(e.value) for e in house), at(p), at(run.share)
        p_ac, v_grid, v = (at(getattr(case.points, n)) for n in ("p_ac", "v_grid", "v_pv"))
        drop = 2.0 * switch.device(x.unfolder.switch.position(), case).r_on25.item()
        best = power / at(figure)
        found.append(
            rectified.Converter(
                omega=2.0 * math.pi * at(case.points.f_grid),
                v_grid=v_grid,
                i_grid=p_ac / v_grid / share,
                drop=drop,
                c_ahead=(1.0 - behind) * capacitor.capacitance(x.unfolder.filter, case).item(),
                share=share,
                loss=(power - idle) / p_ac - 1.0,
                idle=idle,
                c=_capacitance(x.buffer, at(case.points.v_pv), case),
                module=curve(case, row, v, best),
                v=v,
                power=power,
                port=_port(x.buffer, v, case),
            )
        )
    return found


def _capacitance(buffer, v, case):
    if isinstance(buffer, ripple_port_module.Design):
        return capacitor.capacitance_at(buffer.bypass, np.full((1, 1, 1), v), case).item()
    return capacitor.capacitance(buffer.storage, case).item()


def _port(buffer, v, case):
    if not isinstance(buffer, ripple_port_module.Design):
        return None
    inner = 2.0 * math.pi * ripple_port.CURRENT_LOOP * buffer.port.f.item()
    return rectified.Port(
        c=capacitor.capacitance(buffer.port.storage, case).item(),
        low=max(buffer.bottom.item(), ripple_port_module.ABOVE * v),
        inner=inner,
        outer=ripple_port.VOLTAGE_LOOP * inner,
    )


def running(waves, x):
    """The mean of a wave over all half cycles that run, (angle,)."""
    return x[waves.runs > 0.0].mean(axis=0)


def amplitude(x):
    """Half the swing [V] of a wave over its pattern."""
    return 0.5 * np.ptp(x)


def settled_again(item, seen):
    """The converter settled with the simulated waves."""
    rows, n = link.weighted(item.case), item.case.points.count
    place = item.topology.place
    changes = [
        (unfolder, "THETA", angles(HALF, math.pi)),
        (flyback, "phase", _phase(seen, rows, n)),
        (flyback, "_ports", _ports(flyback._ports)),
    ]
    if seen[0].v_storage is None:
        changes.append((module_buffer, "ripple", _ripple(item, seen, rows, n)))
    else:
        changes.append((ripple_port_module, "COUNT", HALF))
        changes.append((ripple_port_module, "storage", _storage(seen, rows, n)))
    with fine.replaced(*fine.all_angles(), *changes):
        return place(item.design, item.case)


def _phase(seen, rows, n):
    """The phase at the module's voltage along the angle, which the stage takes as constant."""
    told = flyback.phase
    wave = np.stack([running(one, one.v) for one in seen])

    def phase(design, run, demand, case):
        one = told(design, run, demand, case)
        v_in = link.filled(case.points.v_pv, rows, n, wave)
        v_drop = diode.device(design.rectifier, case).v_0
        v_r = (demand.v + v_drop) / one.ratio
        power = demand.share * (run.p_run / run.phases)
        waves = (short_pulse if one.short else complementary)(
            one.circuit, power, v_in=v_in, v_r=v_r
        )
        return dataclasses.replace(one, waves=waves, v_in=v_in, i_in=power / v_in)

    return phase


def _ports(told):
    """What the stages around are told, with the module at its mean."""

    def ports(one, run, count):
        mean: Array = one.v_in.mean(axis=2, keepdims=True)
        return told(dataclasses.replace(one, v_in=mean), run, count)

    return ports


def _ripple(item, seen, rows, n):
    """The ripple of new capacitors as simulated; of worn ones as told."""
    told, whole = (
        module_buffer.ripple,
        capacitor.capacitance(item.design.buffer.storage, item.case),
    )
    v = item.case.points.v_pv[0, rows, 0]
    ratio = np.array([amplitude(one.v) for one in seen]) / v
    i_rms = np.array([math.sqrt(np.mean(one.i_c**2)) for one in seen])

    def ripple(p, p_run, *, c, **rest):
        found = told(p, p_run, c=c, **rest)
        if c.item() != whole.item():
            return found
        return module_buffer.Ripple(
            link.put(found.ratio, rows, n, ratio), link.put(found.i_rms, rows, n, i_rms)
        )

    return ripple


def _storage(seen, rows, n):
    """The ripple port's storage and current as simulated."""
    told = ripple_port_module.storage
    busy_i, busy_v = (
        np.stack([running(one, getattr(one, name)) for one in seen])
        for name in ("i_port", "v_storage")
    )
    low, high = (np.array([pick(one.v_storage) for one in seen]) for pick in (np.min, np.max))

    def storage(design, p, p_run, case):
        found = told(design, p, p_run, case)
        return dataclasses.replace(
            found,
            i=link.filled(found.i, rows, n, busy_i),
            v=link.filled(found.v, rows, n, busy_v),
            low=link.put(found.low, rows, n, low),
            high=link.put(found.high, rows, n, high),
        )

    return storage
