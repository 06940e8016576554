"""What counts as bleached: drawn leaves with the arithmetic beside them, and painted ones."""

from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from scripts.workshop.rendered import Scene, render
from vision.day.burn import BLEACHED, GLARE, UNSURE, read_burn
from vision.day.measure import measure_day_photo
from vision.day.tissue import leaf_lab
from vision.records import LEAF, DayMeasurement, DayReading, LeafReading, Photo

GREEN, BROWN, YELLOW = (60, 130, 50), (90, 55, 30), (200, 190, 60)
WHITE, TAN, SOIL = (215, 210, 195), (185, 168, 138), (80, 60, 45)
ROWS, COLUMNS, AROUND = 320, 420, 50  # of the drawn leaf, and the board around it


def photo_of(pixels) -> Photo:
    pixels = np.ascontiguousarray(pixels)
    rows, columns = pixels.shape[:2]
    return Photo(Path("x"), "x", "0" * 64, datetime(2026, 6, 1), "file", pixels, columns, rows)


class Drawn:
    """A rectangular green leaf on a board."""

    def __init__(self, board=(120, 120, 125)):
        self.pixels = np.full((ROWS + 2 * AROUND, COLUMNS + 2 * AROUND, 3), board, np.uint8)
        self.numbers = np.zeros(self.pixels.shape[:2], np.uint8)
        self.numbers[AROUND:-AROUND, AROUND:-AROUND] = 1
        self.pixels[self.numbers == 1] = GREEN

    def disc(self, row, col, diameter, colour, *, hole=False):
        """Draw a disc, or cut a hole that shows the colour."""
        rows, cols = np.ogrid[: self.pixels.shape[0], : self.pixels.shape[1]]
        inside = (rows - row) ** 2 + (cols - col) ** 2 <= (diameter / 2) ** 2
        self.pixels[inside] = colour
        self.numbers[inside & hole] = 0
        return self

    def read(self, healthy=GREEN):
        """Read the leaf as if its outline and healthy colour were known exactly."""
        lab = leaf_lab(np.full((9, 9, 3), healthy, np.uint8))[4, 4]
        leaf = LeafReading(1, 0, 0, 1.0, (), 0, 0, 0, 0, 0, tuple(float(v) for v in lab))
        classes = (self.numbers * LEAF).astype(np.uint8)
        measurement = DayMeasurement(DayReading((leaf,)), classes, self.numbers)
        return read_burn(photo_of(self.pixels), measurement)


def test_a_green_leaf_has_no_bleached_tissue():
    read = Drawn().read()
    assert (read.bleached_pct, read.unsure_pct, read.glare_pct, read.patch_count) == (0, 0, 0, 0)
    assert read.leaf_area_px == ROWS * COLUMNS


@pytest.mark.parametrize("colour", [WHITE, TAN])
def test_white_and_tan_patches_in_green_are_bleached(colour):
    read = Drawn().disc(100, 100, 30, colour).disc(200, 300, 20, colour).read()
    # π/4 · (30² + 20²) px² of 320 × 420 px²
    assert read.bleached_pct == pytest.approx(100 * np.pi / 4 * 1300 / (ROWS * COLUMNS), rel=0.1)
    assert read.patch_count == 2
    assert read.unsure_pct == 0


def test_white_light_on_green_is_not_bleached():
    """Gloss and dew add the same light to red, green and blue."""
    from vision.colour import LINEAR_LIGHT

    light = LINEAR_LIGHT[np.array(GREEN)] + 0.12
    shiny = tuple(int(np.abs(LINEAR_LIGHT - one).argmin()) for one in light)
    assert Drawn().disc(100, 100, 40, shiny).read().bleached_pct == 0


def test_burnt_out_light_is_glare_and_not_tissue():
    read = Drawn().disc(100, 100, 40, (255, 255, 255)).read()
    assert read.glare_pct > 0.5
    # Only the blurred rim between glare and green may look pale.
    assert read.bleached_pct < 0.1 * read.glare_pct


@pytest.mark.parametrize("colour", [BROWN, YELLOW, SOIL])
def test_lesions_halos_and_crumbs_of_soil_are_not_bleached(colour):
    read = Drawn().disc(100, 100, 40, colour).read()
    assert (read.bleached_pct, read.unsure_pct) == (0, 0)


def test_a_pale_middle_in_dead_tissue_is_unsure():
    read = Drawn().disc(100, 100, 60, BROWN).disc(100, 100, 30, TAN).read()
    assert read.bleached_pct == 0
    assert read.unsure_pct > 0.3


PAPER = (235, 235, 232)


def test_a_white_hole_on_white_paper_is_unsure_and_one_that_shows_soil_is_nothing():
    white = Drawn(PAPER).disc(100, 100, 30, PAPER, hole=True).read()
    assert white.bleached_pct == 0
    assert white.unsure_pct > 0.3
    assert Drawn().disc(100, 100, 30, SOIL, hole=True).read().unsure_pct == 0


def test_on_a_ground_that_is_not_pale_white_tissue_is_no_hole_though_the_outline_left_it_out():
    read = Drawn().disc(100, 100, 30, WHITE, hole=True).read()
    assert read.bleached_pct > 0.3
    assert read.ground_pale == 0
    assert Drawn(PAPER).read().ground_pale == 1


def test_a_burnt_margin_that_the_outline_left_out_is_found():
    clear = Drawn().disc(200, AROUND, 30, WHITE, hole=True).read()
    assert clear.bleached_pct > 0.2
    white = Drawn(PAPER).disc(200, AROUND, 18, TAN, hole=True).read()
    assert (white.bleached_pct, white.unsure_pct > 0.03) == (0, True)
    # The paper itself, and a bluish shadow on it, are no tissue.
    for colour in (PAPER, (150, 152, 160)):
        assert Drawn(PAPER).disc(200, AROUND, 18, colour, hole=True).read().unsure_pct == 0


def test_outermost_pixels_mixed_with_pale_ground_are_no_tissue():
    drawn = Drawn(PAPER)
    drawn.pixels[AROUND:-AROUND, AROUND : AROUND + 3] = (185, 192, 182)
    assert (drawn.read().bleached_pct, drawn.read().unsure_pct) == (0, 0)


def test_straw_is_a_rough_ground_and_paper_is_not():
    straw = Drawn(PAPER)
    stalks = np.arange(len(straw.pixels)) // 4 % 2 == 0
    straw.pixels[stalks[:, None] & (straw.numbers == 0)] = SOIL
    assert straw.read().ground_rough > 5
    assert Drawn(PAPER).read().ground_rough < 1


def test_specks_below_half_a_millimetre_of_a_leaf_are_passed_over():
    assert Drawn().disc(100, 100, 2, WHITE).read().bleached_pct == 0


def test_the_mask_says_where_each_kind_is():
    drawn = Drawn().disc(100, 100, 30, WHITE).disc(200, 300, 60, BROWN).disc(200, 300, 30, TAN)
    mask = drawn.disc(60, 350, 20, (255, 255, 255)).read().mask
    assert (mask[100, 100], mask[200, 300], mask[60, 350]) == (BLEACHED, UNSURE, GLARE)
    assert mask[250, 50] == 0


def test_a_photo_without_leaf_has_no_burn_reading():
    pixels = np.full((200, 300, 3), 190, np.uint8)
    photo = photo_of(pixels)
    assert read_burn(photo, measure_day_photo(photo)) is None


SCENE = Scene(
    width_px=700, height_px=520, background="grey_board", pattern="spot", kind="septoria",
    severity_pct=6.0, direct=0.3,
)  # fmt: skip


def painted(**changes):
    photo = photo_of(render(replace(SCENE, **changes), 5).pixels)
    return read_burn(photo, measure_day_photo(photo))


@pytest.fixture(scope="module")
def plain():
    return painted()


def test_painted_burn_is_found_and_more_burn_gives_a_higher_figure(plain):
    some, more = painted(burn_pct=3.0), painted(burn_pct=9.0)
    assert plain.bleached_pct < 0.2
    assert 1 < some.bleached_pct < 5
    assert more.bleached_pct > some.bleached_pct + 2


def test_a_mirrored_photo_gives_the_same_figure():
    photo = photo_of(render(replace(SCENE, burn_pct=5.0), 5).pixels)
    mirrored = photo_of(photo.pixels[:, ::-1])
    one, two = (read_burn(p, measure_day_photo(p)) for p in (photo, mirrored))
    assert two.bleached_pct == pytest.approx(one.bleached_pct, rel=0.1)


def test_painted_dew_and_growing_lesions_are_not_taken_for_burn(plain):
    for changed in (painted(dew=1.0, gloss=0.6), painted(severity_pct=15.0)):
        assert changed.bleached_pct < plain.bleached_pct + 0.2
