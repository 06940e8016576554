"""The sentences, strips and charts of a trend say what the records say."""

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import cv2
import numpy as np
import pytest

from models.entries import LeafEntry, LogEntry, PhotoEntry
from models.garden.beds import Garden
from models.progress import garden_visits, leaf_table, progress_curve
from models.progress.effect import Effect
from models.progress.growth import PlantGrowth
from models.progress.needed import Needed
from models.progress.sampling import SamplingPlan
from scripts.trend.chart import draw_trend
from scripts.trend.effect_words import effect_words
from scripts.trend.howmany import worth_a_choice
from scripts.trend.read import Trend
from scripts.trend.strip import event_words, nice_end, strip
from scripts.trend.words import plant_words, rate_words, signed, table_lines

START = datetime(2026, 7, 1, 9, tzinfo=UTC)
SPRAY = LogEntry(4, "spray", START + timedelta(days=10), ("A1",), "soda")
RAIN = LogEntry(5, "rain", START + timedelta(days=3), (), "", 12.7)


def curve(*means, plant="A1", spread=0.1):
    """Return a plant with four leaves a visit, about the given means."""
    photos = [
        PhotoEntry(
            f"{n}.jpg",
            f"{plant}{n}",
            START + timedelta(days=7 * n),
            plant=plant,
            leaves=tuple(
                LeafEntry(k, 1e5, 3, 0, v, v, v * 0.9, min(100, v * 1.1))
                for k, v in enumerate(mean * np.array([1 - spread, 1, 1, 1 + spread]), start=1)
            ),
        )
        for n, mean in enumerate(means)
    ]
    return progress_curve(garden_visits(leaf_table(photos)), plant)


def trend(*curves, log=(), **garden):
    return Trend(Garden("G", "UTC", **garden), curves, tuple(log), 5.0, None, chosen=True)


@pytest.mark.parametrize(
    ("means", "said"),
    [
        ((1, 2, 4, 8), "is rising: from 1.0 to 8.0 %"),
        ((16, 8, 4, 2), "is falling: from 16.0 to 2.0 %"),
        ((5, 5, 5, 5, 5, 5), "is level"),
        ((1, 9, 1, 9), "cannot tell: the visits differ"),
        ((1, 9), "cannot tell: only two visits"),
        ((3,), "cannot tell: only one visit"),
    ],
)
def test_the_first_sentence_names_the_direction_or_why_it_cannot(means, said):
    assert said in plant_words(curve(*means, spread=0.02))[0]


def test_a_rising_plants_days_are_those_of_its_record():
    found = curve(0.5, 1, 2, 4)
    words = " ".join(plant_words(found))
    assert f"doubling in {found.doubling.days:.0f} days" in words
    assert f"it reaches 5 % in {found.to_threshold.days:.0f} days" in words
    assert "above 5 % already" in " ".join(plant_words(curve(8, 16, 30, 50)))


def test_a_plant_without_green_is_said_to_have_none():
    assert "Hardly any green" in " ".join(plant_words(curve(60, 80, 90, 95)))


def test_numbers_carry_their_sign_but_nothing_has_none():
    assert signed(-0.4) == "0"
    assert signed(3.26, 1) == "+3.3"
    assert signed(-2) == "−2"
    assert rate_words(0.0953) == "+10 %"
    assert rate_words(0.004) == "+0.4 %"


def test_the_strip_has_a_line_for_each_visit_and_the_mean_inside_the_interval():
    found = curve(2, 4, 8)
    lines = strip(found, [])
    assert len(lines) == 1 + 3
    for line in lines[1:]:
        assert line.index("├") < line.index("●") < max(line.find("┤"), line.find("→"))
    places = [line.index("●") for line in lines[1:]]
    assert places == sorted(places)
    assert all(len(line) <= 100 for line in lines)


def test_events_stand_between_the_visits_and_those_of_other_plants_nowhere():
    other = replace(SPRAY, plants=("B9",), product="peroxide")
    lines = strip(curve(2, 4, 8), [RAIN, SPRAY, other])
    assert ["rain" in line for line in lines].index(True) == 2
    assert ["soda" in line for line in lines].index(True) == 4
    assert not any("peroxide" in line for line in lines)


def test_rain_is_shown_in_the_gardens_units():
    assert event_words(RAIN) == "☂ rain 12.7 mm"
    assert event_words(RAIN, "US") == "☂ rain 0.5 in"
    assert event_words(replace(RAIN, amount=None)) == "☂ rain"


def test_the_end_of_a_scale_holds_what_it_must():
    for severity in (0.0, 0.9, 1, 3, 17, 61, 99.9, 100):
        assert severity <= nice_end(severity) <= 100


def test_the_table_has_one_line_a_plant_in_one_width():
    curves = [curve(1, 2, 4, plant="A1"), curve(3, plant="a-long-name")]
    lines = table_lines(trend(*curves))
    assert len(lines) == 3
    assert len({line.index(word) for line, word in zip(lines[1:], "▲?", strict=True)}) == 1


def orange(picture):
    """Count the pixels in the colour of sprays."""
    pixels = cv2.imdecode(np.frombuffer(picture, np.uint8), cv2.IMREAD_COLOR).astype(int)
    return int((np.abs(pixels - (0, 0x9F, 0xE6)).max(axis=2) < 30).sum())


def test_the_chart_marks_sprays_of_the_plant_alone():
    one = curve(2, 4, 8)
    without = orange(draw_trend(trend(one))["trend.png"])
    other = replace(SPRAY, plants=("B9",))
    assert without == 0
    assert orange(draw_trend(trend(one, log=[SPRAY]))["trend.png"]) > 50
    beside = draw_trend(trend(one, log=[SPRAY, other]))["trend.png"]
    assert orange(beside) == orange(draw_trend(trend(one, log=[SPRAY]))["trend.png"])


def test_the_chart_is_narrow_enough_for_a_phone_and_names_its_scale():
    svg = draw_trend(trend(*(curve(2, 4, 8, plant=f"A{n}") for n in range(12))))[
        "trend.svg"
    ].decode()
    width_pt = float(re.search(r'width="([\d.]+)pt"', svg)[1])
    # The smallest letters are of 9 points: on a phone, 390 pixels wide, 7 pixels and more.
    assert 9 / width_pt * 390 >= 7
    assert "<!-- severity, % of the leaf; square-root scale" in svg


def test_the_chart_marks_leaves_that_came_off_their_own_plant_alone():
    one = curve(2, 4, 8)
    gone = LogEntry(6, "removed_leaves", START + timedelta(days=10), ("A1",), "", 5.0)
    marked, beside, bare = (
        draw_trend(trend(one, log=log))["trend.svg"].decode().count("<!-- ✂ -->")
        for log in ([gone], [replace(gone, plants=("B9",))], [])
    )
    assert (marked, beside, bare) == (1, 0, 0)


def test_names_that_no_font_can_show_are_escaped_in_the_chart(monkeypatch):
    monkeypatch.setattr("scripts.common.letters._system_fonts", lambda: ())
    svg = draw_trend(trend(curve(2, 4, 8, plant="番1")))["trend.svg"].decode()
    assert "<!-- \\u756a1" in svg


def growth(plant, after, before=0.1):
    return PlantGrowth(plant, 5.0, before, after, 0.01, 6.0)


def effect(verdict="cannot tell", **fields):
    usual = {
        "comparison": "beside unsprayed",
        "sprayed": (growth("A1", 0.0), growth("A2", 0.02)),
        "unsprayed": (growth("B1", 0.1), growth("B2", 0.1), growth("B3", 0.1)),
        "difference_per_day": -0.09,
        "low_per_day": -0.15,
        "high_per_day": 0.02,
        "reason": "the plants differ too much among themselves",
    }
    return Effect(SPRAY, verdict=verdict, **{**usual, **fields})


def test_a_spray_that_cannot_be_judged_says_what_would_tell():
    words = " ".join(effect_words(effect(needed=Needed(0.1, 7, 12))))
    assert "Whether the soda of 11 Jul worked cannot be told: the plants differ" in words
    assert "+1 % on 2 sprayed plants, +11 % on 3 unsprayed plants" in words
    assert "about 7 sprayed and as many unsprayed plants, or about 12 leaves" in words
    words = " ".join(effect_words(effect(needed=Needed(0.1, 7, None))))
    assert "more leaves of the same plants would not do" in words
    words = " ".join(effect_words(effect(needed=Needed(0.1, None, None))))
    assert "more plants would be needed than a garden has" in words


@pytest.mark.parametrize(
    ("verdict", "said"),
    [
        ("slower", "grew sicker more slowly than unsprayed ones"),
        ("faster", "grew sicker faster than unsprayed ones"),
        ("no difference", "no difference that matters"),
    ],
)
def test_each_verdict_has_its_sentence_and_the_reminder(verdict, said):
    words = " ".join(effect_words(effect(verdict, reason="")))
    assert said in words
    assert "Killed tissue never turns green again" in words


def test_where_nothing_grew_there_was_nothing_to_stop():
    still = (growth("B1", 0.0), growth("B2", 0.01))
    words = " ".join(effect_words(effect(unsprayed=still, difference_per_day=0.0)))
    assert "nothing to stop" in words


def test_without_unsprayed_plants_the_growth_before_stands_beside():
    found = effect("slower", comparison="before and after", unsprayed=(), reason="")
    words = " ".join(effect_words(found))
    assert "more slowly than before it" in words
    assert "before it +11 %" in words


def test_without_any_comparison_only_the_reason_is_told():
    found = Effect(SPRAY, "none", "cannot tell", "no sprayed plant was photographed")
    assert effect_words(found)[0].endswith("cannot be told: no sprayed plant was photographed.")


def test_more_leaves_that_spare_no_plant_are_no_choice():
    plans = [
        SamplingPlan(1, None, None),
        SamplingPlan(2, 6, 12),
        SamplingPlan(3, 6, 18),
        SamplingPlan(5, 5, 25),
    ]
    assert [plan.leaves for plan in worth_a_choice(plans)] == [2, 5]
    assert worth_a_choice(plans[:1]) == plans[:1]


def test_the_days_of_a_trend_are_those_of_its_visits():
    found = trend(curve(1, 2, 4), curve(3, plant="B1"))
    assert (found.first_day, found.last_day) == (date(2026, 7, 1), date(2026, 7, 15))
