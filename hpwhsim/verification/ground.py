"""Checks of `source`'s bores: responses, resistances, fluids, sizing and twenty years of a loop."""

import math
from collections.abc import Iterator
from functools import cache

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.constants import HOURS
from hpwhsim.source.bore_field import Bores, Response, cylinder_g, g_function, make_field
from hpwhsim.source.bore_pipes import Pipes, bore_resistance, grout_resistance
from hpwhsim.source.ground_loop import book_hour, make_history, wall_drop
from hpwhsim.source.loop_fluid import LIBRARY_NAMES, Fluid, fluid_state
from hpwhsim.verification.check import Check
from hpwhsim.verification.declared_checks import Point, held, worst
from hpwhsim.verification.shared_tables import rows

ALPHA, ROCK, RADIUS = 1e-6, 2.0, 0.075  # m²/s, W/mK, m
DAY, YEAR = 24.0, 8760.0  # h
SPANS = {"1 h": 1.0, "6 h": 6.0, "1 d": DAY, "7 d": 7 * DAY, "30 d": 30 * DAY} | {
    f"{n} y": n * YEAR for n in (1, 5, 10, 20, 30)
}  # h
FIELDS = {
    "1x1 B=6": (1, 1, 6.0),
    "2x2 B=6": (2, 2, 6.0),
    "4x4 B=6": (4, 4, 6.0),
    "4x4 B=8": (4, 4, 8.0),
    "1x10 B=6": (1, 10, 6.0),
    "10x10 B=6": (10, 10, 6.0),
}


@cache
def response(rows_: int, columns: int, spacing: float, length: float = 100.0) -> Response:
    """Of a rectangle of bores; solved once."""
    return g_function(Bores("rectangle", rows_, columns, spacing, length, 2.0, RADIUS), ALPHA)


def g_at(found: Response, hours: float | list[float]) -> Array:
    """The g-function at whole hours, by way of the field's hourly steps."""
    one = make_field(Bores("rectangle", 1, 1, 6.0, 100.0, 2.0, RADIUS), found, ROCK)
    return np.asarray(one.step[np.asarray(hours, dtype=np.int64)] * 2.0 * np.pi * ROCK * 100.0)


def short_time(hours: float | list[float]) -> Array:
    """What a cylinder's surface answers beyond a line, in endless ground."""
    from scipy.special import exp1

    fourier = ALPHA * 3600.0 * np.atleast_1d(hours) / RADIUS**2
    return np.asarray(cylinder_g(fourier) - 0.5 * exp1(0.25 / fourier))


def response_checks() -> Iterator[Check]:
    """g-functions of six fields, the cylinder of the first day, and the cylinder itself."""
    table = rows("ground_g_values")
    first_day = []
    for name, field in FIELDS.items():
        found = response(*field)
        late = []
        for row in table:
            span, at = SPANS.get(row["time"], 0.0), f"{name} after {row['time']}"
            early = row["method"] == "infinite cylinder source 2*pi*G" and row["field"] in ("1x1", name)
            if early and 0.0 < span <= DAY:
                first_day.append(Point(at, float(row["g"]), float(g_at(found, span))))
            if row["field"] == name and row["method"] == "pygfunction UBWT" and span >= DAY:
                late.append(Point(at, float(row["g"]), float(g_at(found, span) - short_time(span)[0])))
        yield worst(f"source.g_function.{name.split()[0]}_{name[-1]}m", late)
    yield worst("source.g_function.first_day", first_day)
    cylinder = rows("cylinder_source_G")
    points = [
        Point(f"Fo {r['Fo']}", 2.0 * np.pi * float(r["G_p1"]), float(cylinder_g([float(r["Fo"])])[0]))
        for r in cylinder
    ]
    yield worst("source.cylinder.table", points)
    laplace = [
        Point(f"Fo {fo:g}", _by_laplace(fo), float(cylinder_g([fo])[0])) for fo in (0.02, 0.3, 4.0, 70.0, 3e4)
    ]
    yield worst("source.cylinder.laplace", laplace)
    yield _other_layout()


def _by_laplace(fourier: float) -> float:
    """The transform K0(q) / (p q K1(q)), q = sqrt(p), turned back by Stehfest's sum of 14 terms."""
    from scipy.special import k0, k1

    f, half, total = math.factorial, 7, 0.0
    for i in range(1, 15):
        weight = (-1) ** (i + half) * sum(
            k**half * f(2 * k) / (f(half - k) * f(k) * f(k - 1) * f(i - k) * f(2 * k - i))
            for k in range((i + 1) // 2, min(i, half) + 1)
        )
        p = i * math.log(2.0) / fourier
        q = math.sqrt(p)
        total += weight * float(k0(q) / (p * q * k1(q)))
    return total * math.log(2.0) / fourier


def _other_layout() -> Check:
    """An L of bores, each solved by itself (method of similarities) and not in groups of like ones."""
    from pygfunction.borefield import Borefield
    from pygfunction.gfunction import gFunction
    from scipy.special import exp1

    single = Borefield.L_shaped_field(4, 2, 5.0, 5.0, 120.0, 1.0, 0.06)
    hours = np.geomspace(24.0, 30 * YEAR, 40)
    right = gFunction(single, 0.8e-6, time=3600.0 * hours, method="similarities").gFunc
    fourier = 0.8e-6 * 3600.0 * hours / 0.06**2
    right = right + cylinder_g(fourier) - 0.5 * exp1(0.25 / fourier)
    whole = [1.0 * YEAR, 10.0 * YEAR, 30.0 * YEAR]
    found = g_at(g_function(Bores("L", 2, 4, 5.0, 120.0, 1.0, 0.06), 0.8e-6), whole)
    exact = np.interp(np.log(whole), np.log(hours), right)
    return worst(
        "source.g_function.pygfunction",
        [Point(f"{w / YEAR:g} y", float(e), float(g)) for w, e, g in zip(whole, exact, found, strict=True)],
    )


def sizing_checks() -> Iterator[Check]:
    """The published metres of three pulses need the published metres; without interference by cylinders."""
    points = []
    for row in rows("bore_sizing"):
        count, published = int(row["rows"]) * int(row["columns"]), float(row["metres"])
        field = response(int(row["rows"]), int(row["columns"]), float(row["spacing_m"]), published / count)
        month = 30 * DAY + 6.0
        times = [6.0, month, float(row["years"]) * YEAR + month]
        six, worst_month, all_years = g_at(field, times) - short_time(times)
        pulses = 12e3 * (all_years - worst_month) + 16e3 * (worst_month - six) + 40e3 * six
        metres = float((pulses / (2.0 * np.pi * ROCK) + 40e3 * 0.12) / 11.0)
        at = f"{row['rows']} x {row['columns']} at {row['spacing_m']} m, {row['years']} years"
        points.append(Point(at, published, metres))
    yield worst("source.bore_sizing.table", points)
    seconds = 3600.0 * np.array([6.0, 30 * DAY + 6.0, 10 * YEAR + 30 * DAY + 6.0])
    six, month, years = cylinder_g(ALPHA * seconds / RADIUS**2) / (2.0 * np.pi * ROCK)
    need = 12e3 * (years - month) + 16e3 * (month - six) + 40e3 * (six + 0.12)
    yield held("source.bore_sizing.cylinder", float(need / 11.0))


BORE = Bores("rectangle", 2, 3, spacing=6.0, length=150.0, buried=2.0, radius=0.075)
SINGLE = Pipes(1, 0.032, 0.0262, 0.06, 0.40, 1.5, 1.5e-6)
DOUBLE = Pipes(2, 0.032, 0.0262, 0.09, 0.40, 1.2, 1.5e-6)


def resistance_checks() -> Iterator[Check]:
    """U-tubes: multipoles of order 10, Hellström's closed form, Cimmino's solution along the depth."""
    tenth, closed = [], []
    for row in rows("borehole_resistance"):
        pipes = Pipes(1, 0.032, 0.0262, float(row["s_m"]), 0.40, float(row["k_grout"]), 1.5e-6)
        film_and_wall = math.log(32.0 / 26.2) / (2.0 * math.pi * 0.40) + 1.0 / (math.pi * 0.0262 * 1000.0)
        across, _ = grout_resistance(BORE, pipes, float(row["k_ground"]), film_and_wall)
        at = f"grout {row['k_grout']}, ground {row['k_ground']} W/mK, {row['spacing']}"
        tenth.append(Point(at, float(row["J10"]), float(across)))
        closed.append(Point(at, float(row["closed_first"]), float(across)))
    yield worst("source.bore_resistance.multipole", tenth)
    yield worst("source.bore_resistance.closed_form", closed)
    state = fluid_state(Fluid("propylene-glycol", 0.25), 2.0)
    points = []
    for name, pipes in (("single", SINGLE), ("double", DOUBLE)):
        for flow in (0.06, 0.2, 0.6):
            found = bore_resistance(BORE, pipes, state, ROCK, flow)
            exact = _effective(pipes, found.across, flow, state.specific_heat)
            points.append(Point(f"{name} U, {flow} kg/s", exact, float(found.effective)))
    yield worst("source.bore_resistance.effective", points)


def _effective(pipes: Pipes, across: float, flow: float, specific_heat: float) -> float:
    """Effective resistance by the library's eigenvalues along the depth, at the same local resistance."""
    from pygfunction.boreholes import Borehole
    from pygfunction.pipes import MultipleUTube, SingleUTube
    from scipy.optimize import brentq

    bore = Borehole(BORE.length, BORE.buried, BORE.radius, 0.0, 0.0)
    half, inner, outer = 0.5 * pipes.shank, 0.5 * pipes.inner, 0.5 * pipes.outer
    to_pipe = float(
        brentq(lambda r: grout_resistance(BORE, pipes, ROCK, r)[0] - across, 1e-3, 2.0, xtol=1e-12)
    )
    if pipes.tubes == 1:
        legs = [(-half, 0.0), (half, 0.0)]
        tube = SingleUTube(legs, inner, outer, bore, ROCK, pipes.grout, to_pipe, J=3)
    else:
        legs = [(half, 0.0), (0.0, half), (-half, 0.0), (0.0, -half)]
        tube = MultipleUTube(legs, inner, outer, bore, ROCK, pipes.grout, to_pipe, 2, config="parallel", J=3)
    return float(tube.effective_borehole_thermal_resistance(flow, specific_heat))


def fluid_checks() -> Iterator[Check]:
    """Mixtures by CoolProp, water by IAPWS, freezing points of handbooks."""
    from CoolProp.CoolProp import PropsSI

    points = []
    for name in LIBRARY_NAMES:
        if name == "water":
            continue
        for share, t in ((0.2, -3.0), (0.35, 12.0)):
            state, mixture = fluid_state(Fluid(name, share), t), f"INCOMP::{LIBRARY_NAMES[name]}[{share}]"
            got = {
                "D": state.density,
                "C": state.specific_heat,
                "L": state.conductivity,
                "V": state.viscosity,
            }
            for key, value in got.items():
                exact = PropsSI(key, "T", t + 273.15, "P", 3e5, mixture)
                points.append(Point(f"{key} of {name} {share:g}, {t:g} °C", 1.0, float(value) / exact))
    yield worst("source.fluid.mixtures", points)
    water, film = [], []
    for row in rows("water-properties"):
        t = float(row["T_C"])
        if t in (5.0, 10.0, 20.0, 30.0):
            state = fluid_state(Fluid("water"), t)
            water.append(Point(f"density, {t:g} °C", 1.0, state.density / float(row["rho_kg_m3"])))
            heat = state.specific_heat / (1e3 * float(row["cp_kJ_kgK"]))
            water.append(Point(f"specific heat, {t:g} °C", 1.0, heat))
            film.append(Point(f"conductivity, {t:g} °C", 1.0, state.conductivity / float(row["k_W_mK"])))
            viscosity = state.viscosity / (1e-3 * float(row["mu_mPa_s"]))
            film.append(Point(f"viscosity, {t:g} °C", 1.0, viscosity))
    yield worst("source.fluid.water_heat", water)
    yield worst("source.fluid.water_film", film)
    for name, share in (
        ("propylene-glycol", 0.30),
        ("ethylene-glycol", 0.30),
        ("methanol", 0.20),
        ("ethanol", 0.20),
    ):
        found = fluid_state(Fluid(next(n for n in LIBRARY_NAMES if n == name), share), 20.0).freezing
        yield held(f"source.fluid.freezing_{name}", float(found))


YEARS = 10  # of the trial's twenty: the others are a matter of the g-function alone


def loop_checks() -> Iterator[Check]:
    """Ten years of heat taken: hour by hour with pooled history, beside an exact convolution."""
    from scipy.signal import fftconvolve
    from scipy.special import exp1

    trial = Bores("rectangle", 4, 4, spacing=6.0, length=100.0, buried=2.0, radius=RADIUS)
    found = response(4, 4, 6.0)
    fourier = ALPHA * 3600.0 * found.hours / RADIUS**2
    lines = found.g - cylinder_g(fourier) + 0.5 * exp1(0.25 / fourier)
    field = make_field(trial, Response(found.hours, lines), ROCK)
    use = np.array([float(row["use"]) for row in rows("two_peak_day")])
    hour = np.arange(YEARS * HOURS)
    wave = 15.0 + 2.25 * np.cos(2.0 * np.pi * (hour / HOURS - 30.0 / 365.0))
    load = trial.total_length * (use / use.mean())[hour % 24] * wave
    fall, history = np.zeros(load.size), make_history(field, YEARS)
    for i, watts in enumerate(load):
        fall[i] = wall_drop(field, history) + field.hour_response * watts
        book_hour(history, watts)
    by_year = fall.reshape(YEARS, HOURS)
    mean, deepest = [], []
    for row in rows("ground_loop_trial"):
        year = int(row["year"])
        if year <= YEARS:
            mean.append(Point(f"year {year}", float(row["mean_K"]), float(by_year[year - 1].mean())))
            deepest.append(Point(f"year {year}", float(row["deepest_K"]), float(by_year[year - 1].max())))
    yield worst("source.ground_loop.mean", mean)
    yield worst("source.ground_loop.deepest", deepest)
    exact = fftconvolve(load, np.diff(field.step[: load.size + 1]))[: load.size]
    yield held("source.ground_loop.pooling", float(np.abs(fall - exact).max()))
