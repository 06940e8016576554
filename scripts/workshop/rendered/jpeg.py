"""What storing a photo as JPEG does to it, without the file."""

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["jpeg_loss"]

# Quantisation tables of ITU-T T.81 (1992), Annex K: brightness and colour [memory, checked against
# OpenCV's encoder by a test].
_LUMA = np.array(
    [
        [16, 11, 10, 16, 24, 40, 51, 61], [12, 12, 14, 19, 26, 58, 60, 55],
        [14, 13, 16, 24, 40, 57, 69, 56], [14, 17, 22, 29, 51, 87, 80, 62],
        [18, 22, 37, 56, 68, 109, 103, 77], [24, 35, 55, 64, 81, 104, 113, 92],
        [49, 64, 78, 87, 103, 121, 120, 101], [72, 92, 95, 98, 112, 100, 103, 99],
    ],
    np.float32,
)  # fmt: skip
_CHROMA = np.full((8, 8), 99, np.float32)
_CHROMA[:4, :4] = [[17, 18, 24, 47], [18, 21, 26, 66], [24, 26, 56, 99], [47, 66, 99, 99]]


def jpeg_loss(photo: NDArray[np.uint8], quality: int) -> NDArray[np.uint8]:
    """Return a photo as it comes back from a JPEG file with colours at half resolution.

    Parameters
    ----------
    photo : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first. Not changed.
    quality : int
        1 to 100, as encoders count it.
    """
    rows, cols = photo.shape[:2]
    padded = cv2.copyMakeBorder(photo, 0, -rows % 16, 0, -cols % 16, cv2.BORDER_REPLICATE)
    y, cr, cb = cv2.split(cv2.cvtColor(padded, cv2.COLOR_RGB2YCrCb))
    half = (padded.shape[1] // 2, padded.shape[0] // 2)
    full = (padded.shape[1], padded.shape[0])
    colours = []
    for channel in (cr, cb):
        small = np.asarray(cv2.resize(channel, half, interpolation=cv2.INTER_AREA), np.uint8)
        back = _quantised(small, _table(_CHROMA, quality))
        colours.append(cv2.resize(back, full, interpolation=cv2.INTER_LINEAR))
    bright = _quantised(np.asarray(y, np.uint8), _table(_LUMA, quality))
    out = cv2.cvtColor(cv2.merge([bright, *colours]), cv2.COLOR_YCrCb2RGB)
    return np.ascontiguousarray(out[:rows, :cols], np.uint8)


def _table(base: NDArray[np.float32], quality: int) -> NDArray[np.float32]:
    scale = 5000 / quality if quality < 50 else 200 - 2 * quality
    return np.clip(np.floor((base * scale + 50) / 100), 1, 255).astype(np.float32)


def _quantised(channel: NDArray[np.uint8], table: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Round the cosine coefficients of each 8 × 8 block to multiples of the table."""
    rows, cols = channel.shape
    blocks = channel.astype(np.float32).reshape(rows // 8, 8, cols // 8, 8).swapaxes(1, 2) - 128
    basis = cv2.dct(np.eye(8, dtype=np.float32), flags=cv2.DCT_ROWS).T
    spectrum = np.rint(basis @ blocks @ basis.T / table) * table
    back = (basis.T @ spectrum @ basis + 128).swapaxes(1, 2).reshape(rows, cols)
    return np.clip(np.rint(back), 0, 255).astype(np.uint8)
