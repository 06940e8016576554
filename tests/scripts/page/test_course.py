"""A plant's course as an inline picture."""

import re
from datetime import date, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import html5lib
import pytest

from models.care.season import season_of
from models.entries import LeafEntry, LogEntry, PhotoEntry
from models.garden.beds import Garden, Plant
from models.progress import progress_curve
from scripts.page.course import course_picture, course_svg

ZONE = ZoneInfo("Europe/Berlin")
NOW = datetime(2026, 7, 1, 8, tzinfo=ZONE)


def _leaf(number, severity_pct):
    low, high = max(severity_pct - 2, 0.0), severity_pct + 2
    return LeafEntry(number, 1000.0, 3, severity_pct, 0.0, severity_pct, low, high)


def _photo(plant, day, severity_pct, **more):
    leaves = tuple(_leaf(n, severity_pct + n) for n in (1, 2, 3))
    at = datetime(2026, 6, day, 9, tzinfo=ZONE)
    name = f"{plant}/{day}.jpg"
    return PhotoEntry(
        name, f"{plant}{day}", at, plant=plant, leaves=leaves, severity_pct=severity_pct, **more
    )


def _entry(number, kind, day, *plants, **more):
    return LogEntry(number, kind, datetime(2026, 6, day, 8, tzinfo=ZONE), plants, **more)


def _picture(photos, log=(), plant="A1", names=("A1", "A2")):
    garden = Garden("Home", "Europe/Berlin", plants=tuple(Plant(n, "North") for n in names))
    season = season_of(garden, photos, log, NOW)
    return course_picture(season, plant, progress_curve(season.courses, plant))


def _drawn(picture):
    """Return the picture as an XML tree, whose parts an HTML parser found without a complaint."""
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    page = parser.parse(f"<!doctype html><html><body>{course_svg(picture)}</body></html>")
    for one in page.iter():
        one.tag = str(one.tag).rpartition("}")[2]
    (svg,) = page.iter("svg")
    return svg


def _classes(svg, name):
    return [one for one in svg.iter() if one.get("class") == name]


def _titles(svg):
    return [one.text for one in svg.iter("title")]


WALKS = [_photo("A1", day, severity) for day, severity in ((1, 2), (8, 6), (15, 12), (22, 20))]


def test_each_visit_is_drawn_where_its_day_and_severity_are():
    svg = _drawn(_picture(WALKS))
    dots = _classes(svg, "visit")
    across = [float(dot.get("cx")) for dot in dots]
    up = [-float(dot.get("cy")) for dot in dots]
    assert len(dots) == 4
    assert across == sorted(across)
    assert up == sorted(up)
    steps = [b - a for a, b in pairwise(across)]
    assert steps == pytest.approx([steps[0]] * 3, abs=0.2)  # a week each


def test_an_interval_is_as_high_as_its_ends():
    picture = _picture(WALKS)
    svg = _drawn(picture)
    uprights = [i for i in _classes(svg, "interval") if i.get("x1") == i.get("x2")]
    ends = [sorted(float(line.get(y)) for y in ("y1", "y2")) for line in uprights]
    for (top, foot), point in zip(ends, picture.points, strict=True):
        low, high = point.interval_pct
        share = ((142 - foot) / 132, (142 - top) / 132)
        assert share[0] ** 2 * picture.end_pct == pytest.approx(low, abs=0.1)
        assert share[1] ** 2 * picture.end_pct == pytest.approx(min(high, picture.end_pct), abs=0.1)


def test_what_happened_is_in_a_lane_of_its_own_and_in_words():
    log = [
        _entry(1, "spray", 9, "A1", product="soda"),
        _entry(2, "rain", 10, amount=12.0),
        _entry(3, "hand_pick", 11, "A1", amount=2.0),
        _entry(4, "removed_leaves", 12, "A1", amount=6.0),
        _entry(5, "spray", 13, "A2", product="peroxide"),
    ]
    night = _photo("A1", 11, 0.0, mode="night", caterpillar_count=3, caterpillar_low=2,
                   caterpillar_high=5)  # fmt: skip
    svg = _drawn(_picture([*WALKS, night], log))
    assert [lane.text for lane in _classes(svg, "lane")] == [
        *("sprays", "rain", "at night", "picked", "leaves")
    ]
    titles = " | ".join(_titles(svg))
    for words in (
        "soda",
        "rain 12 mm",
        "3 (2 to 5) caterpillars",
        "2 caterpillars picked",
        "6 leaves",
    ):
        assert words in titles
    assert "peroxide" not in titles  # another plant's


def test_lanes_that_nothing_is_in_are_left_out():
    assert _classes(_drawn(_picture(WALKS)), "lane") == []


def test_a_day_of_which_all_photos_are_flagged_is_hollow():
    svg = _drawn(_picture([*WALKS, _photo("A1", 26, 20, flags=("blurred",))]))
    assert len(_classes(svg, "doubtful")) == 1
    assert len(_classes(svg, "visit")) == 4
    assert any("flagged" in title for title in _titles(svg))


def test_a_plant_without_a_measured_leaf_is_said_to_have_none():
    svg = _drawn(_picture([], [_entry(1, "rain", 20, amount=3.0)]))
    assert "no leaf measured yet" in [words.text for words in svg.iter("text")]
    assert "no leaf measured" in svg.get("aria-label")


def test_hostile_names_and_products_stay_words():
    name = '"><script>alert(1)</script>'
    photos = [_photo(name, day, 5) for day in (1, 8, 15)]
    log = [_entry(1, "spray", 9, name, product="<b onclick=x>&soda")]
    svg = _drawn(_picture(photos, log, name, (name,)))
    assert list(svg.iter("script")) == []
    assert list(svg.iter("b")) == []
    assert svg.get("aria-label").startswith(name)
    assert any("<b onclick=x>&soda" in title for title in _titles(svg))


def test_nothing_lies_outside_the_picture():
    log = [_entry(n, "spray", n, "A1", product="soda") for n in range(1, 30)]
    svg = _drawn(_picture(WALKS, log))
    _, _, wide, high = map(float, svg.get("viewBox").split())
    for one in svg.iter():
        for name, most in (("x", wide), ("x1", wide), ("cx", wide), ("y1", high), ("cy", high)):
            if one.get(name):
                assert -20 <= float(one.get(name)) <= most


def test_plants_beside_each_other_have_the_same_axes():
    photos = [*WALKS, *(_photo("A2", day, 50) for day in (3, 12, 29))]
    garden = Garden("Home", "Europe/Berlin", plants=(Plant("A1", "N"), Plant("A2", "N", 1, 2)))
    season = season_of(garden, photos, (), NOW)
    curves = [progress_curve(season.courses, plant) for plant in ("A1", "A2")]
    one, other = (course_picture(season, c.plant, c, curves) for c in curves)
    assert (one.first, one.last, one.end_pct) == (other.first, other.last, other.end_pct)
    assert (one.first, one.last) == (date(2026, 6, 1), date(2026, 6, 29))


def test_dates_of_a_long_season_do_not_run_into_each_other():
    photos = [
        _photo("A1", 1, 5.0),
        PhotoEntry("b", "b", datetime(2026, 1, 5, tzinfo=ZONE), plant="A1", leaves=(_leaf(1, 3),)),
    ]
    svg = _drawn(_picture(photos))
    dates = [t for t in svg.iter("text") if re.fullmatch(r"\d+ \w{3}", t.text or "")]
    places = sorted(float(t.get("x")) for t in dates)
    assert 2 <= len(dates) <= 6
    assert all(b - a > 36 for a, b in pairwise(places))
