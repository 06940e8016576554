"""Lessons: kept whole, and photos that nothing is learned from stay apart."""

import numpy as np

from scripts.workshop.learn.dropping_lessons import keep, kept, lesson_of


def a_lesson(level: int):
    truth = np.zeros((80, 100), np.uint16)
    truth[20:40, 30:60] = 1
    pixels = np.full((80, 100, 3), 200, np.uint8)
    pixels[truth > 0] = level
    return lesson_of("droppings on paper", pixels, truth, 95)


def test_lessons_are_the_same_after_they_were_kept(tmp_path):
    lessons = [a_lesson(30), a_lesson(90)]
    keep(lessons, tmp_path)
    for one, again in zip(lessons, kept(tmp_path), strict=True):
        assert (again.kind, again.count) == (one.kind, one.count)
        np.testing.assert_array_equal(again.pixels, one.pixels)
        np.testing.assert_array_equal(again.truth, one.truth)
        np.testing.assert_array_equal(again.no_matter, one.no_matter)


def test_a_folder_that_was_not_finished_holds_no_lessons(tmp_path):
    keep([a_lesson(30)], tmp_path)
    (tmp_path / "lessons.csv").unlink()
    assert kept(tmp_path) == []


def test_a_dropping_that_nobody_can_see_is_no_matter():
    """198 on 200 is less than one CIELAB unit; 30 on 200 is about 70."""
    assert a_lesson(198).no_matter[30, 45] == 1
    assert a_lesson(30).no_matter.max() == 0
