"""What stands at the end of a report: how it was measured, with what, and what that cannot say."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, fields

from models.care.thresholds import Thresholds
from models.care.words import joined
from models.numerals import counted
from scripts.page.standing import Standing
from scripts.score.store import Settings, measuring_fingerprint, package_version
from vision.day.measure import MEASURING_VERSION

__all__ = ["Method", "method_of"]

_DIGITS = 12

_HOW = (
    "Photos are taken by the grower; each is measured by the same steps: the leaves are outlined, "
    "their healthy green is found, and dead tissue (lesions) and yellow tissue (halos) are told "
    "from it. Severity is (lesions + halos) ÷ leaf area × 100.",
    "A plant's severity on a day is the mean of its leaves photographed that day, each counted "
    "alike. Flagged photos count only where there are no others. Its interval comes from how much "
    "its leaves differ.",
    "A direction (rising, level, falling) is said only where the 95 % interval of the growth over "
    "the last visits says so; otherwise “cannot tell”.",
    "Statuses and tasks come from the decision tables that “spotlamp flag --rules” prints, with "
    "this garden's thresholds.",
)
_LIMITS = (
    "Severity is that of the leaves photographed. Which leaves were chosen decides more than any "
    "error of measuring.",
    "A pattern (spot-like, blight-like) says what lesions look like, and is wrong or unsure often; "
    "early blight with small lesions looks like spot. It is no diagnosis: only an extension "
    "service or plant clinic can tell.",
    "Killed tissue never turns green again: success of a spray shows as no new growth.",
    "Droppings, eaten leaves and caterpillars were learned from painted scenes and are not proved "
    "on real photos. “None seen” is no proof of none.",
    "“No burn seen” does not mean that a spray is safe.",
    "Sprays named here are gardeners' home remedies, not registered products; no trial was found "
    "that shows peroxide curing these diseases. Product labels, local rules and licensed practice "
    "come first.",
    "Dates are those of the photos; a photo without a date of its own is flagged.",
)


@dataclass(frozen=True)
class Method:
    """How it was measured, with which versions and thresholds, and the limits of it."""

    how: tuple[str, ...]
    versions: tuple[str, ...]
    limits: tuple[str, ...]


def method_of(standing: Standing) -> Method:
    """Return what stands at the end of a report of a garden."""
    return Method(_HOW, tuple(_versions(standing)), _LIMITS)


def _versions(standing: Standing) -> Iterator[str]:
    fingerprint = measuring_fingerprint(Settings())[:_DIGITS]
    yield f"Spotlamp {package_version()}, measuring {MEASURING_VERSION} ({fingerprint})."
    readings = Counter(photo.version for photo in standing.entries(standing.told.photos))
    ours = f"{MEASURING_VERSION}-{fingerprint}"
    other = sum(count for version, count in readings.items() if not version.startswith(ours))
    total = readings.total()
    yield f"{counted(total, 'photo')} in this season's record."
    if other:
        yield (
            f"{counted(other, 'reading')} of these by another version of the measuring: score "
            "the photos again to bring them up to date."
        )
    limits = standing.season.limits
    changed = [
        f"{one.name} = {getattr(limits, one.name)}"
        for one in fields(Thresholds)
        if getattr(limits, one.name) != one.default
    ]
    own = f"this garden's own: {joined(changed)}" if changed else "all as they come"
    yield f"Thresholds: {own}. A plant counts as sick from {limits.sick_pct:g} % on."
    yield f"Times are those of {standing.garden.time_zone}."
