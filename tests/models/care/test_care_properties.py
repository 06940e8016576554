"""What holds in every season, whatever is photographed, logged and done: random seasons."""

import random
from dataclasses import replace
from datetime import UTC, timedelta
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from models.care import DayWeather, plan, verdict_of

PLANTS = ("A1", "A2", "A3", "B1")
SPRAYS = ("prevent", "spot-test", "treat")
PRODUCT = {"prevent": "soda", "spot-test": "peroxide", "treat": "peroxide"}

some_plants = st.lists(st.sampled_from(PLANTS), max_size=3, unique=True)
days = st.integers(0, 20)
photo_events = st.tuples(
    st.just("photo"),
    days,
    st.sampled_from(PLANTS),
    st.floats(0, 60),
    st.sampled_from(["spot", "spot", "spot", "blight", "none", "unsure"]),
    st.sampled_from(["early", "early", "late", "unsure"]),
)
log_events = st.one_of(
    st.tuples(
        st.just("spray"), days, st.sampled_from(["soda", "peroxide"]), some_plants,
        st.sampled_from([6.5, 8.0, 19.0]),
    ),
    st.tuples(st.just("rain"), days, st.floats(0.5, 40)),
    st.tuples(st.just("verdict"), days, st.sampled_from(["burned", "no burn seen", "cannot tell"])),
    st.tuples(
        st.just("seen"), days,
        st.sampled_from(["wilting", "cleared", "gone", "planted", "burned"]),
        st.sampled_from(PLANTS),
    ),
    st.tuples(st.just("choice"), days, st.sampled_from(PLANTS)),
    st.tuples(st.just("night"), days, st.sampled_from(PLANTS), st.integers(0, 3)),
    st.tuples(st.just("pick"), days, st.sampled_from(PLANTS)),
    st.tuples(st.just("withdraw"), days),
)  # fmt: skip
seasons = st.lists(st.one_of(photo_events, log_events), max_size=25)
moments = st.tuples(st.integers(0, 22), st.sampled_from([3.0, 6.0, 8.5, 12.0, 22.0]))

often = settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)


def built(season, events):
    """Return the invented season of some events; a verdict concerns the last peroxide before it."""
    invented = season(" ".join(PLANTS))
    for event in sorted(events, key=lambda e: e[1]):
        _add(invented, *event)
    return invented


def _add(invented, kind, day, *rest):
    _ADD[kind](invented, day, *rest)


def _photo(invented, day, plant, severity, pattern, blight):
    invented.photo(plant, day, severity, pattern, blight_kind=blight, hour=5)


def _verdict(invented, day, verdict):
    sprays = [e for e in invented.entries if e.product == "peroxide"]
    if sprays:
        plant = (*sprays[-1].plants, *PLANTS)[0]
        invented.verdict(verdict, plant, sprays[-1].number, day, 8.5)


def _withdraw_last(invented):
    corrected = {e.corrects for e in invented.entries}
    free = [e for e in invented.entries if e.number not in corrected and not e.withdrawn]
    if free:
        back = replace(free[-1], number=len(invented.entries) + 1, corrects=free[-1].number)
        invented.entries.append(replace(back, withdrawn=True))


_ADD = {
    "photo": _photo,
    "verdict": _verdict,
    "spray": lambda s, day, product, plants, hour: s.spray(product, day, *plants, hour=hour),
    "rain": lambda s, day, mm: s.log("rain", day, hour=15, amount=mm),
    "seen": lambda s, day, sign, plant: s.log("seen", day, plant, text=sign),
    "choice": lambda s, day, plant: s.log("choice", day, plant),
    "night": lambda s, day, plant, count: s.night(plant, day, count),
    "pick": lambda s, day, plant: s.log("hand_pick", day, plant, amount=1),
    "withdraw": lambda s, day: _withdraw_last(s),
}


def holding(invented, now):
    """Return the entries that hold, by the plainest reading of the log."""
    gone = {e.corrects for e in invented.entries}
    return [e for e in invented.entries if e.number not in gone and not e.withdrawn and e.at <= now]


def starts(invented, task):
    """Return the first moment at which a spray task may be done."""
    day = (task.day - invented.at(0).date()).days
    return task.not_before or invented.at(day, 5)


@given(events=seasons, moment=moments)
@often
def test_peroxide_is_never_asked_for_on_an_untested_garden(season, events, moment):
    invented = built(season, events)
    now = invented.at(*moment)
    log = holding(invented, now)
    treated = [t for t in invented.plan(*moment).tasks if t.kind == "treat"]
    if treated:
        checks = [verdict_of(e) for e in log if e.kind == "burn_check"]
        sprays = {e.number: e for e in log if e.product == "peroxide"}
        passed = [
            c
            for c in checks
            if c.verdict == "no burn seen"
            and c.spray in sprays
            and c.checked_at - sprays[c.spray].at >= timedelta(hours=24)
            and now.date() - sprays[c.spray].at.date() <= timedelta(days=14)
        ]
        assert passed


@given(events=seasons, moment=moments)
@often
def test_a_spot_test_is_on_one_plant_that_is_sick_and_not_isolated(season, events, moment):
    plan_ = built(season, events).plan(*moment)
    tests = [t for t in plan_.tasks if t.kind == "spot-test"]
    assert len(tests) <= 1
    isolated = {s.plant for s in plan_.statuses if s.status == "isolate"}
    for task in plan_.tasks:
        if task.kind in SPRAYS:
            assert not isolated & set(task.plants)
        if task.kind == "spot-test":
            assert len(task.plants) == 1


@given(events=seasons, moment=moments)
@often
def test_a_second_product_is_never_planned_inside_the_wait(season, events, moment):
    invented = built(season, events)
    now = invented.at(*moment)
    planned = [
        (PRODUCT[t.kind], starts(invented, t))
        for t in invented.plan(*moment, days=40).tasks
        if t.kind in SPRAYS
    ]
    made = [(e.product, e.at) for e in holding(invented, now) if e.kind == "spray"]
    for number, (product, at) in enumerate(planned):
        for other, then in [*made, *planned[:number], *planned[number + 1 :]]:
            if other != product:
                gap = abs(at.astimezone(UTC) - then.astimezone(UTC))
                assert gap >= timedelta(hours=48), (product, at, other, then)


@given(events=seasons, moment=moments)
@often
def test_a_spray_after_rain_is_never_missed(season, events, moment):
    invented = built(season, events)
    now = invented.at(*moment)
    log = holding(invented, now)
    plan_ = invented.plan(*moment)
    left_out = {s.plant for s in plan_.statuses if s.status == "isolate" or s.rule == "burned"}
    covered = {t_plant: t for t in reversed(plan_.tasks) if t.kind == "prevent"
               for t_plant in t.plants}  # fmt: skip
    for plant in {s.plant for s in plan_.statuses} - left_out:
        new = [e.at for e in log if e.text == "planted" and plant in e.plants]
        sprays = [
            e.at
            for e in log
            if e.product == "soda" and plant in (e.plants or PLANTS) and e.at >= max([*new, e.at])
        ]
        rain = [e.at for e in log if e.kind == "rain" and sprays and e.at > sprays[-1]]
        if rain:
            task = covered[plant]
            assert task.day <= max(now.date(), rain[0].date()) + timedelta(days=6)
            assert "rain" in task.why


forecasts = st.lists(
    st.tuples(
        st.integers(0, 30),
        st.sampled_from([None, 0.0, 4.0]),
        st.sampled_from([None, 25.0, 34.0]),
        st.sampled_from([None, False, True]),
    ),
    max_size=20,
)


@given(events=seasons, moment=moments, forecast=forecasts)
@often
def test_no_spray_is_planned_into_rain_heat_or_wet_leaves(season, events, moment, forecast):
    invented = built(season, events)
    known = {day: values for day, *values in forecast}
    weather = [DayWeather(invented.at(day).date(), *values) for day, values in known.items()]
    for task in invented.plan(*moment, days=30, weather=weather).tasks:
        if task.kind in SPRAYS:
            day = (task.day - invented.at(0).date()).days
            rain, hot, wet = known.get(day, (None, None, None))
            hot_after = known.get(day + 1, (None, None, None))[1]
            assert not rain
            assert not wet
            assert max(hot or 0, hot_after or 0) < 32


@given(events=seasons, moment=moments)
@often
def test_each_task_and_status_has_its_reason_plants_and_day(season, events, moment):
    invented = built(season, events)
    plan_ = invented.plan(*moment)
    for task in plan_.tasks:
        assert task.why.strip()
        assert task.what.strip()
        assert task.plants
        assert not {"{", "}"} & set(task.what + task.why)
        assert set(task.plants) <= set(PLANTS)
        assert task.day >= invented.at(moment[0] - 1).date()
        if task.kind in SPRAYS:
            assert {"label", "protect", "harvest"} <= set(task.cautions)
            assert task.part == "morning"
    assert len({task.key for task in plan_.tasks}) == len(plan_.tasks)
    assert all(s.why and s.measured for s in plan_.statuses)
    assert not {"{", "}"} & {sign for s in plan_.statuses for sign in s.why + s.measured}


@given(events=seasons, moment=moments, seed=st.integers(0, 9))
@often
def test_the_same_record_gives_the_same_plan_in_whatever_order_it_is_read(
    season, events, moment, seed
):
    invented = built(season, events)
    now = invented.at(*moment)
    photos, log = list(invented.photos), list(invented.entries)
    random.Random(seed).shuffle(photos)
    random.Random(seed).shuffle(log)
    assert plan(invented.garden, photos, log, now) == invented.plan(*moment)


@given(events=seasons, moment=moments)
@often
def test_what_comes_later_does_not_change_the_plan_of_today(season, events, moment):
    invented = built(season, [e for e in events if e[0] != "withdraw"])
    now = invented.at(*moment)
    past = [e for e in invented.entries if e.at <= now]
    photos = [p for p in invented.photos if p.taken_at <= now]
    assert plan(invented.garden, photos, past, now) == invented.plan(*moment)


class Obedient:
    """A grower who does every task of the morning, on time, and looks at every test."""

    def __init__(self, invented, chance):
        self.invented, self.chance = invented, chance

    def morning(self, day):
        """Do the morning's sprays, then the burn check."""
        for task in self.invented.plan(day, 6).tasks:
            if task.day == self.invented.at(day).date() and task.kind in SPRAYS:
                self.do(task, day)
        self.look(day)

    def do(self, task, day):
        """Spray at half past seven, or as soon as the wait is over."""
        hour = 7.5
        if task.not_before:
            since = (task.not_before - self.invented.at(day, 0)) / timedelta(hours=1)
            hour = max(hour, since)
        self.invented.spray(PRODUCT[task.kind], day, *task.plants, hour=hour)

    def look(self, day):
        """Check the tested plant for burn, once that is open."""
        for task in self.invented.plan(day, 9.9).tasks:
            if task.kind == "burn-check" and task.not_before is None:
                spray = [e for e in self.invented.entries if e.product == "peroxide"][-1]
                verdict = self.chance.choice(["no burn seen", "no burn seen", "burned"])
                self.invented.verdict(verdict, task.plants[0], spray.number, day, 9.9)


@pytest.mark.parametrize("seed", range(5))
def test_who_follows_the_plan_for_a_season_breaks_no_rule(season, seed):
    chance = random.Random(seed)
    invented = season(" ".join(PLANTS))
    grower = Obedient(invented, chance)
    severity = dict.fromkeys(PLANTS, 0.2)
    for day in range(40):
        for plant in PLANTS:
            severity[plant] = min(60, severity[plant] * chance.choice([1, 1, 1.1, 1.4]))
            if day % 3 == 0:
                pattern = "spot" if severity[plant] > 1 else "none"
                invented.photo(plant, day, severity[plant], pattern, hour=5)
        grower.morning(day)
        if chance.random() < 0.12:
            invented.log("rain", day, hour=16, amount=chance.uniform(1, 30))
    assert invented.plan(40).remarks == ()
    assert {e.product for e in invented.entries} >= {"soda", "peroxide"}
    burned = {e.plants[0] for e in invented.entries if "burned" in e.text}
    for plant in set(PLANTS) - burned:
        sprayed = [e.at for e in invented.entries if e.product == "soda" and plant in e.plants]
        assert max(b - a for a, b in pairwise(sprayed)) <= timedelta(days=14 + 5)
        treated = [e.at for e in invented.entries if e.product == "peroxide" and plant in e.plants]
        assert all(b - a > timedelta(days=7) for a, b in pairwise(treated))
