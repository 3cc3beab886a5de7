"""Checks of `climate`: moist air, mains water, ground, the clock of a weather file."""

import math
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from hpwhsim.climate import moist_air
from hpwhsim.climate.ground import ground_temperature, surface_wave
from hpwhsim.climate.mains import by_month, mains_of_day, mains_temperature, mean_and_range
from hpwhsim.climate.typical_year import read_weather
from hpwhsim.constants import MONTH_DAYS
from hpwhsim.scenario.starter import WEATHER
from hpwhsim.verification.check import Check
from hpwhsim.verification.declared_checks import Point, held, worst
from hpwhsim.verification.shared_tables import rows

SEA_LEVEL = 101_325.0  # Pa


def _celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def moist_air_checks() -> Iterator[Check]:
    """Humidity and saturation against tables, CoolProp's humid air and the fixed points of water."""
    from CoolProp.HumidAirProp import HAPropsSI

    ideal, real = [], []
    for row in rows("moist-air"):
        dry, share = float(row["T_C"]), float(row["RH"])
        ratio = float(moist_air.humidity_ratio_from_relative(dry, share, SEA_LEVEL))
        ideal.append(Point(f"{dry:g} °C, RH {share:g}", float(row["W_ideal"]), ratio))
        gas = HAPropsSI("W", "T", dry + 273.15, "R", share, "P", SEA_LEVEL)
        real.append(Point(f"{dry:g} °C, RH {share:g}", 1.0045, gas / ratio))
    yield worst("climate.moist_air.table", ideal)
    yield worst("climate.moist_air.real_gas", real)
    yield held("climate.moist_air.boiling", float(moist_air.saturation_pressure(99.9743)))
    yield held("climate.moist_air.triple_point", float(moist_air.saturation_pressure(0.0100001)))
    dew = []
    for t in (-25.0, -15.0, -5.0, -0.5, 5.0):
        vapour = 611.2 * math.exp(17.62 * t / (243.12 + t))
        expected = 0.621945 * vapour / (SEA_LEVEL - vapour)
        dew.append(Point(f"{t:g} °C", expected, float(moist_air.humidity_ratio(t, SEA_LEVEL))))
    yield worst("climate.moist_air.dew_point", dew)


MAINS_CASES = {"cold": (44.0, 50.0), "mixed": (52.0, 45.0), "warm": (70.0, 25.0)}  # mean and range, °F


def mains_checks() -> Iterator[Check]:
    """The published formula by its worked table, its extremes, and months that the user gives."""
    points = []
    for row in rows("mains-check"):
        day, swing = float(row["day"]), float(row["dT_monthly_max_F"]) / 1.8
        got = float(mains_of_day(day, _celsius(float(row["Tavg_F"])), swing))
        points.append(Point(f"{row['case']}, day {day:g}", float(row["Tmains_C"]), got))
    yield worst("climate.mains.table", points)
    days = np.arange(1, 366)
    for case, (mean, swing) in MAINS_CASES.items():
        year = mains_of_day(days, _celsius(mean), swing / 1.8) * 1.8 + 32.0
        yield held(f"climate.mains.{case}_lowest", float(year.min()))
        yield held(f"climate.mains.{case}_highest", float(year.max()))
        yield held(f"climate.mains.{case}_mean", float(year.mean()))
        yield held(f"climate.mains.{case}_coldest_day", float(days[year.argmin()]))
    monthly = np.array([-10.0, -9.0, -2.0, 1.0, 2.0, 14.0, 15.0, 14.5, 12.0, 6.0, 0.0, -6.0])
    air = np.repeat(monthly, 24 * np.array(MONTH_DAYS))
    air = air + 6.0 * np.sin(np.arange(8760) * 2.0 * np.pi / 24.0)
    air += _celsius(52.0) - air.mean()
    yield held("climate.mains.range_of_months", mean_and_range(air)[1])
    yield held("climate.mains.of_hourly_air", float(mains_temperature(air, latitude=41.0)[41 * 24]))
    yield _months_by_spline()


def _months_by_spline() -> Check:
    """Monthly means joined smoothly: scipy's periodic cubic spline through the heat by each month's end."""
    from scipy.interpolate import CubicSpline

    months = np.array([5.0, 5.0, 7.0, 10.0, 14.0, 18.0, 21.0, 22.0, 19.0, 15.0, 10.0, 6.0])
    starts = np.concatenate(([0], np.cumsum(MONTH_DAYS)))
    total = np.concatenate(([0.0], np.cumsum(months * MONTH_DAYS)))
    mean = total[-1] / 365.0
    spline = CubicSpline(starts, total - mean * starts, bc_type="periodic")
    exact = np.diff(spline(np.arange(366))) + mean
    daily = by_month(months)[::24]
    return worst(
        "climate.mains.by_month",
        [Point(f"day {k + 1}", float(exact[k]), float(daily[k])) for k in range(365)],
    )


def ground_checks() -> Iterator[Check]:
    """Undisturbed ground by its worked table, and the yearly wave found in hourly air."""
    soil, points = 0.05 / 86400.0, []
    for row in rows("ground_temperature"):
        depth = float(row["depth_m"])
        for day in (35, 126, 217, 308):
            got = float(ground_temperature(depth, float(day), 10.0, 12.0, 35.0, soil))
            points.append(Point(f"{depth:g} m, day {day}", float(row[f"day_{day}"]), got))
    yield worst("climate.ground.table", points)
    time = 0.5 + (np.arange(8760) + 0.5) / 24.0  # days
    air = 8.0 - 13.0 * np.cos(2.0 * np.pi * (time - 23.4) / 365.0) + 5.0 * np.sin(2.0 * np.pi * time)
    wave = surface_wave(air)
    yield held("climate.ground.wave_mean", wave.mean_c)
    yield held("climate.ground.wave_amplitude", wave.amplitude_k)
    yield held("climate.ground.wave_coldest_day", wave.day_of_minimum)


def weather_file_checks() -> Iterator[Check]:
    """The packaged typical year: its published figures, and noon where the sun has it."""
    import pandas as pd
    import pvlib

    weather = read_weather(WEATHER)
    air = np.asarray(weather["dry_bulb_c"].values)
    yield held("climate.weather.mean", float(air.mean()))
    yield held("climate.weather.coldest", float(air.min()))
    yield held("climate.weather.warmest", float(air.max()))
    offset = float(weather.attrs["utc_offset_h"])
    middles = pd.date_range("2001-01-01 00:30", periods=8760, freq="h") - pd.Timedelta(hours=offset)
    place = float(weather.attrs["latitude"]), float(weather.attrs["longitude"])
    position: Callable[..., Any] = pvlib.solarposition.get_solarposition
    sun = position(middles.tz_localize("UTC"), *place)
    up = np.maximum(np.cos(np.deg2rad(sun["zenith"].to_numpy())), 0.0)
    hour = np.arange(8760) % 24 + 0.5
    noon = float(np.average(hour, weights=np.asarray(weather["ghi_w_m2"].values)))
    yield held("climate.weather.noon", noon, float(np.average(hour, weights=up)))
