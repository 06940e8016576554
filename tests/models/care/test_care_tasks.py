"""Caterpillars, isolation, habits, cautions, thresholds and the way round the beds."""

from datetime import time
from itertools import permutations

import pytest

from models.care import CareSettingsError, DayWeather, Thresholds, thresholds_of
from models.care.cautions import CAUTIONS, SELLING, cautions_of, said
from models.care.habits import HABITS
from models.care.layout import neighbours, places_m, shortest_way, way_length_m
from models.care.rule_table import rules_markdown, thresholds_markdown
from models.care.rules import LEAF_RULES, NIGHT_RULES
from models.garden.beds import Garden, Plant

# Caterpillars


def test_a_night_count_makes_a_picking_task_with_plant_number_and_picture(season):
    invented = season().night("B2", 1, 2)
    (task,) = invented.tasks(1, 23, "pick")
    assert task.plants == ("B2",)
    assert task.photo == invented.photos[-1].photo
    assert "2 (1 to 3)" in task.why
    assert "uv" in task.cautions


def test_a_count_of_none_asks_for_nothing(season):
    assert not season().night("B2", 1, 0).tasks(2, 8, "pick")
    assert season().night("B2", 1, 0).rules(2, 8)["B2"][1:] == ()


@pytest.mark.parametrize("sign", [{"frass": 3}, {"chewed": 8.0}])
def test_droppings_or_eaten_leaves_without_a_find_ask_to_look_tonight(season, sign):
    invented = season().signs("B2", 2, **sign)
    (task,) = invented.tasks(2, 12, "night")
    assert (task.part, task.day) == ("night", invented.at(2).date())
    assert "UV" in task.what
    assert not invented.night("B2", 2, 0).tasks(3, 8, "night")


@pytest.mark.parametrize(
    "found",
    [
        lambda season: season.signs("B2", 2, frass=3),
        lambda season: season.signs("B2", 2, chewed=8.0),
        lambda season: season.log("seen", 2, "B2", text="droppings"),
        lambda season: season.night("B2", 2, 3),
        lambda season: season.night("B2", 1, 3).log("hand_pick", 2, "B2"),
    ],
    ids=["droppings", "eaten leaf", "droppings seen", "count", "picking"],
)
def test_a_find_lapses_once_what_was_found_is_in_the_soil(season, found):
    invented = found(season(find_days=10))
    assert invented.tasks(12, 12, "night")
    assert not invented.tasks(13, 12, "night")
    assert invented.signs("B2", 13, frass=1).tasks(13, 12, "night")


def test_a_nibble_below_the_threshold_asks_for_nothing(season):
    assert not season().signs("B2", 2, chewed=2.0).tasks(2, 12, "night")


def test_before_dawn_tonight_is_still_the_night_of_yesterday(season):
    invented = season().signs("B2", 1, frass=3)
    (task,) = invented.tasks(2, 2, "night")
    assert task.day == invented.at(1).date()


def test_after_picking_one_looks_again_the_next_night(season):
    invented = season().night("B2", 1, 2).log("hand_pick", 1, "B2", hour=23, amount=2)
    (task,) = invented.tasks(1, 23.5, "night")
    assert task.day == invented.at(2).date()
    assert not invented.night("B2", 2, 0).tasks(3, 8, "night")


def test_after_picking_by_day_one_looks_again_that_night(season):
    invented = season().night("B2", 1, 2).log("hand_pick", 2, "B2", hour=9, amount=2)
    (task,) = invented.tasks(2, 10, "night")
    assert task.day == invented.at(2).date()


def test_the_growers_word_that_none_was_there_ends_the_task(season):
    invented = season().night("B2", 1, 2)
    invented.log("seen", 2, "B2", hour=22, text="no-caterpillars")
    assert not invented.tasks(2, 23, "pick")


def test_parasitised_caterpillars_are_left_and_the_others_picked(season):
    """Check value 7c: a larva with white cocoons is left [read, extension pages]."""
    invented = season().night("B2", 1, 3)
    invented.log("seen", 1, "B2", hour=23, text="cocoons", amount=1)
    (task,) = invented.tasks(2, 8, "pick")
    assert "1 of them with cocoons" in task.why
    assert "cocoons" in task.what
    invented.log("seen", 1, "B2", hour=23.5, text="cocoons", amount=2)
    assert not invented.tasks(2, 8, "pick")
    assert invented.rules(2, 8)["B2"][1:] == ("cocoons",)


# What tasks say


def test_up_to_four_plants_are_told_with_their_readings_and_more_by_name_alone(season):
    for sick, told in (("A1 A2 A3 A4", True), ("A1 A2 A3 A4 B1", False)):
        invented = season()
        for plant in sick.split():
            invented.photo(plant, 1, 20, "unsure")
        (task,) = (t for t in invented.tasks(1, 12, "photo") if "A1" in t.plants)
        assert task.plants == tuple(sick.split())
        assert all((f"{plant}, Tue 2 Jun: 20.0 %" in task.why) == told for plant in task.plants)


def test_a_look_for_burn_is_asked_for_again_after_one_that_could_not_tell(season):
    invented = season().spray("peroxide", 1, "A1")
    (first,) = invented.tasks(2, 12, "burn-check")
    assert first.what.startswith("Look at A1 for burn: photograph")
    invented.verdict("cannot tell", "A1", 1, 2)
    (again,) = invented.tasks(2, 12, "burn-check")
    assert again.what.startswith("Look at A1 for burn again:")
    assert "“Cannot tell” opens nothing" in again.why


# Isolation


def bed(rows, name="North"):
    """Return the plants of a bed drawn as rows of names; a dot is an empty place."""
    return tuple(
        Plant(plant, name, row, place)
        for row, line in enumerate(rows, 1)
        for place, plant in enumerate(line.split(), 1)
        if plant != "."
    )


def test_neighbours_are_those_that_adjoin_in_the_bed_nearest_first():
    """Drawn by hand: E adjoins all but I; the plant of the other bed does not count."""
    plants = bed(["A B C", "D E F", "G . H . I"]) + bed(["X"], "South")
    garden = Garden("g", "UTC", plants=plants)
    assert neighbours(garden, "E") == ("B", "D", "F", "A", "C", "G", "H")
    assert neighbours(garden, "I") == ()
    assert neighbours(garden, "X") == ()


def test_an_isolated_plant_is_bagged_shown_and_its_neighbours_looked_at_first(season):
    invented = season().spray("soda", -1).healthy(0)
    invented.photo("A2", 1, 8, "blight", blight_kind="late")
    (task,) = invented.tasks(1, 12, "isolate")
    assert task.plants == ("A2",)
    assert all(
        word in task.what for word in ("bag", "do not compost", "extension service", "clinic")
    )
    assert "isolate" in task.cautions
    near = next(t for t in invented.tasks(1, 12, "photo") if t.key.startswith("neighbours"))
    assert near.plants == ("A1", "A3")
    invented.photo("A1", 1, 0.2, "none", hour=11)
    near = next(t for t in invented.tasks(1, 12, "photo") if t.key.startswith("neighbours"))
    assert near.plants == ("A3",)


def test_an_isolated_plant_is_photographed_last(season):
    invented = season().spray("soda", -1).healthy(1, "A2").photo("A2", 1, 3)
    invented.log("seen", 1, "A2", hour=9, text="wilting")
    walk = next(t for t in invented.tasks(4, 6, "photo") if "A2" in t.plants)
    assert "A2 last" in walk.what


# Habits


HABIT_CASES = {
    "water-low": lambda s: s.log("rain", 0, amount=5).photo("A1", 6, 4),
    "stake": lambda s: s.log("seen", 1, "A1", text="lying"),
    "strip": lambda s: s.photo("A1", 6, 45),
    "sharp-mulch": lambda s: s.night("A1", 5, 1),
    "basil": lambda s: s.log("seen", 1, "A1", text="aphids"),
    "bird-water": lambda s: s.log("rain", -3, amount=5).night("A1", 1, 1),
}


def offered(invented, **more):
    return {offer.name: offer for offer in invented.plan(7, 8, **more).habits}


def test_each_habit_has_its_case():
    assert list(HABIT_CASES) == [habit.name for habit in HABITS]


@pytest.mark.parametrize("name", HABIT_CASES)
def test_a_habit_is_offered_with_the_reason_in_the_record_and_can_be_declined_for_good(
    season, name
):
    assert name not in offered(season())
    invented = HABIT_CASES[name](season())
    assert offered(invented)[name].reason.endswith(".")
    assert name not in offered(invented.log("decline", 7, text=name))
    assert name not in offered(HABIT_CASES[name](season(declined=[name])))


def test_rain_in_the_week_keeps_the_birds_watered(season):
    invented = HABIT_CASES["bird-water"](season())
    wet = [DayWeather(invented.at(5).date(), rain_mm=2.0)]
    assert "bird-water" not in offered(invented, weather=wet)


def test_leaves_taken_off_are_not_offered_for_removal_again(season):
    invented = HABIT_CASES["strip"](season()).log("removed_leaves", 6, "A1", hour=9, amount=3)
    assert "strip" not in offered(invented)
    assert "no more than a quarter" in HABITS[2].advice


# Cautions


def test_a_caution_is_said_fully_once_and_briefly_after_that():
    before = set()
    full, brief = said(("label", "protect"), before)
    assert (len(full), brief) == (2, "")
    full, brief = said(("label", "uv"), before)
    assert full == [CAUTIONS["uv"].full]
    assert brief == CAUTIONS["label"].brief


def test_who_sells_produce_is_told_the_stricter_case():
    assert said(("selling",), set(), sells_produce=True)[0] == [SELLING]


def test_all_that_can_hurt_has_its_caution():
    text = " ".join(caution.full for caution in CAUTIONS.values())
    for words in (
        "labels, local rules and licensed practice come before",
        "not registered products",
        "gloves and eye protection",
        "children and pets",
        "pick ripe fruit before",
        "Only 3 % hydrogen peroxide",
        "No trial was found",
        "does not mean safe",
        "sell produce",
        "UV light harms eyes",
    ):
        assert words in text
    kinds = {rule.task for rule in (*LEAF_RULES, *NIGHT_RULES) if rule.task}
    assert {kind for kind in kinds if not cautions_of(kind)} == {"photo"}


# Thresholds


def garden_with(care):
    return Garden("g", "UTC", settings={"care": care})


def test_without_settings_the_defaults_hold():
    assert thresholds_of(Garden("g", "UTC")) == Thresholds()
    assert Thresholds().interval_days == 14  # garden rule
    assert Thresholds().heat_c == 32  # [read, one gardener's record]


def test_settings_change_what_they_name_and_nothing_else():
    limits = thresholds_of(garden_with({"heat_c": 30, "morning_until": "09:30"}))
    assert (limits.heat_c, limits.morning_until) == (30.0, time(9, 30))
    assert limits.interval_days == 14


@pytest.mark.parametrize(
    ("care", "named"),
    [
        ({"heat": 30}, "heat"),
        ({"heat_c": "hot"}, "heat_c"),
        ({"heat_c": True}, "heat_c"),
        ({"wait_hours": 12}, "wait_hours"),
        ({"interval_days": 7.5}, "interval_days"),
        ({"morning_until": "noon"}, "morning_until"),
        ({"morning_until": "04:00"}, "morning_from"),
        ({"sick_pct": 0.5}, "watch_pct"),
        ({"declined": "basil"}, "declined"),
        ({"sells_produce": "yes"}, "sells_produce"),
        ("strict", "care"),
    ],
)
def test_a_setting_that_cannot_be_is_refused_by_its_name(care, named):
    with pytest.raises(CareSettingsError, match=named):
        thresholds_of(garden_with(care))


def test_no_setting_shortens_the_waits_around_peroxide():
    for care in ({"wait_hours": 23}, {"between_hours": 47}):
        with pytest.raises(CareSettingsError):
            thresholds_of(garden_with(care))


def test_the_tables_name_every_row_threshold_and_habit():
    text = rules_markdown(Thresholds())
    assert all(f"| {rule.status} | {rule.why.split('{')[0][:40]}" in text for rule in LEAF_RULES)
    assert all(habit.name in text for habit in HABITS)
    assert "{" not in text
    assert "15 %" in rules_markdown(Thresholds(sick_pct=15.0))
    table = thresholds_markdown(Thresholds())
    assert all(f"`{name}`" in table for name in Thresholds.__dataclass_fields__)


# The way round


def grid(columns, rows):
    names = [" ".join(f"P{r}.{c}" for c in range(columns)) for r in range(rows)]
    return Garden("g", "UTC", plants=bed(names) + bed(["S1 S2 S3"], "South"))


def test_places_are_metres_and_beds_lie_a_path_apart():
    """Two rows at 0.6 m, then 1 m of path: the second bed begins at 1.6 m."""
    places = places_m(Garden("g", "UTC", plants=bed(["A B", "C D"]) + bed(["X"], "South")))
    assert places["D"] == (0.6, 0.6)
    assert places["X"] == (1.6, 0.0)


def test_the_way_visits_each_plant_once_and_no_order_of_few_is_shorter():
    garden = grid(3, 2)
    wanted = ["S2", "P1.2", "P0.1", "S3", "P1.0"]
    way = shortest_way(garden, [*wanted, "S2"])
    places = places_m(garden)
    assert sorted(way) == sorted(wanted)
    shortest = min(way_length_m(places, order) for order in permutations(wanted))
    assert way_length_m(places, way) == pytest.approx(shortest)


def test_a_long_way_is_no_longer_than_walking_row_by_row():
    garden = grid(6, 4)
    everyone = [plant.name for plant in garden.plants]
    places = places_m(garden)
    there_and_back = [f"P{r}.{c if r % 2 == 0 else 5 - c}" for r in range(4) for c in range(6)]
    row_by_row = way_length_m(places, [*there_and_back, "S1", "S2", "S3"])
    assert way_length_m(places, shortest_way(garden, everyone)) <= row_by_row + 1e-9


def test_no_plants_are_no_way():
    assert shortest_way(grid(2, 2), []) == ()
