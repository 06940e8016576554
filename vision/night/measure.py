"""The story of a UV night photo: what glows, and which of it are caterpillars."""

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.colour import encoded, lab_8bit
from vision.counting import count_interval
from vision.flags import in_order
from vision.night.candidates import find_candidates
from vision.night.decide import COUNTED_FROM, Found, decide
from vision.night.features import Sampled, features_by_name, size_at_half
from vision.night.judge import load_night_judge
from vision.night.light import FLOOR, NightLight, read_night_light
from vision.night.quality import night_flags
from vision.night.rejected import ASKED, reason_for
from vision.night.torch_off import without_stray_light
from vision.night.uv import why_not_uv
from vision.records import (
    CATERPILLAR,
    Caterpillar,
    NightMeasurement,
    NightReading,
    Photo,
    RejectedGlow,
)

__all__ = ["measure_night_photo"]

_STANDS_OUT = 2.0  # times the light beside it
_WORTH_NAMING = 0.05
_DOUBT = 0.01  # candidates less likely than that do not widen the interval

Pixels = NDArray[np.uint8]


def measure_night_photo(photo: Photo, torch_off: Photo | None = None) -> NightMeasurement:
    """Count the caterpillars of a UV night photo.

    Parameters
    ----------
    photo : Photo
        From ``vision.photo.decode.read_photo``.
    torch_off : Photo, optional
        The same scene with the torch off; passed over, with a flag, when its size differs.

    Returns
    -------
    NightMeasurement
        Without a count, and with a flag that says why, where the photo is no UV photo.
    """
    pixels, flags = _without_off(photo, torch_off)
    used = torch_off is not None and "torch_off_unfit" not in flags
    empty = np.zeros(photo.pixels.shape[:2], np.uint8)
    refused = why_not_uv(photo.pixels)
    if refused:
        flags = in_order((*flags, refused))
        return NightMeasurement(NightReading(flags=flags, torch_off_used=used), empty)
    night = read_night_light(pixels)
    found = decide(find_candidates(night), night, load_night_judge())
    flags = in_order((*flags, *night_flags(night)))
    reading = _reading(found, night, photo.reduction * night.scale, flags, used)
    return NightMeasurement(reading, _classes(found, night, empty))


def _without_off(photo: Photo, torch_off: Photo | None) -> tuple[Pixels, tuple[str, ...]]:
    if torch_off is None:
        return photo.pixels, photo.flags
    if torch_off.pixels.shape != photo.pixels.shape:
        return photo.pixels, (*photo.flags, "torch_off_unfit")
    return without_stray_light(photo.pixels, torch_off.pixels), photo.flags


def _reading(
    found: list[Found], night: NightLight, scale: float, flags: tuple[str, ...], used: bool
) -> NightReading:
    counted = [one for one in found if one.probability >= COUNTED_FROM]
    others = [one for one in found if one.probability < COUNTED_FROM and _bright(one)]
    doubtful = [one.probability for one in found if one.probability >= _DOUBT]
    low, high = count_interval(doubtful, len(counted))
    return NightReading(
        caterpillars=tuple(_caterpillar(one, night, scale) for one in counted),
        rejected=tuple(_rejected(one, night, scale) for one in others),
        flags=flags,
        caterpillar_count=len(counted),
        caterpillar_low=low,
        caterpillar_high=high,
        torch_off_used=used,
    )


def _bright(one: Found) -> bool:
    """Whether a thing that was not counted stands out at all, or might be a caterpillar."""
    beside = float(one.seen.ground[1]) + float(FLOOR)
    stands_out = float(one.seen.own_light[1]) > _STANDS_OUT * beside
    return one.probability >= _WORTH_NAMING or stands_out


def _middle(seen: Sampled, scale: float) -> tuple[float, float]:
    row, col = seen.body.midline[len(seen.body.midline) // 2]
    return float((row + 0.5) * scale - 0.5), float((col + 0.5) * scale - 0.5)


def _caterpillar(one: Found, night: NightLight, scale: float) -> Caterpillar:
    body = one.seen.body
    row, col = _middle(one.seen, scale)
    length, width = size_at_half(body, night)
    line = (body.midline[::3] + 0.5) * scale - 0.5
    return Caterpillar(
        row_px=row,
        col_px=col,
        length_px=length * scale,
        width_px=width * scale,
        glow_contrast=float(np.exp(np.median(one.seen.ratio))),
        hue_difference_deg=_hue_difference(one.seen, night),
        confidence=one.probability,
        midline_px=tuple((float(r), float(c)) for r, c in line),
    )


def _rejected(one: Found, night: NightLight, scale: float) -> RejectedGlow:
    row, col = _middle(one.seen, scale)
    length, width = one.seen.body.length * scale, one.seen.body.width * scale
    reason = reason_for(features_by_name(one.seen, night, ASKED))
    box = _box(one.seen, scale)
    return RejectedGlow(row, col, length, width, reason, one.probability, box)


def _box(seen: Sampled, scale: float) -> tuple[float, float, float, float]:
    """Return left, top, right and bottom of a body's pixels."""
    rows, cols = np.nonzero(seen.body.mask)
    top, left = (side.start or 0 for side in seen.body.window)
    edges = (left + cols.min(), top + rows.min(), left + cols.max() + 1, top + rows.max() + 1)
    first, second, third, fourth = (float(edge * scale) for edge in edges)
    return first, second, third, fourth


def _hue_difference(seen: Sampled, night: NightLight) -> float:
    """Return the CIELAB hue angle between a body and the foliage, 0 to 180 degrees."""
    hues = [_hue_deg(light) for light in (np.median(seen.light, axis=(0, 1)), night.foliage)]
    return float(abs((hues[0] - hues[1] + 180) % 360 - 180))


def _hue_deg(light: NDArray[np.floating]) -> float:
    linear = np.clip(np.asarray(light, np.float64), 0, 1)
    _, a, b = (
        lab_8bit(np.rint(255 * encoded(linear)).astype(np.uint8)[None, None])[0, 0].astype(float)
        - 128
    )
    return float(np.degrees(np.arctan2(b, a)))


def _classes(found: list[Found], night: NightLight, empty: Pixels) -> Pixels:
    """Return the mask of the counted bodies at the scale of the photo's pixels."""
    small = np.zeros(night.glow.shape, np.uint8)
    for one in found:
        if one.probability >= COUNTED_FROM:
            small[one.seen.body.window][one.seen.body.mask] = CATERPILLAR
    size = (empty.shape[1], empty.shape[0])
    return np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_NEAREST), np.uint8)
