"""`flag`, `plan`, `today` and the calendar say the same in every season, as they are printed.

Each view is read as a person reads it, and gives for each plant the set of actions, products and
days. The sets must agree, and must be what the plant's status allows.
"""

import re
from datetime import datetime

from hypothesis import given
from icalendar import Calendar

from models.care import DayWeather
from models.care.planning import plan_season
from models.care.season import season_of
from models.care.words import day_words
from scripts.care.calendar_file import calendar_bytes
from scripts.care.text import flag_text, plan_text, today_text
from tests.models.care.test_care_properties import (
    PLANTS,
    built,
    forecasts,
    moments,
    often,
    seasons,
)

TASK = re.compile(
    r"^  \[ \] (?:in the morning|by day|at night): (.*?)(?=^  \[ \]|^\S|\Z)", re.M | re.S
)
DAY = r"(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d+ \w{3}"
FLAG = re.compile(
    r"^(?:!!|\? |\* |\|\||o |  ) ([AB]\d) +([a-z -]+?)  +(.*?)(?=^\S|^   [AB]|^$)", re.M | re.S
)

ACTIONS = (
    (r"Spray (.*?) with the preventive (\w+) mix", "spray {}"),
    (r"Spray (.*?) with the 3 % (peroxide) mix", "spray {}"),
    (r"Spot-test (\w+):.* 3 % (peroxide) mix", "spot-test with {}"),
    (r"Look at the neighbours of \w+ first, and photograph them: (.*?)\.", "photograph"),
    (r"(?:Photograph|Take better photos of) (.*)", "photograph"),
    (r"Look at (.*?) for burn", "look for burn"),
    (r"Isolate (\w+):", "isolate"),
    (r"Let (.*?) recover", "rinse, and let it recover"),
    (r"Choose yourself whether to try the mix on (.*?),", "choose whether to test it"),
    (r"Wait with (.*?): by", "wait, the spot-test lapses"),
    (r"Pick the caterpillars off (.*?) by hand", "pick caterpillars"),
    (r"Look at (.*?) (?:tonight|once more|again tonight)", "look with the UV torch"),
)
PEROXIDE = {"spray peroxide", "spot-test with peroxide"}
LEADS_TO = {
    "isolate": "isolate",
    "spot-test": "spot-test with peroxide",
    "treat": "spray peroxide",
    "prevent": "spray soda",
    "check for burn": "look for burn",
    "pick caterpillars": "pick caterpillars",
}


def acts(what, standing):
    """Return the plants and the action that a printed sentence names."""
    for pattern, action in ACTIONS:
        if found := re.match(pattern, what):
            which, *product = found.groups()
            names = standing if "all plants" in which else re.findall(r"[AB]\d", which)
            return {(name, action.format(*product)) for name in names}
    raise AssertionError(f"nobody could know what to do: {what}")


def printed(text):
    """Return the sentences of the tasks that stand in a text."""
    return [" ".join(body.split()) for body in TASK.findall(text)]


def of_plan(text, standing):
    """Return (plant, action, day) of a printed plan."""
    parts = re.split(rf"^({DAY}) \d{{4}}$", text, flags=re.M)[1:]
    return {
        (*act, day)
        for day, body in zip(parts[::2], parts[1::2], strict=True)
        for what in printed(body)
        for act in acts(what, standing)
    }


def of_today(text, standing):
    """Return (plant, action) of a printed list of today."""
    return {act for what in printed(text) for act in acts(what, standing)}


def of_flag(text):
    """Return each plant's statuses, and (plant, action, day) of what its lines say comes next."""
    statuses, coming = {}, set()
    for plant, status, body in FLAG.findall(f"{text}\n\n"):
        statuses.setdefault(plant, set()).add(status)
        words = " ".join(body.split())
        if found := re.search(r"Next: (.*?)\.(?: Photo:|$)", words):
            for item in found[1].split("; "):
                when, action = item.split(": ")
                coming.add((plant, action, re.match(DAY, when)[0]))
    return statuses, coming


def of_calendar(data, standing):
    """Return (plant, action, day) of the events of a calendar file that are not cancelled."""
    return {
        (*act, day_words(event.decoded("dtstart").date()))
        for event in Calendar.from_ical(data).walk("VEVENT")
        if event["status"] != "CANCELLED"
        for act in acts(str(event["description"]).split("\n")[0], standing)
    }


def first_of_each(acts_, order):
    """Return the first day of each plant's actions."""
    first = {}
    for plant, action, day in sorted(acts_, key=lambda act: order[act[2]]):
        first.setdefault((plant, action), day)
    return {(*act, day) for act, day in first.items()}


def views(invented, moment, forecast=()):
    """Return the season, its plan and what the four views print of it."""
    known = {day: values for day, *values in forecast}
    weather = [DayWeather(invented.at(day).date(), *values) for day, values in known.items()]
    season = season_of(
        invented.garden, invented.photos, invented.entries, invented.at(*moment), weather
    )
    plan = plan_season(season)
    texts = (flag_text(season, plan, ()), plan_text(season, plan), today_text(season, plan))
    return season, plan, *texts, calendar_bytes(invented.garden, plan.tasks, plan.now)


@given(events=seasons, moment=moments, forecast=forecasts)
@often
def test_flag_plan_today_and_the_calendar_name_the_same_actions_products_and_days(
    season, events, moment, forecast
):
    seen, plan, flag, plan_, today, calendar = views(built(season, events), moment, forecast)
    standing = [name for name in PLANTS if name in seen.plants]
    order = {day_words(task.day): task.day for task in plan.tasks}
    planned = of_plan(plan_, standing)
    assert planned == {
        (plant, action, day_words(task.day))
        for task in plan.tasks
        for plant, action in acts(task.what, standing)
    }
    assert of_calendar(calendar, standing) == planned
    assert of_flag(flag)[1] == first_of_each(planned, order)
    due = {(plant, action) for plant, action, day in planned if order[day] <= seen.today}
    assert of_today(today, standing) == due


@given(events=seasons, moment=moments, forecast=forecasts)
@often
def test_no_status_speaks_against_what_is_planned_for_its_plant(season, events, moment, forecast):
    seen, _, flag, plan_, *_ = views(built(season, events), moment, forecast)
    statuses, _ = of_flag(flag)
    assert set(statuses) == set(seen.plants)
    planned = of_plan(plan_, seen.plants)
    for plant, words in statuses.items():
        actions = {action for name, action, _ in planned if name == plant}
        today = {a for name, a, day in planned if name == plant and day == day_words(seen.today)}
        sprays = {action for action in actions if "spray" in action or "spot-test with" in action}
        assert {LEADS_TO[word] for word in words if word in LEADS_TO} <= actions, (plant, words)
        assert not (actions & PEROXIDE) or words & {"spot-test", "treat"}, (plant, words)
        assert "isolate" not in words or not sprays, (plant, words)
        assert not words & {"waiting", "rest"} or not today & sprays, (plant, words)


@given(events=seasons, moment=moments, forecast=forecasts)
@often
def test_how_far_the_plan_looks_ahead_changes_nothing_of_what_it_says(
    season, events, moment, forecast
):
    invented = built(season, events)
    known = {day: values for day, *values in forecast}
    weather = [DayWeather(invented.at(day).date(), *values) for day, values in known.items()]
    short, long = (invented.plan(*moment, weather=weather, days=days) for days in (2, 30))

    def named(plan):
        return {(task.key, task.what, task.plants, task.day) for task in plan.tasks}

    assert named(short) <= named(long)
    end = invented.at(moment[0] + 2).date()
    assert {task for task in named(long) if task[3] <= end} <= named(short)


def test_the_views_are_read_aright(season):
    """What the readers above find, on a plan that is known by hand."""
    invented = season("A1 A2 A3 B1").healthy(1, "A1").photo("A1", 1, 20)
    seen, _, flag, plan_, today, calendar = views(invented, (1, 9))
    day = day_words(datetime(2026, 6, 2).date())
    statuses, coming = of_flag(flag)
    assert statuses["A1"] == {"spot-test"}
    assert ("A1", "spot-test with peroxide", day) in coming
    assert ("A1", "spot-test with peroxide") in of_today(today, seen.plants)
    assert ("A1", "spot-test with peroxide", day) in of_calendar(calendar, seen.plants)
    assert {("A2", "spray soda", "Thu 4 Jun"), ("B1", "spray soda", "Thu 4 Jun")} <= of_plan(
        plan_, seen.plants
    )
