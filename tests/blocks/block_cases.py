"""Tables of invented buildings with quick electric stores."""

from pathlib import Path

from study_cases import electric

HEAD = "building,scenario,building.apartments,hot_water.draws,hot_water.seed"


def table(folder: Path, *rows: str, head: str = HEAD) -> Path:
    """A table beside the scenario `plant.yaml` of `electric`."""
    electric(folder)
    path = folder / "buildings.csv"
    path.write_text("\n".join([head, *rows]) + "\n")
    return path


THREE = ("A,plant.yaml,6,random,11", "B,plant.yaml,4,random,12", "C,plant.yaml,9,random,13")
EQUAL = "building,scenario,count,building.apartments,hot_water.draws"
SHARED = "building,scenario,plant,distribution_loss,building.apartments,hot_water.draws,plant.storage.volume"
