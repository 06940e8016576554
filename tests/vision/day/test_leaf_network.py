"""The networks that see leaves: what they say of painted leaves, of noise, and held otherwise."""

import cv2
import numpy as np
import pytest

from scripts.workshop.rendered import Scene, render
from vision.day.leaf_network import LEAF_NETWORK_SECOND, load_network, see_leaves
from vision.day.outline import OVERVIEW_PX
from vision.learned import LEAF_NETWORK
from vision.raster import shrunk

BOTH = (LEAF_NETWORK, LEAF_NETWORK_SECOND)


@pytest.fixture(scope="module")
def painted():
    """Return a painted leaf's overview, and where it surely is leaf and surely none."""
    photo = render(Scene(background="grey_board", pattern="spot", severity_pct=8, leaves=1), 4)
    factor = OVERVIEW_PX / max(photo.mask.shape)
    overview = shrunk(photo.pixels, factor)
    leaf = shrunk((photo.mask > 0).astype(np.uint8) * np.uint8(255), factor)
    leaf = np.asarray(cv2.blur(leaf, (9, 9)))
    return overview, leaf == 255, leaf == 0


@pytest.mark.parametrize("path", BOTH, ids=lambda path: path.stem)
def test_each_network_loads_and_sees_the_leaf_and_not_the_board(painted, path):
    overview, inside, outside = painted
    seen = see_leaves(overview, path)
    assert not load_network(path).empty()
    assert seen.leaf.shape == seen.border.shape == overview.shape[:2]
    assert (seen.leaf[inside] > 0).mean() > 0.98
    assert (seen.leaf[outside] < 0).mean() > 0.98
    assert seen.any_leaf > 0


def test_the_two_networks_are_not_the_same(painted):
    first, second = (see_leaves(painted[0], path).leaf for path in BOTH)
    assert np.abs(first - second).max() > 0.5


def crumbs(colours, finest_px):
    """Return patches of a few colours at three sizes, like soil or foliage from afar."""
    rng = np.random.default_rng(8)
    light = sum(
        cv2.resize(rng.normal(0, 1, (264 // px, OVERVIEW_PX // px)), (OVERVIEW_PX, 264))
        for px in (finest_px, 2 * finest_px, 4 * finest_px)
    )
    which = rng.integers(len(colours), size=(264 // finest_px, OVERVIEW_PX // finest_px))
    tint = cv2.resize(np.array(colours, np.float32)[which], (OVERVIEW_PX, 264))
    return (tint * np.exp(0.25 * light)[..., None]).clip(0, 255).astype(np.uint8)


@pytest.mark.parametrize(
    "overview",
    [
        crumbs([(96, 74, 52), (130, 104, 76), (70, 54, 40)], 4),
        crumbs([(60, 88, 36), (90, 120, 52), (34, 52, 26), (72, 60, 40)], 6),
    ],
    ids=["soil", "canopy"],
)
def test_crumbs_are_no_leaf_that_can_be_measured(overview):
    """The first network alone says so; the second is asked where the leaf is."""
    assert see_leaves(overview).any_leaf < 0


@pytest.mark.parametrize("path", BOTH, ids=lambda path: path.stem)
def test_an_overview_is_seen_alike_however_it_is_held(painted, path):
    overview = painted[0]
    seen = see_leaves(overview, path)
    for turns, mirrored in ((0, True), (1, False), (2, False), (3, True)):

        def held(plane, turns=turns, mirrored=mirrored):
            return np.ascontiguousarray(np.rot90(plane[:, ::-1] if mirrored else plane, turns))

        again = see_leaves(held(overview), path)
        np.testing.assert_allclose(again.leaf, held(seen.leaf), atol=1e-3)
        np.testing.assert_allclose(again.border, held(seen.border), atol=1e-3)
        assert again.any_leaf == pytest.approx(seen.any_leaf, abs=1e-3)
