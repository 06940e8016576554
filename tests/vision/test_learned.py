"""Each learned file says how it came about, and is the one of which it is said."""

import pytest

from scripts.workshop.__main__ import parts_of
from scripts.workshop.figures.learned import checksum, entries, learned_text
from scripts.workshop.figures.write import ROOT, held
from vision.learned import LEARNED_FILES

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
