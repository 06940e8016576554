"""What photos say of a plant, day by day: by their entries, or by what is known of them."""

from collections.abc import Sequence
from typing import Protocol, TypeGuard

from models.care.visits import DayLook, Shot, day_look
from models.entries import PhotoEntry

__all__ = ["FILED", "Shots"]


class Shots(Protocol):
    """Tells what the photos of a season say."""

    def looks(self, days: Sequence[Sequence[Shot]]) -> Sequence[DayLook]:
        """Return what each of some groups says: photos of one plant and one calendar day."""

    def entries(self, photos: Sequence[Shot]) -> tuple[PhotoEntry, ...]:
        """Return photos with all that was measured on them, in the same order."""


class _Filed:
    """Photos that are given with all that was measured on them."""

    def looks(self, days: Sequence[Sequence[Shot]]) -> Sequence[DayLook]:
        return [day_look(self.entries(photos)) for photos in days]

    def entries(self, photos: Sequence[Shot]) -> tuple[PhotoEntry, ...]:
        found = tuple(photos)
        if not _are_entries(found):
            raise TypeError("photos without what was measured on them")
        return found


def _are_entries(photos: tuple[Shot, ...]) -> TypeGuard[tuple[PhotoEntry, ...]]:
    return all(isinstance(photo, PhotoEntry) for photo in photos)


FILED: Shots = _Filed()
"""Where each photo is a `PhotoEntry`."""
