"""Processes beside a script: they do what the package asks and nothing that the script says."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from cases import ROOT

pytestmark = pytest.mark.contract

SCRIPT = """\
import hpwhsim.plain_math
from hpwhsim.processes import processes

print("begun")
with processes(2, ["hpwhsim.plain_math"]) as pool:
    print(list(pool.map(abs, [-1, -2])))
"""


def test_a_script_is_run_once(tmp_path: Path) -> None:
    """A plain script without a guard around its lines, as a notebook's cells have none."""
    path = tmp_path / "study.py"
    path.write_text(SCRIPT)
    done = subprocess.run(
        [sys.executable, str(path)],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=100,
    )
    assert (done.returncode, done.stdout) == (0, "begun\n[1, 2]\n"), done.stderr
