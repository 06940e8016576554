"""How many files whoever follows one photo through the program has to open."""

import pytest

from scripts.workshop.figures.way import Way, way_of_one_photo

MOST_MEASURING, MOST_IN_ALL = 46, 103
"""What it takes today (``python -m scripts.workshop figures way`` lists them): lower it, not raise.

Around the measuring lie the journal with its safeguards, and the summary, which tells of each
plant's course by the whole record. Photos at addresses and results in bounded memory took five
more than before.
"""


@pytest.fixture(scope="module")
def way(tmp_path_factory) -> Way:
    return way_of_one_photo(tmp_path_factory.mktemp("one"))


def test_measuring_one_photo_runs_through_few_files(way):
    assert {"vision/measure.py", "vision/day/measure.py", "scripts/score/photo.py"} <= way.measuring
    assert len(way.measuring) <= MOST_MEASURING


def test_scoring_one_photo_in_a_garden_runs_through_no_more_files_than_it_did(way):
    assert {"models/journal/photos.py", "scripts/score/filing.py"} <= way.around
    assert len(way.measuring | way.around) <= MOST_IN_ALL


def test_measuring_reaches_neither_the_record_nor_care_and_filing_decides_no_task(way):
    rooms = {tuple(name.split("/")[:2]) for name in way.measuring}
    assert rooms.isdisjoint(
        {("models", room) for room in ("journal", "care", "progress", "garden")}
    )
    decided = ("rules.py", "planning.py", "tasks.py", "review.py", "choice.py", "peroxide.py")
    assert [name for name in way.around if name.endswith(decided)] == []


def test_only_functions_count_and_only_those_of_the_project():
    way = Way()
    way.noted(lambda: __import__("json").dumps({}))
    assert way.measuring | way.around == set()
    way.noted(lambda: __import__("vision.flags", fromlist=["x"]).explain("blurred"))
    assert way.around == {"vision/flags.py"}
