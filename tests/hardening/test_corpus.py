"""Bad input over every reader: one clear message, exit code 2, nothing written, and an end within seconds."""

import os
from collections import Counter
from pathlib import Path

import bad_input
import pytest

pytestmark = pytest.mark.contract

CASES = list(bad_input.cases())
READERS = sorted({case.reader for case in CASES})


@pytest.mark.slow
@pytest.mark.parametrize("reader", READERS)
def test_bad_input_is_refused_in_one_clear_message(
    reader: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One test for the cases of a reader: each in a folder of its own, all that go wrong listed at once."""
    wrong = []
    for number, case in enumerate(one for one in CASES if one.reader == reader):
        folder = tmp_path / str(number)
        folder.mkdir()
        bad_input.lay(case, folder)
        before = bad_input.what_lies_in(folder)
        monkeypatch.chdir(folder)
        try:
            said = bad_input.typed(case.command)
        except (Exception, bad_input.Hang) as error:
            wrong.append(f"{case}: {type(error).__name__}: {error}")
            continue
        found = bad_input.faults(case, said)
        found += ["wrote files"] if bad_input.what_lies_in(folder) != before else []
        wrong += [f"{case}: {', '.join(found)}: {said.error}"] if found else []
    os.chdir(tmp_path)
    assert not wrong, "\n".join(wrong)


def test_cases_have_names_of_their_own_and_expect_something() -> None:
    counted = Counter(map(str, CASES))
    assert [name for name, count in counted.items() if count > 1] == []
    assert [str(case) for case in CASES if any(len(text) < 12 for text in case.says)] == []
    assert len(CASES) >= 300
