"""Bands of certified machines beside the program's own usual values: refrigerant charge per kW."""

from collections.abc import Iterator

from hpwhsim.account.charge import estimated_charge
from hpwhsim.verification.check import Check
from hpwhsim.verification.field_tables import FIELD, spelt
from hpwhsim.verification.shared_tables import rows


def checks() -> Iterator[Check]:
    """The charge that stands for one that is not known, and its range, beside certified machines.

    Their charge is over their heat at -7 °C air and 52 °C water, less than at a usual rating, so that
    their kg per kW stand above those of a rating.
    """
    for row in rows("charge-per-kw"):
        usual = estimated_charge(row["refrigerant"], 1.0)
        yield Check(
            f"field.charge.{row['refrigerant'].replace('-', '').lower()}",
            FIELD,
            "measured plant",
            f"charge of {row['refrigerant']} over rated heat, where none was written",
            "kg/kW",
            float(row["median"]),
            float(row["p10"]),
            float(row["p90"]),
            "tenth to ninetieth percentile; over the heat at -7 °C air and 52 °C water",
            usual.kg,
            (usual.low_kg, usual.high_kg),
            spelt("[certified-511]"),
        )
