"""What a dark spot looks like, from its middle outward, whichever way it is turned.

Spots of all sizes are sampled on the same grid, so that all are looked at together: means and
spreads of colour in rings, how one-sided and how long the dark is, and whether it is light all
round.
"""

import numpy as np
from numpy.typing import NDArray

from vision.frass_peaks import Peaks

__all__ = ["LOOK", "looks"]

Floats = NDArray[np.float32]

_REACH = 10  # grid points on each side of the middle
_POINTS_PER_SIZE = 9.0  # grid points across a spot
_EDGES = (0.0, 1.6, 3.1, 4.4, 5.6, 7.0, 8.6, 10.6)  # of the rings, in grid points
_SECTORS = 8
_CHANNELS = ("grey", "red_green", "yellow")

_RING_COUNT = len(_EDGES) - 1

LOOK = (
    *(f"{channel}_{ring}" for channel in _CHANNELS for ring in range(_RING_COUNT)),
    *(f"spread_{ring}" for ring in range(_RING_COUNT)),
    *(f"colour_spread_{ring}" for ring in (0, 2, 4, 6)),
    *(f"rise_{ring}" for ring in range(1, _RING_COUNT - 1)),
    *(f"{name}_{ring}" for ring in (2, 3, 4, 5) for name in ("one_sided", "long")),
    *(f"{name}_{ring}" for ring in (3, 4, 5) for name in ("darkest_side", "lightest_side")),
    *(f"dark_share_{ring}" for ring in (3, 4, 5, 6)),
    "contrast",
    "red_green_step",
    "yellow_step",
    "size",
)
"""What is measured of one spot, in order: sRGB values (grey; red minus green; green minus blue)
in rings 0 to 6 from the middle outward, their spread, and shapes as shares of the grey step."""


def _grid() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    side = np.arange(-_REACH, _REACH + 1)
    down, right = (axis.ravel().astype(float) for axis in np.meshgrid(side, side, indexing="ij"))
    near = np.hypot(down, right) < _EDGES[-1]
    return down[near], right[near]


_DOWN, _RIGHT = _grid()
_AWAY = np.hypot(_DOWN, _RIGHT)
_RING = np.searchsorted(_EDGES, _AWAY, side="right") - 1
_ANGLE = np.arctan2(_DOWN, _RIGHT)


def _mean_over(where: NDArray[np.bool_]) -> Floats:
    """Return the weights of a mean over some grid points."""
    return np.asarray(where / max(1, int(np.count_nonzero(where))), np.float32)


_MEANS = np.stack([_mean_over(np.equal(_RING, ring)) for ring in range(_RING_COUNT)], axis=1)
_WAVES = np.stack(
    [
        turn(times * _ANGLE) * _MEANS[:, ring]
        for ring in (2, 3, 4, 5)
        for times in (1, 2)
        for turn in (np.cos, np.sin)
    ],
    axis=1,
).astype(np.float32)
_SECTOR = np.floor((_ANGLE + np.pi) / (2 * np.pi) * _SECTORS).astype(int) % _SECTORS
_PARTS = np.stack(
    [
        _mean_over(np.equal(_RING, ring) & np.equal(_SECTOR, sector))
        for ring in (3, 4, 5)
        for sector in range(_SECTORS)
    ],
    axis=1,
)
_TO_CHANNELS = np.array([[0.3, 0.59, 0.11], [1, -1, 0], [0, 1, -1]], np.float32)
_LEAST_STEP = 4.0  # grey values


def looks(peaks: Peaks) -> Floats:
    """Return ``LOOK`` of spots of one size in one view.

    Parameters
    ----------
    peaks : Peaks
        From ``vision.frass_peaks``.

    Returns
    -------
    ndarray of float32, shape (spots, len(LOOK))
    """
    grey, red_green, yellow = _sampled(peaks)
    profile = grey @ _MEANS
    spread = np.sqrt(np.maximum((grey * grey) @ _MEANS - profile**2, 0))
    colours = [channel @ _MEANS for channel in (red_green, yellow)]
    colour_spread = np.sqrt(np.maximum((red_green**2) @ _MEANS - colours[0] ** 2, 0))
    core, ground = profile[:, :2].mean(axis=1), profile[:, -1]
    step = np.maximum(ground - core, _LEAST_STEP)[:, None]
    columns = [
        profile,
        *colours,
        spread,
        colour_spread[:, [0, 2, 4, 6]],
        (profile[:, 1:-1] - core[:, None]) / step,
        _waves(grey, step),
        _sides(grey, core, step),
        ((grey < core[:, None] + step / 2) @ _MEANS)[:, 3:],
        np.log((ground + 8) / (core + 8)),
        *(channel[:, 0] - channel[:, -1] for channel in colours),
        np.full(len(grey), np.log(peaks.size_px * peaks.view.factor)),
    ]
    return np.column_stack(columns).astype(np.float32)


def _sampled(peaks: Peaks) -> tuple[Floats, Floats, Floats]:
    """Return grey, red minus green and green minus blue, each of shape (spots, grid points)."""
    stride = peaks.size_px / _POINTS_PER_SIZE
    rows, columns = peaks.view.pixels.shape[:2]
    offset = np.rint(_DOWN * stride).astype(np.intp) * columns
    offset += np.rint(_RIGHT * stride).astype(np.intp)
    place = (peaks.rows * columns + peaks.cols)[:, None] + offset
    seen = peaks.view.pixels.reshape(rows * columns, 3)[place].astype(np.float32)
    grey, red_green, yellow = np.moveaxis(seen @ _TO_CHANNELS.T, -1, 0)
    return np.ascontiguousarray(grey), np.ascontiguousarray(red_green), yellow


def _waves(grey: Floats, step: Floats) -> Floats:
    """Return how one-sided and how long the dark is in four rings, as shares of the step."""
    waves = (grey @ _WAVES).reshape(len(grey), -1, 2)
    return np.asarray(np.hypot(waves[..., 0], waves[..., 1]) / step, np.float32)


def _sides(grey: Floats, core: Floats, step: Floats) -> Floats:
    """Return the darkest and the lightest of eight sides of three rings, as shares of the step."""
    sides = ((grey @ _PARTS - core[:, None]) / step).reshape(len(grey), 3, _SECTORS)
    ends = np.stack([sides.min(axis=2), sides.max(axis=2)], axis=2)
    return np.asarray(ends.reshape(len(grey), 6), np.float32)
