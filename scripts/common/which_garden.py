"""Which garden a command works in: the one that was named, or the one it stands in."""

import difflib
from collections.abc import Iterable, Sequence
from pathlib import Path

from models.garden.beds import Garden
from models.garden.settings import GARDEN_FILE, GardenError, find_garden

__all__ = ["chosen_garden", "known_plant", "standing_garden"]


def standing_garden(named: Path | None, paths: Iterable[Path] = ()) -> Path | None:
    """Return the garden's folder: the named one, else that of the paths, else that around us.

    Raises
    ------
    GardenError
        When the named folder is no garden, or the paths lie in several.
    """
    if named is not None:
        if not (named / GARDEN_FILE).is_file():
            raise GardenError(
                f"“{named}” is no garden (no {GARDEN_FILE} in it): make one with “spotlamp new”."
            )
        return named
    found = {find_garden(path) for path in paths} - {None}
    if len(found) > 1:
        raise GardenError("These photos lie in several gardens: name one with --garden DIR.")
    return found.pop() if found else find_garden(Path.cwd())


def chosen_garden(named: Path | None) -> Path:
    """Return the garden's folder for a command that cannot do without.

    Raises
    ------
    GardenError
        When there is none.
    """
    folder = standing_garden(named)
    if folder is None:
        raise GardenError(
            "You stand in no garden: name its folder with --garden DIR, or make one with "
            "“spotlamp new DIR”."
        )
    return folder


def known_plant(garden: Garden, name: str) -> str:
    """Return a plant's name as the garden writes it.

    Raises
    ------
    GardenError
        When there is no such plant, with the names most like it.
    """
    names = {plant.name.casefold(): plant.name for plant in garden.plants}
    if name.casefold() in names:
        return names[name.casefold()]
    close = difflib.get_close_matches(name.casefold(), names, n=3) or list(names)[:5]
    known = f"; there is {_either([names[one] for one in close])}" if close else ""
    raise GardenError(f"“{garden.name}” has no plant “{name}”{known}.")


def _either(names: Sequence[str]) -> str:
    *others, last = names
    return f"{', '.join(others)} or {last}" if others else last
