"""Which dropping a spot lies on, and how sure to be of it."""

import numpy as np

from scripts.frass_truth import whose
from scripts.train_frass import Checked, judged_apart, learn_judge
from vision.frass_judge import WEIGHED, judge_of
from vision.frass_net import Seen
from vision.frass_spots import Spots
from vision.frass_spotted import Spotted


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


def test_how_sure_to_be_is_learned_from_what_the_networks_said():
    """Droppings are what a close look is above 1 of; one in ten of these is none."""
    rng = np.random.default_rng(1)
    photos = []
    for number in range(300):
        rows = rng.normal(0, 1, (20, len(WEIGHED))).astype(np.float32)
        close = rows[:, WEIGHED.index("close")]
        close += np.where(rng.random(20) < 0.4, 4, -4)
        is_one = (close > 1) & (rng.random(20) < 0.9)
        whose_ = np.where(is_one, np.arange(1, 21), 0)
        photos.append(Checked(f"droppings {number}", rows, whose_, int(is_one.sum()), 0))
    judge = judge_of(learn_judge(photos, judged_apart(photos)))
    sure, never = np.zeros((2, len(WEIGHED)), np.float32)
    sure[WEIGHED.index("close")], never[WEIGHED.index("close")] = 4, -4
    chance = 1 / (1 + np.exp(-judge.spot.log_odds(np.stack([sure, never]))))
    assert 0.75 < chance[0] < 0.97
    assert chance[1] < 0.1
    assert judge.missed_share == 0
