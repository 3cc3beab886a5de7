"""Result files: the annual record as JSON, the hourly series as CSV and NetCDF, pictures; all or none."""

import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from hpwhsim.results.parts import parts

if TYPE_CHECKING:
    import xarray as xr

NAMES = ("annual.json", "hourly.csv", "hourly.nc")
PICTURES = ("schematic.svg", "one_line.svg", "cop_map.png", "year.png", "weeks.png", "carbon.png")
PAGE = "page.html"


def record_text(record: Mapping[str, object]) -> str:
    """The annual record as JSON text; a NaN would be an error of ours, so it is refused here."""
    return json.dumps(record, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def hourly_text(dataset: "xr.Dataset") -> str:
    """The hourly series as CSV text: comment lines with the unit and meaning of each column, then the rows.

    Hours in which a value does not exist (the inlet of a heat pump that stands) are empty.
    """
    names = [str(name) for name in dataset.data_vars]
    lines = ["# one row per hour, each stamp the start of its hour, local standard time of a nominal year"]
    for name in names:
        attrs = dataset[name].attrs
        sign = f"; {attrs['sign']}" if "sign" in attrs else ""
        lines.append(f"# {name} [{attrs['units']}]: {attrs['long_name']}{sign}")
    lines.append(",".join(["time", *names]))
    lines.append(",".join(["unit", *(dataset[name].attrs["units"] for name in names)]).join(["# ", ""]))
    table = np.column_stack([dataset[name].values for name in names])
    stamps = np.datetime_as_string(dataset["time"].values, unit="m")
    row = ",".join(["%.10g"] * len(names))
    body = "\n".join([row] * len(stamps)) % tuple(table.ravel().tolist())
    rows = (f"{s},{r}" for s, r in zip(stamps, body.replace("nan", "").split("\n"), strict=True))
    return "\n".join([*lines, *rows]) + "\n"


def write_results(
    folder: Path,
    record: Mapping[str, object],
    dataset: "xr.Dataset",
    pictures: Mapping[str, bytes] | None = None,
) -> list[Path]:
    """Write the result files of a year to `folder`, which is made if need be; earlier ones are replaced.

    Everything is written beside the target first and moved when complete. Pictures of an earlier year that
    this one does not replace are removed: they would lie beside figures that are not theirs.

    Parameters
    ----------
    folder : Path
        Where the files go.
    record : mapping
        The annual record.
    dataset : xarray.Dataset
        The hourly series.
    pictures : mapping of str to bytes, optional
        Pictures by file name, of those in `PICTURES`, and the `PAGE` that shows them.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    with parts(folder) as part:
        (part / NAMES[0]).write_text(record_text(record), encoding="utf-8")
        (part / NAMES[1]).write_text(hourly_text(dataset), encoding="utf-8")
        dataset.to_netcdf(part / NAMES[2], engine="scipy")
        for name, content in (pictures or {}).items():
            (part / name).write_bytes(content)
        written = [*NAMES, *(pictures or {})]
        for name in written:
            os.replace(part / name, folder / name)
        for name in (*PICTURES, PAGE):
            if name not in written:
                (folder / name).unlink(missing_ok=True)
    return [folder / name for name in written]


def write_files(folder: Path, content: Mapping[str, bytes]) -> list[Path]:
    """Write files to `folder`, which is made if need be, when all are complete; earlier ones are replaced.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    with parts(folder) as part:
        for name, text in content.items():
            (part / name).write_bytes(text)
        for name in content:
            os.replace(part / name, folder / name)
    return [folder / name for name in content]
