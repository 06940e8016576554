"""Which plant a photo shows: by its stake tag, its folder, its name, or what the grower says."""

import unicodedata
from collections.abc import Sequence

from models.entries import PlantFrom
from models.garden.beds import Plant

__all__ = ["plant_of"]


def plant_of(
    plants: Sequence[Plant],
    path: Sequence[str],
    tag: int | None = None,
    option: str = "",
) -> tuple[str, PlantFrom]:
    """Return a photo's plant and how it is known; the first of these that names one.

    The number of the stake tag in the photo; the photo's folder, the nearest one that is named
    after a plant; the beginning of the photo's name, up to a sign that is no letter or digit; the
    plant that was given for the whole run. Capitals do not matter.

    Parameters
    ----------
    plants : sequence of Plant
        All plants of the garden; other names are no plants.
    path : sequence of str
        Folders, from the outermost, and the name of the photo's file.
    tag : int, optional
        Number of the tag.
    option : str
        Name of a plant of the garden, or empty.

    Returns
    -------
    tuple of str and str
        Two empty texts when nothing names a plant: the photo is unassigned.
    """
    tagged = {plant.tag: plant.name for plant in plants if plant.tag is not None}
    if tag is not None and tag in tagged:
        return tagged[tag], "tag"
    *folders, name = path
    by_name = {_plain(plant.name): plant.name for plant in plants}
    for folder in reversed(folders):
        if _plain(folder) in by_name:
            return by_name[_plain(folder)], "folder"
    if begun := _at_start(_plain(name), by_name):
        return by_name[begun], "name"
    return (option, "option") if option else ("", "")


def _plain(text: str) -> str:
    # Some systems write ä as one sign, others as two.
    return unicodedata.normalize("NFC", text).casefold()


def _at_start(name: str, known: dict[str, str]) -> str:
    """Return the longest known name with which a file's name begins as a whole word."""
    fitting = [
        plant
        for plant in known
        if name.startswith(plant) and not name[len(plant) : len(plant) + 1].isalnum()
    ]
    return max(fitting, key=len, default="")
