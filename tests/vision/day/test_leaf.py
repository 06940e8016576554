"""Leaves are isolated: overlap with the painted truth, relations, and nothing invented."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from scripts.workshop.rendered import (
    NATURAL_BACKGROUNDS,
    PLAIN_BACKGROUNDS,
    Scene,
    draw_scene,
    render,
)
from vision.day.leaf import MOST_LEAVES, find_leaves
from vision.day.outline import OVERVIEW_PX, leaf_score, load_networks

PHOTOS = Path(__file__).parents[3].parent / "shared" / "photos"
COFFEE = PHOTOS / "coffee"

PER_BACKGROUND = 4
SMALL = {"width_px": 560, "height_px": 420}


def overlap(one, other):
    union = np.count_nonzero(one | other)
    return np.count_nonzero(one & other) / union if union else 1.0


def paint(seed, **fixed):
    return render(draw_scene(np.random.default_rng(seed), **(SMALL | fixed)), seed)


@pytest.fixture(scope="module")
def overlaps():
    """Overlap of four freshly painted photos on each background."""
    found = {}
    for index, name in enumerate((*PLAIN_BACKGROUNDS, *NATURAL_BACKGROUNDS)):
        photos = [paint(70_000 + 100 * index + n, background=name) for n in range(PER_BACKGROUND)]
        found[name] = [overlap(find_leaves(p.pixels).numbers > 0, p.mask > 0) for p in photos]
    return found


@pytest.mark.parametrize(
    ("backgrounds", "floor"), [(PLAIN_BACKGROUNDS, 0.95), (NATURAL_BACKGROUNDS, 0.84)]
)
def test_outlines_agree_with_the_painted_truth(overlaps, backgrounds, floor):
    assert np.mean([value for name in backgrounds for value in overlaps[name]]) >= floor


def test_no_background_fails_as_a_whole(overlaps):
    assert min(np.mean(values) for values in overlaps.values()) >= 0.60


def painted_bare(background):
    return render(Scene(background=background, leaves=0, **SMALL), 11).pixels


def plain(colour):
    return np.full((420, 560, 3), colour, np.uint8)


def ball(colour):
    y, x = np.mgrid[-1.05:1.05:420j, -1.4:1.4:560j]
    shade = np.clip(1 - (x - 0.2) ** 2 - (y + 0.2) ** 2, 0.1, 1)[..., None]
    drawn = np.where(((x**2 + y**2) < 0.3)[..., None], shade * colour, 205.0)
    return cv2.GaussianBlur(drawn.astype(np.uint8), (0, 0), 1.2)


def noise(sigma):
    grain = np.random.default_rng(5).integers(0, 256, (420, 560, 3)).astype(np.uint8)
    return cv2.GaussianBlur(grain, (0, 0), sigma) if sigma else grain


def lamps():
    dark = plain(14)
    for across in (120, 280, 440):
        cv2.circle(dark, (across, 200), 45, (255, 235, 255), -1)
    return cv2.GaussianBlur(dark, (0, 0), 8)


def slope():
    return np.repeat(np.tile(np.linspace(20, 235, 560), (420, 1))[..., None], 3, 2).astype(np.uint8)


LEAFLESS = {
    **{name: (painted_bare, name) for name in (*PLAIN_BACKGROUNDS, "soil", "straw", "sky")},
    "white": (plain, 245),
    "black": (plain, 0),
    "green wall": (plain, (90, 140, 60)),
    "red ball": (ball, (215, 35, 25)),
    "blue ball": (ball, (40, 70, 200)),
    "noise": (noise, 0),
    "soft noise": (noise, 8),
    "grey slope": (lambda _: slope(), None),
    "lamps": (lambda _: lamps(), None),
}


@pytest.mark.parametrize("name", LEAFLESS)
def test_a_picture_without_a_leaf_gives_no_leaf(name):
    make, what = LEAFLESS[name]
    leaves = find_leaves(make(what))
    assert leaves.count == 0
    assert leaves.flags in {("no_leaf",), ("no_single_leaf",)}
    assert not leaves.numbers.any()


@pytest.mark.parametrize("shape", [(1, 1), (1, 400), (15, 15), (16, 16), (40, 17)])
def test_tiny_pictures_do_not_fail(shape):
    assert find_leaves(np.full((*shape, 3), 120, np.uint8)).numbers.shape == shape


@pytest.fixture(scope="module")
def leaf_photo():
    return paint(4, background="grey_board", leaves=1, shape="leaflet", leaf_size=0.7)


def area(pixels):
    return np.count_nonzero(find_leaves(pixels).numbers)


def squeezed(pixels):
    code = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, 60])[1]
    return cv2.imdecode(code, cv2.IMREAD_COLOR)


SAME = {
    "mirrored": (lambda p: np.ascontiguousarray(p[:, ::-1]), 1.0, 0.01),
    "turned": (lambda p: np.rot90(p).copy(), 1.0, 0.01),
    "halved": (
        lambda p: cv2.resize(p, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA),
        0.25,
        0.03,
    ),
    "doubled": (
        lambda p: cv2.resize(p, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC),
        4.0,
        0.03,
    ),
    "cropped": (lambda p: p[15:-15, 25:-25].copy(), 1.0, 0.02),
    "compressed anew": (squeezed, 1.0, 0.02),
    "darker": (lambda p: (p * 0.8).astype(np.uint8), 1.0, 0.02),
}


@pytest.mark.parametrize("how", SAME)
def test_the_same_leaf_keeps_its_area(leaf_photo, how):
    change, factor, tolerance = SAME[how]
    before, after = area(leaf_photo.pixels), area(change(leaf_photo.pixels))
    assert after / before == pytest.approx(factor, rel=tolerance)


def test_mirroring_mirrors_the_outline(leaf_photo):
    there = find_leaves(leaf_photo.pixels).numbers > 0
    back = find_leaves(np.ascontiguousarray(leaf_photo.pixels[:, ::-1])).numbers[:, ::-1] > 0
    assert overlap(there, back) > 0.985


def test_input_is_not_changed_and_result_is_read_only(leaf_photo):
    pixels = leaf_photo.pixels.copy()
    leaves = find_leaves(pixels)
    np.testing.assert_array_equal(pixels, leaf_photo.pixels)
    with pytest.raises(ValueError, match="read-only"):
        leaves.numbers[0, 0] = 1


def test_the_same_picture_gives_the_same_result(leaf_photo):
    first, second = (find_leaves(leaf_photo.pixels).numbers for _ in range(2))
    np.testing.assert_array_equal(first, second)


@pytest.mark.parametrize("background", ["paper", "cloth", "soil"])
def test_leaves_lying_apart_are_told_apart(background):
    photo = paint(31, background=background, leaves=2, shape="leaflet", pattern="none")
    leaves = find_leaves(photo.pixels)
    assert leaves.count == 2
    for number in (1, 2):
        assert (
            len(np.unique(photo.leaf_numbers[(leaves.numbers == number) & (photo.mask > 0)])) == 1
        )


def test_leaves_are_numbered_from_the_largest():
    photo = paint(33, background="paper", leaves=4, shape="leaflet")
    sizes = np.bincount(find_leaves(photo.pixels).numbers.ravel())[1:]
    assert len(sizes) == 4
    assert list(sizes) == sorted(sizes, reverse=True)


def cut_out(photo):
    """Pixels and cover of a photo's one leaf, without its stalk."""
    rows, cols = np.nonzero(photo.mask)
    window = (slice(rows.min(), rows.max() + 1), slice(cols.min(), cols.max() + 1))
    return photo.pixels[window], photo.mask[window] > 0


def lay(table, leaf, cover, top, left):
    part = table[top : top + leaf.shape[0], left : left + leaf.shape[1]]
    part[cover] = leaf[cover]


def test_more_leaves_than_are_kept_are_flagged():
    photo = paint(9, background="paper", leaves=1, shape="leaflet", width_px=160, height_px=120)
    leaf, cover = cut_out(photo)
    cell = max(leaf.shape) + 20
    table = np.full((4 * cell, 5 * cell, 3), 228, np.uint8)
    for number in range(MOST_LEAVES + 3):
        lay(table, leaf, cover, 10 + cell * (number // 5), 10 + cell * (number % 5))
    leaves = find_leaves(table)
    assert leaves.count == MOST_LEAVES
    assert "many_small_leaves" in leaves.flags


def test_a_leaf_cut_by_the_frame_is_told(leaf_photo):
    rows, cols = np.nonzero(leaf_photo.mask)
    middle = int(np.median(cols))
    cut = find_leaves(np.ascontiguousarray(leaf_photo.pixels[:, :middle]))
    assert cut.cut_off == (True,)
    assert "cut_off" in cut.flags
    whole = find_leaves(leaf_photo.pixels)
    assert whole.cut_off == (False,)
    assert "cut_off" not in whole.flags
    assert rows.size  # the photo has a leaf at all


def test_touching_leaves_are_told():
    photo = paint(
        4,
        background="paper",
        leaves=1,
        shape="leaflet",
        pattern="none",
        lobing=0.2,
        rotation_deg=0.0,
    )
    leaf, cover = cut_out(photo)
    table = np.full((leaf.shape[0] + 80, 2 * leaf.shape[1] + 60, 3), 228, np.uint8)
    for left in (30, 30 + int(0.93 * leaf.shape[1])):
        lay(table, leaf, cover, 40, left)
    assert find_leaves(table).touching == (True,)
    assert find_leaves(photo.pixels).touching == (False,)


def test_a_harder_shadow_does_not_become_leaf():
    light, dark = (
        paint(15, background="paper", leaves=1, pattern="none", shadow=s, lift_mm=12.0, direct=0.9)
        for s in (0.0, 0.95)
    )
    assert area(dark.pixels) == pytest.approx(area(light.pixels), rel=0.02)


@pytest.mark.parametrize("kind", ["early", "late"])
def test_large_dead_parts_stay_inside(kind):
    photo = paint(22, background="paper", leaves=1, pattern="blight", kind=kind, severity_pct=40.0)
    leaf = find_leaves(photo.pixels).numbers > 0
    dead = photo.mask == 3
    assert np.count_nonzero(leaf & dead) / np.count_nonzero(dead) > 0.95


@pytest.mark.parametrize(
    ("background", "plain_one"),
    [("paper", True), ("violet_board", True), ("straw", False), ("foliage_far", False)],
)
def test_plain_and_busy_backgrounds_are_told(background, plain_one):
    leaves = find_leaves(paint(41, background=background, leaves=1).pixels)
    assert leaves.plain is plain_one
    assert ("busy_background" in leaves.flags) is not plain_one


@pytest.mark.parametrize("board", ["violet_board", "grey_board", "paper"])
def test_a_board_in_hard_sun_is_plain_although_the_leaf_throws_a_shadow_on_it(board):
    scene = Scene(
        background=board, direct=1.0, shadow=1.0, lift_mm=25, light_elevation_deg=20, noise=0.5,
        unevenness=0.8,
    )  # fmt: skip
    assert find_leaves(render(scene, 1).pixels).plain


def test_score_is_higher_on_the_leaf(leaf_photo):
    factor = OVERVIEW_PX / leaf_photo.pixels.shape[1]
    small = cv2.resize(leaf_photo.pixels, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    truth = cv2.resize(leaf_photo.mask, small.shape[1::-1], interpolation=cv2.INTER_NEAREST) > 0
    score = leaf_score(small)
    assert np.median(score[truth]) > 2
    assert np.median(score[~truth]) < -2


def test_weights_made_for_other_features_are_refused(tmp_path):
    path = tmp_path / "outline.json"
    path.write_text('{"networks": [{"features": ["lightness"]}, {"features": []}]}')
    with pytest.raises(ValueError, match="learn it again"):
        load_networks(path)


coffee_only = pytest.mark.skipif(
    not COFFEE.is_dir(), reason="the coffee photos are not beside the checkout"
)


def coffee_held_out():
    """Every tenth of the photos, from those that the outline was not learned from."""
    for path in sorted((COFFEE / "images").glob("*.jpg"))[1::2][::5]:
        truth = cv2.imread(str(COFFEE / "masks" / f"{path.stem}.png"), cv2.IMREAD_UNCHANGED) > 0
        yield cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB), truth


@coffee_only
def test_real_leaves_on_white_agree_with_their_published_masks():
    """Masks of Esgario, Krohling & Ventura 2020."""
    found = [overlap(find_leaves(pixels).numbers > 0, truth) for pixels, truth in coffee_held_out()]
    assert len(found) == 20
    assert np.mean(found) > 0.988
    assert min(found) > 0.96


@coffee_only
def test_a_close_up_that_a_real_leaf_fills_is_leaf():
    shares = []
    for pixels, truth in coffee_held_out():
        rows, cols = np.nonzero(truth)
        row, col = int(rows.mean()), int(cols.mean())
        part = np.ascontiguousarray(pixels[row - 150 : row + 150, col - 250 : col + 250])
        shares.append(np.count_nonzero(find_leaves(part).numbers) / part[..., 0].size)
    assert np.mean(shares) > 0.84
