"""An empty table of buildings: heads with what they take, and lists of what is allowed, from the schema."""

from collections.abc import Iterator

from hpwhsim.blocks.table import COLUMNS, MOST_EQUAL, NEEDED, SHEET
from hpwhsim.dossier.workbook.formula import letter
from hpwhsim.dossier.workbook.sheets import Book
from hpwhsim.scenario.key_list import Key, key_list
from hpwhsim.scenario.keys import known_fields
from hpwhsim.scenario.schema import Dossier
from hpwhsim.scenario.shapes import shapes

KEYS, LISTS = "Keys", "Lists"
USUAL = (
    "building.apartments",
    "building.people_per_apartment",
    "site.weather",
    "hot_water.daily_use_per_apartment",
    "hot_water.pattern",
    "hot_water.draws",
    "recirculation.loss_per_apartment",
    "plant.heat_pump.refrigerant",
    "plant.heat_pump.modules",
    "plant.heat_pump.capacity",
    "plant.heat_pump.condenser",
    "plant.storage.volume",
    "plant.storage.setpoint",
    "plant.backup.kind",
    "plant.backup.power",
    "plant.backup.mode",
    "carbon.grid",
)
"""Keys that have a column from the start; any other may be picked for the columns after them."""
FREE = 8  # columns whose head may be picked
ROWS = 1000  # that the lists reach over


def block_template() -> bytes:
    """The bytes of the empty table.

    The sheet Buildings has a head for every column of its own and for the usual keys, whose notes say what
    they take; where the schema allows a choice, a list of it opens in the cell. Heads behind them are
    picked from the sheet Keys, which has every key of the schema.
    """
    book = Book("Table of buildings", [SHEET, KEYS, LISTS], Dossier().paper)
    keys = [key for key in key_list() if not key.key.startswith(("sizing.", "dossier."))]
    _keys(book, keys)
    by_path = {key.key: key for key in keys}
    sheet = book.sheets[SHEET]
    heads = [*COLUMNS, *USUAL]
    book.texts(SHEET, 0, heads)
    for place, head in enumerate(heads):
        note = COLUMNS.get(head) or _note(by_path[head])
        needed = "needed; " if head in NEEDED else ""
        sheet.write_comment(0, place, f"{needed}{note}", {"x_scale": 2.2, "y_scale": 1.6})
    whole = {"validate": "integer", "criteria": "between", "minimum": 1, "maximum": MOST_EQUAL}
    place = heads.index("count")
    sheet.data_validation(1, place, ROWS, place, whole | {"ignore_blank": True})
    for number, (path, choices) in enumerate(_choices()):
        book.text(LISTS, 0, number, path, "head")
        for at, text in enumerate(choices, start=1):
            book.text(LISTS, at, number, text)
        if path in heads:
            place, of = heads.index(path), letter(number)
            listed = {"validate": "list", "source": f"='{LISTS}'!${of}$2:${of}${len(choices) + 1}"}
            sheet.data_validation(1, place, ROWS, place, listed)
        book.width(LISTS, number, number, max(14.0, len(path)))
    picked = {"validate": "list", "source": f"='{KEYS}'!$A$3:$A${len(keys) + 2}"}
    sheet.data_validation(0, len(heads), 0, len(heads) + FREE - 1, picked)
    for place in range(len(heads), len(heads) + FREE):
        book.text(SHEET, 0, place, "", "head")
    book.widths(SHEET, 24, 28, *(max(10.0, len(head) + 1.0) for head in heads[2:]), freeze=1, across=1)
    return book.close()


def _note(key: Key) -> str:
    """What a key takes, in a sentence."""
    allowed = f" ({key.allowed})" if key.allowed else ""
    return f"{key.meaning}: {key.type}{allowed}; empty: as in the scenario"


def _keys(book: Book, keys: list[Key]) -> None:
    """The sheet of all keys."""
    heads = ("key", "takes", "unit inside", "allowed", "default", "meaning")
    book.text(KEYS, 0, 0, "Every key of a scenario, each of which may head a column", "title")
    book.texts(KEYS, 1, heads)
    for at, key in enumerate(keys, start=2):
        book.texts(KEYS, at, (key.key, key.type, key.unit, key.allowed, key.default, key.meaning), "wrap")
    book.widths(KEYS, 44, 28, 12, 34, 34, 70, freeze=2, across=1)


def _choices() -> Iterator[tuple[str, list[str]]]:
    """Keys that take one of some names, with these."""
    for path, field in known_fields().items():
        forms = shapes(field)
        names = [name for form in forms for name in form.json.get("enum", ()) if name is not None]
        if names and len(forms) == 1 and not path.startswith(("sizing.", "dossier.", "baseline.")):
            yield path, [str(name) for name in names]
