"""Checks of `source`'s wastewater: the balance of a building's water, the exchanger, the wet well."""

import math
from collections.abc import Iterator

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.source.drains import Sewage, building_sewage, other_cold_litres
from hpwhsim.source.offer import met
from hpwhsim.source.wastewater import (
    RHO_CP,
    exchanger_slope,
    make_exchanger,
    make_well,
    sewer_offer,
    well_step,
)
from hpwhsim.verification.check import Check
from hpwhsim.verification.declared_checks import Point, held, worst
from hpwhsim.verification.shared_tables import rows

EXCHANGER = make_exchanger(3000.0, 2.0e-3, 2.5e-3, direct=False)  # invented: 3 kW/K, 2 and 2.5 L/s
PRINTED_HEAT = 4.186e6  # J/m³K, of the published balances


def steady(cold: float, share: float, kept: float) -> Sewage:
    """Even use at 60 °C, `share` of all water, with nothing else on the way."""
    return building_sewage(
        np.full(8760, share),
        np.full(8760, cold),
        24.0 * (1.0 - share),
        np.full(24, 1.0 / 24.0),
        use_temperature=60.0,
        heat_left=kept,
        cistern_pickup=0.0,
        room=20.0,
        lag=0.0,
        screening_loss=0.0,
    )


def mixing_checks() -> Iterator[Check]:
    """Temperature and heat of a building's sewage by the mass balance of its water; Dutch homes."""
    temperature, heat, over = [], [], []
    for row in rows("wastewater_mixing"):
        cold, share, kept = (float(row[key]) for key in ("T_cold_C", "hot_fraction_60C", "kept_heat_share"))
        sewage = steady(cold, share, kept)
        flow, warm = float(sewage.flow[100]), float(sewage.temperature[100])
        most = 3600.0 * sewer_offer(EXCHANGER, 5.0, flow, warm, 1.0, 1, 1, 3600.0).most
        at = f"cold {cold:g} °C, hot share {share:g}, kept {kept:g}"
        temperature.append(Point(at, float(row["T_waste_C"]), warm))
        heat.append(Point(at, float(row["kWh_per_m3_to_5C"]), most / 3.6e6 * PRINTED_HEAT / RHO_CP))
        taps = RHO_CP * share * (60.0 - cold)
        over.append(Point(at, float(row["source_heat_over_DHW_heat"]), most / taps))
    yield worst("source.sewage.temperature", temperature)
    yield worst("source.sewage.heat", heat)
    yield worst("source.sewage.heat_over_taps", over)
    for mains in (11.0, 12.0):
        share = 60e6 / (RHO_CP * (60.0 - mains))
        rise = (float(steady(mains, share, 1.0).temperature[0]) - mains) * RHO_CP / PRINTED_HEAT
        yield held(f"source.sewage.dutch_homes_{mains:g}", mains + rise)
    cold_litres = other_cold_litres(100.0, 49.0)
    yield held("source.sewage.other_cold", 100.0 / (100.0 + cold_litres) * (49.0 - 11.5))


def exchanger_checks() -> Iterator[Check]:
    """Counterflow by the log-mean difference, a thin sewer by hand, the well by scipy."""
    points = []
    for loop_flow in (2.5e-3, 2.0e-3 * (1.0 + 1e-7), 0.7e-3):
        for left in (1.0, 0.6):
            exchanger, heat = make_exchanger(3000.0, 2.0e-3, loop_flow, direct=False), 20e3
            to_machine = 18.0 - exchanger_slope(exchanger, math.inf, left, 2, 2) * heat
            first = 18.0 - to_machine
            last = 18.0 - heat / exchanger.sewage - (to_machine - heat / exchanger.loop)
            near = abs(first - last) < 1e-9 * first
            mean = first if near else (first - last) / math.log(first / last)
            points.append(
                Point(f"loop {1e3 * loop_flow:.4g} L/s, {left:g} of UA", heat, 3000.0 * left * mean)
            )
    yield worst("source.exchanger.log_mean", points)
    huge = make_exchanger(1e7, 2e-3, 3e-3, direct=False)
    offer = sewer_offer(huge, 5.0, 3.6, 15.0, 1.0, 1, 1, 3600.0)
    drop = 10e3 / (RHO_CP * 1e-3) - 10e3 / huge.loop
    yield held("source.exchanger.thin_sewer", met(offer, 10e3), 15.0 - drop)
    yield _well_by_scipy()


def _well_by_scipy() -> Check:
    """Five steps of a wet well: filling, emptying, several fillings in a step, losses."""
    from scipy.integrate import solve_ivp

    points = []
    for start, inflow, inflow_c, heat, dt, loss in (
        (18.0, 0.05, 24.0, 30e3, 300.0, 15.0),
        (18.0, 0.0, 24.0, 30e3, 300.0, 0.0),
        (6.0, 1e-6, 30.0, 0.0, 60.0, 200.0),
        (9.0, 7.0, 21.0, 80e3, 3600.0, 40.0),
        (25.0, 0.001, 10.0, 5e3, 60.0, 15.0),
    ):
        well = make_well(2.0, loss, 12.0, 5.0, EXCHANGER)

        def rate(_: float, t: Array, carried: float, warm: float, heat: float, loss: float) -> Array:
            return np.asarray((carried * (warm - t) - loss * (t - 12.0) - heat) / (2.0 * RHO_CP))

        given = (RHO_CP * inflow / dt, inflow_c, heat, loss)
        end = solve_ivp(rate, (0.0, dt), [start], args=given, rtol=1e-11, atol=1e-11).y[0, -1]
        got = well_step(well, start, inflow, inflow_c, heat * dt, dt)[0]
        points.append(Point(f"{inflow:g} m3 in {dt:g} s", float(end), float(got)))
    return worst("source.well.scipy", points)
