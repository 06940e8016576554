"""Each quantity is told once, and whoever shows one says the same of it."""

import json
import re

import pytest

from models import quantities
from models.journal import open_journal
from models.journal.tables import FINDS, LEAVES, MARKS, METADATA, READINGS, REDRAWN, REDRAWN_LESIONS
from scripts.garden.data_package import DESCRIPTION, journal_files
from scripts.garden.make import make_garden
from scripts.score.columns import EXTRA_TABLES, TABLES

REGISTRY = {
    name.lower(): getattr(quantities, name)
    for name in ("PHOTO", "LEAF", "LESION", "DROPPING", "CATERPILLAR", "REJECTED", "FIND", "MARK")
}
ALL = [pytest.param(one, id=f"{of}-{name}") for of, group in REGISTRY.items()
       for name, one in group.items()]  # fmt: skip
SHOWN_IN = {"photo": "photos", "leaf": "leaves", "lesion": "lesions", "dropping": "frass",
            "caterpillar": "caterpillars", "rejected": "rejected"}  # fmt: skip
KEPT_IN = [
    (READINGS, "photo"), (LEAVES, "leaf"), (REDRAWN, "leaf"), (REDRAWN_LESIONS, "lesion"),
    (FINDS, "find"), (MARKS, "mark"),
]  # fmt: skip
JOURNALS_OWN = {"id", "photo_id", "reading_id", "version", "is_current", "kind", "number",
                "position", "lesion", "checksum"}  # fmt: skip
ENDS = {"mm_per_px": "mm/px", "area_px": "px2", "_px": "px", "_mm2": "mm2",
        "_mm": "mm", "_pct": "%", "_deg": "deg"}  # fmt: skip


@pytest.mark.parametrize("quantity", ALL)
def test_the_name_of_a_quantity_ends_with_its_unit(quantity):
    unit = next((unit for end, unit in ENDS.items() if quantity.name.endswith(end)), "")
    if quantity.kind is quantities.PROBABILITY:
        assert "0 to 1" in quantity.meaning
    else:
        assert quantity.kind.unit == unit
    assert re.fullmatch(r"\S.*\.", quantity.meaning)


@pytest.mark.parametrize("of", SHOWN_IN)
def test_a_score_table_shows_what_the_registry_tells_and_nothing_else(of):
    table = (TABLES | EXTRA_TABLES)[SHOWN_IN[of]]
    shown = [(column.name, column.meaning, column.decimals) for column in table.columns]
    told = [(one.name, one.meaning, one.kind.decimals) for one in REGISTRY[of].values()]
    assert shown == told


@pytest.mark.parametrize(("table", "of"), KEPT_IN, ids=lambda v: getattr(v, "name", v))
def test_the_journal_keeps_what_was_measured_under_the_same_name_meaning_and_unit(table, of):
    measured = [column for column in table.columns if column.name not in JOURNALS_OWN]
    assert measured
    for column in measured:
        if column.name != "leaf":  # half of a key
            quantity = REGISTRY[of][column.name]
            assert (column.comment, column.info.get("unit", "")) == (
                quantity.meaning,
                quantity.kind.unit,
            )


def test_an_export_describes_each_column_as_the_registry_does(tmp_path):
    make_garden(tmp_path / "beds", ["North=A1"])
    with open_journal(tmp_path / "beds") as journal:
        package = json.loads(journal_files(journal)[DESCRIPTION])
    fields = {one["name"]: one["schema"]["fields"] for one in package["resources"]}
    assert set(fields) == {table.name for table in METADATA.sorted_tables}
    told = {field["name"]: field for field in fields["lesions"]}
    for name in set(told) - {"reading_id", "leaf", "lesion"}:
        quantity = quantities.LESION[name]
        assert told[name]["description"] == quantity.meaning
        assert told[name].get("unit", "") == quantity.kind.unit
        assert told[name]["type"] == ("boolean" if quantity.kind.type is bool else "number")
