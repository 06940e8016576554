"""The story of a day photo, in order: is it usable, where are the leaves, what is sick on them."""

import cv2
import numpy as np

from vision.records import (
    HALO, LEAF, LESION, DayMeasurement, DayReading, LeafReading, Photo,
)

__all__ = ["measure_day_photo"]


def measure_day_photo(photo: Photo) -> DayMeasurement:
    """TEMPORARY stand-in while the stages are written: one Otsu leaf, brown = lesion."""
    lab = cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2LAB).astype(int)
    index = np.clip(128 + (lab[..., 2] - lab[..., 1]), 0, 255).astype(np.uint8)
    _, m = cv2.threshold(index, 0, 1, cv2.THRESH_OTSU)
    les = (m > 0) & (lab[..., 1] > 128)
    cls = np.where(les, LESION, np.where(m > 0, LEAF, 0)).astype(np.uint8)
    area = float((cls > 0).sum())
    if area == 0:
        return DayMeasurement(DayReading((), ("no_leaf",)), cls, (cls > 0).astype(np.uint8))
    pct = 100 * float(les.sum()) / area
    leaf = LeafReading(1, 0.0, 0.0, area * photo.reduction**2, (), pct, 0.0, pct, pct, pct, (50.0, -20.0, 30.0))
    return DayMeasurement(
        DayReading((leaf,), (), leaf.area_px, pct, 0.0, pct, pct, pct), cls, (cls > 0).astype(np.uint8))
