"""Every outside check hits, or is a known miss with its reason; verdicts; the verb and the library."""

import json
import math
from collections.abc import Iterator

import pytest

import hpwhsim as ty
from hpwhsim.cli.main import main
from hpwhsim.verification import all_checks, report
from hpwhsim.verification.check import KINDS, Check, between, near
from hpwhsim.verification.declared_checks import Point, declared, held, worst
from hpwhsim.verification.field_tables import measured

pytestmark = pytest.mark.contract


@pytest.mark.slow
@pytest.mark.independent
@pytest.mark.parametrize(
    "package",
    [pytest.param(name, marks=pytest.mark.long if name == "field" else ()) for name in all_checks.SUBJECTS],
)
def test_every_check_of_a_package_hits(package: str) -> None:
    """Sources and tolerances stand in `shared/checks.csv`; a known miss that hits is taken off its list."""
    found = list(all_checks.of_package(package))
    names = [check.name for check in found]
    assert len(set(names)) == len(names)
    assert {check.package for check in found} == {package}
    table = {name for name in declared() if name.startswith(f"{package}.")}
    assert table <= set(names), "a row that no function holds"
    missed = {check.name for check in found if check.verdict == "miss"}
    known = {name for name in all_checks.known_misses() if name in names}
    if package == "field":  # a hit in a corner of what is assumed is explained too
        assert missed <= known
    else:
        assert missed == known
    for check in found:
        assert check.says, check.name
        assert check.tolerance, check.name
        assert check.source, check.name
        assert check.kind in KINDS
        assert check.low <= check.expected <= check.high


def test_there_are_many_checks_of_many_packages() -> None:
    assert len(declared()) >= 100
    assert {name.partition(".")[0] for name in declared()} <= set(all_checks.SUBJECTS)
    measured_plants = {one.name for one in measured()}
    assert set(all_checks.known_misses()) <= set(declared()) | measured_plants


def one(obtained: float, span: tuple[float, float] | None = None) -> Check:
    return between("storage.x", "analytic", "a band", "K", 1.0, 2.0, obtained, "as printed", "a book", span)


@pytest.mark.parametrize(
    ("check", "verdict"),
    [
        (one(1.0), "hit"),
        (one(2.0), "hit"),
        (one(2.001), "miss"),
        (one(math.nan), "miss"),
        (one(2.5, (1.9, 3.0)), "hit"),
        (one(0.5, (0.2, 0.9)), "miss"),
        (one(1.5, (math.nan, 3.0)), "miss"),
        (near("a.b", "analytic", "", "", 10.0, 10.2, "", "", absolute=0.1, relative=0.02), "hit"),
        (near("a.b", "analytic", "", "", 10.0, 10.2, "", "", absolute=0.1, relative=0.01), "miss"),
        (near("a.b", "analytic", "", "", -10.0, -10.2, "", "", relative=0.03), "hit"),
        (near("a.b", "analytic", "", "", 0.0, math.inf, "", ""), "miss"),
    ],
)
def test_verdicts(check: Check, verdict: str) -> None:
    assert check.verdict == verdict


def test_the_worst_of_many_points_is_shown() -> None:
    """By its share of the room, which a relative tolerance makes larger for a larger value; NaN is worst."""
    points = [Point("a", 0.003, 0.0030005), Point("b", 0.01, 0.0100007), Point("c", 0.02, 0.02)]
    found = worst("climate.moist_air.table", points)
    assert found.says.endswith("worst of 3: b")
    assert found.obtained == 0.0100007
    assert worst("climate.moist_air.table", [*points, Point("d", 0.01, math.nan)]).verdict == "miss"


def test_a_source_is_cited_as_readers_see_it() -> None:
    assert held("account.tewi.leak", 0.0).source.startswith("EN 378-1")


@pytest.fixture
def two(monkeypatch: pytest.MonkeyPatch) -> None:
    """One package with a hit, one with a miss."""
    subjects = {"storage": (lambda: [one(1.5)],), "demand": (lambda: [one(3.0)._replace(package="demand")],)}
    monkeypatch.setattr(all_checks, "SUBJECTS", subjects)


@pytest.mark.usefixtures("two")
def test_the_verb(capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 1 where something misses, which is shown in full; 0 where all hit."""
    assert main(["verify"]) == 1
    said = capsys.readouterr().out
    assert "MISS storage.x" in said
    assert "a hit within 1 to 2 (as printed)" in said
    assert max(map(len, said.splitlines())) <= report.WIDTH
    assert main(["verify", "--package", "storage"]) == 0
    said = capsys.readouterr().out
    assert "MISS" not in said
    assert "storage.x" not in said
    assert main(["verify", "--package", "storage", "--all"]) == 0
    assert "storage.x" in capsys.readouterr().out


@pytest.mark.usefixtures("two")
def test_rows_of_the_verb(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["verify", "--json", "--package", "storage", "--package", "demand"]) == 1
    rows = json.loads(capsys.readouterr().out)["checks"]
    assert [row["verdict"] for row in rows] == ["hit", "miss"]
    assert set(Check._fields) | {"verdict"} == set(rows[0])


def test_what_cannot_run_is_said_and_is_no_hit(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A library that is missing, and a refusal; the subjects after it are computed."""

    def lacking() -> Iterator[Check]:
        yield one(1.5)
        raise ModuleNotFoundError(name="pygfunction")

    def refused() -> Iterator[Check]:
        raise ty.InputError("mains water: got nan")
        yield

    monkeypatch.setattr(all_checks, "SUBJECTS", {"storage": (lacking, refused, lambda: [one(1.0)])})
    assert main(["verify", "--json"]) == 1
    rows = json.loads(capsys.readouterr().out)["checks"]
    assert [row["verdict"] for row in rows] == ["hit", "miss", "miss", "hit"]
    assert [row["says"] for row in rows[1:3]] == [
        "not run: needs pygfunction",
        "not run: mains water: got nan",
    ]
    assert rows[1]["obtained"] is None
    assert main(["verify"]) == 1
    assert "not run: needs pygfunction" in capsys.readouterr().out


def test_a_package_that_is_none_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["verify", "--package", "storge"]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("tankyear: verify: package 'storge': allowed climate, ")


@pytest.mark.usefixtures("two")
def test_the_library_gives_the_checks() -> None:
    assert [check.verdict for check in ty.verify()] == ["hit", "miss"]
    assert [check.package for check in ty.verify("demand")] == ["demand"]
    with pytest.raises(ty.InputError, match="allowed storage, demand"):
        ty.verify("plant")
