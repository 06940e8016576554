"""Two pieces of a body that something cuts, taken for one."""

import numpy as np
import pytest

from vision.night.body import STATIONS, Body
from vision.night.features import sample
from vision.night.join import joined, possible_pairs
from vision.night.light import NightLight

ROWS, COLUMNS, GLOW = 60, 160, 5.0


def piece(start, end, row=30, width=10.0):
    """Return a level piece whose width tapers at both ends, as a cut end's does."""
    columns = np.linspace(start, end, STATIONS)
    widths = np.full(STATIONS, width)
    widths[[0, 1, -2, -1]] = 2.0
    mask = np.zeros((ROWS, COLUMNS), bool)
    mask[row - 5 : row + 5, start:end] = True
    return Body(np.stack([np.full(STATIONS, float(row)), columns], axis=1), widths, mask, 0, 0)


def photo(*bodies):
    """Return a photo in which only the bodies' pixels glow."""
    glow = np.zeros((ROWS, COLUMNS), np.float32)
    for body in bodies:
        glow[body.mask] = GLOW
    light = np.repeat(glow[..., None] / 10, 3, axis=2)
    return NightLight(np.zeros((ROWS, COLUMNS, 3), np.uint8), 1.0, light, 0.0,
                      np.zeros(3, np.float32), glow, glow, np.ones_like(glow))  # fmt: skip


def test_a_joined_body_reaches_from_end_to_end_and_is_as_wide_as_its_pieces_in_the_gap():
    whole = joined(piece(10, 60), piece(80, 150))
    assert whole.length == pytest.approx(140, rel=0.01)
    assert whole.width == pytest.approx(10)
    # Twenty of 140 pixels are hidden.
    assert whole.gap_share == pytest.approx(1 / 7, rel=0.02)
    assert whole.hidden.mean() == pytest.approx(1 / 7, abs=0.03)
    assert whole.widths[whole.hidden] == pytest.approx(10)


def test_which_piece_comes_first_changes_nothing():
    one, other = piece(10, 60), piece(80, 150, width=14.0)
    there, back = joined(one, other), joined(other, one)
    columns = (there.midline[:, 1], back.midline[:, 1])
    if columns[0][0] > columns[0][-1]:
        there, back = back, there
    order = slice(None) if back.midline[0, 1] < back.midline[-1, 1] else slice(None, None, -1)
    assert back.widths[order] == pytest.approx(there.widths, abs=0.2)


def test_what_hides_a_body_is_not_taken_for_its_light():
    one, other = piece(10, 60), piece(80, 150)
    seen = sample(joined(one, other), photo(one, other))
    middle = seen.glow[3:-3, 2:7]
    assert middle.min() > 0.9 * GLOW


@pytest.mark.parametrize(
    ("other", "pairs"),
    [
        (piece(80, 150), [(0, 1)]),
        (piece(80, 150, width=30.0), []),
        (piece(135, 150), []),
    ],
    ids=["goes on", "three times as wide", "too far away"],
)
def test_only_pieces_that_may_go_on_are_looked_at_as_a_pair(other, pairs):
    night = photo()
    assert possible_pairs([sample(body, night) for body in (piece(10, 60), other)]) == pairs
