"""What the garden's record holds: readings of photos filed to plants, and what people did.

These frozen records are what the journal stores and gives back, and what everything that judges a
season works on. Times carry the garden's time zone. A value that was not measured is None.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

__all__ = [
    "Find",
    "FindKind",
    "LeafEntry",
    "LogEntry",
    "LogKind",
    "Mode",
    "PhotoEntry",
    "PlantFrom",
    "TakenFrom",
]

Mode = Literal["day", "night"]
TakenFrom = Literal["exif", "name", "file"]
FindKind = Literal["dropping", "caterpillar"]
PlantFrom = Literal["tag", "folder", "name", "option", "assigned", ""]
LogKind = Literal[
    "spray",
    "rain",
    "hand_pick",
    "removed_leaves",
    "watering",
    "note",
    "burn_check",
    "seen",
    "choice",
    "decline",
    "season",
]


@dataclass(frozen=True)
class LeafEntry:
    """One leaf of a filed day photo; the fields are those of leaves.csv.

    Attributes
    ----------
    leaf : int
        Number in the photo, from 1, largest first.
    area_px : float
        Area in px² of the full-size photo.
    lesion_count : int
        Lesions on the leaf.
    lesion_pct, halo_pct, severity_pct, severity_low_pct, severity_high_pct : float
        Percentages of the leaf's area; severity = lesion + halo, with its 95 % interval.
    pattern : str
        ``spot``, ``blight``, ``none`` or ``unsure``.
    p_spot, p_blight, p_none : float
        Probabilities, 0 to 1.
    blight_kind : str
        ``early``, ``late``, ``unsure`` or empty.
    flags : tuple of str
        Names from ``vision.flags``.
    row_px, col_px : float or None
        Centre of the leaf in the full-size photo, px from its top left corner.
    pattern_reason : str
        The measurements behind the pattern, as a sentence.
    """

    leaf: int
    area_px: float
    lesion_count: int
    lesion_pct: float
    halo_pct: float
    severity_pct: float
    severity_low_pct: float
    severity_high_pct: float
    pattern: str = ""
    p_spot: float | None = None
    p_blight: float | None = None
    p_none: float | None = None
    blight_kind: str = ""
    flags: tuple[str, ...] = ()
    row_px: float | None = None
    col_px: float | None = None
    pattern_reason: str = ""


@dataclass(frozen=True)
class PhotoEntry:
    """A photo filed to a plant, with what was measured on it; the fields are those of photos.csv.

    Attributes
    ----------
    photo : str
        Path as it was given, with ``/`` between its parts.
    sha256 : str
        Hash of the file's bytes: the photo's identity.
    taken_at : datetime
        Capture time in the garden's time zone.
    taken_from : {"exif", "name", "file"}
        Where the capture time was read.
    plant : str
        Name of the plant; empty: unassigned.
    plant_from : {"tag", "folder", "name", "option", "assigned", ""}
        Where the plant was read.
    mode : {"day", "night"}
        How the photo was read.
    version : str
        Version of the measuring that made the reading.
    flags : tuple of str
        Names from ``vision.flags``.
    leaves : tuple of LeafEntry
        Largest first; empty for a night photo.
    mm_per_px : float or None
        Scale, where a stake tag gave one.
    lesion_count, severity_pct, severity_low_pct, severity_high_pct : optional
        Of all leaves together, weighed by area; percent.
    pattern, blight_kind : str
        Of all leaves together; empty where not called.
    p_spot, p_blight, p_none : float or None
        Probabilities, 0 to 1.
    frass_count : int or None
        Droppings found.
    chewed_pct : float or None
        Leaf area eaten, percent of the area before.
    caterpillar_count, caterpillar_low, caterpillar_high : int or None
        Caterpillars found, with the 95 % interval.
    lesion_pct, halo_pct : float or None
        The parts of severity, of all leaves together; percent.
    width_px, height_px : int or None
        Full size of the upright photo.
    """

    photo: str
    sha256: str
    taken_at: datetime
    taken_from: TakenFrom = "exif"
    plant: str = ""
    plant_from: PlantFrom = ""
    mode: Mode = "day"
    version: str = ""
    flags: tuple[str, ...] = ()
    leaves: tuple[LeafEntry, ...] = ()
    mm_per_px: float | None = None
    lesion_count: int | None = None
    severity_pct: float | None = None
    severity_low_pct: float | None = None
    severity_high_pct: float | None = None
    pattern: str = ""
    p_spot: float | None = None
    p_blight: float | None = None
    p_none: float | None = None
    blight_kind: str = ""
    frass_count: int | None = None
    chewed_pct: float | None = None
    caterpillar_count: int | None = None
    caterpillar_low: int | None = None
    caterpillar_high: int | None = None
    lesion_pct: float | None = None
    halo_pct: float | None = None
    width_px: int | None = None
    height_px: int | None = None


@dataclass(frozen=True)
class Find:
    """One dropping or caterpillar that was counted on a photo.

    Attributes
    ----------
    kind : {"dropping", "caterpillar"}
        What it is.
    number : int
        Number in the photo, from 1, surest first, as in frass.csv and caterpillars.csv.
    row_px, col_px : float
        Its middle, in px of the full-size photo.
    length_px, width_px : float
        Length along it, and width across.
    confidence : float
        Probability that it is one, 0 to 1.
    """

    kind: FindKind
    number: int
    row_px: float
    col_px: float
    length_px: float
    width_px: float
    confidence: float


@dataclass(frozen=True)
class LogEntry:
    """Something that was done or happened in the garden.

    Attributes
    ----------
    number : int
        Number in the journal, from 1; 0 before it is filed.
    kind : {"spray", "rain", "hand_pick", "removed_leaves", "watering", "note", "burn_check", \
"seen", "choice", "decline", "season"}
        What it was. ``burn_check``: a verdict, as ``models.care.burn`` writes it. ``seen``: a sign
        that the grower saw, such as wilting. ``choice``: the plant that the grower wants to
        spot-test. ``decline``: a habit that the grower does not want to be offered. ``season``: a
        new season begins, and with it other plants of the same names.
    at : datetime
        When, in the garden's time zone.
    plants : tuple of str
        The plants concerned, each by name; empty: the whole garden (as with rain).
    product : str
        Of a spray: ``soda``, ``peroxide``, or what the grower called it; otherwise empty.
    amount : float or None
        Rain in mm, caterpillars picked, leaves removed, caterpillars with cocoons seen; None where
        it has no number.
    text : str
        The grower's own words; of ``seen`` the sign's name, of ``decline`` the habit's name, of
        ``burn_check`` the verdict as JSON.
    corrects : int or None
        Number of the entry that this one takes the place of.
    withdrawn : bool
        True where this entry only takes the corrected one back.
    """

    number: int
    kind: LogKind
    at: datetime
    plants: tuple[str, ...] = ()
    product: str = ""
    amount: float | None = None
    text: str = ""
    corrects: int | None = None
    withdrawn: bool = False
