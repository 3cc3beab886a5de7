"""What the heat source did in a year: hourly series, figures of the record, cautions."""

import numpy as np

from hpwhsim.arrays import Array
from hpwhsim.climate.moist_air import humidity_ratio_at_saturation
from hpwhsim.constants import CP_AIR, JOULE_PER_KWH
from hpwhsim.plant.arrays import Hourly, RoomRow, SourceKind, SourceRow
from hpwhsim.plant.assemble import Assembly
from hpwhsim.plant.lines import LinesYear, lines_year
from hpwhsim.scenario.room import HEATING_EFFICIENCY, Room
from hpwhsim.scenario.schema import Scenario
from hpwhsim.source.neighbours import effect
from hpwhsim.source.wastewater import RHO_CP

Record = dict[str, object]

COLDER_NEIGHBOURS_K = 2.0  # that the room does not meet again and that is said; tankyear default
COLD_ROOM_C = 7.0  # air in which pipes and people are in trouble; common practice, no source
NEAR_FREEZING_K = 2.0  # the loop's fluid that near its freezing point is said
WARM_LOOP_C, HOT_LOOP_C = 35.0, 40.0  # of a loop's fluid, is said; common practice, no source


def met_temperature(assembly: Assembly, out: Hourly) -> Array:
    """Temperature that the machine met, or would have met, mean of each hour. [°C]"""
    if assembly.plant.sources.kind == SourceKind.OUTDOOR_AIR:
        return assembly.drive.source
    return np.asarray(out.source[SourceRow.MET] / 3600.0)


def source_hourly(
    scenario: Scenario, assembly: Assembly, out: Hourly, hourly: dict[str, Array]
) -> dict[str, Array]:
    """Hourly series of the source, in the units of tables/results.csv; what it does not have is absent."""
    kind, rows = assembly.plant.sources.kind, out.source
    if kind == SourceKind.ROOM:
        block = scenario.plant.source.room
        assert block is not None  # the schema wants it
        return _room(block, assembly, out, hourly)
    if kind == SourceKind.GROUND_LOOP:
        coldest = rows[SourceRow.COLDEST]
        return {
            "source_pump_kwh": rows[SourceRow.PUMP] / JOULE_PER_KWH,
            "bore_wall_c": rows[SourceRow.WALL].copy(),
            "loop_coldest_c": np.where(np.isfinite(coldest), coldest, np.nan),
            "loop_warmest_c": rows[SourceRow.WARMEST].copy(),
            "rejected_heat_kwh": rows[SourceRow.REJECTED] / JOULE_PER_KWH,
        }
    if kind == SourceKind.OUTDOOR_AIR:
        return {}
    inflow = rows[SourceRow.INFLOW]
    warm = np.full(inflow.size, np.nan)
    np.divide(rows[SourceRow.INFLOW_HEAT], inflow * RHO_CP, out=warm, where=inflow > 0.0)
    series = {
        "source_pump_kwh": rows[SourceRow.PUMP] / JOULE_PER_KWH,
        "sewage_m3": inflow.copy(),
        "sewage_c": warm,
        "source_spent_hours": rows[SourceRow.SPENT] / 3600.0,
    }
    if kind == SourceKind.WET_WELL:
        series["well_c"] = rows[SourceRow.WELL].copy()
    return series


def _room(block: Room, assembly: Assembly, out: Hourly, hourly: dict[str, Array]) -> dict[str, Array]:
    rows, pressure = out.room, assembly.plant.sources.room.pressure
    heating = block.heated_by
    efficiency = block.heating_efficiency or HEATING_EFFICIENCY[heating]
    air, other = rows[RoomRow.AIR] / 3600.0, rows[RoomRow.REFERENCE_AIR] / 3600.0

    def kwh(row: RoomRow) -> Array:
        return np.asarray(rows[row] / JOULE_PER_KWH)

    def relative(row: RoomRow, at: Array) -> Array:
        saturated = humidity_ratio_at_saturation(at, pressure)
        return np.asarray(np.minimum(rows[row] / 3600.0 / saturated, 1.0))

    # a colder, drier room draws heat and vapour from its neighbours, whose own thermostats answer
    homes = assembly.neighbours
    assert homes is not None  # a room has them
    through, blown = assembly.to_neighbours
    fall = (rows[RoomRow.REFERENCE_AIR] - rows[RoomRow.AIR]) / 3600.0
    drawn = through * (rows[RoomRow.REFERENCE_MASS] - rows[RoomRow.MASS]) / 3600.0 + blown * fall
    vapour = blown / CP_AIR * (rows[RoomRow.REFERENCE_HUMIDITY] - rows[RoomRow.HUMIDITY]) / 3600.0
    theirs = effect(homes, drawn, vapour)
    neighbours = theirs.heating / 1000.0  # W over an hour
    neighbours_saved = (theirs.cooling + theirs.drying) / 1000.0
    extra = kwh(RoomRow.HEATING) - kwh(RoomRow.REFERENCE_HEATING)
    latent = kwh(RoomRow.REFERENCE_DRYING) - kwh(RoomRow.DRYING)
    saved = kwh(RoomRow.REFERENCE_COOLING) - kwh(RoomRow.COOLING) + latent
    own_bought = extra / efficiency
    other_bought = neighbours / HEATING_EFFICIENCY[block.neighbour_heating]
    gas = np.zeros(air.size)
    for energy, kind in ((own_bought, heating), (other_bought, block.neighbour_heating)):
        gas += energy if kind == "gas" else 0.0
    return {
        "room_c": air,
        "room_relative_humidity": relative(RoomRow.HUMIDITY, air),
        "reference_room_c": other,
        "reference_room_relative_humidity": relative(RoomRow.REFERENCE_HUMIDITY, other),
        "reference_room_heating_kwh": kwh(RoomRow.REFERENCE_HEATING),
        "reference_room_cooling_kwh": kwh(RoomRow.REFERENCE_COOLING) + kwh(RoomRow.REFERENCE_DRYING),
        "reference_room_aired_kwh": kwh(RoomRow.REFERENCE_AIRED),
        "room_sun_kwh": assembly.drive.around.sun / 1000.0,
        "neighbours_c": homes.air,
        "neighbours_colder_k": theirs.colder,
        "room_extra_heat_kwh": extra,
        "room_saved_cooling_kwh": saved,
        "room_saved_drying_kwh": latent,
        "neighbours_extra_heat_kwh": neighbours,
        "neighbours_saved_cooling_kwh": neighbours_saved,
        "room_heating_penalty_kwh": own_bought + other_bought,
        "room_penalty_gas_kwh": gas,
        "room_cooling_credit_kwh": (saved + neighbours_saved) / block.cooling_cop,
        "dehumidifier_credit_kwh": kwh(RoomRow.REFERENCE_DEHUMIDIFIER) - kwh(RoomRow.DEHUMIDIFIER),
        "coil_sensible_kwh": kwh(RoomRow.SENSIBLE),
        "coil_latent_kwh": np.asarray(out.source[SourceRow.TAKEN] / JOULE_PER_KWH) - kwh(RoomRow.SENSIBLE),
        "condensate_litres": rows[RoomRow.CONDENSATE].copy(),  # a kilogram each
    }


def source_record(assembly: Assembly, out: Hourly, hourly: dict[str, Array]) -> Record:
    """Figures of the year that are no sums of the hourly series."""
    met = hourly["source_c"]
    record: Record = {"source_min_c": float(met.min()), "source_mean_c": float(met.mean())}
    kind = assembly.plant.sources.kind
    if kind == SourceKind.ROOM:
        record["room_min_c"] = float(hourly["room_c"].min())
        record["room_heat_residual_w"] = float(out.room[RoomRow.HEAT_RESIDUAL].max())
        record["room_water_residual_kg_per_s"] = float(out.room[RoomRow.WATER_RESIDUAL].max())
    elif kind == SourceKind.GROUND_LOOP:
        coldest = hourly["loop_coldest_c"]
        if np.isfinite(coldest).any():
            record["loop_min_c"] = float(np.nanmin(coldest))
        record["loop_max_c"] = float(hourly["loop_warmest_c"].max())
        record["bore_wall_end_c"] = float(hourly["bore_wall_c"][-1])
    elif kind in (SourceKind.WET_WELL, SourceKind.SEWER):
        rows = out.source
        whole = float(rows[SourceRow.INFLOW_HEAT].sum())
        flow = float(hourly["sewage_m3"].sum())
        record["sewage_mean_c"] = whole / (RHO_CP * flow) if flow > 0.0 else None
        floor = assembly.plant.sources.well.floor
        above = (whole - RHO_CP * flow * floor) / JOULE_PER_KWH
        record["sewage_heat_above_floor_kwh"] = above
    return record


def source_cautions(
    scenario: Scenario, assembly: Assembly, out: Hourly, hourly: dict[str, Array]
) -> list[str]:
    """Cautions on the year of the source."""
    said = []
    kind = assembly.plant.sources.kind
    if kind == SourceKind.ROOM:
        room = assembly.plant.sources.room
        air, run = hourly["room_c"], hourly.get("run_hours", np.zeros(1))
        here = room.intake_here and room.exhaust_here
        block = scenario.plant.source.room
        assert block is not None
        cold = int((air < COLD_ROOM_C).sum() - (hourly["reference_room_c"] < COLD_ROOM_C).sum())
        if here and cold > 0:
            said.append(
                f"the heat pump cools its own {block.kind}: the air is below {COLD_ROOM_C:g} degC in "
                f"{cold:,} h more than without it (coldest {air.min():.1f} degC); a larger room, vents or "
                "ducts are usual"
            )
        if here and block.kind == "closet":
            fall = float((hourly["reference_room_c"] - air)[run > 0.25].mean()) if (run > 0.25).any() else 0.0
            if fall > 5.0:
                said.append(
                    f"recirculated air: while the heat pump runs its closet is {fall:.0f} K colder than "
                    "without it; grilles of 300 to 600 cm2 at top and bottom, or ducts, are usual (common "
                    "practice, no source)"
                )
        locked_out = hourly.get("lockout_hours", np.zeros(1)).sum()
        if here and block.kind == "closet" and locked_out > 100.0:
            said.append(
                f"the closet is too small or unvented: the heat pump is locked out while calling "
                f"in {locked_out:.0f} h because its air would be too cold"
            )
        fall = float(hourly["neighbours_colder_k"].mean())
        if fall > COLDER_NEIGHBOURS_K:
            said.append(
                f"the neighbouring spaces become {fall:.1f} K colder on the mean of the year by what the "
                "room draws from them, and the room is not given that colder air: they are small for this "
                "plant (plant.source.room.neighbour_floor_area)"
            )
        frozen = float(out.room[RoomRow.FROZEN].sum()) / 3600.0
        if frozen > 0.0:
            said.append(f"the coil load exceeds what its air can give in {frozen:.0f} h; it would freeze")
    if kind == SourceKind.GROUND_LOOP and np.isfinite(hourly["loop_coldest_c"]).any():
        coldest = float(np.nanmin(hourly["loop_coldest_c"]))
        freezing = assembly.plant.sources.loop.coldest
        if coldest < freezing + NEAR_FREEZING_K:
            hours = int((hourly["loop_coldest_c"] < freezing + NEAR_FREEZING_K).sum())
            said.append(
                f"ground loop: the fluid falls to {coldest:.1f} degC and freezes at {freezing:.1f} degC; in "
                f"{hours} h it is less than {NEAR_FREEZING_K:g} K above that. More metres, more flow or a "
                "stronger mixture"
            )
    if kind == SourceKind.GROUND_LOOP:
        said += _warm_loop(assembly, hourly)
    spent = hourly.get("source_spent_hours")
    if spent is not None and spent.sum() > 0.0:
        floor = assembly.plant.sources.well.floor
        said.append(
            f"the sewage limits the heat in {spent.sum():,.0f} h: it would leave colder than {floor:g} degC"
        )
    return said


def _warm_loop(assembly: Assembly, hourly: dict[str, Array]) -> list[str]:
    """What must be said of a loop that chillers make warm."""
    said = []
    warm, highest = hourly["loop_warmest_c"], float(hourly["loop_warmest_c"].max())
    if highest > WARM_LOOP_C:
        hours = [int((warm > limit).sum()) for limit in (WARM_LOOP_C, HOT_LOOP_C)]
        said.append(
            f"ground loop: the fluid behind the chillers rises to {highest:.1f} degC; it is above "
            f"{WARM_LOOP_C:g} degC in {hours[0]} h, where chillers lose capacity, and above {HOT_LOOP_C:g} "
            f"degC in {hours[1]} h, where the fluid's data end and plastic pipe loses strength (common "
            "practice, no source). More metres, or a cooler for the rest"
        )
    end = float(assembly.plant.machine.source_c[-1])
    run = hourly.get("run_hours", np.zeros(1))
    beyond = float(run[hourly["source_c"] > end].sum()) if run.size == warm.size else 0.0
    if beyond > 0.0:
        said.append(
            f"ground loop: in {beyond:.0f} h of running the fluid at the heat pump is above {end:g} degC, "
            "the end of its map; capacity and COP are those at the end. A heat pump would need colder fluid "
            "mixed in"
        )
    return said


def lines_of_year(
    scenario: Scenario, assembly: Assembly, out: Hourly, hourly: dict[str, Array]
) -> LinesYear | None:
    """Water lines outdoors in the year; None where there are none."""
    heat_pump = scenario.plant.heat_pump
    if heat_pump is None or heat_pump.water_lines is None or assembly.line_loss is None:
        return None
    return lines_year(
        heat_pump.water_lines,
        assembly.made.shift,
        assembly.line_loss,
        heat_kwh=hourly["heat_pump_heat_kwh"] + hourly["defrost_heat_kwh"],
        standing_kwh=out.line_heat / JOULE_PER_KWH,
        running=hourly["run_hours"],
        held=out.line_held / 3600.0,
        air=hourly["dry_bulb_c"],
    )
