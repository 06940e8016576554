"""Tag before folder before name before option; only plants of the garden count."""

import pytest

from models.garden.beds import Plant
from models.garden.plant_rule import plant_of

PLANTS = (Plant("A1", "N", tag=7), Plant("A12", "N"), Plant("B 2", "N"), Plant("Bär", "N"))


@pytest.mark.parametrize(
    ("path", "tag", "option", "plant", "how"),
    [
        (("A12", "B 2 x.jpg"), 7, "Bär", "A1", "tag"),
        (("A12", "B 2 x.jpg"), 8, "Bär", "A12", "folder"),  # a tag of no plant
        (("A12", "B 2 x.jpg"), None, "Bär", "A12", "folder"),
        (("A12", "A1", "x.jpg"), None, "", "A1", "folder"),  # the nearest one
        (("a1", "June", "x.jpg"), None, "", "A1", "folder"),
        (("photos", "B 2 x.jpg"), None, "A1", "B 2", "name"),
        (("A1_2025.jpg",), None, "", "A1", "name"),
        (("a12-3.jpg",), None, "", "A12", "name"),
        (("A1.jpg",), None, "", "A1", "name"),
        (("A13.jpg",), None, "", "", ""),  # A1 is no word of it
        (("xA1.jpg",), None, "A12", "A12", "option"),
        (("Ba\u0308r", "x.jpg"), None, "", "Bär", "folder"),  # ä as two signs
        (("photos", "x.jpg"), None, "", "", ""),
    ],
)
def test_the_surest_sign_names_the_plant(path, tag, option, plant, how):
    assert plant_of(PLANTS, path, tag, option) == (plant, how)


def test_a_garden_without_plants_names_none():
    assert plant_of((), ("A1", "A1.jpg")) == ("", "")
