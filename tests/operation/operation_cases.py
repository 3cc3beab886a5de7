"""Plants for the tests of the documents on operation, and what is read out of them."""

import re
from collections.abc import Mapping
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import yaml
from cases import ROOT, central_air

from hpwhsim.evaluation.evaluate import check
from hpwhsim.evaluation.result import Result
from hpwhsim.operation.facts import Facts
from hpwhsim.operation.parts import Document, Listing, Paragraph
from hpwhsim.operation.sentences import Sentence
from hpwhsim.operation.sequence import groups
from hpwhsim.scenario.reading import Loaded, read_scenario


def unmarched(loaded: Loaded) -> Facts:
    """A plant as the sentences read it, built and not marched."""
    assembly = check(loaded).assembly
    year = SimpleNamespace(
        made=assembly.made, machine=assembly.plant.machine if assembly.plant.modules else None, hourly={}
    )
    plant = SimpleNamespace(
        scenario=loaded.scenario,
        written=loaded.written,
        record={"assumptions": assembly.assumptions},
        year=year,
    )
    return Facts(cast(Result, SimpleNamespace(plant=plant)))


def worked_facts(name: str, *overrides: str) -> Facts:
    """One of the worked files, not marched."""
    return unmarched(read_scenario(ROOT / "scenarios" / f"{name}.yaml", overrides))


def written(folder: Path, raw: Mapping[str, Any], *overrides: str) -> Loaded:
    """A scenario written to `folder` and read."""
    path = folder / "case.yaml"
    path.write_text(yaml.safe_dump(dict(raw), sort_keys=False))
    return read_scenario(path, overrides)


def raw_plant(folder: Path, **blocks: Mapping[str, Any]) -> dict[str, Any]:
    """An invented plant with other blocks of `plant`, or of the scenario."""
    raw = central_air(folder)
    for name, block in blocks.items():
        if name in ("recirculation", "hot_water"):
            raw[name] = raw.get(name, {}) | dict(block)
        else:
            raw["plant"][name] = raw["plant"].get(name, {}) | dict(block)
    return raw


def sentences(facts: Facts) -> list[Sentence]:
    """All sentences of a plant."""
    return [one for group in groups(facts) for one in group.sentences]


def sentence(facts: Facts, key: str) -> str:
    """The one sentence that says a key."""
    (one,) = [one.text for one in sentences(facts) if key in one.keys]
    return one


def degrees_in(text: str) -> list[float]:
    """Temperatures in a text written in SI. [°C]"""
    return [float(number.replace("−", "-")) for number in re.findall(r"([−\d.]+) °C", text)]


def texts(document: Document) -> list[str]:
    """Everything that a reader reads, in its order."""
    found = [document.title, document.subtitle]
    for section in document.sections:
        found.append(section.heading)
        for part in section.parts:
            if isinstance(part, Paragraph):
                found.append(part.text)
            elif isinstance(part, Listing):
                found += part.items
            else:
                found += [part.caption, *part.heads, *(cell for row in part.rows for cell in row)]
    return found


def minutes_in(text: str) -> list[float]:
    """Times in a text. [min]"""
    return [float(number) for number in re.findall(r"([\d.]+) min", text)]
