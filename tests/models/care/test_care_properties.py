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
        st.sampled_from(["wilting", "cleared", "gone", "planted", "burned", "no-burn", "no-burn"]),
        st.sampled_from(PLANTS),
    ),
    st.tuples(st.just("choice"), days, st.sampled_from(PLANTS)),
    st.tuples(st.just("night"), days, st.sampled_from(PLANTS), st.integers(0, 3)),
    st.tuples(st.just("pick"), days, st.sampled_from(PLANTS)),
    st.tuples(st.just("withdraw"), days),
)  # fmt: skip
anything = st.lists(st.one_of(photo_events, log_events), max_size=25)


seasons = anything
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


def looked_at(invented, plant, now, days):
    """Whether a plant was photographed in the last days; a new plant has photos of its own."""
    new = [e.at for e in holding(invented, now) if e.text == "planted" and plant in e.plants]
    return any(
        p.plant == plant
        and max([p.taken_at, *new]) <= min(p.taken_at, now)
        and (now.date() - p.taken_at.date()).days <= days
        for p in invented.photos
    )


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
    left_out |= {p for p in PLANTS if not looked_at(invented, p, now, 7)}
    for plant in {s.plant for s in plan_.statuses} - left_out:
        new = [e.at for e in log if e.text == "planted" and plant in e.plants]
        sprays = [
            e.at
            for e in log
            if e.product == "soda" and plant in (e.plants or PLANTS) and e.at >= max([*new, e.at])
        ]
        rain = [
            e.at
            for e in log
            if e.kind == "rain" and e.amount > 0.5 and sprays and e.at > sprays[-1]
        ]
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


# What never happens, whatever was photographed, logged and done


@st.composite
def stories(draw):
    """Return walks round sick plants, peroxide on some, what happens then, and a moment in it."""
    day = draw(st.integers(0, 8))
    patterns = st.sampled_from(["spot"] * 12 + ["blight", "none"])
    kinds = st.sampled_from(["early", "late", "unsure"])
    walks = [day, *draw(st.lists(st.integers(day + 1, day + 9), max_size=4, unique=True))]
    photos = [
        ("photo", walk, plant, draw(st.floats(4, 39)), draw(patterns), draw(kinds))
        for walk in walks
        for plant in PLANTS
    ]
    several = st.lists(st.sampled_from(PLANTS), min_size=1, max_size=2, unique=True)
    sprays = []
    for _ in range(draw(st.integers(0, 2))):
        sprayed = draw(several)
        on = day + draw(st.integers(1, 4))
        sprays.append(("spray", on, "peroxide", sprayed, 6.5))
        for _ in range(draw(st.integers(0, 3))):
            seen = draw(st.sampled_from(["no-burn"] * 4 + ["burned"]))
            after = on + draw(st.integers(1, 5))
            sprays.append(("seen", after, seen, draw(st.sampled_from(sprayed))))
    soda = [("spray", on, "soda", [], 6.5) for on in draw(st.lists(st.integers(0, 9), max_size=2))]
    rain = [("rain", on, draw(st.sampled_from([0.2, 0.4, 0.6, 9.0])))
            for on in draw(st.lists(st.integers(0, 15), max_size=3))]  # fmt: skip
    events = [*photos, *soda, *sprays, *rain, *draw(anything)[:2]]
    # The days on which something happened, and those after, are the ones that tell.
    then = draw(st.sampled_from([e[1] for e in [*sprays, *rain]] or walks))
    now = then + draw(st.integers(0, 2)), draw(st.sampled_from([6.0, 8.5, 12.0, 22.0]))
    return events, now


@st.composite
def spot_tests(draw):
    """Return a garden of leaf spot, walked every second day, one plant tested, looks, a moment."""
    photos = [
        ("photo", walk, plant, draw(st.floats(8, 39)), "spot", "early")
        for walk in range(0, 16, 2)
        for plant in PLANTS
    ]
    on = draw(st.integers(1, 3))
    verdicts = st.sampled_from(["no-burn", "no-burn", "burned"])
    looked = sorted(draw(st.sets(st.integers(on + 1, on + 6), max_size=3)))
    looks = [("seen", day, draw(verdicts), "A1") for day in looked]
    spray = ("spray", on, "peroxide", ["A1"], draw(st.sampled_from([6.5, 6.5, 19.0])))
    soda = ("spray", draw(st.sampled_from([0, -14])), "soda", [], 6.5)
    wet = draw(st.lists(st.integers(0, 8), max_size=2))
    rain = [("rain", day, draw(st.sampled_from([0.2, 0.4, 9.0]))) for day in wet]
    then = draw(st.sampled_from(looked or [on]))
    now = then + draw(st.sampled_from([0, 0, 1, 2, 3])), draw(st.sampled_from([6.0, 8.5, 12.0]))
    return [soda, *photos, spray, *looks, *rain], now


@st.composite
def isolations(draw):
    """Return a garden in which B1 looks like late blight, and then is seen again and again."""
    photos = [("photo", walk, plant, 0.2, "none", "") for walk in range(0, 29, 4)
              for plant in PLANTS[:-1]]  # fmt: skip
    late = ("photo", 4, "B1", draw(st.floats(10, 30)), "blight", "late")
    seen = st.sampled_from([("spot", ""), ("blight", "unsure"), ("none", ""), ("blight", "early")])
    later = [("photo", walk, "B1", draw(st.floats(0, 45)), *draw(seen)) for walk in range(8, 29, 4)]
    words = [("seen", draw(st.integers(0, 26)), "cleared", "B1")] if draw(st.booleans()) else []
    now = draw(st.integers(4, 28)), draw(st.sampled_from([6.0, 8.5, 22.0]))
    return [*photos, late, *later, *words], now


STORIES = {
    "anything": st.tuples(anything, moments),
    "stories": stories(),
    "spot-tests": spot_tests(),
    "isolations": isolations(),
}


def in_every_story(test):
    """Hold a test to random seasons of each kind, a moment in each."""
    told = often(given(data=st.data())(test))
    return pytest.mark.parametrize("kind", STORIES)(told)


def own(invented, entries, plant):
    """Return the entries of a plant's own life."""
    new = [e.at for e in entries if e.text == "planted" and plant in e.plants]
    since = max(new, default=None)
    named = (e for e in entries if plant in (e.plants or PLANTS))
    return [e for e in named if since is None or e.at >= since]


def standing(entries):
    gone = set()
    for entry in sorted(entries, key=lambda e: (e.at, e.number)):
        if entry.text == "gone":
            gone |= set(entry.plants)
        if entry.text == "planted":
            gone -= set(entry.plants)
    return [plant for plant in PLANTS if plant not in gone]


def looks_for_burn(entries, plant, spray):
    """Return when a plant was looked at for burn of a spray, and what was seen, by time."""
    found = []
    for entry in entries:
        if entry.kind == "burn_check":
            seen = verdict_of(entry)
            if (seen.plant, seen.spray) == (plant, spray.number):
                found.append((seen.checked_at, seen.verdict))
        elif entry.text in ("burned", "no-burn") and plant in entry.plants:
            last = [e for e in entries if e.product == "peroxide" and e.at <= entry.at
                    and plant in (e.plants or PLANTS)][-1:]  # fmt: skip
            if last == [spray]:
                found.append((entry.at, {"no-burn": "no burn seen"}.get(entry.text, entry.text)))
    due = spray.at + timedelta(hours=24)
    return sorted((at, seen) for at, seen in found if seen == "burned" or at >= due)


def last_peroxide(invented, log, plant):
    """Return a plant's last peroxide spray with its looks for burn; None where it has none."""
    mine = own(invented, log, plant)
    sprays = [e for e in mine if e.product == "peroxide"]
    return (sprays[-1], looks_for_burn(mine, plant, sprays[-1])) if sprays else None


@in_every_story
def test_nothing_is_ever_sprayed_on_a_plant_under_isolation(season, data, kind):
    events, moment = data.draw(STORIES[kind])
    invented = built(season, events)
    now = invented.at(*moment)
    log = holding(invented, now)
    tasks = [t for t in invented.plan(*moment, days=40).tasks if t.kind in SPRAYS]
    for plant in standing(log):
        mine = own(invented, log, plant)
        since = max([e.at for e in mine if e.text == "planted"], default=invented.at(-400))
        photos = [p for p in invented.photos if p.plant == plant and since <= p.taken_at <= now]
        signs = [e.at for e in mine if e.text == "wilting"]
        signs += [p.taken_at for p in photos if (p.pattern, p.blight_kind) == ("blight", "late")]
        said = [e.at for e in mine if e.text == "cleared"]
        days = [p.taken_at.date() for p in photos]
        often_seen = any(days.count(day) >= 3 for day in days)  # looks that might have ended it
        if signs and not [at for at in said if at >= max(signs)] and not often_seen:
            for task in tasks:
                assert plant not in task.plants
                assert "all plants" not in task.what


@in_every_story
def test_no_peroxide_comes_before_a_day_a_look_and_one_more_day(season, data, kind):
    events, moment = data.draw(STORIES[kind])
    invented = built(season, events)
    now = invented.at(*moment)
    log = holding(invented, now)
    planned = [t for t in invented.plan(*moment).tasks if t.kind in ("spot-test", "treat")]
    for plant in standing(log):
        found = last_peroxide(invented, log, plant)
        if found is None or (now.date() - found[0].at.date()).days > 14:
            continue
        spray, looks = found
        if not looks or looks[-1][1] != "no burn seen" or "burned" in {v for _, v in looks}:
            assert not planned, (plant, spray, looks)
        for task in planned:
            clean = [at for at, _ in looks]
            unsure = [at for at, seen in looks if seen != "no burn seen"]
            first = min(at for at in clean if not unsure or at > max(unsure))
            assert starts(invented, task) >= first + timedelta(hours=24)


@in_every_story
def test_a_burn_stops_peroxide_everywhere_and_everything_on_its_plant(season, data, kind):
    events, moment = data.draw(STORIES[kind])
    invented = built(season, events)
    now = invented.at(*moment)
    log = holding(invented, now)
    tasks = [t for t in invented.plan(*moment).tasks if t.kind in SPRAYS]
    for plant in standing(log):
        mine = own(invented, log, plant)
        seen = [e.at for e in mine if e.text == "burned"]
        found = last_peroxide(invented, log, plant)
        by_peroxide = [at for at, verdict in (found or (None, []))[1] if verdict == "burned"]
        if any((now.date() - at.date()).days <= 14 for at in seen + by_peroxide):
            assert all(plant not in task.plants for task in tasks)
        if any((now.date() - at.date()).days <= 14 for at in by_peroxide):
            assert {task.kind for task in tasks} <= {"prevent"}


@in_every_story
def test_each_plant_sprayed_with_peroxide_awaits_its_look_and_nothing_is_sprayed_today(
    season, data, kind
):
    events, moment = data.draw(STORIES[kind])
    invented = built(season, events)
    now = invented.at(*moment)
    log = holding(invented, now)
    tasks = invented.plan(*moment).tasks
    asked = {plant for task in tasks if task.kind == "burn-check" for plant in task.plants}
    for plant in standing(log):
        found = last_peroxide(invented, log, plant)
        if found is None or (now.date() - found[0].at.date()).days > 14:
            assert plant not in asked
            continue
        spray, looks = found
        open_ = not looks or (
            looks[-1][1] == "cannot tell" and "burned" not in {v for _, v in looks}
        )
        assert (plant in asked) == open_
        if open_ and now - spray.at >= timedelta(hours=24):
            assert not [t for t in tasks if t.kind in SPRAYS and t.day <= now.date()]


@in_every_story
def test_no_spray_is_advised_more_often_than_the_rule_says(season, data, kind):
    events, moment = data.draw(STORIES[kind])
    invented = built(season, events)
    now = invented.at(*moment)
    log = holding(invented, now)
    tasks = [t for t in invented.plan(*moment, days=40).tasks if t.kind in SPRAYS]
    for plant in standing(log):
        mine = own(invented, log, plant)
        for product, least in (("soda", 14), ("peroxide", 8)):
            made = [e.at.date() for e in mine if e.product == product][-1:]
            planned = [t.day for t in tasks if plant in t.plants and PRODUCT[t.kind] == product]
            for before, after in pairwise([*made, *sorted(planned)]):
                rained = [e for e in log if e.kind == "rain" and e.amount > 0.5
                          and before <= e.at.date() < after]  # fmt: skip
                assert (after - before).days >= least or (product == "soda" and rained)


@in_every_story
def test_no_spray_follows_from_a_look_older_than_the_rule_says(season, data, kind):
    events, moment = data.draw(STORIES[kind])
    invented = built(season, events)
    now = invented.at(*moment)
    for task in invented.plan(*moment).tasks:
        if task.kind in SPRAYS:
            oldest = 7 if task.kind == "prevent" else 3
            for plant in task.plants:
                assert looked_at(invented, plant, now, oldest)


@in_every_story
def test_a_plan_never_moves_because_time_passes_except_to_ask_for_a_look(season, data, kind):
    """Nothing is logged nor photographed in between: no spray is new, and none comes earlier."""
    events, (day, _) = data.draw(STORIES[kind])
    later = data.draw(st.integers(1, 9))
    invented = built(season, [e for e in events if e[0] != "withdraw"])
    now = invented.at(day, 6)
    invented.entries = [e for e in invented.entries if e.at <= now]
    invented.photos = [p for p in invented.photos if p.taken_at <= now]
    then = [t for t in invented.plan(day, 6, days=40).tasks if t.kind in SPRAYS]
    again = [t for t in invented.plan(day + later, 6, days=40).tasks if t.kind in SPRAYS]
    curative = any(PRODUCT[t.kind] == "peroxide" for t in then)
    for task in again:
        if PRODUCT[task.kind] == "peroxide" and _waits_end(invented, day, later):
            continue  # a test, or the pause after a burn, has run out
        if PRODUCT[task.kind] == "soda" and curative:
            continue  # what was to be sprayed between was not
        for plant in task.plants:
            before = [t.day for t in then
                      if plant in t.plants and PRODUCT[t.kind] == PRODUCT[task.kind]]  # fmt: skip
            assert before, (task, plant)
            assert min(before) <= task.day


def _waits_end(invented, day, later):
    """Whether the 14 days of a test or of a burn's pause end between two days."""
    ends = [(e.at - invented.at(0, 0)).days + 14 for e in invented.entries
            if e.product == "peroxide" or "burned" in e.text]  # fmt: skip
    return any(day <= end < day + later for end in ends)


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
        """Check the sprayed plants for burn, once that is open."""
        for task in self.invented.plan(day, 9.9).tasks:
            if task.kind == "burn-check" and task.not_before is None:
                for plant in task.plants:
                    verdict = self.chance.choice(["no burn seen", "no burn seen", "burned"])
                    spray = int(task.key.split(":")[1])
                    self.invented.verdict(verdict, plant, spray, day, 9.9)


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
