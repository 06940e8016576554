"""Where a season ends and the next begins, and that nothing of the one rules the other."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from models.care.burn import BurnCheckError, gather_test
from models.care.season import gone_plants, season_of
from models.care.seasons import (
    NEW_SEASON,
    SEASON_GAP_DAYS,
    NoSuchSeasonError,
    named_span,
    season_begin,
    since_new,
    spans_of,
)
from models.entries import LogEntry

ZONE = ZoneInfo("Europe/Berlin")


def at(text):
    return datetime.fromisoformat(text).replace(tzinfo=ZONE)


def entry(number, kind, when, *plants, **more):
    return LogEntry(number, kind, at(when), plants, **more)


def spans(photos, *log, now="2028-01-01"):
    return spans_of([at(photo) for photo in photos], log, at(now))


def names(found):
    return [span.name for span in found]


def test_without_a_word_a_season_ends_after_a_long_gap_only():
    first = at("2026-05-01")
    gap = timedelta(days=SEASON_GAP_DAYS)
    together = spans_of([first, first + gap], (), at("2028-01-01"))
    apart = spans_of([first, first + gap + timedelta(hours=1)], (), at("2028-01-01"))
    assert [len(together), len(apart)] == [1, 2]
    assert names(apart) == ["2026", "2026-2"]
    assert apart[0].end == apart[1].begin


def test_a_season_knows_the_day_on_which_it_began_and_that_of_its_last_record():
    (span,) = spans(["2026-05-01", "2026-06-02"])
    assert span.first_day.isoformat() == "2026-05-01"
    assert span.last.date().isoformat() == "2026-06-02"


def test_what_is_logged_bridges_a_gap_between_photos():
    photos = ["2026-05-01", "2026-09-20"]
    assert len(spans(photos)) == 2
    assert len(spans(photos, entry(1, "spray", "2026-07-01", product="soda"))) == 1
    # What is declined is declined for good: it says nothing of a season.
    assert len(spans(photos, entry(1, "decline", "2026-07-01", text="basil"))) == 2


def test_the_growers_word_begins_a_season_wherever_it_falls():
    new = entry(1, NEW_SEASON, "2026-06-15")
    first, second = spans(["2026-06-14", "2026-06-16"], new)
    assert (first.end, second.begin, second.said) == (new.at, new.at, True)
    assert (first.photos, second.photos) == (1, 1)
    (only,) = spans(["2026-06-15"], new)  # at that moment already: of the new one
    assert only.said


def test_a_new_season_is_there_before_anything_is_recorded_in_it():
    old, new = spans(["2026-06-14"], entry(1, NEW_SEASON, "2027-03-01"))
    assert (names((old, new)), new.photos, new.last, new.moment) == (
        ["2026", "2027"],
        0,
        None,
        None,
    )


def test_said_twice_with_nothing_between_counts_once():
    said = [entry(n, NEW_SEASON, f"2027-03-0{n}") for n in (1, 2)]
    assert names(spans(["2026-06-14", "2027-05-01"], *said)) == ["2026", "2027"]


def test_what_is_still_to_come_is_no_season_yet():
    assert spans(["2026-06-14"], now="2026-01-01") == ()
    assert len(spans(["2026-06-14"], entry(1, NEW_SEASON, "2027-03-01"), now="2026-12-01")) == 1


def test_an_ended_season_is_told_as_of_its_last_day_and_never_into_the_next():
    first, _ = spans(
        ["2026-06-14 08:00", "2026-06-14 19:00"], entry(1, NEW_SEASON, "2026-06-14 12:00")
    )
    assert first.moment == at("2026-06-14 12:00") - timedelta(microseconds=1)
    (alone,) = spans(["2026-06-14 08:00"])
    assert alone.moment == at("2026-06-14 23:59:59")


def test_a_season_that_does_not_exist_is_refused_with_those_that_do():
    found = spans(["2025-06-14", "2026-06-14"])
    assert named_span(found, " 2025 ").photos == 1
    with pytest.raises(NoSuchSeasonError, match=r"2024.*2025, 2026"):
        named_span(found, "2024")


def test_the_latest_of_word_gap_and_longest_reach_begins_a_season():
    now, photos = at("2026-09-01"), [at("2026-03-01"), at("2026-08-01")]
    log = [entry(1, NEW_SEASON, "2026-08-10")]
    assert season_begin(photos, log, now, 200) == log[0].at
    assert season_begin(photos, [], now, 200) == photos[1]
    assert season_begin(photos, [], now, 20) == now - timedelta(days=20)
    assert season_begin([], [], now, 20) == now - timedelta(days=20)


@pytest.mark.parametrize("kind", ["spray", "note", "decline", NEW_SEASON])
def test_the_season_that_lasts_is_the_last_of_all_seasons(kind):
    photos = [at("2024-08-01"), at("2026-05-01"), at("2026-09-20")]
    log = [entry(1, kind, "2026-07-01")]
    for now in (at("2026-06-01"), at("2026-10-01")):
        last = spans_of(photos, log, now)[-1]
        assert season_begin(photos, log, now, 1000) == last.begin


def test_a_new_season_starts_all_plants_afresh_and_knows_the_old_one_no_more(season):
    made = season().healthy(0).photo("A1", 0, 30, "blight", blight_kind="late")
    made.log("seen", 1, "A2", text="gone").spray("peroxide", 1, "A3")
    before = {s.plant: s.rule for s in made.plan(2).statuses}
    made.log(NEW_SEASON, 3)
    after = {s.plant: s.rule for s in made.plan(4).statuses}
    assert "A2" not in before
    assert before["A1"] != after["A1"]
    assert set(after.values()) == {after["B1"]}  # all alike: nothing is known of any
    assert len(after) == 6


def test_nothing_recorded_before_a_new_season_changes_its_plan(season):
    old = season().healthy(0).photo("A1", 1, 40).spray("soda", 1).log("seen", 2, "B1", text="gone")
    old.log(NEW_SEASON, 10)
    new = season().log(NEW_SEASON, 10)
    for made in (old, new):
        made.healthy(12).photo("A1", 12, 8).spray("soda", 13)
    assert old.rules(14) == new.rules(14)
    plans = [made.plan(14) for made in (old, new)]
    assert [t.what for t in plans[0].tasks] == [t.what for t in plans[1].tasks]


def test_the_calendar_does_not_move_last_seasons_sprays_into_this_one(season):
    def keys(made, day):
        return {task.key for task in made.tasks(day, kind="prevent", days=20)}

    made = season().healthy(0)
    before = keys(made, 1)
    made.log(NEW_SEASON, 10).healthy(11)
    assert before
    assert not before & keys(made, 12)


def test_a_burn_check_looks_at_no_spray_of_last_season():
    spray = entry(1, "spray", "2026-06-01", "A1", product="peroxide")
    new = entry(2, NEW_SEASON, "2026-06-02")
    with pytest.raises(BurnCheckError, match="No peroxide spray"):
        gather_test((), (spray, new), "A1", at("2026-06-05"))


def test_plants_that_were_taken_out_stand_again():
    log = (entry(1, "seen", "2026-06-01", "A1", text="gone"), entry(2, NEW_SEASON, "2027-03-01"))
    assert gone_plants(log[:1]) == {"A1"}
    assert gone_plants(log) == set()
    assert since_new(log) == log[1:]
    assert since_new(log[:1]) == log[:1]


def test_taking_the_word_back_brings_everything_back(season):
    made = season().healthy(0).photo("A1", 0, 30).log(NEW_SEASON, 3)
    kept = season_of(made.garden, made.photos, made.entries[:0], made.at(4))
    undone = [*made.entries, LogEntry(2, NEW_SEASON, made.at(3), corrects=1, withdrawn=True)]
    again = season_of(made.garden, made.photos, undone, made.at(4))
    assert again.began is None
    assert again.visits == kept.visits
