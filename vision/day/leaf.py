"""Isolate leaves: one numbered outline for each leaf that lies apart.

Leaves are looked for on a small overview. On a plain ground each pixel's log-odds of being leaf
come from its colour and surroundings (``vision.day.outline``) and, unless these are sure, half from
what a network sees the photo to be of (``vision.day.leaf_network``); in the field, where other
leaves lie around, from two such networks. All are learned. Pieces are parted, chosen and their
holes filled there, and the outline is then drawn at the size of the photo along its own edges with
a guided filter (He, Sun & Tang 2013, IEEE TPAMI 35:1397–1409, with coefficients from the small
picture: He & Sun 2015, arXiv:1505.00996). Nothing but the log-odds is learned.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import log_chromaticity
from vision.day.leaf_network import LEAF_NETWORK_SECOND, Seen, see_leaves
from vision.day.outline import OVERVIEW_PX, leaf_score
from vision.raster import disc, filled, shrunk
from vision.tag.hide import painted_over

__all__ = ["MOST_LEAVES", "Leaves", "find_leaves", "fitted_to_edges", "reaches_frame"]

Floats = NDArray[np.float32]
Mask = NDArray[np.uint8]

MOST_LEAVES = 12
"""Leaves kept from one photo; of more the largest are kept and the photo is flagged."""

_EDGE_PX = 1000  # long side at which outlines are drawn; half of a photo decoded for measuring
_LEAST_SHARE = 0.004  # of the photo: smaller pieces are not measured as leaves
_LEAST_OF_LARGEST = 0.12  # smaller pieces are scraps beside the leaf that was photographed
_LEAFY = 0.2  # share of the photo that is leaf green, where no leaf stands out, of a canopy
_LEAF_GREEN = 0.15  # log-chromaticity of leaf green; straw has less
_LIVING_SHARE = 0.04  # of a leaf on plain ground that is green or yellow, however sick the rest
_CLOSE_UP = 0.75  # share of the photo that is leaf, from which there is hardly any ground
_SURELY = 4.0  # log-odds beyond which neither way of seeing leaves is believed
_DOUBTED = 2.0  # log-odds below which a colour may be either
_DOUBT = 0.01  # of the photo: with less of it in doubt, colours alone outline the leaf
_SURE = 1.5  # mean log-odds of a piece that is a leaf
_HOLE_SHARE = 0.002  # of its leaf: smaller holes are gloss or dead tissue
_HOLE_SURE = -2.5  # mean log-odds below which a larger hole shows the background
_LIT_SHARE = 0.5  # of a hole that must be lit like the background
_LIT = 0.75  # of the background's grey level; darker is shadow or dead tissue
_BAND_PX = 3  # overview pixels on both sides of the first outline that edges are looked for in
_NECK = 0.85  # width of the neck between two leaves that touch, of the smaller one's width
_BROAD = 0.6  # width of the smaller one, of the larger one's width
_SMALLEST_PX = 16
_GREEN_AROUND = 0.06  # of the photo: more green beside leaves is other plants, not stalks
_LIVING_GREENNESS = 0.06  # log-chromaticity above which tissue is green or yellow, not grey or red
_COARSE_SHARE = 0.03  # of the long side: texture finer than this makes a background coarse
_PLAIN_COLOURS = 0.35  # spread of both log-chromaticities together, 20th to 80th percentile
_PLAIN_TEXTURE = 0.055  # the same of half the log-lightness against its surroundings


@dataclass(frozen=True, eq=False)
class Leaves:
    """The leaves of one photo.

    Attributes
    ----------
    numbers : ndarray of uint8, shape (rows, columns)
        0 background, otherwise the number of the leaf, largest first, from 1. Read-only.
    touching : tuple of bool
        For each leaf: whether it may be several leaves that touch or overlap.
    cut_off : tuple of bool
        For each leaf: whether it reaches the frame.
    plain : bool
        Whether the background is plain, such as paper, a board, a bench or cloth.
    flags : tuple of str
        ``no_leaf``, ``no_single_leaf``, ``touching``, ``cut_off``, ``busy_background``,
        ``many_small_leaves``.
    """

    numbers: Mask = field(repr=False)
    touching: tuple[bool, ...]
    cut_off: tuple[bool, ...]
    plain: bool
    flags: tuple[str, ...]

    @property
    def count(self) -> int:
        """How many leaves were found."""
        return len(self.touching)

    def without(self, covered: NDArray[np.bool_], share: float) -> "Leaves":
        """Leave out leaves that are mostly covered by what is no leaf, and number the others anew.

        Parameters
        ----------
        covered : ndarray of bool, shape (rows, columns)
            True where something else lies.
        share : float
            Of a leaf's area, 0 to 1: one that is covered by this or more is left out.
        """
        if not covered.any():
            return self
        whole, under = (
            np.bincount(part.ravel(), minlength=self.count + 1)[1:]
            for part in (self.numbers, self.numbers[covered])
        )
        kept = under < share * whole
        if kept.all():
            return self
        numbers = _numbered_anew(kept)[self.numbers]
        numbers.flags.writeable = False
        touching, cut_off = (
            tuple(flag for flag, keep in zip(flags, kept, strict=True) if keep)
            for flags in (self.touching, self.cut_off)
        )
        left_out = "many_small_leaves" in self.flags
        flags = _flags(touching, cut_off, self.plain, left_out)
        return Leaves(numbers, touching, cut_off, self.plain, flags)


def find_leaves(pixels: NDArray[np.uint8], card: Mask | None = None) -> Leaves:
    """Find the leaves of a photo.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first. Not changed.
    card : ndarray of uint8, shape (rows, columns), optional
        Above 0 where a stake tag is seen: there is no leaf.

    Returns
    -------
    Leaves
        With no leaf when nothing looks like one. A leaf's brown, black and yellow parts belong to
        it, shadows and what shows through large holes do not. Pieces that a stalk joins are one
        leaf.
    """
    if min(pixels.shape[:2]) < _SMALLEST_PX:
        return Leaves(np.zeros(pixels.shape[:2], np.uint8), (), (), True, ("no_leaf",))
    picture = _reduce(pixels, _EDGE_PX)
    if card is not None:
        picture = painted_over(picture, card)
    overview = _reduce(picture, OVERVIEW_PX)
    greenness = _greenness(overview)
    living = greenness > _LIVING_GREENNESS  # leaf green or yellow, not grey or red
    score = np.asarray(cv2.GaussianBlur(leaf_score(overview), (0, 0), 0.7), np.float32)
    found, left_out = _pieces(_by_colour(score), living, _lit(overview, score), _LIVING_SHARE)
    plain = _is_plain(overview, found)
    if not plain or (found.any() and _in_doubt(score)):
        seen = (_seen_on_plain_ground if plain else _seen_in_the_field)(overview, score)
        score = seen.leaf
        least_living = _LIVING_SHARE if plain else 0.0
        found, left_out = _pieces(seen, living, _lit(overview, score), least_living)
    numbers = _draw(picture, overview, score, found, pixels.shape[:2])
    numbers, found = _without_vanished(numbers, found)
    numbers.flags.writeable = False
    count = int(found.max())
    touching = tuple(_may_be_several(found == n) for n in range(1, count + 1))
    cut_off = tuple(reaches_frame(found == n) for n in range(1, count + 1))
    flags = _flags(touching, cut_off, plain, left_out)
    if count == 0 and np.mean(greenness > _LEAF_GREEN) > _LEAFY:
        flags = ("no_single_leaf",)
    return Leaves(numbers, touching, cut_off, plain, flags)


def fitted_to_edges(
    pixels: NDArray[np.uint8], roughly: NDArray[np.bool_], card: Mask | None = None
) -> Mask:
    """Return a leaf that was drawn roughly, its outline moved to the edge that lies nearby.

    Nearby is a hundredth of the photo. Where there is no edge, as across a leaf, the outline stays.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first. Not changed.
    roughly : ndarray of bool, shape (rows, columns)
        Inside the outline that was drawn.
    card : ndarray of uint8, shape (rows, columns), optional
        Above 0 where a stake tag is seen: there is no leaf.

    Returns
    -------
    ndarray of uint8, shape (rows, columns)
        1 on the leaf, 0 elsewhere.
    """
    picture = _reduce(pixels, _EDGE_PX)
    overview = _reduce(picture, OVERVIEW_PX)
    score = np.asarray(cv2.GaussianBlur(leaf_score(overview), (0, 0), 0.7), np.float32)
    size = (overview.shape[1], overview.shape[0])
    share = cv2.resize(roughly.astype(np.uint8) * 255, size, interpolation=cv2.INTER_AREA)
    fitted = _draw(picture, overview, score, (share > 127).astype(np.uint8), pixels.shape[:2])
    if card is not None:
        fitted[card > 0] = 0
    return fitted


def _reduce(pixels: NDArray[np.uint8], long_px: int) -> NDArray[np.uint8]:
    return shrunk(pixels, long_px / max(pixels.shape[:2]))


def _greenness(overview: NDArray[np.uint8]) -> Floats:
    """How much more green there is than red and blue together allow."""
    return log_chromaticity(np.asarray(cv2.GaussianBlur(overview, (0, 0), 1.0), np.uint8))[1]


def _lit(overview: NDArray[np.uint8], score: Floats) -> NDArray[np.bool_]:
    """Where it is nearly as light as the background.

    A hole shows the lit background; a dead patch, which may be as grey, is darker.
    """
    lightness = cv2.cvtColor(cv2.GaussianBlur(overview, (0, 0), 1.0), cv2.COLOR_RGB2GRAY)
    around = cv2.dilate((score > 0).astype(np.uint8), disc(_BAND_PX)) == 0
    if not around.any():
        return np.ones(score.shape, bool)
    return np.asarray(lightness >= _LIT * np.median(lightness[around]), np.bool_)


def _pieces(
    seen: Seen, living: NDArray[np.bool_], lit: NDArray[np.bool_], least_living: float
) -> tuple[Mask, bool]:
    """Give the leaves of the overview their numbers; tell whether some were left out.

    Pieces are told apart before stalks are taken away, so that leaflets on one stalk stay
    together; but not where two leaves meet.
    """
    score = seen.leaf
    found = np.zeros(score.shape, np.uint8)
    if seen.any_leaf < 0:
        return found, False
    believed = (score > 0).astype(np.uint8)
    label = np.where(_blade(believed) > 0, _parted(believed, seen.border, living), 0)
    area = np.bincount(label.ravel())
    sure = np.bincount(label.ravel(), np.clip(score, -4, 4).ravel()) / np.maximum(area, 1)
    alive = np.bincount(label.ravel(), living.ravel()) / np.maximum(area, 1)
    area[(sure < _SURE) | (alive < least_living)] = 0
    area[0] = 0
    least = max(_LEAST_SHARE * score.size, _LEAST_OF_LARGEST * area.max())
    order = [int(n) for n in np.argsort(-area, kind="stable") if area[n] >= least]
    for number, own in enumerate(order[:MOST_LEAVES], start=1):
        found[_filled((label == own).astype(np.uint8), score, lit) > 0] = number
    return found, len(order) > MOST_LEAVES


def _by_colour(score: Floats) -> Seen:
    return Seen(score, np.full_like(score, -1), 1.0)


def _in_doubt(own: Floats) -> bool:
    """Whether colours leave open what is leaf; on white paper, say, they do not."""
    return bool(np.mean(np.abs(own) < _DOUBTED) >= _DOUBT)


def _seen_on_plain_ground(overview: NDArray[np.uint8], own: Floats) -> Seen:
    """Ask the colour, which draws a sure outline, and a network, which knows dead tissue by form.

    Dead leaf as grey as the board is no leaf by its colour. Only the second network is asked:
    it has begun from one that knew many things, and is right more often on leaves unlike those
    that it has learned from.
    """
    return _by_colour(_mean(own, see_leaves(overview, LEAF_NETWORK_SECOND).leaf))


def _seen_in_the_field(overview: NDArray[np.uint8], own: Floats) -> Seen:
    """Ask two networks, which are right more often than one.

    Close up, what looks like leaf by its own colour is leaf as well.
    """
    one, other = see_leaves(overview), see_leaves(overview, LEAF_NETWORK_SECOND)
    leaf, border = _mean(one.leaf, other.leaf), _mean(one.border, other.border)
    if np.mean(leaf > 0) > _CLOSE_UP:
        leaf = np.maximum(leaf, own)
    return Seen(leaf, border, (one.any_leaf + other.any_leaf) / 2)


def _mean(one: Floats, other: Floats) -> Floats:
    """Return the mean of two log-odds, none of which is believed too surely."""
    total = np.clip(one, -_SURELY, _SURELY) + np.clip(other, -_SURELY, _SURELY)
    return np.asarray(total / 2, np.float32)


def _blade(believed: Mask) -> Mask:
    return np.asarray(cv2.morphologyEx(believed, cv2.MORPH_OPEN, disc(1)), np.uint8)


def _parted(believed: Mask, border: Floats, living: NDArray[np.bool_]) -> NDArray[np.int32]:
    """Label the pieces; what lies on a border goes to the nearest of them."""
    apart = (border <= 0).astype(np.uint8)
    joined = _with_stalks(believed, living) & apart
    count, label = cv2.connectedComponents(joined, connectivity=8)
    if count < 3 or apart.all():
        return np.asarray(label, np.int32)
    _, nearest = cv2.distanceTransformWithLabels(
        (label == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    of_pixel = np.zeros(int(nearest.max()) + 1, np.int32)
    of_pixel[nearest[label > 0]] = label[label > 0]
    return np.asarray(np.where(believed > 0, of_pixel[nearest], label), np.int32)


def _with_stalks(believed: Mask, living: NDArray[np.bool_]) -> Mask:
    """Add green stalks, which belong to no blade but join them; none among other plants."""
    beside = living & (cv2.dilate(believed, disc(_BAND_PX)) == 0)
    if np.count_nonzero(beside) > _GREEN_AROUND * living.size:
        return believed
    return believed | living.astype(np.uint8)


def _filled(piece: Mask, score: Floats, lit: NDArray[np.bool_]) -> Mask:
    """Fill holes but those that are large, lit, and clearly show the background."""
    count, label, stats, _ = cv2.connectedComponentsWithStats(1 - piece, connectivity=4)
    if count <= 2:
        return piece
    sure = np.bincount(label.ravel(), np.clip(score, -4, 4).ravel()) / np.maximum(stats[:, 4], 1)
    dark = np.bincount(label.ravel(), lit.ravel()) < _LIT_SHARE * stats[:, 4]
    small = stats[:, cv2.CC_STAT_AREA] < _HOLE_SHARE * np.count_nonzero(piece)
    left, top = stats[:, cv2.CC_STAT_LEFT], stats[:, cv2.CC_STAT_TOP]
    right, low = left + stats[:, cv2.CC_STAT_WIDTH], top + stats[:, cv2.CC_STAT_HEIGHT]
    outside = (left == 0) | (top == 0) | (right == piece.shape[1]) | (low == piece.shape[0])
    fill = (small | dark | (sure > _HOLE_SURE)) & ~outside
    fill[label[piece > 0][0]] = True
    return np.asarray(fill[label], np.uint8)


def _draw(
    picture: NDArray[np.uint8],
    overview: NDArray[np.uint8],
    score: Floats,
    found: Mask,
    shape: tuple[int, ...],
) -> Mask:
    """Bring the numbered pieces to the photo's ``shape``, outlines along the picture's edges."""
    if not found.any():
        return np.zeros(shape, np.uint8)
    size = (picture.shape[1], picture.shape[0])
    mask = (found > 0).astype(np.uint8)
    least, most = cv2.erode(mask, disc(_BAND_PX)) * 255, cv2.dilate(mask, disc(_BAND_PX)) * 255
    edges = _sharpened(overview, picture, _soft(score, mask), most > least)
    low, high = (cv2.resize(m, size, interpolation=cv2.INTER_NEAREST) for m in (least, most))
    edges_only = cv2.medianBlur(cv2.min(cv2.max(edges, low), high), 3)
    full = (shape[1], shape[0])
    _, leaf = cv2.threshold(cv2.resize(edges_only, full), 127, 255, cv2.THRESH_BINARY)
    near = cv2.resize(cv2.dilate(found, disc(_BAND_PX)), full, interpolation=cv2.INTER_NEAREST)
    return np.asarray(cv2.bitwise_and(near, leaf), np.uint8)


def _without_vanished(numbers: Mask, found: Mask) -> tuple[Mask, Mask]:
    """Take out pieces of the overview of which nothing is left at the photo's size."""
    count = int(found.max())
    left = np.bincount(numbers.ravel(), minlength=count + 1)[1:] > 0
    if left.all():
        return numbers, found
    again = _numbered_anew(left)
    return again[numbers], again[found]


def _numbered_anew(kept: NDArray[np.bool_]) -> Mask:
    """Return the new number of each old one, 0 included, where some leaves are left out."""
    return np.concatenate([[0], np.where(kept, np.cumsum(kept), 0)]).astype(np.uint8)


def _soft(score: Floats, mask: Mask) -> Floats:
    """Share of leaf, 0 to 1, in keeping with the pieces that were chosen and filled."""
    share = 1 / (1 + np.exp(-score))
    return np.where(mask > 0, np.maximum(share, 0.55), np.minimum(share, 0.45)).astype(np.float32)


def _sharpened(
    overview: NDArray[np.uint8],
    picture: NDArray[np.uint8],
    share: Floats,
    band: NDArray[np.bool_],
) -> Mask:
    """Guided filter of the leaf's share, 0 to 255, at the size of ``picture``.

    The guide is the one mixture of red, green and blue that parts leaf from background best along
    the outline (Fisher 1936, Annals of Eugenics 7:179–188).
    """
    direction = _parting_colour(overview[band], share[band] > 0.5)
    small = _mixed(overview, direction)
    side = 2 * _BAND_PX + 1
    mean_i, mean_p = cv2.blur(small, (side, side)), cv2.blur(share, (side, side))
    spread = cv2.blur(small * small, (side, side)) - mean_i * mean_i
    joint = cv2.blur(small * share, (side, side)) - mean_i * mean_p
    slope = joint / (spread + np.float32(0.02))
    offset = mean_p - slope * mean_i
    size = (picture.shape[1], picture.shape[0])
    large = [cv2.resize(cv2.blur(p, (side, side)), size) for p in (slope, offset)]
    sloped = cv2.multiply(large[0], _mixed(picture, direction))
    return np.asarray(cv2.addWeighted(sloped, 255, large[1], 255, 0, dtype=cv2.CV_8U), np.uint8)


def _parting_colour(colours: NDArray[np.uint8], leaf: NDArray[np.bool_]) -> Floats:
    """Weights of red, green and blue (per grey level) that set the two means 1 apart."""
    values = colours.astype(np.float64)
    if min(np.count_nonzero(leaf), np.count_nonzero(~leaf)) < 2:  # too few to spread
        return np.full(3, 1 / 255, np.float32)
    apart = values[leaf].mean(axis=0) - values[~leaf].mean(axis=0)
    within = np.cov(values[leaf].T) + np.cov(values[~leaf].T) + 25 * np.eye(3)
    direction = np.linalg.solve(within, apart)
    return np.asarray(direction / max(float(direction @ apart), 1e-6), np.float32)


def _mixed(pixels: NDArray[np.uint8], direction: Floats) -> Floats:
    mixed = cv2.transform(pixels.astype(np.float32), direction[None, :])
    return np.asarray(mixed, np.float32)


def _may_be_several(leaf: NDArray[np.bool_]) -> bool:
    """Whether a connected piece narrows so much between two broad parts that they may be two."""
    _, label, stats, _ = cv2.connectedComponentsWithStats(leaf.astype(np.uint8))
    broad = np.flatnonzero(stats[1:, cv2.CC_STAT_AREA] > _LEAST_OF_LARGEST * stats[1:, 4].max()) + 1
    return any(_has_neck((label == number).astype(np.uint8)) for number in broad)


def _has_neck(piece: Mask) -> bool:
    # teeth of the margin and holes are closed first: the necks beside them are not meant
    closed = cv2.morphologyEx(np.pad(piece, 1), cv2.MORPH_CLOSE, disc(_BAND_PX))
    whole_piece = filled(np.asarray(closed) > 0)
    depth = cv2.distanceTransform(whole_piece.view(np.uint8), cv2.DIST_L2, 3)
    whole = float(depth.max())
    for level in np.linspace(0.1, _NECK, 8) * whole:
        count, label = cv2.connectedComponents((depth > level).astype(np.uint8))
        if count < 3:
            continue
        widths = np.zeros(count)
        np.maximum.at(widths, label.ravel(), depth.ravel())
        second = float(np.sort(widths[1:])[-2])
        if level < _NECK * second and second > _BROAD * whole:
            return True
    return False


def reaches_frame(leaf: NDArray[np.bool_]) -> bool:
    """Whether more of the leaf lies along the frame than a tip would.

    Parameters
    ----------
    leaf : ndarray of bool, shape (rows, columns)
        True on the leaf, in a picture of the whole photo.
    """
    along = sum(
        int(np.count_nonzero(line)) for line in (leaf[0], leaf[-1], leaf[:, 0], leaf[:, -1])
    )
    return bool(along > max(3.0, 0.05 * np.sqrt(np.count_nonzero(leaf))))


def _is_plain(overview: NDArray[np.uint8], found: Mask) -> bool:
    """Whether what lies around the leaves has one colour and no coarse texture.

    Chromaticities leave shadows and uneven light aside; lightness is taken against its own
    surroundings for the same reason.
    """
    around = cv2.dilate((found > 0).astype(np.uint8), disc(_BAND_PX)) == 0
    if not around.any():
        return False
    smooth = np.asarray(cv2.GaussianBlur(overview, (0, 0), 1.5), np.uint8)
    light = np.asarray(cv2.cvtColor(smooth, cv2.COLOR_RGB2GRAY), np.float32)
    side = 2 * round(_COARSE_SHARE * max(light.shape)) + 1
    texture = np.log((light + 4) / (cv2.blur(light, (side, side)) + 4)) / 2
    seen = [plane[around][::7] for plane in (*log_chromaticity(smooth), texture)]
    # The middle of the distribution: a hard shadow or a lit edge of a board is not its texture.
    low, high = np.percentile(seen, (20, 80), axis=1)
    yellowness, greenness, coarse = high - low
    return bool(yellowness + greenness < _PLAIN_COLOURS and coarse < _PLAIN_TEXTURE)


def _flags(
    touching: tuple[bool, ...], cut_off: tuple[bool, ...], plain: bool, left_out: bool
) -> tuple[str, ...]:
    told = {
        "no_leaf": not touching,
        "touching": any(touching),
        "cut_off": any(cut_off),
        "busy_background": bool(touching) and not plain,
        "many_small_leaves": left_out,
    }
    return tuple(name for name, holds in told.items() if holds)
