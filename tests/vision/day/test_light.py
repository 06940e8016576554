"""Unusable photos are flagged, usable ones are not: painted ones, changed ones, real ones."""

from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pytest

from scripts.workshop.rendered import PLAIN_BACKGROUNDS, Scene, draw_scene, render
from vision.colour import LINEAR_LIGHT
from vision.day.light import read_light
from vision.day.measure import measure_day_photo
from vision.day.tissue import healthy_colour, leaf_lab
from vision.photo.decode import read_photo
from vision.photo.find import PhotoFile
from vision.records import Photo

PHOTOS = Path(__file__).parents[3].parent / "shared" / "photos"
OF_LIGHT = {"blurred", "too_dark", "over_exposed", "colour_cast", "red_blue_swapped"}

real_only = pytest.mark.skipif(
    not (PHOTOS / "tomato").is_dir(), reason="the real photos are not beside the checkout"
)


def flags(pixels):
    rows, columns = pixels.shape[:2]
    when = datetime(2025, 6, 14)
    photo = Photo(Path("a"), "a", "0" * 64, when, "file", pixels, columns, rows)
    return set(measure_day_photo(photo).reading.flags)


def gained(pixels, gains):
    """Multiply linear light by gains of red, green and blue, as another exposure would."""
    light = np.clip(LINEAR_LIGHT[pixels] * np.asarray(gains), 0, 1)
    low, high = 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055
    return np.round(255 * np.where(light <= 0.0031308, low, high)).astype(np.uint8)


def swapped(pixels):
    return np.ascontiguousarray(pixels[..., ::-1])


def defocused(pixels, share=0.012):
    return cv2.GaussianBlur(pixels, (0, 0), share * max(pixels.shape))


def painted(seed, **fixed):
    background = PLAIN_BACKGROUNDS[seed % len(PLAIN_BACKGROUNDS)]
    usual = {"exposure": 1.0, "cast": (1.0, 1.0, 1.0), "blur_px": 0.0, "motion_px": 0.0}
    drawn = draw_scene(np.random.default_rng(seed), background=background, **(usual | fixed))
    return render(drawn, seed).pixels


@pytest.fixture(scope="module")
def usual():
    """Painted leaves on plain backgrounds in neutral light, sharp and well exposed."""
    return [painted(seed) for seed in range(97_000, 97_020)]


@pytest.fixture(scope="module")
def real():
    """Every so manieth real photo, of each folder: 20 coffee leaves and 60 tomato leaves."""
    folders = [path for path in sorted((PHOTOS / "tomato").iterdir()) if path.is_dir()]
    paths = [path for folder in folders for path in sorted(folder.iterdir())[3::43]]
    paths += sorted((PHOTOS / "coffee" / "images").iterdir())[4::10]
    return [read_photo(PhotoFile(path, path.name)).pixels for path in paths]


def share(photos, change, names):
    """Share of photos that carry one of the flags after a change."""
    return np.mean([bool(flags(change(pixels)) & set(names)) for pixels in photos])


def test_usual_painted_photos_carry_no_flag_of_the_light(usual):
    assert [flags(pixels) & OF_LIGHT for pixels in usual].count(set()) >= 19


@real_only
def test_at_least_95_of_100_real_photos_carry_no_flag_of_the_light(real):
    assert len(real) >= 70
    assert share(real, lambda p: p, OF_LIGHT) <= 0.05


WRONG = {
    "out of focus": (defocused, {"blurred", "no_leaf", "no_single_leaf"}, 0.9),
    "a twelfth of the light": (lambda p: gained(p, 1 / 12), {"too_dark", "no_leaf"}, 0.85),
    "eight times the light": (lambda p: gained(p, 8), {"over_exposed", "no_leaf"}, 0.9),
    "red and blue exchanged": (swapped, {"red_blue_swapped", "colour_cast"}, 0.85),
    "blue light": (lambda p: gained(p, (0.4, 0.9, 2.5)), {"colour_cast", "no_leaf"}, 0.8),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_painted_photo_is_flagged(usual, name):
    change, names, least = WRONG[name]
    assert share(usual, change, names) >= least


@real_only
@pytest.mark.parametrize("name", [name for name in WRONG if name != "blue light"])
def test_a_wrong_real_photo_is_flagged(real, name):
    change, names, least = WRONG[name]
    assert share(real[::2], change, names) >= least


def test_a_photo_with_exchanged_colours_is_not_measured(usual):
    # Where the green is vivid; in a pale one only a strong cast is told, and it is measured.
    pixels = next(p for p in map(swapped, usual) if "red_blue_swapped" in flags(p))
    rows, columns = pixels.shape[:2]
    photo = Photo(Path("a"), "a", "0", datetime(2025, 6, 14), "file", pixels, columns, rows)
    found = measure_day_photo(photo)
    assert "red_blue_swapped" in found.reading.flags
    assert found.reading.severity_pct is None
    assert not found.classes.any()


def light_of(pixels, mask):
    lab, leaf = leaf_lab(pixels), mask > 0
    return read_light(pixels, lab, leaf, healthy_colour(lab, leaf))


@pytest.fixture(scope="module")
def leaf():
    photo = render(Scene(pattern="spot", kind="septoria", noise=0.1), 6)
    return photo.pixels, photo.mask


def test_more_blur_reads_more_blurred(leaf):
    pixels, mask = leaf
    read = [light_of(defocused(pixels, s), mask).blur for s in (1e-4, 0.002, 0.004, 0.008)]
    assert read == sorted(read)
    assert read[0] < 0.45 < 0.6 < read[-1]


def test_more_light_reads_lighter_and_more_burnt(leaf):
    pixels, mask = leaf
    read = [light_of(gained(pixels, gain), mask) for gain in (0.25, 1, 4, 16)]
    assert [r.lightness for r in read] == sorted(r.lightness for r in read)
    assert [r.burnt_share for r in read] == sorted(r.burnt_share for r in read)
    assert read[1].burnt_share < 0.08 < read[2].burnt_share


def test_exchanging_red_and_blue_turns_the_sign_of_redness(leaf):
    pixels, mask = leaf
    there, back = light_of(pixels, mask), light_of(swapped(pixels), mask)
    assert there.redness > 0.2
    assert back.redness == pytest.approx(-there.redness, abs=0.01)


def test_brightness_leaves_redness_alone(leaf):
    pixels, mask = leaf
    dark = light_of(gained(pixels, 0.6), mask).redness
    assert dark == pytest.approx(light_of(pixels, mask).redness, abs=0.12)


def test_a_plain_leaf_without_any_texture_is_blurred():
    pixels = np.full((60, 80, 3), (60, 130, 50), np.uint8)
    assert light_of(pixels, np.ones((60, 80), np.uint8)).blur == 1.0


def test_one_burnt_channel_is_enough():
    """By hand: half of the leaf has green 255 with red and blue far below."""
    pixels = np.full((40, 40, 3), (60, 130, 50), np.uint8)
    pixels[:20] = (150, 255, 120)
    assert light_of(pixels, np.ones((40, 40), np.uint8)).burnt_share == 0.5
