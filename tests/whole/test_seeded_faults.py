"""The seeded faults are faults of the package as it is, and what is kept of them came of these."""

import pytest
import seeded_faults
from cases import ROOT

pytestmark = pytest.mark.contract

FAULTS = seeded_faults.faults()


def test_each_stands_once_in_its_file() -> None:
    """A formula that was rewritten takes its fault along."""
    for fault in FAULTS:
        assert fault.wrong != fault.right, fault.id
        assert seeded_faults.text_of(fault).count(fault.right) == 1


def test_they_are_of_every_package() -> None:
    """Of every folder that holds code, and of kinds that are known; no name stands for two."""
    folders = {path.parent.name for path in (ROOT / "hpwhsim").glob("*/*.py")}
    assert folders <= {fault.package for fault in FAULTS}
    assert {fault.kind for fault in FAULTS} == set(seeded_faults.KINDS)
    assert len({fault.id for fault in FAULTS}) == len(FAULTS)
    assert len({(fault.file, fault.right, fault.wrong) for fault in FAULTS}) == len(FAULTS)


def test_who_should_see_them_is_there_and_no_stored_record() -> None:
    texts: dict[str, str] = {}
    for fault in FAULTS:
        assert fault.tests
        for test in fault.tests:
            file, _, name = test.partition("::")
            if file not in texts:
                texts[file] = (ROOT / file).read_text(encoding="utf-8")
            assert not name or f"def {name.partition('[')[0]}(" in texts[file], fault.id
            assert not seeded_faults.is_stored(test), fault.id


def test_what_is_kept_came_of_these_faults() -> None:
    """At least 150 were tried as they stand here, and at least 145 are seen by a test that is of a kind."""
    kept = seeded_faults.outcomes()
    assert set(kept) == {fault.id for fault in FAULTS}
    assert {fault.id: kept[fault.id].digest for fault in FAULTS} == {f.id: f.digest for f in FAULTS}
    seen = [one for one in kept.values() if one.verdict == "caught" and one.kind in seeded_faults.TEST_KINDS]
    assert len(FAULTS) >= 150
    assert len(seen) >= 145
    assert len(FAULTS) - len(seen) <= seeded_faults.MOST_MISSED
