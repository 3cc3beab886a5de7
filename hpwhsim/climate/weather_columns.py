"""The columns of a weather file that we use, in both formats, with their codes for a missing value."""

from typing import NamedTuple

GAP_HOURS = 3  # longest gap that is repaired


class Column(NamedTuple):
    """A column we use: its name in pvlib, in the file, and the codes that mean "missing" there."""

    pvlib: str
    label: str
    codes: tuple[float, ...]


# Codes: EPW data dictionary (dry bulb and dew point 99.9, humidity and wind 999, pressure 999999, radiation
# 9999) and TMY3 manual NREL/TP-581-43156 (-9900), with longer and negative spellings.
_NEGATIVE = (-9900.0, -9999.0, -999.0)
_TEMPERATURE = (99.9, 999.0, 999.9, 9999.0, *_NEGATIVE)
_SHARE = (999.0, 9999.0, *_NEGATIVE)
_SUN = (9999.0, 99999.0, 999999.0, *_NEGATIVE)
_WIND = (99.9, 999.0, 999.9, 9999.0, *_NEGATIVE)

TMY3_COLUMNS = {
    "dry_bulb_c": Column("temp_air", "Dry-bulb (C)", _TEMPERATURE),
    "dew_point_c": Column("temp_dew", "Dew-point (C)", _TEMPERATURE),
    "relative_humidity": Column("relative_humidity", "RHum (%)", _SHARE),
    "pressure_pa": Column("pressure", "Pressure (mbar)", (9999.0, 99999.0, 999999.0, *_NEGATIVE)),
    "ghi_w_m2": Column("ghi", "GHI (W/m^2)", _SUN),
    "dni_w_m2": Column("dni", "DNI (W/m^2)", _SUN),
    "dhi_w_m2": Column("dhi", "DHI (W/m^2)", _SUN),
    "wind_speed_m_s": Column("wind_speed", "Wspd (m/s)", _WIND),
}
EPW_COLUMNS = {
    "dry_bulb_c": Column("temp_air", "dry bulb (column 7)", _TEMPERATURE),
    "dew_point_c": Column("temp_dew", "dew point (column 8)", _TEMPERATURE),
    "relative_humidity": Column("relative_humidity", "relative humidity (column 9)", _SHARE),
    "pressure_pa": Column("atmospheric_pressure", "pressure (column 10)", (999999.0, *_NEGATIVE)),
    "ghi_w_m2": Column("ghi", "global horizontal radiation (column 14)", _SUN),
    "dni_w_m2": Column("dni", "direct normal radiation (column 15)", _SUN),
    "dhi_w_m2": Column("dhi", "diffuse horizontal radiation (column 16)", _SUN),
    "wind_speed_m_s": Column("wind_speed", "wind speed (column 22)", _WIND),
}
COLUMNS = {"TMY3": TMY3_COLUMNS, "EPW": EPW_COLUMNS}
