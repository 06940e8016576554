"""Torch-off photos: which belongs to which, and what is subtracted."""

from pathlib import Path

import numpy as np
import pytest

from models.hornworm import nearest_instar
from vision.night.torch_off import pair_torch_off, without_stray_light
from vision.photo.find import PhotoFile


def files(*names):
    return [PhotoFile(Path(name), name) for name in names]


def test_a_torch_off_photo_belongs_to_the_photo_beside_it():
    photos, off = pair_torch_off(files("a/x.jpg", "a/x-off.png", "b/x.jpg", "y-OFF.JPG", "y.jpg"))
    assert [photo.name for photo in photos] == ["a/x.jpg", "b/x.jpg", "y.jpg"]
    assert {name: photo.name for name, photo in off.items()} == {
        "a/x.jpg": "a/x-off.png", "y.jpg": "y-OFF.JPG",
    }  # fmt: skip


def test_without_a_photo_of_the_shorter_name_it_stands_for_itself():
    photos, off = pair_torch_off(files("kick-off.jpg", "b/kick.jpg", "-off.jpg"))
    assert len(photos) == 3
    assert off == {}


def test_what_shines_in_both_is_gone_and_the_rest_stays():
    both, torch = np.zeros((40, 60, 3), np.uint8), np.zeros((40, 60, 3), np.uint8)
    both[10:15, 10:15] = (255, 220, 180)  # a lamp
    torch[:] = both
    torch[25:30, 40:50] = (60, 230, 150)
    left = without_stray_light(torch, both)
    assert not left[10:15, 10:15].any()
    assert np.abs(left[25:30, 40:50].astype(int) - (60, 230, 150)).max() <= 2
    assert torch[12, 12].tolist() == [255, 220, 180]


@pytest.mark.parametrize(("length_mm", "instar"), [(7, 1), (11, 2), (23, 3), (49, 4), (81, 5)])
def test_a_length_gives_the_stage_of_the_nearest_log_length(length_mm, instar):
    # Lengths [memory, Capinera handbook and a University of Florida page].
    assert nearest_instar(length_mm) == instar
