"""Real leaves where they grow, and real ground without any, where the photos are at hand."""

import csv
from pathlib import Path

import cv2
import numpy as np
import pytest

from models.agreement import overlap
from vision.day.leaf import find_leaves
from vision.photo.decode import read_photo
from vision.photo.find import PhotoFile

PHOTOS = Path(__file__).parents[3].parent / "shared" / "photos"
FIELD, GROUND = PHOTOS / "field", PHOTOS / "ground"


def read(path):
    return read_photo(PhotoFile(path, path.name)).pixels


@pytest.mark.skipif(not FIELD.is_dir(), reason="the field photos are not beside the checkout")
def test_leaves_in_the_field_are_outlined_as_people_drew_them():
    """The networks learned from these photos, so the floor only guards against a fault."""
    with (FIELD / "labels.csv").open(encoding="utf-8", newline="") as table:
        rows = list(csv.DictReader(table))
    overlaps = []
    for source in ("bean", "blackgram", "chilli"):
        own = [row for row in rows if row["source"] == source]
        for row in own[:: len(own) // 10][:10]:
            pixels = read(FIELD / row["photo"])
            mask = cv2.imread(str(FIELD / row["mask"]), cv2.IMREAD_UNCHANGED)
            truth = cv2.resize(mask, pixels.shape[1::-1], interpolation=cv2.INTER_NEAREST) > 0
            overlaps.append(overlap(find_leaves(pixels).numbers > 0, truth))
    assert len(overlaps) == 30
    assert np.mean(overlaps) >= 0.93


@pytest.mark.skipif(not GROUND.is_dir(), reason="the ground photos are not beside the checkout")
def test_on_ground_without_a_leaf_none_is_measured():
    paths = sorted(GROUND.glob("*.jpg"))[::10][:20]
    found = {path.name: find_leaves(read(path)).count for path in paths}
    assert len(found) == 20
    assert {name: count for name, count in found.items() if count} == {}
