"""An invented plant of 2 m³ for tests of one window of the march, and ways to serve and charge it."""

from typing import NamedTuple, cast

import numpy as np
from layer_cases import column

from hpwhsim.heatpump.maps import PerformanceMap
from hpwhsim.plant.arrays import BackupMode, LoopTank, Plant, Sources, StandingLines, WaterSide
from hpwhsim.plant.controls import Controls
from hpwhsim.plant.draw_times import EVEN, DrawTimes, Window
from hpwhsim.plant.events import loop_now
from hpwhsim.plant.flows import hot_needed
from hpwhsim.plant.serve import move, serve
from hpwhsim.plant.state import Flow, Hour, Moved, Served
from hpwhsim.storage.layers import Layers, sensed

VOLUME = 2.0  # m³
SECONDS = 300.0
CLEAN = (1.0, 1.0)


def machine(capacity: float = 30e3, cop: float = 3.0, steeper: float = 0.0) -> PerformanceMap:
    """Constant capacity; power grows by the share `steeper` from 0 to 60 °C of inlet."""
    source, inlet, outlet = np.array([-20.0, 40.0]), np.array([0.0, 60.0]), np.array([60.0, 65.0])
    shape = (2, 2, 2)
    power = np.full(shape, capacity / cop)
    power[:, 1, :] *= 1.0 + steeper
    return PerformanceMap(source, inlet, outlet, np.full(shape, capacity), power)


def by_rise(of: PerformanceMap) -> PerformanceMap:
    """The map of a machine whose outlet follows its inlet."""
    return of._replace(
        water_out_c=np.array([np.nan]), capacity_w=of.capacity_w[:, :, :1], power_w=of.power_w[:, :, :1]
    )


NO_TANK = LoopTank(0.0, 0.0, 55.0, 3.0, 0.0, 1.0, machine(), 5.0, -20.0)


def plant(**changes: object) -> Plant:
    """Single-pass, 30 kW, hot water at 60 °C from the top, the loop's return half way up."""
    base = Plant(
        step_seconds=SECONDS,
        column=column(VOLUME, 2.0),
        machine=machine(),
        modules=1,
        water_side=int(WaterSide.SINGLE),
        sources=cast(Sources, None),  # not read by what flows
        outlet=np.array([60.0]),
        rise=5.0,
        intake_port=0.0,
        return_port=VOLUME,
        draw_port=VOLUME,
        charge_apart=0,
        valve_setpoint=49.0,
        valve_difference=0.0,
        condenser_top=0.5 * VOLUME,
        highest_inlet=60.0,
        turndown=1.0,
        coil=0.0,
        gas_share=1.0,
        speed=np.ones(1),
        fan_power=0.0,
        pump_power=0.0,
        crankcase_power=0.0,
        crankcase_below=0.0,
        standby_power=0.0,
        start_loss=0.0,
        lowest_source=-20.0,
        controls=Controls(0.4 * VOLUME, 0.15 * VOLUME, 50.0, 55.0, 0.0, 0.0, 0.0, True, False, 300.0),
        backup_mode=int(BackupMode.NONE),
        backup_power=0.0,
        backup_efficiency=1.0,
        backup_electric=1.0,
        reserve_level=0.0,
        backup_dead_band=3.0,
        backup_delay=0.0,
        use_temperature=49.0,
        minimum_temperature=43.0,
        loop_runs=1.0,
        loop_ambient=20.0,
        loop_supply=60.0,
        loop_limit=np.inf,
        loop_port=0.5 * VOLUME,
        loop_tank=NO_TANK,
        lines=StandingLines(0.0, 1.0, 0.0, 0.0),
    )
    return base._replace(**changes)


def hour_with(
    mains: float = 10.0, lifts_to: float = -np.inf, loop_watts: float = 0.0, loop_back: float = 50.0
) -> Hour:
    """The settings of an hour."""
    return Hour(0, mains, 0.0, 50.0, 0.5 * VOLUME, lifts_to, loop_watts, loop_back, CLEAN, 0.0, 0.0)


def hour_of(*draws: tuple[float, float, float]) -> DrawTimes:
    """One hour of draws (start [s], end [s], L/s at use temperature); where they overlap they add."""
    edges = sorted({0.0, 3600.0, *(t for draw in draws for t in draw[:2])})
    flow = [sum(rate for start, end, rate in draws if start <= low < end) for low in edges[:-1]]
    return DrawTimes(np.array([0, len(flow)]), np.array(edges[1:]), 1e-3 * np.array(flow))


def window(times: DrawTimes, since: float, until: float, use: float = 0.0) -> Window:
    """A while of that hour; `use` [m³] is what is drawn evenly in it where draws are even."""
    if times.first.size == 1:
        return Window(-1, 0, since, until, use / (until - since))
    at = int(np.searchsorted(times.until, since, side="right"))
    return Window(at, int(times.first[1]) - 1, since, until, 0.0)


class Done(NamedTuple):
    """What a window brought."""

    served: Served
    moved: Moved


def circulate(
    of: Plant,
    store: Layers,
    hour: Hour,
    *,
    use: float = 0.0,
    straight: float = 0.0,
    seconds: float = SECONDS,
    times: DrawTimes = EVEN,
    part: Window | None = None,
) -> Done:
    """Serve taps and loop in a window of `seconds` and move the store, as the march does.

    `use` is water wanted at use temperature and `straight` that from the machine past the store, both in m³.
    """
    top, _, _ = sensed(store, of.draw_port - 1e-12)
    taps = hot_needed(of, use, hour.mains, max(top, hour.lifts_to)) / seconds
    loop = loop_now(of, hour, straight / seconds, taps, top)
    flow = Flow(use / seconds, taps, straight / seconds, 0.0, loop)
    part = window(times, 0.0, seconds, use) if part is None else part
    served = serve(of, store, hour, flow, times, part)
    return Done(served, move(of, store, hour, flow, served, seconds))
