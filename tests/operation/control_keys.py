"""Keys of the scenario that control nothing, with the reason; every other key has a sentence."""

REASONS = {
    "who draws how much: what the plant meets, and no setting of it": (
        *(f"hot_water.{name}" for name in ("daily_use_per_apartment", "use_temperature", "min_temperature")),
        *(f"hot_water.cold_water.{name}" for name in ("monthly", "winter_low", "summer_high")),
        *(f"hot_water.{name}" for name in ("weekend_factor", "day_spread")),
        *(f"hot_water.{name}" for name in ("pattern", "month_factors", "draws", "seed", "metered")),
    ),
    "pipes and their loss: drawings and specification": (
        *(f"recirculation.{name}" for name in ("loss_per_apartment", "loss_at", "sections", "conductivity")),
        *(
            f"recirculation.{name}"
            for name in ("bare_share", "ambient_temperature", "fittings", "valve_drop")
        ),
        *(
            f"recirculation.{name}"
            for name in ("pump_power", "pump_efficiency", "pump_head", "return_height")
        ),
        "recirculation.risers.*",
    ),
    "a fault to study, and no setting": ("recirculation.crossover",),
    "size, rating and make of a part: the schedule of equipment": (
        *(f"recirculation.loop_tank.{name}" for name in ("volume", "heat_loss")),
        *(
            f"recirculation.loop_tank.heat_pump.{name}"
            for name in ("refrigerant", "modules", "capacity", "cop", "condenser", "approach", "rated_at.*")
        ),
        "plant.family",
        *(
            f"plant.heat_pump.{name}"
            for name in (
                *(
                    "refrigerant",
                    "capacity",
                    "cop",
                    "rated_at.*",
                    "ratings",
                    "table",
                    "approach",
                    "injection",
                ),
                *("fan_power", "pump_power", "standby_power", "lines.*"),
            )
        ),
        *(
            f"plant.heat_pump.water_lines.{name}"
            for name in (
                *("length", "rise", "max_length", "max_height", "inner_diameter", "outer_diameter"),
                *("insulation", "exchanger"),
            )
        ),
        *(f"plant.storage.{name}" for name in ("volume", "tanks", "arrangement", "heat_loss", "height")),
        *(f"plant.storage.{name}" for name in ("conductivity", "inlet_mixing", "room_temperature")),
        *(f"plant.backup.{name}" for name in ("efficiency", "made_on")),
    ),
    "where pipes meet the store: drawings": (
        *(f"plant.heat_pump.{name}" for name in ("return_height", "intake_height", "condenser_height")),
        "plant.storage.draw_height",
    ),
    "who a document is for, and its paper": ("dossier.*",),
    "a question asked of the year": ("plant.heat_pump.water_lines.outage",),
    "the source as it is found, or its size": (
        "plant.source.kind",
        *(
            f"plant.source.ground_loop.{name}"
            for name in (
                *("layout", "rows", "columns", "spacing", "depth", "buried", "diameter", "u_tubes"),
                *("pipe_outer", "pipe_inner", "shank_spacing", "pipe_conductivity", "grout_conductivity"),
                *("ground_conductivity", "ground_heat_capacity", "ground_temperature"),
                *("pump_power", "header", "pump_efficiency"),
            )
        ),
        *(
            f"plant.source.wastewater.{name}"
            for name in (
                *("sewer", "cold_use_per_apartment", "heat_left", "drain_loss", "cistern_pickup", "lag"),
                *("screening_loss", "well_volume", "well_loss", "exchanger", "fouling", "max_fouling"),
                *("fouling_growth", "pump_power", "grinding", "grinder_power"),
            )
        ),
        *(
            f"plant.source.room.{name}"
            for name in (
                *(
                    "kind",
                    "floor_area",
                    "height",
                    "mass",
                    "loss_to_outdoors",
                    "window_loss",
                    "loss_to_ground",
                ),
                *("loss_to_neighbours", "neighbour_*", "window_*", "airing", "air_changes", "vent_flow"),
                *("gains", "moisture", "heating_efficiency", "cooling_cop", "cooling_coil"),
                *("dehumidifier_efficiency", "bypass", "elsewhere_*"),
            )
        ),
    ),
    "building, money, carbon and how the year is simulated": (
        *("title", "notes", "site.*", "building.*", "carbon.*", "tariff.*", "costs.*", "savings.*"),
        *("sizing.*", "run.*", "baseline"),
    ),
}
"""Patterns of keys by reason."""
