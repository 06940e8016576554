"""Keep a stake tag out of the search for leaves: which pixels are card, and what to see instead."""

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import log_chromaticity
from vision.raster import disc
from vision.records import Photo, TagReading
from vision.tag.scale import card_outline

__all__ = ["card_mask", "painted_over"]

Mask = NDArray[np.uint8]

_COLOURLESS = 0.22  # log-chromaticity from the paper's own: above it a leaf lies on the card
_AROUND = 0.012  # of the long side: width of the border whose colour takes the card's place


def card_mask(photo: Photo, tag: TagReading) -> Mask:
    """Return where the card is seen, 255, without what lies on it.

    Parameters
    ----------
    photo : Photo
        The photo.
    tag : TagReading
        Its tag, read or refused.

    Returns
    -------
    ndarray of uint8, shape of ``photo.pixels`` without the channels
        Paper and ink have no colour of their own; what has one, such as a leaf that hides part of
        the card, is left out.
    """
    mask = np.zeros(photo.pixels.shape[:2], np.uint8)
    corners = (card_outline(tag)[:, ::-1] + 0.5) / photo.reduction - 0.5
    cv2.fillConvexPoly(mask, np.round(corners * 16).astype(np.int32), 255, shift=4)
    left, top, width, height = cv2.boundingRect(mask)
    if not width:
        return mask
    window = slice(top, top + height), slice(left, left + width)
    part = mask[window]
    part[~_colourless(photo.pixels[window], part > 0)] = 0
    mask[window] = cv2.morphologyEx(part, cv2.MORPH_CLOSE, disc(2))
    return np.asarray(cv2.dilate(mask, disc(2)), np.uint8)


def _colourless(pixels: NDArray[np.uint8], card: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Where a window of the photo has the colour of the card's paper, however dark."""
    soft = np.asarray(cv2.GaussianBlur(pixels, (0, 0), 1.2), np.uint8)
    tints = log_chromaticity(soft)
    light = soft.mean(axis=2)
    paper = card & (light >= np.percentile(light[card], 70))
    apart = [np.abs(tint - np.median(tint[paper])) for tint in tints]
    return np.asarray(np.maximum(*apart) < _COLOURLESS, np.bool_)


def painted_over(picture: NDArray[np.uint8], card: Mask) -> NDArray[np.uint8]:
    """Return a picture with the colour of the surroundings where the card is.

    Parameters
    ----------
    picture : ndarray of uint8, shape (rows, columns, 3)
        Not changed.
    card : ndarray of uint8, shape (rows, columns)
        Above 0 where the card is, in any size.
    """
    rows, columns = picture.shape[:2]
    hidden = cv2.resize(card, (columns, rows), interpolation=cv2.INTER_AREA) > 0
    width = max(2, round(_AROUND * max(rows, columns)))
    border = (cv2.dilate(hidden.astype(np.uint8), disc(width)) > 0) & ~hidden
    if not border.any():
        return picture
    _, greenness = log_chromaticity(picture)
    beside = picture[border & (greenness <= np.median(greenness[border]))]
    out = picture.copy()
    out[hidden] = np.median(beside, axis=0).astype(np.uint8)
    return out
