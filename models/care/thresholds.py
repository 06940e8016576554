"""The garden's thresholds: defaults with their reasons, and how a settings file changes them."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import time
from typing import Any, get_type_hints

from models.garden.beds import Garden
from vision.errors import SpotlampError

__all__ = ["CareSettingsError", "Thresholds", "filled", "shown", "thresholds_of", "why"]


class CareSettingsError(SpotlampError):
    """The garden's care settings cannot be used; the message is one sentence for people."""


def _of(default: Any, least: float, most: float, reason: str) -> Any:  # noqa: ANN401  a field
    return field(default=default, metadata={"least": least, "most": most, "why": reason})


def _word(default: Any, reason: str) -> Any:  # noqa: ANN401  a field
    return field(default=default, metadata={"why": reason})


@dataclass(frozen=True)
class Thresholds:
    """What decides between the statuses; each name ends with its unit.

    The defaults are reasoned, not measured. `why` gives each one's reason; the table of
    ``RULES.md`` is made from them.
    """

    watch_pct: float = _of(1.0, 0, 100, "Less is within the error of reading one photo.")
    sick_pct: float = _of(
        5.0, 0, 100, "About one leaflet in ten: worth a spray, and still far from losing yield."
    )
    test_most_pct: float = _of(
        40.0, 0, 100, "On a sicker plant too little green is left to see a burn on."
    )
    wide_points: float = _of(
        45.0, 1, 100, "An interval wider than this says hardly more than sick or not."
    )
    collapse_points: float = _of(
        25.0, 1, 100, "Leaf spot takes weeks to rise so far; late blight takes days."
    )
    collapse_days: int = _of(4, 1, 14, "The days within which such a rise is an alarm.")
    collapse_leaves: int = _of(
        2, 1, 10, "On fewer leaves such a rise may be the choice of the leaf."
    )
    isolate_days: int = _of(
        7, 1, 60, "From infection to new spores late blight needs about a week."
    )
    clear_leaves: int = _of(
        3, 2, 10, "Looks that end isolation show so many leaves or more, on each of two days."
    )
    season_days: int = _of(
        200, 30, 300, "What is older belongs to last year's plants of the same name."
    )
    quiet_days: int = _of(
        45, 10, 180, "Nothing photographed or logged for so long: the season seems to be over."
    )
    fresh_days: int = _of(3, 1, 14, "A photo older than this says too little about today.")
    photo_days: int = _of(
        7, 1, 60, "One scouting walk a week; prevention asks for a photo younger than this."
    )
    look_days: int = _of(3, 1, 30, "A plant under watch is photographed again after so long.")
    walk_leaves: int = _of(
        3, 1, 12, "Leaves of each plant on a walk: the third, sixth and ninth from below."
    )
    most_leaves: int = _of(
        12, 3, 40, "More leaves of one plant are hardly photographed on a walk; none are asked for."
    )
    interval_days: int = _of(14, 3, 60, "Garden rule: the preventive spray every 14 days.")
    overdue_days: int = _of(3, 0, 30, "Prevention put off for so long goes before a spot-test.")
    rain_mm: float = _of(
        0.5,
        0,
        100,
        "Garden rule: any real rain in a day, and it is sprayed again. Up to this, one or two tips "
        "of a gauge, it may be dew, and 99 % of a protectant is left (half goes per 25.4 mm).",
    )
    heat_c: float = _of(32.0, 15, 50, "In greater heat, on the day or the next, sprays burn.")
    morning_from: time = field(default=time(5), metadata={"why": "First hour for spraying."})
    morning_until: time = field(
        default=time(10), metadata={"why": "Later, sun and heat dry the drops too fast."}
    )
    wait_hours: int = _of(24, 24, 96, "Peroxide acts for a day; before, a burn cannot be judged.")
    between_hours: int = _of(
        48, 48, 168, "Between two products: the day to act and one more day to be safe."
    )
    test_open_days: int = _of(
        14, 1, 60, "So long a look for burn is asked for; after it the sprayed leaves are others."
    )
    test_valid_days: int = _of(
        14, 1, 60, "A spot-test holds this long: then leaves and weather are others."
    )
    again_days: int = _of(
        7, 2, 60, "Lesions from before a peroxide spray still come out for about six days."
    )
    burn_pause_days: int = _of(14, 1, 90, "After a burn no peroxide is offered for this long.")
    night_days: int = _of(5, 1, 30, "A night count older than this is counted again.")
    find_days: int = _of(
        14, 5, 60, "Half of a hornworm's four weeks: what was found then has gone into the soil."
    )
    chewed_pct: float = _of(
        5.0, 0, 100, "So much leaf eaten on a photo is a reason to look at night."
    )
    strip_pct: float = _of(40.0, 5, 100, "A leaf sicker than this is offered for removal.")
    preventive: str = _word("soda", "Preventive product; none: the calendar plans no sprays.")
    sells_produce: bool = _word(False, "true: you sell produce, and the stricter words are shown.")
    declined: tuple[str, ...] = _word((), "Habits that are not to be offered again.")


def why(name: str) -> str:
    """Return the reason for a threshold's default.

    Raises
    ------
    KeyError
        When there is no such threshold.
    """
    return {f.name: str(f.metadata["why"]) for f in fields(Thresholds)}[name]


def filled(words: str, limits: Thresholds) -> str:
    """Return words with the values of the thresholds that they name in braces."""
    return words.format(**{f.name: shown(getattr(limits, f.name)) for f in fields(limits)})


def shown(value: object) -> str:
    """Return a threshold's value as people read it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, time):
        return f"{value:%H:%M}"
    return ", ".join(value) or "none" if isinstance(value, tuple) else str(value)


def thresholds_of(garden: Garden) -> Thresholds:
    """Return the garden's thresholds: the defaults, changed by its settings' table ``care``.

    Raises
    ------
    CareSettingsError
        With one sentence that names the setting.
    """
    given = garden.settings.get("care", {})
    if not isinstance(given, Mapping):
        raise CareSettingsError("The garden's setting “care” should be a table of thresholds.")
    kinds = get_type_hints(Thresholds)
    unknown = [name for name in given if name not in kinds]
    if unknown:
        raise CareSettingsError(
            f"The garden's care settings know no “{unknown[0]}”; "
            'see "spotlamp flag --rules" for those that there are.'
        )
    values: dict[str, Any] = {name: _read(name, value) for name, value in given.items()}
    return _consistent(Thresholds(**values))


def _read(name: str, value: object) -> object:
    """Return a setting's value in its field's type, checked against its limits."""
    meta = next(f.metadata for f in fields(Thresholds) if f.name == name)
    default = getattr(Thresholds(), name)
    if "least" in meta:
        return _number(name, value, whole=isinstance(default, int), meta=meta)
    if isinstance(default, time):
        return _time(name, value)
    if isinstance(default, tuple):
        if not isinstance(value, (list, tuple)) or not all(isinstance(v, str) for v in value):
            raise CareSettingsError(f"The care setting “{name}” should be a list of words.")
        return tuple(value)
    if type(value) is not type(default):
        wanted = "true or false" if isinstance(default, bool) else "a word in quotes"
        raise CareSettingsError(f"The care setting “{name}” should be {wanted}, not {value!r}.")
    return value


def _number(name: str, value: Any, *, whole: bool, meta: Mapping[str, Any]) -> float:  # noqa: ANN401
    """Return a number within its limits; a bool is none, though Python takes it for one."""
    kinds = (int,) if whole else (int, float)
    is_number = isinstance(value, kinds) and not isinstance(value, bool)
    if is_number and meta["least"] <= value <= meta["most"]:
        return float(value) if not whole else int(value)
    wanted = f"a {'whole ' if whole else ''}number from {meta['least']} to {meta['most']}"
    raise CareSettingsError(f"The care setting “{name}” should be {wanted}, not {value!r}.")


def _time(name: str, value: object) -> time:
    try:
        return value if isinstance(value, time) else time.fromisoformat(str(value))
    except ValueError as error:
        raise CareSettingsError(
            f"The care setting “{name}” should be a time such as 10:00, not {value!r}."
        ) from error


def _consistent(limits: Thresholds) -> Thresholds:
    for low, high in (
        ("watch_pct", "sick_pct"),
        ("sick_pct", "test_most_pct"),
        ("walk_leaves", "most_leaves"),
        ("morning_from", "morning_until"),
    ):
        if not getattr(limits, low) < getattr(limits, high):
            raise CareSettingsError(f"The care setting “{low}” should be below “{high}”.")
    if limits.preventive == "peroxide":
        raise CareSettingsError(
            "The care setting “preventive” cannot be peroxide: it goes on sick plants only, after "
            "a test on one."
        )
    return limits
