"""Every quantity of a photo and what is found on it: name, meaning, unit and decimals, told once.

The score tables, ``spotlamp columns``, the journal's tables and the exported data package are all
made from here. Names and their order are a contract with other programs; new ones go to the end.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

__all__ = [
    "CATERPILLAR",
    "COUNT",
    "DROPPING",
    "FIND",
    "LEAF",
    "LESION",
    "MARK",
    "PHOTO",
    "REJECTED",
    "Kind",
    "Quantity",
]


@dataclass(frozen=True)
class Kind:
    """What sort of value a quantity has.

    Attributes
    ----------
    type : type
        Of its values: float, int, bool or str.
    unit : str
        A sign: px, px2, mm, mm2, mm/px, deg, %, or 1 for what lies between 0 and 1; empty for
        what has none.
    decimals : int
        Written of a float.
    """

    type: type
    unit: str = ""
    decimals: int = 3


TEXT, COUNT, WHETHER, SHAPE = Kind(str), Kind(int), Kind(bool), Kind(float)
PERCENT, PROBABILITY = Kind(float, "%"), Kind(float, "1", 4)
PIXELS, SQUARE_PIXELS, WHOLE_PIXELS = Kind(float, "px", 2), Kind(float, "px2", 2), Kind(int, "px")
MM, MM2, LEAF_MM2 = Kind(float, "mm"), Kind(float, "mm2"), Kind(float, "mm2", 2)
SCALE, DEGREES = Kind(float, "mm/px", 5), Kind(float, "deg", 2)


@dataclass(frozen=True)
class Quantity:
    """Something that is measured or kept.

    Attributes
    ----------
    name : str
        As it stands at the head of a column, with the unit.
    meaning : str
        One sentence or more for people, with the unit.
    kind : Kind
        Of its values.
    """

    name: str
    meaning: str
    kind: Kind = TEXT


def _by_name(quantities: Iterable[Quantity]) -> Mapping[str, Quantity]:
    return {quantity.name: quantity for quantity in quantities}


def _patterns(of: str) -> tuple[Quantity, ...]:
    pattern = f"What the {of} looks like: spot, blight, none or unsure; it is not a diagnosis."
    kind = f"Which blight the {of} looks like: early, late or unsure; empty if not called blight."
    chance = f"Probability, 0 to 1, that the {of}"
    return (
        Quantity("pattern", pattern),
        Quantity("p_spot", f"{chance} shows a leaf spot.", PROBABILITY),
        Quantity("p_blight", f"{chance} shows a blight.", PROBABILITY),
        Quantity("p_none", f"{chance} is healthy.", PROBABILITY),
        Quantity("blight_kind", kind),
    )


def _place(part: str) -> tuple[Quantity, ...]:
    """Return where something lies; `part` is what of it."""
    top, left = (f"{part}, in pixels from the photo's {edge} edge." for edge in ("top", "left"))
    return Quantity("row_px", top, PIXELS), Quantity("col_px", left, PIXELS)


def _length(name: str, what: str) -> tuple[Quantity, ...]:
    """Return a length in pixels, and in millimetres."""
    return (
        Quantity(f"{name}_px", f"{what}, in pixels.", PIXELS),
        Quantity(f"{name}_mm", f"{what}, in mm; empty without a scale.", MM),
    )


def _area(what: str, mm2: Kind = MM2, name: str = "area", whole: str = "") -> tuple[Quantity, ...]:
    """Return an area in square pixels, and in square millimetres."""
    return (
        Quantity(f"{name}_px", f"{what}, in square pixels{whole}.", SQUARE_PIXELS),
        Quantity(f"{name}_mm2", f"{what}, in mm²; empty without a scale.", mm2),
    )


def _interval(of: str, low: str, high: str, kind: Kind = COUNT) -> tuple[Quantity, ...]:
    unit = ", in percent" if kind is PERCENT else ""
    return tuple(
        Quantity(name, f"{end} end of the 95 % interval of {of}{unit}.", kind)
        for name, end in ((low, "Lower"), (high, "Upper"))
    )


_FILE = Quantity(
    "photo", "Path of the photo relative to the folder that was given, with / between its parts."
)
_FLAGS = Quantity(
    "flags", "Names of the reasons for care, joined by a semicolon; empty if there are none."
)
_SICK = (
    Quantity(
        "lesion_pct", "Dark, dying tissue as a percentage of the leaf area looked at.", PERCENT
    ),
    Quantity(
        "halo_pct",
        "Yellow tissue around lesions as a percentage of the leaf area looked at.",
        PERCENT,
    ),
    Quantity(
        "severity_pct",
        "Lesions and halos together as a percentage of the leaf area looked at.",
        PERCENT,
    ),
    *_interval("severity_pct", "severity_low_pct", "severity_high_pct", PERCENT),
)
_CHEWED = Quantity(
    "chewed_pct",
    "Leaf area eaten, as a percentage of the area that the outline should hold; empty where that "
    "is not known.",
    PERCENT,
)
_CHEWED_ENDS = _interval("chewed_pct", "chewed_low_pct", "chewed_high_pct", PERCENT)

PHOTO = _by_name(
    (
        _FILE,
        Quantity("sha256", "SHA-256 hash of the file, 64 hexadecimal digits."),
        Quantity(
            "taken_at", "Capture time, ISO 8601; with a UTC offset only if the photo has one."
        ),
        Quantity(
            "taken_from",
            "Where the capture time was read: exif (in the photo), name (of file or folder, or "
            "given by hand) or file (its date).",
        ),
        Quantity(
            "plant",
            "Name of the plant: as filed in the garden, else the photo's folder; empty without.",
        ),
        Quantity("mode", "How the photo was read: day or night (under UV light)."),
        Quantity(
            "status", "ok, flagged (read with care, see flags) or unreadable (see problems.txt)."
        ),
        _FLAGS,
        Quantity("width_px", "Full width of the upright photo, in pixels.", WHOLE_PIXELS),
        Quantity("height_px", "Full height of the upright photo, in pixels.", WHOLE_PIXELS),
        Quantity(
            "mm_per_px",
            "Scale, in millimetres a pixel, from the stake tag beside the leaf; empty without one.",
            SCALE,
        ),
        Quantity("leaf_count", "Leaves measured; touching ones may count as one.", COUNT),
        *_area("Area of all leaves measured", LEAF_MM2, "leaf_area", " of the full-size photo"),
        Quantity("lesion_count", "Lesions (patches of dark tissue) on all leaves.", COUNT),
        *_SICK,
        *_patterns("photo"),
        Quantity(
            "frass_count",
            "Number of caterpillar droppings in a day photo; 0 means none seen.",
            COUNT,
        ),
        _CHEWED,
        Quantity(
            "caterpillar_count",
            "Number of caterpillars that glow in a UV night photo; 0 means none seen.",
            COUNT,
        ),
        *_interval("caterpillar_count", "caterpillar_low", "caterpillar_high"),
        *_interval("frass_count", "frass_low", "frass_high"),
        *_CHEWED_ENDS,
    )
)
"""Of a photo: the columns of ``photos.csv``."""

LEAF = _by_name(
    (
        _FILE,
        Quantity("leaf", "Number of the leaf in its photo, largest first.", COUNT),
        *_place("Centre of the leaf"),
        Quantity(
            "area_px", "Area of the leaf, sick parts included, in square pixels.", SQUARE_PIXELS
        ),
        Quantity("area_mm2", "Area of the leaf, in mm²; empty without a scale.", LEAF_MM2),
        Quantity("lesion_count", "Lesions (patches of dark tissue) on the leaf.", COUNT),
        *_SICK,
        _FLAGS,
        *_patterns("leaf"),
        Quantity("pattern_reason", "The measurements behind the pattern, as a sentence."),
        _CHEWED,
        *_CHEWED_ENDS,
    )
)
"""Of a leaf: the columns of ``leaves.csv``."""

LESION = _by_name(
    (
        _FILE,
        Quantity("leaf", "Number of its leaf, as in leaves.csv.", COUNT),
        Quantity("lesion", "Number of the lesion on its leaf, from 1.", COUNT),
        *_place("Centre of the lesion"),
        *_area("Area of the lesion, without its halo"),
        *_length("equivalent_diameter", "Diameter of the disc of the same area"),
        Quantity(
            "share_of_leaf_pct", "Area of the lesion as a percentage of its leaf's area.", PERCENT
        ),
        Quantity(
            "roundness",
            "4π × area ÷ perimeter²: 1 for a disc, near 0 for a thread; no unit.",
            SHAPE,
        ),
        Quantity("elongation", "Long axis ÷ short axis, 1 or more; no unit.", SHAPE),
        Quantity("solidity", "Area ÷ area of the convex hull, 0 to 1; no unit.", SHAPE),
        Quantity(
            "darkness",
            "How much darker than the leaf's healthy tissue, in units of CIELAB L*.",
            SHAPE,
        ),
        Quantity(
            "halo_width_px",
            "Mean width of the yellow rim, in pixels; 0 where there is none.",
            PIXELS,
        ),
        Quantity(
            "halo_width_mm", "Mean width of the yellow rim, in mm; empty without a scale.", MM
        ),
        *_length("margin_distance", "Distance from the lesion's centre to the leaf's outline"),
        Quantity("at_margin", "Whether the lesion reaches the leaf's outline: yes or no.", WHETHER),
    )
)
"""Of a lesion: the columns of ``lesions.csv``, and what the journal keeps packed."""

DROPPING = _by_name(
    (
        _FILE,
        Quantity("dropping", "Number of the dropping in its photo, the surest first.", COUNT),
        *_place("Middle of the dropping"),
        *_area("Area of the dropping"),
        *_length("length", "Long side of the dropping"),
        *_length("width", "Short side of the dropping"),
        Quantity("darkness", "How much darker than what it lies on, in units of CIELAB L*.", SHAPE),
        Quantity("confidence", "Probability, 0 to 1, that it is a dropping.", PROBABILITY),
        Quantity(
            "size_class",
            "small, middle or large: a rough hint of the larva's age; empty without a scale.",
        ),
    )
)
"""Of a caterpillar's dropping: the columns of ``frass.csv``."""

CATERPILLAR = _by_name(
    (
        _FILE,
        Quantity("caterpillar", "Number of the caterpillar in its photo, the surest first.", COUNT),
        *_place("Middle of the caterpillar"),
        *_length(
            "length", "Outline length along the bent body, hidden parts between seen ones included"
        ),
        *_length("width", "Usual width of the body"),
        Quantity(
            "glow_contrast",
            "How many times more green it sends out than foliage in its place; no unit.",
            SHAPE,
        ),
        Quantity(
            "hue_difference_deg",
            "Difference of CIELAB hue between the foliage and the caterpillar, 0 to 180 degrees.",
            DEGREES,
        ),
        Quantity("confidence", "Probability, 0 to 1, that it is a caterpillar.", PROBABILITY),
        Quantity(
            "instar_hint",
            "Rough larval stage, 1 to 5, by the usual length of each; empty without a scale.",
            COUNT,
        ),
    )
)
"""Of a caterpillar that glows: the columns of ``caterpillars.csv``."""

REJECTED = _by_name(
    (
        _FILE,
        Quantity(
            "rejected", "Number of the thing in its photo, the likeliest caterpillar first.", COUNT
        ),
        *_place("Middle of the thing"),
        Quantity("length_px", "Length along the thing, in pixels.", PIXELS),
        Quantity("width_px", "Usual width of the thing, in pixels.", PIXELS),
        Quantity("reason", "Why it was not counted, in one word."),
        Quantity("reason_in_words", "The same as a sentence."),
        Quantity(
            "confidence",
            "Probability, 0 to 1, that it is a caterpillar all the same.",
            PROBABILITY,
        ),
    )
)
"""Of what glows and was not counted: the columns of ``rejected.csv``."""

FIND = _by_name(
    (
        *_place("Middle of the dropping or caterpillar"),
        Quantity("length_px", "Length along it, in pixels.", PIXELS),
        Quantity("width_px", "Width across it, in pixels.", PIXELS),
        Quantity("confidence", "Probability, 0 to 1, that it is one.", PROBABILITY),
    )
)
"""Of a dropping or a caterpillar, as the journal keeps both."""

MARK = _by_name(
    (
        *_place("Where it was put right"),
        Quantity(
            "size_px",
            "Diameter of what lies there, in pixels; empty: a point of an outline.",
            PIXELS,
        ),
    )
)
"""Of a place on a photo at which somebody put something right."""
