"""A scenario's text at another place reads as the same scenario, whatever was overridden."""

from pathlib import Path

import pytest
from cases import GOLDEN, ROOT

from hpwhsim.scenario.reading import read_scenario
from hpwhsim.scenario.text_at import text_at

pytestmark = pytest.mark.contract

DEMO = ROOT / "scenarios" / "central-air.yaml"
COMMENT = "# the utility's peak hours, invented"


@pytest.mark.parametrize(
    ("overrides", "kept"),
    [
        ([], True),
        (["plant.heat_pump.cop=3.25", "recirculation.loss_per_apartment=81.5 W"], True),
        (["plant.storage.heat_loss=5 W/K"], True),  # a key that is not written yet, in a block that is
        (["title=A name: with a colon # and a sign", "hot_water.seed=11"], True),
        (["baseline=resistance.yaml"], True),
        (["plant.controls.lock_outs=[]"], False),  # a list
        (["costs=null"], False),
        (["plant.heat_pump.rated_at.source=8 degC"], True),  # in a block of one line
        (["plant.heat_pump.limits.max_discharge=125 degC"], False),  # a block that is not there
    ],
)
def test_it_reads_as_the_same(tmp_path: Path, overrides: list[str], kept: bool) -> None:
    loaded = read_scenario(DEMO, overrides)
    place = tmp_path / "below" / "other.yaml"
    place.parent.mkdir()
    place.write_text(text_at(loaded, place))
    found = read_scenario(place)
    assert found.scenario == loaded.scenario
    assert (COMMENT in place.read_text()) is kept
    for override in overrides if kept else []:
        assert override.partition("=")[2].split()[0].split(":")[0] in place.read_text()


def test_another_weather_file_goes_with_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A path on the command line starts at the working folder."""
    monkeypatch.chdir(ROOT)
    loaded = read_scenario(DEMO, (), GOLDEN.relative_to(ROOT))
    place = tmp_path / "other.yaml"
    place.write_text(text_at(loaded, place))
    assert read_scenario(place).scenario.site.weather == GOLDEN
    assert COMMENT in place.read_text()
