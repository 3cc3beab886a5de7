"""The sheet Checks: value and limit of every check as numbers, and the ratio as their quotient."""

from pathlib import Path

import pytest
from cases import ROOT
from recalculation import recalculated, table
from workbook_cases import needs_office

from hpwhsim.dossier.workbook.book import workbook_bytes
from hpwhsim.evaluation.draw_years import evaluate_over
from hpwhsim.scenario.reading import read_scenario

pytestmark = pytest.mark.independent

CHANGES = [
    *("site.checks.building_voltage=208 V", "site.checks.available_current=40 A"),
    *("site.checks.max_floor_load=4 kPa", "site.checks.air_opening=0.1 m2", "carbon.grid=0.4 kg/kWh"),
]


@pytest.mark.slow
@needs_office
@pytest.mark.year
def test_the_ratio_of_every_check_is_live(tmp_path: Path) -> None:
    """Recalculated by LibreOffice: above 1 exactly where the value is beyond its limit."""
    result = evaluate_over(read_scenario(ROOT / "scenarios" / "packaged.yaml", CHANGES))
    checks = result.checks
    assert {check.limit_kind for check in checks if check.limit_value is not None} == {
        *("at most", "below", "at least")
    }
    path = tmp_path / "book.xlsx"
    path.write_bytes(workbook_bytes(result))
    head, *rows = table(recalculated(path, tmp_path), "Checks")
    assert head[5:] == ["ratio", "value, number", "limit, number", "unit"]
    found = {row[0]: [*row, *[None] * 9][:9] for row in rows}
    for check in checks:
        _, _, _, _, state, ratio, value, limit, unit = found[check.name]
        for number, engine in ((value, check.value), (limit, check.limit_value)):
            # LibreOffice writes 15 digits
            assert number == (engine if engine is None else pytest.approx(engine, rel=1e-14))
        assert (unit or "") == check.unit
        if value is None or limit is None:
            assert ratio is None
            continue
        over = limit / value if check.limit_kind == "at least" else value / limit
        assert ratio == pytest.approx(over, rel=1e-12)
        assert (ratio > 1.0) == check.beyond or check.limit_kind == "below"
        assert state != "ok" or ratio <= 1.0
    own = [row for name, row in found.items() if str(name).startswith(("largest", "heat in"))]
    assert len(own) == 2
    assert all(abs(row[5]) <= 1.0 for row in own)
    assert [row[4] for row in own] == ["ok", "ok"]
