"""Draw the documents' overlays anew: ``python -m scripts.workshop paint pictures [FILE]``.

The overlay of one photo of the sample garden, as ``spotlamp demo`` draws it, made smaller.
"""

import sys
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from models.pattern import in_words, load_classifier
from scripts.common.terminal import sample_garden, sample_night_round
from scripts.score.photo import call_leaves
from vision.day.overlay import draw_overlay
from vision.measure import measure_day, measure_night
from vision.night.overlay import draw_night_overlay
from vision.photo.decode import read_photo
from vision.photo.find import PhotoFile

__all__ = ["NIGHT_PICTURE", "PICTURE", "SHOWN", "night_picture", "readme_picture"]

SHOWN = "bed-1/plant-A1/2025-07-12_plant-A1_1.jpg"
PICTURE = Path(__file__).resolve().parents[3] / "sample_images" / "overlay.jpg"

SHOWN_BY_NIGHT = "bed-2/plant-B3/2025-07-12_2249_plant-B3_2.jpg"
NIGHT_PICTURE = PICTURE.with_name("night-overlay.jpg")

_COLUMNS = 840
_JPEG_QUALITY = 82


def readme_picture(picture: Path, garden: Path) -> None:
    """Score one sample photo and write its overlay as a JPEG of at most 150 kB."""
    photo = read_photo(PhotoFile(garden / SHOWN, SHOWN))
    day = measure_day(photo)
    calls = call_leaves(load_classifier(), day.photo, day.measurement)
    words = [in_words(call) for call in calls]
    _write_small(draw_overlay(photo, day.measurement, words), picture)


def night_picture(picture: Path, rounds: Path) -> None:
    """Count one photo of the sample night round and write its overlay as a small JPEG."""
    photo = read_photo(PhotoFile(rounds / SHOWN_BY_NIGHT, SHOWN_BY_NIGHT))
    _write_small(draw_night_overlay(photo, measure_night(photo).measurement), picture)


def _write_small(drawn: NDArray[np.uint8], picture: Path) -> None:
    overlay = cv2.cvtColor(drawn, cv2.COLOR_RGB2BGR)
    factor = min(1.0, _COLUMNS / overlay.shape[1])
    small = cv2.resize(overlay, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    jpg = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])[1]
    picture.write_bytes(jpg.tobytes())


def main() -> None:
    """Draw both, or the day picture into FILE."""
    sample = sample_garden()
    if sample is None:
        sys.exit("The sample garden is missing.")
    written = Path(sys.argv[1]) if len(sys.argv) > 1 else PICTURE
    readme_picture(written, sample)
    print(f"Drawn into {written}")
    if written == PICTURE and (rounds := sample_night_round()):
        night_picture(NIGHT_PICTURE, rounds)
        print(f"Drawn into {NIGHT_PICTURE}")


if __name__ == "__main__":
    main()
