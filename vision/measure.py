"""The two stories of a photo, by day and by night: the one way in which photos are measured.

Scoring, the burn check, the export of masks and training all come through here, so that one photo
has one set of numbers, stake tag or not.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from vision.day.measure import measure_day_photo
from vision.night.measure import measure_night_photo
from vision.records import DayMeasurement, NightMeasurement, Photo, TagReading
from vision.tag.find import find_tag
from vision.tag.white_balance import balanced

__all__ = ["MeasuredDay", "MeasuredNight", "measure_day", "measure_night"]


@dataclass(frozen=True, eq=False)
class MeasuredDay:
    """A day photo, measured.

    Attributes
    ----------
    photo : Photo
        In the neutral light in which it was measured; whoever measures more takes these pixels.
    measurement : DayMeasurement
        Leaves and droppings.
    tag : TagReading or None
        The stake tag in it, read or refused.
    """

    photo: Photo
    measurement: DayMeasurement
    tag: TagReading | None


@dataclass(frozen=True, eq=False)
class MeasuredNight:
    """A UV night photo, measured.

    Attributes
    ----------
    measurement : NightMeasurement
        Caterpillars.
    tag : TagReading or None
        The stake tag in it, read or refused.
    """

    measurement: NightMeasurement
    tag: TagReading | None


def measure_day(
    photo: Photo, outline_px: Sequence[tuple[float, float]] | None = None
) -> MeasuredDay:
    """Look for the stake tag, make the light neutral, then measure leaves and droppings.

    Parameters
    ----------
    photo : Photo
        From ``vision.photo.decode.read_photo``.
    outline_px : sequence of (float, float), optional
        Row and column of the points of an outline that a person drew around one leaf: it alone is
        measured.
    """
    tag = find_tag(photo)
    neutral = balanced(photo, tag.white_balance) if tag else photo
    return MeasuredDay(neutral, measure_day_photo(neutral, tag, outline_px), tag)


def measure_night(photo: Photo, torch_off: Photo | None = None) -> MeasuredNight:
    """Count caterpillars, and look for the stake tag.

    Parameters
    ----------
    photo : Photo
        From ``vision.photo.decode.read_photo``.
    torch_off : Photo, optional
        The same scene with the torch off.
    """
    return MeasuredNight(measure_night_photo(photo, torch_off), find_tag(photo))
