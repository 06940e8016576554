"""Draw the README's picture anew: ``python -m scripts.readme_picture [FILE]``.

The overlay of one photo of the sample garden, as ``spotlamp demo`` draws it, made smaller.
"""

import sys
from pathlib import Path

import cv2

from models.pattern import in_words, load_classifier
from scripts.batch import call_leaves
from scripts.terminal import sample_garden
from vision.find import PhotoFile
from vision.measure import measure_day_photo
from vision.overlay import draw_overlay
from vision.photo import read_photo

__all__ = ["PICTURE", "SHOWN", "readme_picture"]

SHOWN = "bed-1/plant-A1/2025-07-12_plant-A1_1.jpg"
PICTURE = Path(__file__).resolve().parent.parent / "sample_images" / "overlay.jpg"

_COLUMNS = 840
_JPEG_QUALITY = 82


def readme_picture(picture: Path, garden: Path) -> None:
    """Score one sample photo and write its overlay as a JPEG of at most 150 kB."""
    photo = read_photo(PhotoFile(garden / SHOWN, SHOWN))
    measurement = measure_day_photo(photo)
    words = [in_words(call) for call in call_leaves(load_classifier(), photo, measurement)]
    overlay = cv2.cvtColor(draw_overlay(photo, measurement, words), cv2.COLOR_RGB2BGR)
    factor = min(1.0, _COLUMNS / overlay.shape[1])
    small = cv2.resize(overlay, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    jpg = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])[1]
    picture.write_bytes(jpg.tobytes())


if __name__ == "__main__":
    sample = sample_garden()
    if sample is None:
        sys.exit("The sample garden is missing.")
    written = Path(sys.argv[1]) if len(sys.argv) > 1 else PICTURE
    readme_picture(written, sample)
    print(f"Drawn into {written}")
