"""A plant and its baseline for the tests of accounts.

One invented plant: packaged units in a gas-heated apartment, whose neighbours have heat pumps, against
resistance tanks in the same room. One march each, and one each with the roles swapped.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from cases import CHICAGO

from hpwhsim.evaluation.evaluate import evaluate
from hpwhsim.evaluation.result import Result
from hpwhsim.scenario.reading import read_scenario

HOURS = 8760
ROOM: dict[str, Any] = {
    "kind": "apartment",
    "heating": "gas",
    "neighbour_heating": "heat-pump",
    "loss_to_neighbours": "20 W/K",
}
LIFE = 12  # years of service
CHARGE, LEAK, END = 1.6, 0.04, 0.25


def raw_of(plant: dict[str, Any], baseline: str) -> dict[str, Any]:
    return {
        "title": "invented test plant",
        "site": {"weather": str(CHICAGO), "checks": {"voltage": "208 V", "available_current": "60 A"}},
        "building": {"apartments": 4},
        "hot_water": {"daily_use_per_apartment": "150 L", "draws": "random", "seed": 3},
        "plant": plant,
        "baseline": baseline,
        "carbon": {
            "grid": "grid.csv",
            "marginal": "0.7 kg/kWh",
            "service_years": LIFE,
            "upstream_leak": 0.02,
            "refrigerant": {
                "charge": f"{CHARGE} kg",
                "annual_leak": LEAK,
                "end_of_life_loss": END,
                "installation_loss": 0.01,
                "service_loss": 0.005,
            },
        },
        "tariff": {
            "electricity": [
                {"price": "0.40 USD/kWh", "months": "Jun-Sep", "days": "weekdays", "hours": ["16:00-21:00"]},
                {"price": "0.15 USD/kWh"},
            ],
            "demand": [{"price": "12 USD/kW", "ratchet": 0.6}],
            "fixed": "30 USD",
            "fuel": "14 USD/MMBtu",
        },
        "costs": {
            "capital": "40,000 USD",
            "maintenance": "100 USD",
            "baseline": {"capital": "12,000 USD"},
            "incentives": [
                {"name": "invented", "lump_sum": "2,000 USD", "per_electricity_saved": "0.1 USD/kWh"}
            ],
            "years": 15,
            "electricity_escalation": 0.01,
        },
        "savings": {
            "peak_hours": [
                {"name": "july", "months": [7], "days": "all", "hours": ["06:00-18:00"]},
            ]
        },
    }


PACKAGED: dict[str, Any] = {
    "family": "packaged",
    "heat_pump": {
        "refrigerant": "R-134a",
        "modules": 2,
        "capacity": "1.7 kW",
        "cop": 3.9,
        "rated_at": {"source": "19.7 degC", "water_in": "35 degC", "water_out": "35.5 degC"},
        "condenser": "wrap-around",
        "min_source": "3 degC",
    },
    "source": {"kind": "room", "room": ROOM},
    "storage": {"volume": "600 L", "tanks": 2, "height": "1.4 m", "setpoint": "58 degC"},
    "backup": {"kind": "resistance", "power": "9 kW", "setpoint": "50 degC", "height": 0.65},
}
TANKS: dict[str, Any] = {
    "family": "resistance",
    "source": {"kind": "room", "room": ROOM},
    "storage": {"volume": "600 L", "tanks": 2, "height": "1.4 m", "setpoint": "58 degC"},
    "backup": {"kind": "resistance", "power": "9 kW"},
}


BOILER: dict[str, Any] = {
    "family": "gas-boiler",
    "storage": {"volume": "600 L", "setpoint": "58 degC"},
    "backup": {"kind": "gas", "power": "20 kW"},
}


@dataclass(frozen=True)
class Case:
    """The plant against the tanks, and the tanks against the plant."""

    folder: Path
    one: Result
    swapped: Result
    factor: np.ndarray[Any, np.dtype[np.float64]]


@pytest.fixture(scope="session")
def case(tmp_path_factory: pytest.TempPathFactory) -> Case:
    folder = tmp_path_factory.mktemp("answer")
    factor = np.asarray(0.2 + 0.02 * (np.arange(HOURS) % 24), dtype=np.float64)
    rows = "\n".join(repr(float(v)) for v in factor)
    (folder / "grid.csv").write_text(f"# invented\nkg_per_kwh\n{rows}\n")
    (folder / "packaged.yaml").write_text(yaml.safe_dump(raw_of(PACKAGED, "tanks.yaml"), sort_keys=False))
    (folder / "tanks.yaml").write_text(yaml.safe_dump(raw_of(TANKS, "packaged.yaml"), sort_keys=False))
    one, swapped = (evaluate(read_scenario(folder / f"{name}.yaml")) for name in ("packaged", "tanks"))
    return Case(folder, one, swapped, factor)


def number(of: Result, key: str) -> float:
    value = of.record[key]
    assert isinstance(value, float), key
    return value


def close(value: float) -> Any:
    """Equal but for the rounding of sums over 8760 hours in another order (8760 ulp are 1e-12)."""
    return pytest.approx(value, rel=1e-10, abs=1e-9)
