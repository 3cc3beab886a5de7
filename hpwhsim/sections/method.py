"""How the year is calculated, in a reader's words."""

METHOD = (
    "The program simulates a plant through a typical year from event to event: it senses, decides, takes "
    "heat from the source, charges the store, draws, and books every kilowatt-hour. Equations and their "
    "sources are documented in the program's own files."
)
METHOD_ROWS = (
    (
        "Year",
        "8,760 hours of a typical-year weather file in local standard time; the plant is simulated from "
        "event to event (a draw, a sensor, a timer); room, ground, sewage and signals are updated every "
        "{minutes:g} minutes. The calendar is nominal: 1 January is a Monday.",
    ),
    (
        "Hot water",
        "Daily use at the temperature of use follows a pattern of the day by weekday and weekend; random "
        "draws are single events whose mean follows the pattern. Cold water follows the weather of the "
        "year.",
    ),
    (
        "Store",
        "A stratified column in plug flow, held as layers that move with the water: what enters is a "
        "layer, what leaves is taken where it leaves. Mixing, conduction and loss to the room are separate "
        "and explicit.",
    ),
    (
        "Heat pump",
        "A refrigerant cycle with real-fluid properties, counterflow condenser or gas cooler, scaled to "
        "the rating that was given; or a table of measurements, used inside its range. Frost, starts, "
        "lines and limits of the unit are counted where they apply. Source and unit are solved in "
        "the same step.",
    ),
    (
        "Controls and backup",
        "Charging, stages, lockouts and backup follow the written sequence; each hour of backup is booked "
        "to its cause.",
    ),
    (
        "Balance",
        "Heat put in less heat delivered, lost and stored is held to at most 1e-6 of the heat put in.",
    ),
    (
        "Greenhouse gases",
        "Electricity of each hour times the factor of the grid at the meter; fuel times the factor of its "
        "combustion, by the higher heating value; refrigerant by its charge, warming potential, yearly "
        "leak and loss at the end, over the years of service (total equivalent warming impact, after EN "
        "378-1).",
    ),
    (
        "Cost",
        "Prices by the hour, tiers of the month, demand charges on the 15-minute mean power, connection "
        "and fuel. Costs over the years are held against the baseline's as net present value.",
    ),
    (
        "Savings",
        "The baseline less the plant, in the same year with the same draws. What a heat pump in a room makes "
        "heating and cooling purchase is booked to its plant. A saving may be negative.",
    ),
)
