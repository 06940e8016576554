"""What a leaf measures does not depend on board, light, picture size or compression.

Sick leaves are painted once and then shown on another board, in other light, larger, smaller and
as a worse JPEG. The whole program measures them each time, so the outline and the lesions are
found anew. A measure may change by the stated fraction of its spread (the standard deviation over
the painted sick leaves of ``models/pattern/features.csv``), on average over the leaves.
"""

from pathlib import Path

import cv2
import numpy as np
import pytest

from models.pattern import MEASURES, load_classifier
from models.pattern.training import read_labelled
from scripts.workshop.rendered import Scene, draw_scene, render

FEATURES = Path(__file__).resolve().parents[3] / "models" / "pattern" / "features.csv"
KINDS = (("spot", "septoria"), ("blight", "early"), ("spot", "bacterial"), ("blight", "late"))
LEAVES = 8
BENCH = "bench"

STEADY = 0.2  # of the spread
FRAGILE = {
    # Counts jump by whole lesions, which lie on the border of a class or merge with a neighbour.
    "tiny_lesions": 0.35,
    "small_lesions": 0.35,
    "middle_lesions": 0.45,
    "large_lesions": 0.5,
    "margin_lesions": 0.4,
    "tiny_marks": 0.6,
    "small_marks": 0.45,
    "middle_marks": 0.4,
    "large_marks": 0.4,
    "dominance": 0.3,
    "pieces_1": 0.4,
    "clustering": 0.35,
    "effective_marks": 0.7,
    # Outlines of a few pixels.
    "small_roundness": 0.5,
    "roundness": 0.45,
    "size_spread": 0.5,
    "broad_2": 0.35,
    "inner_share": 0.35,
    "covered": 0.3,
    "solidity": 0.35,
    # Fine detail inside a lesion, which size and compression take away.
    "rings": 0.6,
    "pale_centre": 0.3,
    "large_grain": 0.45,
    "small_edge": 0.4,
    # Colour, which compression keeps at half the size.
    "lesion_redness": 0.5,
    "rim_redness": 0.5,
    "halo_redness": 0.5,
    "lesion_chroma": 0.5,
    "halo_amount": 0.3,
    "broad_9": 0.35,
    "sick_broad_4": 0.3,
    "sick_broad_6": 0.35,
}


def in_light(*gains):
    """Return a change of the light: gains of red, green and blue in linear light."""

    def change(pixels, numbers):
        x = pixels / 255
        linear = np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4)
        y = np.clip(linear * gains, 0, 1)
        coded = np.where(y <= 0.0031308, 12.92 * y, 1.055 * y ** (1 / 2.4) - 0.055)
        return np.round(255 * coded).astype(np.uint8)

    return change


def at_size(factor):
    how = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    return lambda pixels, numbers: cv2.resize(pixels, None, fx=factor, fy=factor, interpolation=how)


def as_jpeg(pixels, numbers):
    _, data = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 75])
    return cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1]


def on_board(name):
    """Return a change of what lies behind the leaf, softly blended along its outline."""

    def change(pixels, numbers):
        rows, columns = pixels.shape[:2]
        scene = Scene(width_px=columns, height_px=rows, background=name, leaves=0)
        behind = render(scene, 5).pixels
        cover = cv2.GaussianBlur((numbers > 0).astype(np.float32), (0, 0), 0.7)[..., None]
        return np.round(pixels * cover + behind * (1 - cover)).astype(np.uint8)

    return change


CHANGES = {
    "violet board": on_board("violet_board"),
    "paper": on_board("paper"),
    "darker": in_light(0.75, 0.75, 0.75),
    "brighter": in_light(1.2, 1.2, 1.2),
    "warm light": in_light(1.08, 1.0, 0.9),
    "smaller": at_size(0.6),
    "larger": at_size(1.7),
    "JPEG quality 75": as_jpeg,
}


@pytest.fixture(scope="module")
def measured(measure_pixels):
    """Return each leaf's measurements, as painted (first) and changed."""
    found = {name: [] for name in ("as painted", BENCH, *CHANGES)}
    for number in range(LEAVES):
        rng = np.random.default_rng([31, number])
        pattern, kind = KINDS[number % len(KINDS)]
        scene = draw_scene(
            rng, background="grey_board", leaves=1, shape="leaflet", width_px=480, height_px=400,
            pattern=pattern, kind=kind, leaf_size=0.85, severity_pct=float(rng.uniform(5, 25)),
            holes=0, soil_specks=0, blur_px=0.0, motion_px=0.0, direct=0.3, gloss=0.3,
        )  # fmt: skip
        photo = render(scene, number)
        # The same blending everywhere, so that only what is behind differs.
        pixels = on_board("grey_board")(photo.pixels, photo.leaf_numbers)
        found["as painted"].append(measure_pixels(pixels))
        found[BENCH].append(measure_pixels(on_board("bench")(pixels, photo.leaf_numbers)))
        for name, change in CHANGES.items():
            found[name].append(measure_pixels(change(pixels, photo.leaf_numbers)))
    return {name: np.array(rows) for name, rows in found.items()}


@pytest.fixture(scope="module")
def shifts(measured):
    """Return changes in spreads, by change: shape (leaves, measures)."""
    table = read_labelled(FEATURES)
    sick = table.measured[table.rendered & (table.pattern != "none")]
    spread, typical = np.nanstd(sick, axis=0), np.nanmedian(sick, axis=0)

    def filled(rows):
        return np.where(np.isfinite(rows), rows, typical)  # as the classifier does

    before = filled(measured["as painted"])
    return {name: np.abs(filled(measured[name]) - before) / spread for name in (BENCH, *CHANGES)}


@pytest.mark.parametrize("name", [measure.name for measure in MEASURES])
def test_a_measure_stays_whatever_board_light_size_and_compression(shifts, name):
    place = [measure.name for measure in MEASURES].index(name)
    found = {change: float(shifts[change][:, place].mean()) for change in CHANGES}
    bound = FRAGILE.get(name, STEADY)
    assert {change: mean for change, mean in found.items() if mean > bound} == {}


def test_most_measures_hardly_change_at_all(shifts):
    means = np.array([shifts[change].mean(axis=0) for change in CHANGES])
    assert np.median(means) < 0.06
    assert np.mean(means.max(axis=0) < 0.15) > 0.5


def test_on_brown_wood_lesions_off_the_margin_measure_the_same(shifts):
    """At the margin, dead tissue and brown wood look alike, and the outline may leave it out."""
    names = [measure.name for measure in MEASURES]
    for name in ("tiny_lesions", "small_lesions", "inner_lesions", "small_amount", "covered"):
        assert shifts[BENCH][:, names.index(name)].mean() < 0.25, name


def test_the_likeliest_pattern_stays_whatever_board_light_size_and_compression(measured):
    classifier = load_classifier()
    before = classifier.probabilities(measured["as painted"].astype(float)).argmax(axis=1)
    for name in CHANGES:
        after = classifier.probabilities(measured[name].astype(float)).argmax(axis=1)
        assert np.count_nonzero(after != before) <= 1, name


def test_sizes_of_lesions_do_not_grow_with_the_picture(measured):
    """Lengths are in leaf sides: a picture 2.8 times as large must not show it."""
    names = [measure.name for measure in MEASURES]
    for name in ("largest_diameter", "mean_diameter", "thickest"):
        place = names.index(name)
        ratio = measured["larger"][:, place] / measured["smaller"][:, place]
        assert np.median(ratio) == pytest.approx(1, abs=0.15), name
