"""Each learned file says how it came about, and is the one of which it is said."""

import json

import pytest

from scripts.workshop.__main__ import parts_of
from scripts.workshop.figures.learned import checksum, entries, learned_text
from scripts.workshop.figures.write import ROOT, held
from vision import learned
from vision.chewed.measure import load_bite_judge
from vision.day.outline import load_networks
from vision.day.surface import load_surface
from vision.droppings.judge import load_judge
from vision.learned import LEARNED_FILES
from vision.night.judge import load_night_judge

ENTRIES = {entry["file"]: entry for entry in entries()}


def test_every_learned_file_has_its_entry_and_no_other():
    assert set(ENTRIES) == {file.relative_to(ROOT).as_posix() for file in LEARNED_FILES}
    lying_there = {p.relative_to(ROOT).as_posix() for p in (ROOT / "vision").rglob("*.onnx")}
    assert lying_there <= set(ENTRIES)


@pytest.mark.parametrize("file", ENTRIES)
def test_a_learned_file_is_the_one_that_its_entry_tells_of(file):
    """After learning it anew, change the entry, then run “… workshop figures learned”."""
    assert ENTRIES[file]["sha256"] == checksum(ROOT / file)


@pytest.mark.parametrize("file", ENTRIES)
def test_an_entry_names_a_command_that_there_is_and_what_was_learned_from(file):
    entry = ENTRIES[file]
    start, part = entry["command"].split(" learn ")
    assert start == "python -m scripts.workshop"
    assert part.split()[0] in parts_of("learn")
    assert entry["data"]
    assert entry["how"]
    assert entry["libraries"]


def test_the_documents_table_is_that_of_the_entries():
    assert held("learned")[2].strip() == learned_text()


def without_measures(stored):
    """Return what a file holds, made for a measure more than there is."""
    if isinstance(stored, dict):
        named = {"inputs", "features", "contrasts", "body_features"}
        return {
            key: [*value, "another"] if key in named else without_measures(value)
            for key, value in stored.items()
        }
    return [without_measures(one) for one in stored] if isinstance(stored, list) else stored


LOADERS = {
    learned.OUTLINE: load_networks,
    learned.SURFACE: load_surface,
    learned.CHEWED: load_bite_judge,
    learned.DROPPING_JUDGE: load_judge,
    learned.NIGHT_JUDGE: load_night_judge,
}


def test_each_learned_file_of_numbers_has_its_loader():
    assert set(LOADERS) == {file for file in LEARNED_FILES if file.suffix == ".json"}


@pytest.mark.parametrize("file", LOADERS, ids=lambda file: file.name)
def test_numbers_of_another_file_are_read_alike_and_those_for_other_measures_refused(
    file, tmp_path
):
    copy = tmp_path / "own.json"
    copy.write_bytes(file.read_bytes())
    LOADERS[file](copy)
    other = tmp_path / file.name
    other.write_text(json.dumps(without_measures(learned.stored_in(file))), "utf-8")
    with pytest.raises(ValueError, match=rf"^{file.name} was made for other measures: learn it"):
        LOADERS[file](other)
