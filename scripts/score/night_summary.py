"""What a grower reads about UV night photos: which plants have caterpillars, and the cautions."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from models.hornworm import eye_limit_s, torch_caution
from scripts.score.results import PhotoResult
from vision.photo.find import printable

__all__ = ["EYE_CAUTION", "NightStanding", "counted", "night_lines", "night_standings"]

_MOST_LINES = 12
_NAMED_FREE = 8
_TORCH_W_M2 = 25.0

EYE_CAUTION = (
    "UV torch: never shine it at eyes, of people or animals, and wear UV-blocking glasses. "
    f"At {_TORCH_W_M2:.0f} W/m² of UV-A the eye's limit for a whole day is reached in "
    f"{eye_limit_s(_TORCH_W_M2):.0f} s."
)
NO_GLOW = "No glow does not mean no larva: young larvae, eggs and pupae may not glow."
PICK_OFF = (
    "Pick them off by hand, with gloves if you like. Leave one that carries white cocoons: it is "
    "parasitised, and the wasps that come out of it help you."
)


@dataclass(frozen=True)
class NightStanding:
    """How many caterpillars were seen on one plant (or in one photo, without plants' folders).

    Attributes
    ----------
    name : str
        Name of the plant or photo.
    count, low, high : int
        The largest count of any of its photos, with that photo's 95 % interval: photos of one
        plant may show the same caterpillar, so that counts are not added.
    photos : int
        What it rests on.
    """

    name: str
    count: int
    low: int
    high: int
    photos: int


def counted(results: Iterable[PhotoResult]) -> list[PhotoResult]:
    """Return the results that carry a count of caterpillars."""
    return [one for one in results if one.night and one.night.caterpillar_count is not None]


def night_standings(results: Sequence[PhotoResult]) -> list[NightStanding]:
    """Return plants, most caterpillars first; photos where no photo lies in a plant's folder."""
    by_plant = any(result.plant for result in results)
    groups: dict[str, list[PhotoResult]] = {}
    for result in counted(results):
        groups.setdefault((result.plant or result.name) if by_plant else result.name, []).append(
            result
        )
    found = [_standing(printable(name), members) for name, members in groups.items()]
    return sorted(found, key=lambda one: (-one.count, -one.high, one.name))


def _standing(name: str, members: Sequence[PhotoResult]) -> NightStanding:
    readings = [result.night for result in members if result.night]
    most = max(readings, key=lambda night: (night.caterpillar_count or 0, night.caterpillar_high))
    count, low, high = most.caterpillar_count, most.caterpillar_low, most.caterpillar_high
    return NightStanding(name, count or 0, low or 0, high or 0, len(members))


def night_lines(results: Sequence[PhotoResult], torch_nm: float | None = None) -> list[str]:
    """Return the lines about UV night photos; none where there are none."""
    found = night_standings(results)
    if not found:
        return []
    having = [one for one in found if one.count]
    lines = _having(having) + _none_seen([one for one in found if not one.count])
    if having:
        lines.append(PICK_OFF)
    return [*lines, f"{NO_GLOW} {torch_caution(torch_nm)}", EYE_CAUTION]


def _having(found: Sequence[NightStanding]) -> list[str]:
    if not found:
        return []
    width = max(len(one.name) for one in found[:_MOST_LINES])
    lines = ["Caterpillars in UV night photos (in brackets: 95 % interval)"]
    for one in found[:_MOST_LINES]:
        of = f", the most in one of {one.photos} photos" if one.photos > 1 else ""
        lines.append(f"  {one.name.ljust(width)}  {one.count} ({one.low} to {one.high}){of}")
    if len(found) > _MOST_LINES:
        lines.append(f"  and {len(found) - _MOST_LINES} more in photos.csv")
    return lines


def _none_seen(found: Sequence[NightStanding]) -> list[str]:
    if not found:
        return []
    names = ", ".join(
        f"{one.name} (0 to {one.high})" if one.high else one.name for one in found[:_NAMED_FREE]
    )
    more = f" and {len(found) - _NAMED_FREE} more" if len(found) > _NAMED_FREE else ""
    return [f"Caterpillars: none seen on {names}{more}."]
