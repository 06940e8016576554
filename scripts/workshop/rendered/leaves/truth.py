"""What is known exactly about a painted photo."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.leaves.feeding import EATEN, FALLEN
from scripts.workshop.rendered.scene import Scene
from vision.records import BACKGROUND, HALO, LESION

__all__ = ["LesionTruth", "RenderedPhoto"]


@dataclass(frozen=True)
class LesionTruth:
    """One painted lesion, as far as it can be seen.

    Attributes
    ----------
    leaf : int
        Number of its leaf, from 1.
    row_px, col_px : float
        Centroid of its visible pixels.
    area_px : int
        Visible pixels. Where lesions merge, each pixel belongs to the one lesion it lies deepest
        in, so that areas add up to the mask's.
    kind : str
        ``septoria``, ``bacterial``, ``early`` or ``late``; ``rim`` round a hole that has fallen
        out.
    """

    leaf: int
    row_px: float
    col_px: float
    area_px: int
    kind: str


@dataclass(frozen=True, eq=False)
class RenderedPhoto:
    """A painted photo with its exact truth.

    Attributes
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first, read-only.
    mask : ndarray of uint8, shape (rows, columns)
        BACKGROUND, LEAF (no symptoms), HALO or LESION, read-only. Stalks beyond the blades and
        what shows through holes are background; a pixel belongs to what covers half of it; halo
        is where the rim's tint has at least half its full strength.
    leaf_numbers : ndarray of uint8, shape (rows, columns)
        0 background, otherwise the leaf's number from 1; all leaflets of a compound leaf share
        one number. Read-only.
    lesions : tuple of LesionTruth
        Largest first.
    scene : Scene
        What was painted, its ``kind`` filled in.
    seed : int
        With the scene it gives the same photo again.
    px_per_mm : float
        Scale of the photo.
    missing : ndarray of uint8, shape (rows, columns)
        1 where a leaf has been eaten, 2 where dead tissue has fallen out, else 0; what shows
        another leaflet is not missing. Read-only.
    burnt_px : int
        Visible pixels that a spray has bleached; in the mask they keep the class they had.
    tag_corners_px : tuple of (float, float) or None
        Corners of the stake tag's black square as (x, y), clockwise from the marker's own upper
        left; None without a tag.
    """

    pixels: NDArray[np.uint8] = field(repr=False)
    mask: NDArray[np.uint8] = field(repr=False)
    leaf_numbers: NDArray[np.uint8] = field(repr=False)
    lesions: tuple[LesionTruth, ...] = field(repr=False)
    scene: Scene
    seed: int
    px_per_mm: float
    burnt_px: int
    missing: NDArray[np.uint8] = field(repr=False)
    tag_corners_px: tuple[tuple[float, float], ...] | None = None

    @property
    def leaf_area_px(self) -> int:
        """Pixels of all leaves, lesions and halos included."""
        return int(np.count_nonzero(self.mask != BACKGROUND))

    @property
    def intact_area_px(self) -> int:
        """Pixels that the leaves would cover if nothing were missing."""
        return self.leaf_area_px + int(np.count_nonzero(self.missing))

    @property
    def missing_pct(self) -> float | None:
        """Missing pixels as a percentage of the intact area; None where there is no leaf."""
        return self._gone(EATEN, FALLEN)

    @property
    def chewed_pct(self) -> float | None:
        """Eaten pixels as a percentage of the intact area; None where there is no leaf."""
        return self._gone(EATEN)

    def _gone(self, *classes: int) -> float | None:
        whole = self.intact_area_px
        return 100 * int(np.isin(self.missing, classes).sum()) / whole if whole else None

    @property
    def lesion_pct(self) -> float | None:
        """Lesion pixels as a percentage of leaf pixels; None where there is no leaf."""
        return self._share(LESION)

    @property
    def halo_pct(self) -> float | None:
        """Halo pixels as a percentage of leaf pixels; None where there is no leaf."""
        return self._share(HALO)

    @property
    def severity_pct(self) -> float | None:
        """Lesion and halo together as a percentage of leaf pixels; None where there is no leaf."""
        return self._share(LESION, HALO)

    def _share(self, *classes: int) -> float | None:
        leaf = self.leaf_area_px
        return 100 * int(np.isin(self.mask, classes).sum()) / leaf if leaf else None
