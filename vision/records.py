"""The frozen records that flow from pixels to tables. Every field says its unit.

Positions and sizes are in pixels of the upright photo at its full size, whatever the scale at
which it was measured; where a scale is known, millimetres stand beside them. A value that could
not be measured is None, with a flag that says why; it is never 0.
"""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vision.photo.address import Place

__all__ = [
    "BACKGROUND",
    "CATERPILLAR",
    "DROPPING",
    "HALO",
    "LEAF",
    "LESION",
    "Caterpillar",
    "DayMeasurement",
    "DayReading",
    "Dropping",
    "LeafReading",
    "Lesion",
    "NightMeasurement",
    "NightReading",
    "Photo",
    "RejectedGlow",
    "TagReading",
    "TakenFrom",
]

BACKGROUND, LEAF, HALO, LESION, DROPPING, CATERPILLAR = range(6)
"""Values of a mask's pixels; LEAF means leaf without symptoms."""

TakenFrom = Literal["exif", "name", "file"]


@dataclass(frozen=True, eq=False)
class Photo:
    """A decoded photo, upright, at the scale at which it is measured.

    Attributes
    ----------
    path : Path or Address
        Where the file is.
    name : str
        Path relative to the folder that was given, with ``/`` between its parts.
    sha256 : str
        Hash of the file's bytes, 64 hexadecimal digits.
    taken_at : datetime
        Capture time; carries a UTC offset only when the photo does.
    taken_from : {"exif", "name", "file"}
        Where the capture time was read.
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first, read-only.
    width_px, height_px : int
        The upright photo's full size.
    reduction : int
        Full size divided by the size of ``pixels`` (1, 2, 4 or 8): the decoder's scale.
    flags : tuple of str
        What the decoder noticed (names from ``vision.flags``).
    """

    path: Place
    name: str
    sha256: str
    taken_at: datetime
    taken_from: TakenFrom
    pixels: NDArray[np.uint8]
    width_px: int
    height_px: int
    reduction: int = 1
    flags: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Lesion:
    """One dark lesion: connected dead or dying tissue.

    Attributes
    ----------
    leaf : int
        Number of its leaf in the photo, from 1.
    row_px, col_px : float
        Centroid.
    area_px : float
        Area in px².
    equivalent_diameter_px : float
        Diameter of the disc of equal area.
    share_of_leaf_pct : float
        Area as a percentage of its leaf's area.
    roundness : float
        4π·area ÷ perimeter², 1 for a disc, near 0 for a thread (clipped to 1).
    elongation : float
        Long axis ÷ short axis of the ellipse with the same second moments, ≥ 1.
    solidity : float
        Area ÷ area of the convex hull, 0 to 1.
    darkness : float
        Healthy tissue's L* minus the lesion's mean L* (CIELAB units; negative: paler).
    halo_width_px : float
        Mean width of the yellow rim: halo area next to the lesion ÷ the lesion's perimeter.
    margin_distance_px : float
        Shortest distance from the lesion's centroid to the leaf's outline.
    at_margin : bool
        Whether the lesion reaches the leaf's outline.
    """

    leaf: int
    row_px: float
    col_px: float
    area_px: float
    equivalent_diameter_px: float
    share_of_leaf_pct: float
    roundness: float
    elongation: float
    solidity: float
    darkness: float
    halo_width_px: float
    margin_distance_px: float
    at_margin: bool


@dataclass(frozen=True, eq=False)
class Dropping:
    """One caterpillar dropping.

    Attributes
    ----------
    row_px, col_px : float
        Centroid.
    length_px, width_px : float
        Sides of the narrowest box around it.
    area_px : float
        Area in px².
    darkness : float
        L* of what it lies on minus its own (CIELAB units).
    confidence : float
        Probability that it is a dropping, 0 to 1.
    """

    row_px: float
    col_px: float
    length_px: float
    width_px: float
    area_px: float
    darkness: float
    confidence: float


@dataclass(frozen=True, eq=False)
class LeafReading:
    """What was measured on one leaf.

    Attributes
    ----------
    leaf : int
        Number in the photo, from 1, largest first.
    row_px, col_px : float
        Centroid.
    area_px : float
        Area in px² (halo and lesions included).
    lesions : tuple of Lesion
        Largest first.
    lesion_pct, halo_pct, severity_pct : float
        Percentages of the leaf's area; severity = lesion + halo.
    severity_low_pct, severity_high_pct : float
        95 % interval of severity (see ``vision.day.symptom_network``).
    healthy_lab : tuple of float
        CIELAB L*, a*, b* of the leaf's own healthy tissue.
    outline_px : tuple of (float, float)
        Outline as (row, column) points, simplified.
    chewed_pct, chewed_low_pct, chewed_high_pct : float or None
        Eaten part of the leaf's expected area in percent, and its 95 % interval; None where the
        expected outline is not known.
    flags : tuple of str
        ``cut_off``, ``touching``, ``all_sick`` ...
    """

    leaf: int
    row_px: float
    col_px: float
    area_px: float
    lesions: tuple[Lesion, ...]
    lesion_pct: float
    halo_pct: float
    severity_pct: float
    severity_low_pct: float
    severity_high_pct: float
    healthy_lab: tuple[float, float, float]
    outline_px: tuple[tuple[float, float], ...] = ()
    flags: tuple[str, ...] = ()
    chewed_pct: float | None = None
    chewed_low_pct: float | None = None
    chewed_high_pct: float | None = None


@dataclass(frozen=True, eq=False)
class DayReading:
    """What was measured on a day photo; None where it could not be.

    Attributes
    ----------
    leaves : tuple of LeafReading
        Largest first; empty when no leaf was found.
    flags : tuple of str
        Names from ``vision.flags``, of the photo and of all its leaves.
    leaf_area_px : float or None
        Area of all leaves in px².
    lesion_pct, halo_pct, severity_pct : float or None
        Percentages of all leaves' area together.
    severity_low_pct, severity_high_pct : float or None
        95 % interval of severity.
    droppings : tuple of Dropping
        Caterpillar droppings, the surest first; where no leaf was found, too.
    frass_count, frass_low, frass_high : int or None
        How many droppings were counted, and the 95 % interval of their number.
    chewed_pct, chewed_low_pct, chewed_high_pct : float or None
        Eaten part of the expected area of the leaves whose outline could be inferred, and its
        95 % interval.
    """

    leaves: tuple[LeafReading, ...]
    flags: tuple[str, ...] = ()
    leaf_area_px: float | None = None
    lesion_pct: float | None = None
    halo_pct: float | None = None
    severity_pct: float | None = None
    severity_low_pct: float | None = None
    severity_high_pct: float | None = None
    droppings: tuple[Dropping, ...] = ()
    frass_count: int | None = None
    frass_low: int | None = None
    frass_high: int | None = None
    chewed_pct: float | None = None
    chewed_low_pct: float | None = None
    chewed_high_pct: float | None = None


@dataclass(frozen=True)
class TagReading:
    """A stake tag in a photo, read or refused.

    Attributes
    ----------
    number : int or None
        The tag's number; None where it was refused.
    flags : tuple of str
        Why it was refused: ``tag_unclear``, ``tag_tilted``, ``tag_small``, ``tag_doubled``.
    corners_px : tuple of (float, float)
        The black square's corners as (row, column) in the full-size photo, clockwise from the
        marker's own upper left.
    side_px : float
        Root of the black square's area, in px of the full-size photo.
    tilt_deg : float
        How far its plane is tilted from the picture's.
    white_balance : tuple of float or None
        Gains of red, green and blue in linear light that make the grey patch grey; None where
        the patches cannot be relied on.
    """

    number: int | None
    flags: tuple[str, ...] = ()
    corners_px: tuple[tuple[float, float], ...] = ()
    side_px: float = 0.0
    tilt_deg: float = 0.0
    white_balance: tuple[float, float, float] | None = None


@dataclass(frozen=True, eq=False)
class DayMeasurement:
    """A day reading with the pixels it came from, at the scale at which they were measured.

    Attributes
    ----------
    reading : DayReading
        The numbers.
    classes : ndarray of uint8, shape (rows, columns)
        Mask values (BACKGROUND, LEAF, HALO, LESION, DROPPING), the size of ``Photo.pixels``.
    leaf_numbers : ndarray of uint8, shape (rows, columns)
        0 background, otherwise the number of the leaf.
    card : ndarray of uint8, shape (rows, columns), or None
        Above 0 where a stake tag is seen; None without one.
    """

    reading: DayReading
    classes: NDArray[np.uint8]
    leaf_numbers: NDArray[np.uint8] = field(repr=False)
    card: NDArray[np.uint8] | None = field(default=None, repr=False)


@dataclass(frozen=True, eq=False)
class Caterpillar:
    """One glowing body on a UV night photo.

    Attributes
    ----------
    row_px, col_px : float
        Middle of the body, on its midline.
    length_px : float
        Outline length along the bent body; the hidden part between two seen ones is included.
    width_px : float
        Usual width across the body.
    glow_contrast : float
        How many times more green the body sends out than foliage would in its place, from 1.
    hue_difference_deg : float
        CIELAB hue angle from the foliage's to the body's, 0 to 180.
    confidence : float
        Probability that it is a caterpillar, 0 to 1.
    midline_px : tuple of (float, float)
        Midline as (row, column) points, from end to end.
    """

    row_px: float
    col_px: float
    length_px: float
    width_px: float
    glow_contrast: float
    hue_difference_deg: float
    confidence: float
    midline_px: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, eq=False)
class RejectedGlow:
    """One bright thing on a UV night photo that was not counted.

    Attributes
    ----------
    row_px, col_px : float
        Middle.
    length_px, width_px : float
        Length along it, and usual width across.
    reason : str
        Name from ``vision.night.rejected``.
    confidence : float
        Probability that it is a caterpillar all the same, 0 to 1.
    box_px : tuple of float
        Left, top, right and bottom of what shines.
    """

    row_px: float
    col_px: float
    length_px: float
    width_px: float
    reason: str
    confidence: float
    box_px: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, eq=False)
class NightReading:
    """What was counted on a UV night photo; None where it could not be.

    Attributes
    ----------
    caterpillars : tuple of Caterpillar
        Surest first; empty when none was seen.
    rejected : tuple of RejectedGlow
        Bright things that were not counted, the likeliest caterpillar first.
    flags : tuple of str
        Names from ``vision.flags``.
    caterpillar_count : int or None
        Number of caterpillars; None where the photo is no UV photo.
    caterpillar_low, caterpillar_high : int or None
        95 % interval of the number.
    torch_off_used : bool
        Whether a photo with the torch off was subtracted.
    """

    caterpillars: tuple[Caterpillar, ...] = ()
    rejected: tuple[RejectedGlow, ...] = ()
    flags: tuple[str, ...] = ()
    caterpillar_count: int | None = None
    caterpillar_low: int | None = None
    caterpillar_high: int | None = None
    torch_off_used: bool = False


@dataclass(frozen=True, eq=False)
class NightMeasurement:
    """A night reading with the pixels it came from, at the scale at which they were measured.

    Attributes
    ----------
    reading : NightReading
        The numbers.
    classes : ndarray of uint8, shape (rows, columns)
        Mask values (BACKGROUND, CATERPILLAR), the size of ``Photo.pixels``.
    """

    reading: NightReading
    classes: NDArray[np.uint8] = field(repr=False)
