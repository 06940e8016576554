"""Where droppings could lie: dark, compact patches, at nested thresholds and three sizes.

A dropping is darker than whatever it lies on. The ground's own lightness at each point is what is
left when all that is dark and smaller than a window is closed over (grey closing: Serra 1982,
Image Analysis and Mathematical Morphology). Patches below several shares of it are all proposed,
for the edge of a pellet, of its shadow and of a lesion's core lie at different shares; which patch
is a pellet, if any, is for ``vision.frass`` to say.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.raster import disc, shrunk

__all__ = ["FRASS_LONG_PX", "GLANCE", "Region", "View", "propose", "views"]

FRASS_LONG_PX = 1280
"""Long side at which droppings are looked for; smaller photos are used as they are."""

GLANCE = ("contrast", "edge", "edge_low", "solidity", "fullness", "elongation", "grey", "size")
"""What is measured of every patch at a glance: cheap, to look closely at the likeliest alone."""

_SHARES = (0.3, 0.42, 0.54, 0.66, 0.77, 0.88)  # of the ground's grey value
_WINDOW_PX = 41  # of the closing: wider than the largest patch and its shadow
_OPENINGS_PX = (2,)  # radii of discs that dark patches are opened with
_LEAST_PX, _MOST_PX = 6, 64  # longer side of a patch's box, in pixels of its view
_LEAST_REDUCED_PX = 9  # in a reduced view: what is smaller was proposed in the view before
_VIEWS = 3  # whole, half and quarter size
_LEAST_EXTENT = 0.42  # area of a patch ÷ area of its box
_MOST_LONG = 3.2  # longer ÷ shorter side of the box
_LEAST_SOLID = 0.6
_PELLET_GREEN = 1.3  # green ÷ red that a dropping has at most
_STRICT, _BRIGHTEST_ON_DARK = 0.67, 85  # a looser share is for dark grounds alone
_BRIGHTEST = 190  # value above which nothing is dark, however light the ground
_SAME = 0.85  # area of the smaller ÷ the larger of two nested patches that are one
_MOST_REGIONS = 2500  # per view
_SPLIT = 0.72  # of the depth: cores that part above this share are two touching things
_WHOLE_SOLID, _WHOLE_LONG = 0.93, 1.75  # patches more solid and shorter are not split
_LEAST_PART_PX = 20

Plane = NDArray[np.uint8]
Box = tuple[int, int, int, int]
Outline = NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class View:
    """A photo at one of the sizes at which patches are looked for.

    Attributes
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    grey : ndarray of uint8, shape (rows, columns)
        Lightly smoothed luma.
    ground : ndarray of uint8, shape (rows, columns)
        Grey value of what dark patches lie on.
    slope : ndarray of uint8, shape (rows, columns)
        Grey values per pixel, doubled.
    factor : float
        Pixels of the given photo per pixel of this view.
    first : bool
        Whether this is the largest view.
    """

    pixels: Plane = field(repr=False)
    grey: Plane = field(repr=False)
    ground: Plane = field(repr=False)
    slope: Plane = field(repr=False)
    factor: float
    first: bool


@dataclass(frozen=True, eq=False)
class Region:
    """A dark patch that may be a dropping.

    Attributes
    ----------
    view : View
        In which it was found.
    row, col : int
        Upper left corner of ``inside`` in the view.
    inside : ndarray of bool, shape (rows, columns)
        The patch, holes filled, with a rim of one pixel around it.
    glance : tuple of float
        In the order of ``GLANCE``.
    part : bool
        Whether it was parted from others that touch it.
    """

    view: View = field(repr=False)
    row: int
    col: int
    inside: NDArray[np.bool_] = field(repr=False)
    glance: tuple[float, ...]
    part: bool = False


def views(pixels: Plane) -> list[View]:
    """Return the photo at the sizes at which patches are looked for, the largest first."""
    picture = shrunk(pixels, FRASS_LONG_PX / max(pixels.shape[:2]))
    found: list[View] = []
    while len(found) < _VIEWS and min(picture.shape[:2]) >= _WINDOW_PX:
        found.append(_view(picture, pixels.shape[1] / picture.shape[1], first=not found))
        picture = shrunk(picture, 0.5)
    return found


def _view(picture: Plane, factor: float, *, first: bool) -> View:
    grey = cv2.GaussianBlur(_plain_light(picture), (3, 3), 0.7)
    kernel = np.ones((_WINDOW_PX, _WINDOW_PX), np.uint8)
    ground = cv2.morphologyEx(grey, cv2.MORPH_CLOSE, kernel)
    across, down = cv2.spatialGradient(grey)  # eight times the slope
    slope = cv2.addWeighted(cv2.convertScaleAbs(across), 0.25, cv2.convertScaleAbs(down), 0.25, 0)
    planes = [np.asarray(plane, np.uint8) for plane in (grey, ground, slope)]
    return View(picture, planes[0], planes[1], planes[2], factor, first)


def _plain_light(picture: Plane) -> Plane:
    """Return the red channel, raised by what soil, straw, leaf and lesion have and pellets lack.

    Droppings are black or a dark green of little chroma. Brown things send back more red than
    blue, in their own shade too, and a leaf far more green than red; both come out bright.
    """
    red, green, blue = cv2.split(picture)
    brown = cv2.subtract(red, blue)
    leafy = cv2.subtract(green, cv2.convertScaleAbs(red, alpha=_PELLET_GREEN))
    raised = cv2.addWeighted(cv2.add(red, brown), 1.0, leafy, 2.0, 0)
    return np.asarray(cv2.max(raised, blue), np.uint8)


def propose(view: View) -> list[Region]:
    """Return the patches of a view that are dark, compact and of a fitting size."""
    found: list[Region] = []
    boxes: dict[tuple[int, int], list[tuple[int, int, int]]] = {}
    least = 2 * (_LEAST_PX if view.first else _LEAST_REDUCED_PX) - 3
    for share, opened in product(_SHARES, (0, *_OPENINGS_PX)):
        most = _BRIGHTEST if share <= _STRICT else _BRIGHTEST_ON_DARK
        limit = np.minimum(cv2.convertScaleAbs(view.ground, alpha=share), np.uint8(most))
        dark = cv2.compare(view.grey, limit, cv2.CMP_LT)
        if opened:  # parts a pellet from the crevices and shades that it lies among
            dark = cv2.morphologyEx(dark, cv2.MORPH_OPEN, disc(opened))
        # outlines, not labels of all pixels, which take five times as long
        outlines, _ = cv2.findContours(dark, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        for outline in outlines:
            if len(outline) >= least and (box := _fitting(outline, view)) and _is_new(boxes, box):
                found += [_region(view, np.asarray(outline, np.int32), box)]
        if len(found) > _MOST_REGIONS:
            break
    return [region for whole in found for region in (whole, *_parts(whole))]


def _fitting(outline: cv2.typing.MatLike, view: View) -> Box | None:
    """Return the box (left, top, width, height) of a patch of a fitting size and form."""
    left, top, width, height = cv2.boundingRect(outline)
    longer, shorter = max(width, height), min(width, height)
    least = _LEAST_PX if view.first else _LEAST_REDUCED_PX
    if not least <= longer <= _MOST_PX or longer > _MOST_LONG * shorter:
        return None
    area = cv2.contourArea(outline) + len(outline) / 2
    if area < _LEAST_EXTENT * width * height:
        return None
    hull = cv2.contourArea(cv2.convexHull(outline)) + len(outline) / 2
    return (left, top, width, height) if area >= _LEAST_SOLID * hull else None


def _box_of(outline: cv2.typing.MatLike) -> Box:
    left, top, width, height = cv2.boundingRect(outline)
    return left, top, width, height


def _is_new(boxes: dict[tuple[int, int], list[tuple[int, int, int]]], box: Box) -> bool:
    """Whether no patch of a stricter threshold is nearly the same; remembers the new one."""
    left, top, width, height = box
    row, col, area = top + height // 2, left + width // 2, width * height
    near = [
        one
        for down in (-1, 0, 1)
        for right in (-1, 0, 1)
        for one in boxes.get((row // 16 + down, col // 16 + right), ())
    ]
    reach = 0.15 * max(width, height) + 1
    for other_row, other_col, other_area in near:
        alike = min(area, other_area) >= _SAME * max(area, other_area)
        if alike and abs(row - other_row) <= reach and abs(col - other_col) <= reach:
            return False
    boxes.setdefault((row // 16, col // 16), []).append((row, col, area))
    return True


def _region(view: View, outline: Outline, box: Box) -> Region:
    left, top, width, height = box
    inside = np.zeros((height + 2, width + 2), np.uint8)
    cv2.drawContours(inside, [outline], 0, 1, cv2.FILLED, offset=(1 - left, 1 - top))
    region = Region(view, top - 1, left - 1, inside.view(np.bool_), ())
    return replace(region, glance=_glance(region, outline[:, 0]))


def _glance(region: Region, outline: NDArray[np.int32]) -> tuple[float, ...]:
    """Return ``GLANCE`` of a patch; ``outline`` holds its columns and rows in the view."""
    view, inside = region.view, region.inside
    cols, rows = outline.T
    middle_row = region.row + inside.shape[0] // 2
    middle_col = region.col + inside.shape[1] // 2
    left, top = cols.min(), rows.min()
    own_box = view.grey[top : rows.max() + 1, left : cols.max() + 1]
    own_mask = inside[top - region.row :, left - region.col :][: own_box.shape[0]]
    own_mask = np.ascontiguousarray(own_mask[:, : own_box.shape[1]])
    grey = cv2.mean(own_box, own_mask.view(np.uint8))[0]
    ground = float(
        view.ground[
            min(middle_row, view.ground.shape[0] - 1), min(middle_col, view.ground.shape[1] - 1)
        ]
    )
    step = max(ground - grey, 4.0)
    slope = np.sort(view.slope[rows, cols])
    _, (one, other), _ = cv2.minAreaRect(outline)
    length, width = max(one, other) + 1, min(one, other) + 1
    area = float(np.count_nonzero(inside))
    hull = cv2.convexHull(outline)
    full = cv2.contourArea(hull) + cv2.arcLength(hull, closed=True) / 2 + 1
    return (
        float(np.log((ground + 5) / (grey + 5))),
        float(slope.mean()) / step,
        float(slope[len(slope) // 5]) / step,
        area / full,
        area / (np.pi / 4 * length * width),
        length / width,
        float(grey),
        float(np.log(np.sqrt(area) * view.factor)),
    )


def _parts(whole: Region) -> Iterator[Region]:
    """Yield the parts of a patch that narrows, as where pellets touch."""
    solid, long = (whole.glance[GLANCE.index(name)] for name in ("solidity", "elongation"))
    if solid > _WHOLE_SOLID and long < _WHOLE_LONG:
        return
    inside = whole.inside.view(np.uint8)
    depth = cv2.distanceTransform(inside, cv2.DIST_L2, 5)
    peaks = (depth >= cv2.dilate(depth, disc(2)) - 1e-3) & (depth > 0.5 * depth.max())
    count, core = cv2.connectedComponents(((depth > _SPLIT * depth.max()) | peaks).view(np.uint8))
    if not 3 <= count <= 8:
        return
    _, nearest = cv2.distanceTransformWithLabels(
        (core == 0).view(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_CCOMP
    )
    for number in range(1, count):
        part = (nearest == nearest[core == number][0]) & whole.inside
        if np.count_nonzero(part) >= _LEAST_PART_PX:
            yield _cut(whole, part)


def _cut(whole: Region, part: NDArray[np.bool_]) -> Region:
    outlines, _ = cv2.findContours(
        part.view(np.uint8),
        cv2.RETR_EXTERNAL,
        cv2.CHAIN_APPROX_NONE,
        offset=(whole.col, whole.row),
    )
    outline = np.asarray(max(outlines, key=len), np.int32)
    return replace(_region(whole.view, outline, _box_of(outline)), part=True)
