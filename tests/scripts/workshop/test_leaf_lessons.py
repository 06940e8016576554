"""Lessons of outline and tissue: painted ones carry exact truth, and all are kept."""

import zipfile

import cv2
import numpy as np
import pytest

from scripts.workshop.learn import leaf_lessons, tissue_lessons
from scripts.workshop.learn.leaf_lessons import UNKNOWN, Lesson, write
from vision.records import HALO, LEAF, LESION


@pytest.fixture(scope="module")
def painted():
    return list(leaf_lessons._painted(np.random.default_rng(3), 4))


def test_painted_lessons_number_their_leaves_from_one(painted):
    for lesson in painted:
        assert lesson.kind == "painted"
        assert lesson.pixels.shape == (*lesson.mask.shape, 3)
        assert max(lesson.mask.shape) <= leaf_lessons.LONG_PX
        numbers = np.unique(lesson.mask).tolist()
        assert numbers == list(range(len(numbers)))  # 0 is no leaf; none is unknown
    assert max(int(lesson.mask.max()) for lesson in painted) > 1


def test_a_small_outline_covers_as_much_of_the_picture_as_the_large_one():
    mask = np.zeros((900, 1200), np.uint8)
    cv2.circle(mask, (600, 450), 300, 1, -1)
    lesson = leaf_lessons._lesson("disc", np.zeros((900, 1200, 3), np.uint8), mask)
    assert max(lesson.mask.shape) == leaf_lessons.LONG_PX
    assert (lesson.mask > 0).mean() == pytest.approx((mask > 0).mean(), rel=0.01)


def test_each_painted_leaf_is_a_lesson_of_its_own_tissue():
    lessons = list(tissue_lessons._painted(np.random.default_rng(3), 2))
    assert lessons
    for lesson in lessons:
        values = set(np.unique(lesson.mask).tolist())
        assert LEAF in values
        assert values <= {0, LEAF, HALO, LESION}
        assert max(lesson.mask.shape) <= tissue_lessons.LONG_PX


def test_written_lessons_are_counted_and_read_again(tmp_path, painted):
    nothing = Lesson("ground", np.full((40, 60, 3), 90, np.uint8), np.zeros((40, 60), np.uint8))
    unsure = Lesson("board", nothing.pixels, np.full((40, 60), UNKNOWN, np.uint8))
    counts = write(iter([*painted, nothing, unsure]), tmp_path / "lessons.zip")
    assert counts == {"painted": len(painted), "ground": 1, "board": 1}
    with zipfile.ZipFile(tmp_path / "lessons.zip") as store:
        names = store.namelist()
        first = np.frombuffer(store.read("painted/0001.png"), np.uint8)
    assert len(names) == 2 * sum(counts.values())
    again = cv2.imdecode(first, cv2.IMREAD_UNCHANGED)
    np.testing.assert_array_equal(again, painted[0].mask)
