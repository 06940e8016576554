"""What the sample photos measure is pinned for the measuring version: no change goes unsaid."""

import json

import pytest

from scripts.workshop.figures.pins import PINS, differences, measured_now
from vision.day.measure import MEASURING_VERSION


@pytest.fixture(scope="module")
def pinned():
    return json.loads(PINS.read_text("utf-8"))


def test_the_sample_photos_measure_as_they_did_when_the_version_was_raised(pinned):
    assert pinned["measuring_version"] == MEASURING_VERSION, (
        "run “python -m scripts.workshop figures pins” after raising MEASURING_VERSION"
    )
    moved = differences(pinned, measured_now())
    assert not moved, "raise MEASURING_VERSION, for these moved: " + "; ".join(moved)


def test_the_pins_reach_every_stage(pinned):
    """A stage that no pinned photo goes through could change unseen."""
    reached = {name for numbers in pinned["photos"].values() for name in numbers}
    assert {"lesion_pct", "halo_pct", "p_spot", "frass_high", "caterpillar_high"} <= reached
    assert any("busy_background" in n.get("flags", "") for n in pinned["photos"].values())


def test_a_number_that_moved_is_named():
    before = {"photos": {"a": {"severity_pct": 5.0, "leaf_count": 1}}}
    after = {"photos": {"a": {"severity_pct": 5.1, "leaf_count": 1}}}
    assert differences(before, after) == ["a: severity_pct was 5.0, is 5.1"]
    assert differences(before, before) == []
    assert differences(before, {"photos": {}})
