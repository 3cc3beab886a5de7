"""Carbon dioxide, methane and nitrous oxide apart, and their sum by a set of warming potentials."""

from functools import cache
from typing import NamedTuple, Self

from hpwhsim.errors import InputError
from hpwhsim.tables import read_table


class Gases(NamedTuple):
    """Masses of the three gases: of a year [kg], or per kWh of purchased energy [kg/kWh]."""

    co2: float
    ch4: float
    n2o: float

    def times(self, factor: float) -> Self:
        """Each gas times `factor`: kg/kWh times kWh is kg."""
        return type(self)(*(factor * gas for gas in self))

    def kgco2e(self, basis: str, *, fossil: bool = False) -> float:
        """Sum of the gases as CO2, in the unit of the gases.

        Parameters
        ----------
        basis : str
            Set of warming potentials, such as AR6-100 (IPCC's sixth assessment over 100 years).
        fossil : bool
            Whether the methane is fossil and its own CO2 counts too; AR4 does not tell the two apart.

        Raises
        ------
        InputError
            If the set is not in the packaged table.

        Examples
        --------
        >>> round(Gases(53.06, 0.001, 0.0001).kgco2e("AR5-100"), 4)  # natural gas, kg per MMBtu
        53.1145
        """
        potentials = warming(basis)
        return (
            self.co2 + potentials["ch4_fossil" if fossil else "ch4"] * self.ch4 + potentials["n2o"] * self.n2o
        )


@cache
def _sets() -> dict[str, dict[str, float]]:
    return {
        row["set"]: {gas: float(row[gas]) for gas in ("ch4", "ch4_fossil", "n2o")}
        for row in read_table("gas_gwp")
    }


def warming(basis: str) -> dict[str, float]:
    """Warming potentials of ``ch4``, ``ch4_fossil`` and ``n2o`` in one set. [kg CO2e/kg].

    Raises
    ------
    InputError
        If the set is not in the packaged table.
    """
    sets = _sets()
    if basis not in sets:
        raise InputError(f"carbon.gwp: got {basis!r}; allowed {', '.join(sets)}")
    return dict(sets[basis])
