"""A killed run leaves a journal that opens, holds whole photos only, and is gone on with."""

from scripts.workshop.attack.kills import kill_and_compare


def test_a_killed_run_leaves_whole_photos_and_is_gone_on_with(tmp_path):
    """``python -m scripts.workshop attack kills`` does it with 50 photos and 20 kills."""
    outcome = kill_and_compare(tmp_path, photos=4, kills=2, seed=3, jobs=1)
    assert outcome.problems == ()
    assert outcome.filed_at_kill[-1] >= 2
