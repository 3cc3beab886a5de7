"""Fixtures of the dossier: a workbook of the demo, and the three files in another place."""

import shutil
from pathlib import Path

import pytest

from hpwhsim.dossier.workbook.book import workbook_bytes
from hpwhsim.evaluation.result import Result


@pytest.fixture(scope="session")
def demo_file(demo: Result, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's workbook; nothing that reads it may change it."""
    path = tmp_path_factory.mktemp("book") / "dossier.xlsx"
    path.write_bytes(workbook_bytes(demo))
    return path


@pytest.fixture
def copy(written: Path, tmp_path: Path) -> Path:
    """The three files in another folder; scenario, weather and baseline are nowhere near."""
    folder = tmp_path / "elsewhere"
    shutil.copytree(written, folder)
    return folder
