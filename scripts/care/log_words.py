"""What people type after ``spotlamp log``, as an entry of the log."""

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches

import typer

from models.care.habits import HABITS
from models.care.signs import SIGNS
from models.care.words import MM_PER_INCH, rain_words
from models.entries import LogKind
from models.garden.beds import Garden
from models.mix import ADDITIONS
from scripts.common.which_garden import known_plant

__all__ = ["READERS", "Reader", "Said", "check_product", "read_words", "reader_of"]


@dataclass(frozen=True)
class Said:
    """What was typed, understood.

    Attributes
    ----------
    kind : LogKind
        What happened.
    plants : tuple of str
        Empty: the whole garden.
    product, text : str
        See `models.entries.LogEntry`.
    amount : float or None
        See `models.entries.LogEntry`.
    """

    kind: LogKind
    plants: tuple[str, ...] = ()
    product: str = ""
    amount: float | None = None
    text: str = ""


Reader = Callable[[Sequence[str], Garden], Said]


def read_words(words: Sequence[str], garden: Garden, gone: Collection[str] = ()) -> Said:
    """Return what the words say.

    Parameters
    ----------
    words : sequence of str
        At least one.
    garden : Garden
        Its beds and plants.
    gone : collection of str
        Plants that no longer stand: ``all`` and a bed's name leave them out.

    Raises
    ------
    typer.BadParameter
        When they say nothing that can be logged, with the form that would.
    GardenError
        When they name a plant that is not in the garden.
    """
    what, *rest = words
    said = reader_of(what)(rest, garden)
    single = {name.casefold() for word in rest for name in word.split(",")}
    standing = tuple(p for p in said.plants if p not in gone or p.casefold() in single)
    return replace(said, plants=standing)


def reader_of(what: str) -> Reader:
    """Return what reads the words of one kind of entry.

    Parameters
    ----------
    what : str
        The word for the kind, such as ``rain``.

    Raises
    ------
    typer.BadParameter
        When there is no such kind, with those that there are.
    """
    reader = READERS.get(what.lower())
    if reader is None:
        known = ", ".join(READERS)
        raise _wrong(f"“{what}” is nothing that can be logged; there are {known}.")
    return reader


def _wrong(sentence: str) -> typer.BadParameter:
    return typer.BadParameter(sentence, param_hint="WHAT")


def _plants(words: Sequence[str], garden: Garden, form: str) -> tuple[str, ...]:
    """Return the plants that words name: by name, by bed, or all of them.

    Each plant is named, so that one planted later does not count as sprayed.
    """
    names = [name for word in words for name in word.split(",") if name]
    if not names:
        raise _wrong(f"which plants? Write: spotlamp log {form}; PLANTS are names, a bed, or all.")
    found = [plant for name in names for plant in _named(name, garden)]
    return tuple(dict.fromkeys(found))


def _named(name: str, garden: Garden) -> list[str]:
    if name.lower() == "all":
        return [plant.name for plant in garden.plants]
    plants = {plant.name.casefold() for plant in garden.plants}
    bed = [plant.name for plant in garden.plants if plant.bed.casefold() == name.casefold()]
    return bed if bed and name.casefold() not in plants else [known_plant(garden, name)]


def _is_target(word: str, garden: Garden) -> bool:
    known = {"all", *(p.name.casefold() for p in garden.plants)}
    known |= {plant.bed.casefold() for plant in garden.plants}
    return bool(word) and all(part.casefold() in known for part in word.split(",") if part)


_SAME_PRODUCT = {
    **dict.fromkeys(("baking soda", "bicarbonate", "sodium bicarbonate"), "soda"),
    **dict.fromkeys(("hydrogen peroxide", "h2o2"), "peroxide"),
    "sulfur": "sulphur",
}
"""Other names under which products are logged: the waits must know them."""


def _spray(words: Sequence[str], garden: Garden) -> Said:
    form = "spray PRODUCT PLANTS"
    if not words or _is_target(words[0], garden):
        raise _wrong(f"which product? Write: spotlamp log {form}, as in spray soda A1.")
    # "baking soda" may come as one word in quotes or as two.
    count = 2 if " ".join(words[:2]).lower() in _SAME_PRODUCT else 1
    parts = [part.strip() for part in " ".join(words[:count]).lower().split("+")]
    product = "+".join(_SAME_PRODUCT.get(part, part) for part in parts if part)
    return Said("spray", _plants(words[count:], garden, form), product=product)


def check_product(product: str, logged: Collection[str] = ()) -> None:
    """Refuse a product that is neither known nor logged before, and ask what is meant.

    A misspelt peroxide would be a spray without any of the rules of peroxide.

    Parameters
    ----------
    product : str
        As `Said` has it; parts of one tank are joined by ``+``.
    logged : collection of str
        Products of the garden's log, which were asked about before.

    Raises
    ------
    typer.BadParameter
        With the spelling that may be meant, which is never taken for granted.
    """
    logged_parts = {part for other in logged for part in other.split("+")}
    known = list(dict.fromkeys([*ADDITIONS, *_SAME_PRODUCT, *sorted(logged_parts)]))
    for part in product.split("+"):
        if part not in known:
            near = get_close_matches(part, known, n=1)
            meant = f" Did you mean {near[0]}?" if near else ""
            raise _wrong(
                f"“{part}” is no product known here.{meant} Write soda or peroxide as they stand; "
                "to log another product, for which there are no rules here, add --other."
            )


_MOST_RAIN_MM = 2000.0
"""The most known in 24 hours is 1825 mm: WMO world weather and climate extremes archive."""

_MOST_COUNTED = 9999


def _is_count(word: str) -> bool:
    return word.isdecimal() and int(word) <= _MOST_COUNTED


def _rain(words: Sequence[str], garden: Garden) -> Said:
    text = " ".join(words).replace(",", ".")
    match = re.fullmatch(r'(\d+(?:\.\d+)?)\s*(mm|in|inch|inches|")?', text.strip().lower())
    if not match:
        raise _wrong("how much rain? Write: spotlamp log rain 12mm, or 0.5in.")
    unit = match[2] or ("in" if garden.units == "US" else "mm")
    amount = float(match[1]) * (1 if unit == "mm" else MM_PER_INCH)
    if amount > _MOST_RAIN_MM:
        most = rain_words(_MOST_RAIN_MM, garden.units)
        raise _wrong(f"so much rain never fell in a day: at most {most}, as in rain 12mm or 0.5in.")
    return Said("rain", amount=amount)


def _counted(kind: LogKind, form: str) -> Reader:
    def read(words: Sequence[str], garden: Garden) -> Said:
        if not words or not _is_count(words[0]):
            raise _wrong(
                f"how many (at most {_MOST_COUNTED})? Write: spotlamp log {form}, as in "
                f"{form.split()[0]} 3 A1."
            )
        return Said(kind, _plants(words[1:], garden, form), amount=float(words[0]))

    return read


def _water(words: Sequence[str], garden: Garden) -> Said:
    return Said("watering", _plants(words, garden, "water PLANTS"))


def _note(words: Sequence[str], garden: Garden) -> Said:
    """Read the trailing words that name plants as plants, and the rest as the note."""
    end = len(words)
    while end > 1 and _is_target(words[end - 1], garden):
        end -= 1
    text = " ".join(words[:end]).strip()
    if not text:
        raise _wrong('what is the note? Write: spotlamp log note "TEXT" [PLANTS].')
    named = words[end:]
    return Said("note", _plants(named, garden, "note") if named else (), text=text)


def _seen(words: Sequence[str], garden: Garden) -> Said:
    sign = words[0].lower() if words else ""
    if sign not in SIGNS:
        raise _wrong(f"“{sign}” is no sign; there are {', '.join(SIGNS)}.")
    rest = list(words[1:])
    amount = float(rest.pop(0)) if rest and _is_count(rest[0]) else None
    return Said("seen", _plants(rest, garden, "seen SIGN PLANTS"), amount=amount, text=sign)


def _choose(words: Sequence[str], garden: Garden) -> Said:
    plants = _plants(words, garden, "choose PLANT")
    if len(plants) != 1:
        raise _wrong("one plant is tested first: choose one.")
    return Said("choice", plants)


def _decline(words: Sequence[str], garden: Garden) -> Said:
    habits = [habit.name for habit in HABITS]
    if len(words) != 1 or words[0].lower() not in habits:
        raise _wrong(f"which habit? There are {', '.join(habits)}.")
    return Said("decline", text=words[0].lower())


READERS: Mapping[str, Reader] = {
    "spray": _spray,
    "rain": _rain,
    "pick": _counted("hand_pick", "pick NUMBER PLANTS"),
    "leaves": _counted("removed_leaves", "leaves NUMBER PLANTS"),
    "water": _water,
    "note": _note,
    "seen": _seen,
    "choose": _choose,
    "decline": _decline,
}
"""What reads the words of each kind of entry; ``spotlamp log`` has a command for each."""
