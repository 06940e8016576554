"""Each row of the decision tables, reached by an invented season; and what the rows promise."""

from dataclasses import replace

import pytest

from models.care.rules import LEAF_CONDITIONS, LEAF_RULES, NIGHT_CONDITIONS, NIGHT_RULES

SODA_DAY = -1  # a preventive spray on the day before, so that none is due


def sprayed(season, *args, **care):
    """Return a season in which no preventive spray is due for a while."""
    return season(*args, **care).spray("soda", SODA_DAY)


def spot_tested(season):
    """Return a season in which A1 was sprayed with peroxide on day 2, and A2 is sick as well."""
    return (
        sprayed(season)
        .healthy(1, "A1", "A2")
        .photo("A1", 1, 20)
        .photo("A2", 1, 9)
        .spray("peroxide", 2, "A1")
    )


LEAF_CASES = {
    "late-blight-like": lambda s: (
        sprayed(s).photo("A1", 1, 8, "blight", blight_kind="late"),
        (1, 12),
    ),
    "wilting": lambda s: (
        sprayed(s).photo("A1", 1, 0.1, "none").log("seen", 1, "A1", text="wilting"),
        (1, 12),
    ),
    "collapse": lambda s: (
        sprayed(s).photo("A1", 0, 4).photo("A1", 3, 45).photo("A1", 3, 45),
        (3, 12),
    ),
    "peroxide acts": lambda s: (spot_tested(s), (3, 7.4)),
    "burned": lambda s: (spot_tested(s).verdict("burned", "A1", 2, 3, 7.5), (4, 6)),
    "check again": lambda s: (spot_tested(s).verdict("cannot tell", "A1", 2, 3, 8), (3, 9)),
    "check for burn": lambda s: (spot_tested(s), (3, 7.5)),
    "resting": lambda s: (spot_tested(s).verdict("no burn seen", "A1", 2, 3, 8), (3, 9)),
    "season over": lambda s: (sprayed(s).photo("A1", 1, 0.1, "none"), (47, 6)),
    "never photographed": lambda s: (sprayed(s), (1, 6)),
    "no date": lambda s: (sprayed(s).photo("A1", 1, 20, flags=("no_date",)), (1, 12)),
    "old photo": lambda s: (sprayed(s).photo("A1", 1, 0.1, "none"), (9, 6)),
    "sudden rise": lambda s: (sprayed(s).photo("A1", 0, 4).photo("A1", 3, 45), (3, 12)),
    "test of your choice": lambda s: (
        sprayed(s).healthy(1).photo("A2", 1, 20).log("choice", 1, "A1", hour=9),
        (1, 12),
    ),
    "flagged": lambda s: (sprayed(s).photo("A1", 1, 20, flags=("blurred",)), (1, 12)),
    "blight, kind unsure": lambda s: (
        sprayed(s).photo("A1", 1, 20, "blight", blight_kind="unsure"),
        (1, 12),
    ),
    "doubtful": lambda s: (sprayed(s).photo("A1", 1, 20, "unsure"), (1, 12)),
    "open": lambda s: (
        sprayed(s).photo("A1", 1, 19, "unsure").photo("A1", 1, 20).photo("A1", 1, 21),
        (1, 12),
    ),
    "sick, not fresh": lambda s: (sprayed(s).photo("A1", 1, 20), (5, 6)),
    "blocked by a burn": lambda s: (
        spot_tested(s).verdict("burned", "A1", 2, 3, 8).healthy(3, "A2").photo("A2", 3, 9),
        (4, 6, "A2"),
    ),
    "treat": lambda s: (spot_tested(s).verdict("no burn seen", "A1", 2, 3, 7.5), (4, 8, "A2")),
    "one more day": lambda s: (
        spot_tested(s).verdict("no burn seen", "A1", 2, 3, 7.5),
        (3, 8, "A2"),
    ),
    "test is running": lambda s: (spot_tested(s), (2, 12, "A2")),
    "spot-test": lambda s: (sprayed(s).healthy(1, "A1").photo("A1", 1, 20), (1, 12)),
    "another first": lambda s: (
        sprayed(s).healthy(1, "A1", "A2").photo("A1", 1, 20).photo("A2", 1, 9),
        (1, 12, "A2"),
    ),
    "none to test": lambda s: (sprayed(s, "A1").photo("A1", 1, 20), (1, 12)),
    "prevent": lambda s: (s().healthy(1), (1, 12)),
    "treated": lambda s: (
        spot_tested(s).verdict("no burn seen", "A1", 2, 3, 8).photo("A1", 4, 20).spray("soda", 4),
        (5, 6),
    ),
    "a few lesions": lambda s: (sprayed(s).photo("A1", 1, 3), (1, 12)),
    "clear": lambda s: (sprayed(s).photo("A1", 1, 0.1, "none"), (1, 12)),
}

NIGHT_CASES = {
    "cocoons": lambda s: s().night("B2", 1, 1).log("seen", 1, "B2", hour=23, text="cocoons"),
    "old count": lambda s: s().night("B2", -5, 2),
    "pick": lambda s: s().night("B2", 1, 2),
    "look again after picking": lambda s: (
        s().night("B2", 1, 2).log("hand_pick", 1, "B2", hour=23, amount=2)
    ),
    "look tonight": lambda s: s().signs("B2", 1, frass=4),
}


def test_each_row_has_its_case():
    assert list(LEAF_CASES) == [rule.name for rule in LEAF_RULES]
    assert list(NIGHT_CASES) == [rule.name for rule in NIGHT_RULES]


@pytest.mark.parametrize("name", LEAF_CASES)
def test_a_season_leads_to_each_row_about_leaves(season, name):
    invented, (day, hour, *plant) = LEAF_CASES[name](season)
    assert invented.rules(day, hour)[plant[0] if plant else "A1"][0] == name


@pytest.mark.parametrize("name", NIGHT_CASES)
def test_a_season_leads_to_each_row_about_caterpillars(season, name):
    assert NIGHT_CASES[name](season).rules(2, 8)["B2"][1:] == (name,)


@pytest.mark.parametrize("rules", [LEAF_RULES, NIGHT_RULES])
def test_each_row_is_named_once_and_says_its_rule(rules):
    assert len({rule.name for rule in rules}) == len(rules)
    assert all(rule.why.endswith(".") for rule in rules)
    assert all(bool(rule.ask) == bool(rule.task) for rule in rules)
    asks = [rule.ask for rule in rules if rule.ask]
    assert all("{plants}" in ask or "{counts}" in ask for ask in asks)


@pytest.mark.parametrize(
    ("rules", "conditions"), [(LEAF_RULES, LEAF_CONDITIONS), (NIGHT_RULES, NIGHT_CONDITIONS)]
)
def test_rows_and_conditions_name_each_other(rules, conditions):
    assert {name for rule in rules for name in rule.when} == set(conditions)


def test_isolation_goes_before_everything_that_sprays():
    statuses = [rule.status for rule in LEAF_RULES]
    last_isolation = max(n for n, status in enumerate(statuses) if status == "isolate")
    assert last_isolation < min(statuses.index(s) for s in ("spot-test", "treat", "prevent"))


def test_a_status_says_the_reading_with_interval_pattern_day_and_photo(season):
    invented = sprayed(season).healthy(1, "A1").photo("A1", 1, 20, width=4)
    status = invented.plan(1, 12).statuses[0]
    assert status.measured == "Tue 2 Jun: 20.0 % sick (18.0 to 22.0 %), spot-like, 1 leaf"
    assert (status.severity_pct, status.severity_low_pct, status.severity_high_pct) == (20, 18, 22)
    assert status.pattern == "spot-like"
    assert status.photo == invented.photos[-1].photo
    assert status.measured_on == invented.at(1).date()


def test_a_plant_with_sick_leaves_and_caterpillars_has_both_statuses(season):
    invented = sprayed(season).healthy(1, "B2").photo("B2", 1, 20).night("B2", 1, 2)
    assert invented.rules(2, 8)["B2"] == ("spot-test", "pick")


def test_the_mean_of_the_leaves_counts_each_leaf_alike(season, a_leaf):
    leaves = (a_leaf(1, 30), a_leaf(2, 6), a_leaf(3, 0, "none"))
    status = sprayed(season).photo("A1", 1, 25, leaves=leaves).plan(1, 12).statuses[0]
    assert status.severity_pct == pytest.approx(12)  # (30 + 6 + 0) / 3
    # So unlike leaves say little of the plant, however well each one was measured.
    assert status.severity_low_pct < 6 < 25 < status.severity_high_pct


def test_one_leaf_like_late_blight_among_healthy_ones_isolates(season, a_leaf):
    leaves = (a_leaf(1, 0, "none"), a_leaf(2, 9, "blight", "late"))
    invented = sprayed(season).photo("A1", 1, 3, "unsure", leaves=leaves)
    assert invented.rules(1, 12)["A1"] == ("late-blight-like",)


def test_a_sharp_photo_of_the_day_stands_in_for_a_doubtful_one(season):
    invented = sprayed(season).healthy(1, "A1").photo("A1", 1, 60, flags=("blurred",))
    assert invented.rules(1, 12)["A1"] == ("flagged",)
    assert invented.photo("A1", 1, 8, hour=9).rules(1, 12)["A1"] == ("spot-test",)
    assert invented.plan(1, 12).statuses[0].severity_pct == 8


def test_a_photo_whose_name_tells_only_its_day_counts_from_that_morning_on(season):
    invented = sprayed(season).photo("A1", 1, 0.1, "none", hour=12, taken_from="name")
    assert invented.rules(1, 7)["A1"] == ("clear",)
    assert invented.rules(0, 7)["A1"] == ("never photographed",)
    timed = sprayed(season).photo("A1", 1, 0.1, "none", hour=12)
    assert timed.rules(1, 7)["A1"] == ("never photographed",)


def test_patterns_that_contradict_each_other_are_unsure(season):
    invented = sprayed(season).photo("A1", 1, 20, "spot").photo("A1", 1, 20, "blight")
    assert invented.rules(1, 12)["A1"] == ("doubtful",)


@pytest.mark.parametrize("severity", [4.9, 5.5])
def test_an_interval_across_the_threshold_asks_for_a_photo_and_never_for_a_spray(season, severity):
    invented = sprayed(season).healthy(1, "A1").photo("A1", 1, severity, width=2)
    assert invented.plan(1, 12).statuses[0].status == "watch"
    assert not invented.tasks(1, 12, "spot-test")


def leaves_of(a_leaf, *severities):
    return tuple(a_leaf(number, severity) for number, severity in enumerate(severities, 1))


def test_a_doubtful_reading_says_why_and_waits_for_tomorrow_when_enough_leaves_were_seen(
    season, a_leaf
):
    invented = sprayed(season).photo("A1", 1, 5.5)
    (task,) = [t for t in invented.tasks(1, 12, "photo") if t.plants == ("A1",)]
    assert "the interval reaches below 5 %; 3 leaves on one day would settle it" in task.why
    assert "3 of A1" in task.what
    assert task.day == invented.at(1).date()
    invented.photo("A1", 2, 10, leaves=leaves_of(a_leaf, 6, 10, 16))
    (task,) = [t for t in invented.tasks(2, 12, "photo") if t.plants == ("A1",)]
    assert "4 of A1" in task.what
    assert task.day == invented.at(3).date()


def test_as_many_leaves_as_are_asked_for_settle_it_when_they_are_like_those_seen(season, a_leaf):
    few = sprayed(season).photo("A1", 1, 10, leaves=leaves_of(a_leaf, 6, 10, 16))
    assert few.rules(1, 12)["A1"] == ("doubtful",)
    many = sprayed(season).photo("A1", 1, 10, leaves=leaves_of(a_leaf, 6, 10, 16, 10))
    assert many.rules(1, 12)["A1"] == ("spot-test",)


def test_six_leaves_that_leave_it_open_lead_to_the_next_walk_and_not_to_more_photos(season, a_leaf):
    leaves = leaves_of(a_leaf, 5, 5.2, 6, 5.5, 4.6, 5.4)
    invented = sprayed(season).photo("A1", 1, 5.3, leaves=leaves)
    assert invented.rules(1, 12)["A1"] == ("open",)
    (task,) = [t for t in invented.tasks(1, 12, "photo") if "A1" in t.plants]
    assert task.day == invented.at(1 + 3).date()
    (status, *_) = invented.plan(1, 12).statuses
    assert "up to 12 leaves would not settle it" in status.measured


def test_the_reason_shown_is_that_of_the_row_that_fits(season):
    """A blight-like plant with a wide interval waits for its kind, not for the width."""
    invented = sprayed(season).photo("A1", 1, 30, "blight", width=60, blight_kind="unsure")
    (task,) = [t for t in invented.tasks(1, 12, "photo") if t.plants == ("A1",)]
    assert "may be late blight" in task.why
    assert "interval" not in task.why


def test_a_wider_interval_never_leads_to_a_spray_that_a_narrow_one_did_not(season):
    asks = []
    for width in (1, 5, 10, 30, 44, 46, 60):
        invented = sprayed(season).healthy(1, "A1").photo("A1", 1, 36, width=width)
        asks.append(bool(invented.tasks(1, 12, "spot-test")))
    assert asks == sorted(asks, reverse=True)
    assert set(asks) == {True, False}


def test_thresholds_of_the_garden_move_the_statuses(season):
    def status(**care):
        return sprayed(season, **care).healthy(1, "A1").photo("A1", 1, 12).rules(1, 12)["A1"]

    assert status() == ("spot-test",)
    assert status(sick_pct=15.0) == ("a few lesions",)
    assert status(sick_pct=15.0, watch_pct=13.0) == ("clear",)


def isolated(season):
    """Return a season in which A1 looked like late blight on day 1, at 20 % (19 to 21 %)."""
    return sprayed(season).photo("A1", 1, 20, "blight", blight_kind="late")


def is_isolated(invented, day, hour=12):
    statuses = {status.plant: status.status for status in invented.plan(day, hour).statuses}
    return statuses["A1"] == "isolate"


def looked(invented, a_leaf, day, severity, pattern="spot", *, leaves=3, kind="", **more):
    """File a look at A1 of so many leaves alike."""
    seen = tuple(a_leaf(n + 1, severity, pattern, kind) for n in range(leaves))
    return invented.photo("A1", day, severity, pattern, leaves=seen, blight_kind=kind, **more)


def test_isolation_ends_by_two_looks_that_surely_show_it_healthier_and_without_blight(
    season, a_leaf
):
    invented = looked(isolated(season), a_leaf, 8, 4)
    assert is_isolated(invented, 8)
    assert is_isolated(looked(invented, a_leaf, 8, 3, hour=10), 8)  # the same day counts once
    assert not is_isolated(looked(invented, a_leaf, 11, 4), 11)
    # It was over; a new sign isolates it anew.
    assert is_isolated(invented.photo("A1", 13, 2, "blight", blight_kind="late"), 13)


@pytest.mark.parametrize(
    "look",
    [
        {"severity": 40, "pattern": "blight", "kind": "unsure"},
        {"severity": 40},
        {"severity": 20},
        {"severity": 4, "pattern": "blight", "kind": "unsure"},
        {"severity": 4, "pattern": "blight", "kind": "early"},
        {"severity": 4, "pattern": "unsure"},
        {"severity": 4, "leaves": 2},
        {"severity": 4, "flags": ("blurred",)},
    ],
)
def test_a_sicker_an_unsure_or_a_poor_look_never_lifts_isolation(season, a_leaf, look):
    invented = isolated(season)
    for day in (8, 11, 14, 21):
        looked(invented, a_leaf, day, **look)
        assert is_isolated(invented, day)
    # A sure look between two of them does not add up with one before.
    looked(invented, a_leaf, 24, 4)
    looked(invented, a_leaf, 27, **look)
    looked(invented, a_leaf, 30, 4)
    assert is_isolated(invented, 30)


def test_two_sure_looks_within_the_week_do_not_lift_isolation(season, a_leaf):
    invented = looked(looked(isolated(season), a_leaf, 4, 4), a_leaf, 7, 4)
    assert is_isolated(invented, 7)


def test_the_growers_word_ends_isolation_until_the_next_sign(season):
    invented = isolated(season).log("seen", 1, "A1", hour=7.5, text="cleared")
    assert is_isolated(invented, 1)  # the word came before the photo of 8:00
    assert not is_isolated(invented.log("seen", 2, "A1", text="cleared"), 2)
    assert is_isolated(invented.photo("A1", 3, 8, "blight", blight_kind="late"), 3)
    gone = isolated(season).log("seen", 2, "A1", text="gone")
    assert "A1" not in gone.rules(3)


def test_a_later_sign_that_has_passed_does_not_lift_an_earlier_one(season, a_leaf):
    """Wilting only the grower lifts, whatever was photographed and passed since."""
    invented = isolated(season).log("seen", 0, "A1", text="wilting")
    looked(looked(invented, a_leaf, 8, 4), a_leaf, 11, 4)
    assert invented.rules(11, 12)["A1"] == ("wilting",)


def test_an_isolated_plant_a_week_later_sicker_and_unsure_is_not_sprayed(season):
    """As it was lived: 19.8 to 25 % like late blight, a week later 40 %, kind not told apart."""
    invented = sprayed(season).healthy(1, "B1")
    invented.photo("B1", 1, 22.4, "blight", width=5.2, blight_kind="late")
    invented.healthy(8, "B1").photo("B1", 8, 40, "blight", blight_kind="unsure")
    assert invented.rules(8, 12)["B1"] == ("late-blight-like",)
    for task in invented.tasks(14, 6, "prevent") + invented.tasks(8, 12, "prevent"):
        assert "B1" not in task.plants
        assert "all plants" not in task.what


def test_a_wilting_plant_stays_isolated_until_the_grower_says_otherwise(season):
    wilting = sprayed(season).log("seen", 1, "A1", text="wilting").photo("A1", 9, 0.1, "none")
    assert wilting.rules(9, 12)["A1"] == ("wilting",)
    assert wilting.log("seen", 10, "A1", text="cleared").rules(10, 12)["A1"] == ("clear",)


def test_a_slow_rise_is_no_collapse(season):
    slow = sprayed(season).photo("A1", 0, 4).photo("A1", 7, 45).photo("A1", 7, 45)
    assert slow.rules(7, 12)["A1"] not in (("collapse",), ("sudden rise",))


def test_a_fast_rise_after_peroxide_is_looked_at_for_burn_and_not_taken_for_late_blight(season):
    invented = spot_tested(season).photo("A1", 3, 60, hour=7).photo("A1", 3, 60, hour=7)
    assert invented.rules(3, 9)["A1"] == ("check for burn",)
    unsprayed = spot_tested(season).photo("A2", 3, 60, hour=7).photo("A2", 3, 60, hour=7)
    assert unsprayed.rules(3, 9)["A2"] == ("collapse",)


def test_an_isolated_plant_that_was_tested_is_still_looked_at_for_burn(season):
    invented = spot_tested(season).log("seen", 2, "A1", hour=18, text="wilting")
    assert invented.rules(3, 9)["A1"] == ("wilting",)
    assert invented.tasks(3, 9, "burn-check")[0].plants == ("A1",)


def test_dead_tissue_of_a_treated_disease_asks_for_nothing_until_it_is_surely_more(season):
    treated = (
        spot_tested(season)
        .verdict("no burn seen", "A1", 2, 3, 8)
        .photo("A1", 4, 20)
        .spray("soda", 5)
    )
    for day in (7, 10):
        treated.photo("A1", day, 20.5)
    assert treated.rules(10, 12)["A1"] == ("treated",)
    assert treated.photo("A1", 12, 24).rules(12, 12)["A1"] != ("treated",)
    assert treated.tasks(12, 12, "treat")


def test_a_plant_that_is_gone_has_neither_status_nor_task(season):
    invented = sprayed(season).healthy(1).log("seen", 2, "A1", text="gone")
    plan = invented.plan(3)
    assert "A1" not in {status.plant for status in plan.statuses}
    assert all("A1" not in task.plants for task in plan.tasks)


def test_a_plant_put_in_the_place_of_another_begins_its_own_record(season):
    invented = sprayed(season).healthy(1, "A1").photo("A1", 1, 20)
    invented.log("seen", 2, "A1", text="gone").log("seen", 3, "A1", text="planted")
    assert invented.rules(4)["A1"] == ("never photographed",)
    invented.photo("A1", 4, 0.1, "none")
    assert invented.rules(4, 12)["A1"] == ("prevent",)
    (task, *_) = invented.tasks(4, 12, "prevent")
    assert task.plants == ("A1",)


def test_what_was_withdrawn_or_corrected_counts_as_it_stands_now(season):
    invented = season().healthy(1).spray("soda", 1, hour=7)
    assert invented.rules(1, 9)["A1"] == ("clear",)
    back = replace(invented.entries[0], number=2, corrects=1, withdrawn=True)
    invented.entries.append(back)
    assert invented.rules(1, 9)["A1"] == ("prevent",)


@pytest.mark.parametrize(("day", "rule"), [(4, "treated"), (9, "treated"), (10, "treat")])
def test_what_comes_out_within_a_week_of_peroxide_is_no_return_though_sick_leaves_were_taken_off(
    season, day, rule
):
    """Taken off on the day of the spray, they leave an early look that is far less sick."""
    invented = (
        spot_tested(season)
        .verdict("no burn seen", "A1", 2, 3, 7.5)
        .log("removed_leaves", 2, "A1", hour=9, amount=3)
        .photo("A1", 3, 6)
        .photo("A1", day, 20)
        .spray("soda", day - 1)
    )
    assert invented.rules(day, 12)["A1"] == (rule,)
