"""Which dropping a spot lies on, and how sure to be of it."""

import numpy as np
import pytest

from scripts.workshop.learn.dropping_truth import whose
from scripts.workshop.learn.droppings import Checked, judged_apart, learn_judge
from vision.droppings.judge import KNOWN, judge_of
from vision.droppings.network import Seen
from vision.droppings.spots import Spots, Spotted


def things_at(*places: tuple[int, int], factor: float) -> Spotted:
    rows, cols = np.array(places, np.float32).T
    same = np.ones(len(rows), np.float32)
    nothing = np.zeros((10, 15), np.float32)
    seen = Seen(nothing, nothing, nothing)
    picture = np.zeros((20, 30, 3), np.uint8)
    return Spotted(picture, factor, seen, Spots(rows, cols, 8 * same, same, same))


def test_a_dropping_belongs_to_the_surest_spot_on_it():
    truth = np.zeros((40, 60), np.uint16)
    truth[4:12, 4:12], truth[20:30, 20:30], truth[20:30, 40:50] = 1, 2, 3
    no_matter = (truth == 3).astype(np.uint8)
    things = things_at((12, 12), (4, 4), (3, 4), (12, 22), (13, 22), factor=2.0)
    # The photo is twice as large: rows 24.5, 8.5, 6.5, 24.5 and 26.5.
    assert whose(things, truth, no_matter).tolist() == [2, 1, 0, -1, -1]


def photo_of(rng: np.random.Generator, name: str) -> Checked:
    """Of 20 spots; droppings are nine in ten of those that a close look is above 1 of."""
    rows = rng.normal(0, 1, (20, len(KNOWN))).astype(np.float32)
    close = rows[:, KNOWN.index("close")]
    close += np.where(rng.random(20) < 0.4, 4, -4)
    is_one = (close > 1) & (rng.random(20) < 0.9)
    return Checked(name, rows, np.where(is_one, np.arange(1, 21), 0), int(is_one.sum()), 0)


def test_how_sure_to_be_is_learned_from_what_the_networks_said():
    rng = np.random.default_rng(1)
    photos = [photo_of(rng, f"droppings {number}") for number in range(300)]
    judge = judge_of(learn_judge(photos, judged_apart(photos)))
    fresh = [photo_of(rng, "fresh").rows for _ in range(20)]
    close = np.concatenate(fresh)[:, KNOWN.index("close")]
    chance = 1 / (1 + np.exp(-np.concatenate([judge.log_odds(rows) for rows in fresh])))
    assert chance[close > 1].mean() == pytest.approx(0.9, abs=0.07)
    assert chance[close < 1].mean() < 0.05
    assert judge.missed_share == 0
