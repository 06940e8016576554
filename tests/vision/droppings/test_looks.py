"""Looking thrice: from afar, nearer, and closely, each time only where something could be."""

import cv2
import numpy as np
import pytest

from vision.droppings import looks as looking
from vision.droppings.looks import look_at
from vision.droppings.network import STEP_PX, Seen, see
from vision.droppings.spots import find_spots


def sheet_with(places: list[tuple[int, int]], rows: int = 640, columns: int = 900) -> np.ndarray:
    picture = np.full((rows, columns, 3), (226, 224, 218), np.uint8)
    for row, col in places:
        cv2.ellipse(picture, (col, row), (16, 11), 30, 0, 360, (34, 36, 28), -1, cv2.LINE_AA)
    noise = np.random.default_rng(1).normal(0, 1.5, picture.shape)
    soft = cv2.GaussianBlur(picture, (0, 0), 0.8)
    return np.clip(soft + noise, 0, 255).astype(np.uint8)


def watched(monkeypatch, answer=see) -> list[tuple[int, ...]]:
    """Note the sizes of all that is shown to the network."""
    shown: list[tuple[int, ...]] = []

    def note(picture):
        shown.append(picture.shape[:2])
        return answer(picture)

    monkeypatch.setattr(looking, "see", note)
    return shown


def sees_everywhere(picture: np.ndarray) -> Seen:
    size = tuple(-(-side // STEP_PX) for side in picture.shape[:2])
    return Seen(*(np.full(size, value, np.float32) for value in (1.0, 1.0, 20.0)))


def test_an_empty_sheet_is_looked_at_once_at_a_quarter_of_the_size(monkeypatch):
    shown = watched(monkeypatch)
    seen = look_at(sheet_with([]))
    assert shown == [(160, 225)]
    assert seen.middle.shape == (320, 450)
    assert len(find_spots(seen).rows) == 0


def test_close_looks_are_as_small_as_what_could_be_there(monkeypatch):
    shown = watched(monkeypatch)
    look_at(sheet_with([(300, 200)]))
    nearer = sum(rows * columns for rows, columns in shown[1:])
    assert 0 < nearer < 0.1 * 640 * 900


def test_where_much_could_be_something_all_is_looked_at_closely(monkeypatch):
    shown = watched(monkeypatch, sees_everywhere)
    look_at(sheet_with([]))
    assert shown == [(160, 225), (640, 900)]


@pytest.mark.parametrize("shape", [(640, 900), (333, 517), (70, 1200)])
def test_a_part_shows_what_the_whole_shows(shape):
    """Same spots, at the same places and of nearly the same sizes, also at odd sizes."""
    rows, columns = shape
    places = [(rows // 2, columns // 5), (rows // 2, columns // 2), (rows // 3, 4 * columns // 5)]
    picture = sheet_with(places, rows, columns)
    parts, whole = (find_spots(seen) for seen in (look_at(picture), see(picture)))
    for spots in (parts, whole):
        assert sorted(spots.cols) == pytest.approx([col for _, col in places], abs=3)
    assert sorted(parts.diameter_px) == pytest.approx(sorted(whole.diameter_px), rel=0.1)
