"""Refrigerants: composition, critical point, safety class, warming potential; from the packaged table."""

import difflib
import re
from dataclasses import dataclass
from functools import cache

from hpwhsim.errors import InputError
from hpwhsim.tables import read_table

GWP_SETS = ("AR4-100", "AR4-20", "AR5-100", "AR5-20", "AR6-100", "AR6-20")


@dataclass(frozen=True)
class Refrigerant:
    """One refrigerant; `composition` holds (component, mass fraction), itself alone when pure."""

    name: str
    fluid: str  # CoolProp's name; empty for a mixture model of the components
    composition: tuple[tuple[str, float], ...]
    critical_c: float  # °C
    critical_pressure: float  # Pa
    safety: str  # class of ISO 817, such as A2L
    gwp: tuple[tuple[str, float | None], ...]  # kg CO2e per kg by set of `GWP_SETS`; None: no value found
    gwp_sources: tuple[tuple[str, str], ...]  # by set: ids of the table of sources in brackets
    legal_gwp: tuple[tuple[str, float], ...]  # kg CO2e per kg as the limits of US and EU count it
    fluorinated: bool  # an F-gas, or a blend with one

    def warming(self, basis: str) -> float:
        """Warming potential on `basis`, one of `GWP_SETS`. [kg CO2e per kg]

        Raises
        ------
        InputError
            If the basis is not known, or has no value for this refrigerant.
        """
        held = dict(self.gwp)
        if basis not in held:
            raise InputError(f"carbon.refrigerant.gwp: {basis!r} is not one of {', '.join(GWP_SETS)}")
        value = held[basis]
        if value is None:
            raise InputError(
                f"carbon.refrigerant.gwp: {self.name} has no value in {basis}; it has "
                f"{', '.join(k for k, v in self.gwp if v is not None)}; or write the number"
            )
        return value


def _plain(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "", name.lower())


@cache
def _all() -> dict[str, Refrigerant]:
    rows = {row["refrigerant"]: row for row in read_table("refrigerants")}

    def gwp(name: str, column: str) -> float | None:
        row = rows[name]
        if row["composition"]:
            parts = [(share, gwp(component, column)) for component, share in _composition(row)]
            known = [share * value for share, value in parts if value is not None]
            return sum(known) if len(known) == len(parts) else None
        text = row[column]
        return None if text == "-" else 0.0 if text.startswith("<") else float(text)

    def counted(name: str, column: str) -> float:
        """A column that every component has, weighed by mass."""
        return sum(share * float(rows[component][column]) for component, share in _composition(rows[name]))

    def behind(name: str, basis: str) -> str:
        """Where the potentials of the components are from."""
        column = f"{basis.split('-')[0].lower()}_source"
        parts = [rows[component][column] for component, _ in _composition(rows[name])]
        return ", ".join(dict.fromkeys(f"[{part}]" for part in parts if part))

    found = {}
    for name, row in rows.items():
        columns = [f"gwp{basis.split('-')[1]}_{basis.split('-')[0].lower()}" for basis in GWP_SETS]
        found[_plain(name)] = Refrigerant(
            name=name,
            fluid=row["fluid"],
            composition=_composition(row),
            critical_c=float(row["critical_c"]),
            critical_pressure=float(row["critical_bar"]) * 1e5,
            safety=row["safety"],
            gwp=tuple((basis, gwp(name, column)) for basis, column in zip(GWP_SETS, columns, strict=True)),
            gwp_sources=tuple((basis, behind(name, basis)) for basis in GWP_SETS),
            legal_gwp=tuple((region, counted(name, f"gwp_{region.lower()}")) for region in ("US", "EU")),
            fluorinated=any(rows[component]["f_gas"] == "1" for component, _ in _composition(row)),
        )
    return found


def _composition(row: dict[str, str]) -> tuple[tuple[str, float], ...]:
    if not row["composition"]:
        return ((row["refrigerant"], 1.0),)
    parts = (part.split() for part in row["composition"].split("+"))
    return tuple((component, float(share)) for component, share in parts)


def refrigerant(name: str, key: str = "plant.heat_pump.refrigerant") -> Refrigerant:
    """The refrigerant called `name`; case, hyphens and brackets do not matter.

    Raises
    ------
    InputError
        If the table has no such refrigerant; the message names the nearest.
    """
    held = _all()
    found = held.get(_plain(name))
    if found is None:
        near = difflib.get_close_matches(_plain(name), held, n=1, cutoff=0.5)
        hint = f"; did you mean {held[near[0]].name}?" if near else ""
        raise InputError(f"{key}: {name!r} is not known, use one of {', '.join(names())}{hint}")
    return found


def names() -> list[str]:
    """Names of all refrigerants of the table, in its order."""
    return [r.name for r in _all().values()]
