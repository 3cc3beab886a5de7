"""The files of a dossier, written all or none, and the words on a bundle that was verified."""

import gc
from pathlib import Path

from tqdm import tqdm

from hpwhsim.charts.year import ONE_LINE, SCHEMATIC, draw_pictures
from hpwhsim.dossier.bundle import bundle, repeat_command
from hpwhsim.dossier.verify import Verdict
from hpwhsim.dossier.workbook.book import workbook_bytes
from hpwhsim.errors import InputError
from hpwhsim.evaluation.draw_years import evaluate_over
from hpwhsim.io.figures import png
from hpwhsim.io.plain_text import visible
from hpwhsim.processes import processes
from hpwhsim.regression.report import table
from hpwhsim.results.files import write_files
from hpwhsim.scenario.reading import Loaded
from hpwhsim.scenario.schema import Dossier, Scenario
from hpwhsim.schematic.one_line import one_line
from hpwhsim.schematic.sheet import schematic
from hpwhsim.sections.document import TORNADO, document
from hpwhsim.sections.parts import Typed
from hpwhsim.simulation.year import Year
from hpwhsim.studies.sensitivity import Sensitivities, sensitivities
from hpwhsim.studies.sensitivity_report import tornado

WORKBOOK, PDF, BUNDLE = NAMES = ("dossier.xlsx", "dossier.pdf", "bundle.zip")


def write_dossier(loaded: Loaded, folder: Path, seeds: int = 0) -> list[Path]:
    """Result a scenario and write workbook, PDF and bundle to `folder`; earlier ones are replaced.

    Sensitivities and pictures are made in processes of their own, beside workbook and pages.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    InputError
        If the scenario cannot be answered, or the folder cannot be written.
    """
    from hpwhsim.dossier.pdf import pdf_bytes

    _check_folder(folder)
    bar = tqdm(total=5, unit="part", leave=False, disable=None)  # None: no bar in a pipe
    with bar, processes(2, [__name__, "matplotlib.figure", "xarray"]) as others:
        result = evaluate_over(loaded, seeds)
        bar.update()
        own = result.plant.year
        base = result.baseline.year if result.baseline is not None else None
        moved = others.submit(_moved, loaded, own, base)
        pictures = others.submit(_drawn, own, loaded.scenario)
        gc.disable()  # half a million cells, and no garbage among them: a fifth of the time
        try:
            contents = {WORKBOOK: workbook_bytes(result)}
            bar.update()
            found, tornado = moved.result()
            drawn = pictures.result() | {TORNADO: tornado}
            bar.update()
            said = document(result, drawn, _repeat(loaded), found)
            contents[PDF] = pdf_bytes(said, drawn, (loaded.scenario.dossier or Dossier()).paper)
            bar.update()
        finally:
            gc.enable()
        contents[BUNDLE] = bundle(result, contents)
        bar.update()
    return write_files(folder, contents)


def _moved(loaded: Loaded, plant: Year, baseline: Year | None) -> tuple[Sensitivities, bytes]:
    """The sensitivities and their picture, for another process."""
    found = sensitivities(loaded, plant, baseline)
    return found, tornado(found)


def _drawn(year: Year, scenario: Scenario) -> dict[str, bytes]:
    """Pictures of a year as a PDF takes them, for another process."""
    pictures = draw_pictures(year, scenario)
    pictures[SCHEMATIC] = png(schematic(scenario, year.made.capacity, year))
    wired = one_line(year.record, year.made.modules)
    return pictures if wired is None else pictures | {ONE_LINE: png(wired)}


def _repeat(loaded: Loaded) -> list[tuple[str, str]]:
    """What lies beside the PDF, and what is typed where the archive was unpacked."""
    return [
        (WORKBOOK, "every hour of the year, and formulas from these hours to every total"),
        (BUNDLE, "every input, so that the calculation can be repeated anywhere"),
        ("command, typed where bundle.zip was unpacked", Typed(repeat_command(loaded, "dossier"))),
        ("to verify", "tankyear dossier --verify bundle.zip (says same, or what differs)"),
    ]


def _check_folder(folder: Path) -> None:
    """Say early that the results cannot be written."""
    for place in (folder, *folder.parents):
        if place.is_dir():
            break
        if place.exists():
            raise InputError(f"--out {folder}: cannot be written: {place} is a file")
    for name in NAMES:
        if (folder / name).is_dir():
            raise InputError(f"--out {folder}: cannot be written: {folder / name} is a folder")


def verdict_text(verdict: Verdict) -> str:
    """What was compared and what was found, the last line being the verdict."""
    wide = max(len(finding.what) for finding in verdict.findings)
    lines = ["compared:"]
    lines += [f"  {finding.what:<{wide}}  {finding.said}" for finding in verdict.findings]
    whole = [move for move in verdict.moves if "[" not in move.key]  # the year's; not months and lists
    lines += table(whole, None)
    if len(whole) < len(verdict.moves):
        lines.append(f"and {len(verdict.moves) - len(whole)} figures of months, years and lists")
    left = f" (not compared: {', '.join(verdict.missing)})" if verdict.missing else ""
    different = [finding.what for finding in verdict.findings if finding.same is False]
    lines.append(f"differs: {'; '.join(different)}{left}" if different else f"same{left}")
    return visible("\n".join(lines)) + "\n"
