"""Spray arithmetic, against published units and against an independent library of units."""

import math
import re

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.mix import (
    ADDITIONS,
    IMP_GAL_L,
    RECIPES,
    UNITS_ML,
    US_FL_OZ_ML,
    US_GAL_L,
    US_TBSP_ML,
    US_TSP_ML,
    CannotMixError,
    aspirin_for,
    check_together,
    mix,
    parse_strength_pct,
    parse_volume_l,
)

UNITS = pint.UnitRegistry()
PINT_NAMES = {
    "ml": "milliliter",
    "l": "liter",
    "us-fl-oz": "fluid_ounce",
    "us-pint": "pint",
    "us-quart": "quart",
    "us-gal": "gallon",
    "imp-fl-oz": "imperial_fluid_ounce",
    "imp-pint": "imperial_pint",
    "imp-gal": "imperial_gallon",
}
LITRES = st.floats(0.05, 500)


@pytest.mark.parametrize("unit", UNITS_ML)
def test_each_unit_is_that_of_an_independent_library(unit):
    theirs = UNITS.Quantity(3.5, PINT_NAMES[unit]).to("liter").magnitude
    assert parse_volume_l(f"3.5 {unit}") == pytest.approx(theirs, rel=1e-9)


def test_spoons_are_those_of_an_independent_library():
    for ours, theirs in ((US_TSP_ML, "teaspoon"), (US_TBSP_ML, "tablespoon")):
        assert ours == pytest.approx(UNITS.Quantity(1, theirs).to("milliliter").magnitude, rel=1e-9)


def test_us_measures_have_their_defined_size():
    # Check 6a [read; exact by definition]
    assert pytest.approx(3785.411784, abs=1e-9) == US_GAL_L * 1000
    assert pytest.approx(29.5735, abs=1e-4) == 2 * US_TBSP_ML
    assert pytest.approx(256, abs=1e-9) == US_GAL_L * 1000 / US_TBSP_ML
    assert pytest.approx(2 * US_TBSP_ML) == US_FL_OZ_ML


def test_ten_spoons_of_peroxide_to_the_gallon_give_the_known_strengths():
    # Check 6b [calc from read units]: 3 % is taken as 3 g in 100 mL
    added = mix("peroxide", US_GAL_L, bottle_pct=3)
    made_up = mix("peroxide", US_GAL_L, bottle_pct=3, convention="made up to")
    assert added.amount_ml == pytest.approx(147.87, abs=0.005)
    assert added.percent == pytest.approx(0.11278, abs=1e-5)
    assert made_up.percent == pytest.approx(0.11719, abs=1e-5)
    assert made_up.amount_ml == added.amount_ml


def test_a_litre_of_water_takes_the_same_share_of_peroxide():
    # Check 6c [calc]
    litre = mix("peroxide", 1, bottle_pct=3)
    assert litre.amount_ml == pytest.approx(39.06, abs=0.01)
    assert litre.percent == pytest.approx(mix("peroxide", US_GAL_L, bottle_pct=3).percent)


def test_two_spoons_of_soda_weigh_what_food_tables_say():
    # Check 6d [calc from memory: 4.6 g a teaspoon]
    gallon = mix("soda", US_GAL_L)
    assert gallon.grams == pytest.approx(27.6, abs=0.01)
    assert gallon.g_per_l == pytest.approx(7.291, abs=0.001)
    assert gallon.percent == pytest.approx(0.729, abs=0.001)
    assert mix("soda", 2).grams == pytest.approx(14.58, abs=0.01)


def test_the_same_spoons_of_soda_weigh_less_or_more_by_packing():
    # [calc from read: 4 to 7 g a teaspoon] 24 to 42 g, 0.63 to 1.11 %
    gallon = mix("soda", US_GAL_L)
    assert (gallon.least_grams, gallon.most_grams) == pytest.approx((24, 42))
    assert gallon.least_grams / US_GAL_L / 10 == pytest.approx(0.634, abs=0.001)
    assert gallon.most_grams / US_GAL_L / 10 == pytest.approx(1.110, abs=0.001)


def test_half_strength_of_soda_is_one_spoon_to_the_gallon():
    # [calc from memory] 0.36 %
    half = mix("soda", US_GAL_L, share=0.5)
    assert half.spoons == pytest.approx(1)
    assert half.percent == pytest.approx(0.36, abs=0.005)


@given(LITRES, st.sampled_from(sorted(RECIPES)))
def test_twice_the_water_takes_twice_the_amount_at_the_same_strength(litres, name):
    one, two = (mix(name, n * litres, bottle_pct=3) for n in (1, 2))
    assert two.amount_ml == pytest.approx(2 * one.amount_ml)
    assert two.g_per_l == pytest.approx(one.g_per_l)


@given(LITRES)
def test_peroxide_in_the_tank_is_what_was_poured_in(litres):
    tank = mix("peroxide", litres, bottle_pct=3)
    poured_g = tank.amount_ml * 0.03
    assert tank.g_per_l * (litres + tank.amount_ml / 1000) == pytest.approx(poured_g)


@given(st.floats(0, 100))
def test_no_other_strength_of_peroxide_is_ever_mixed(percent):
    if math.isclose(percent, 3, abs_tol=1e-9):
        return
    with pytest.raises(CannotMixError, match="only hydrogen peroxide of 3 %"):
        mix("peroxide", 1, bottle_pct=percent)


@pytest.mark.parametrize("percent", [6, 12, 35])
def test_the_refusal_of_a_stronger_bottle_gives_a_reason_and_no_amount(percent):
    with pytest.raises(CannotMixError) as refused:
        mix("peroxide", 1, bottle_pct=percent)
    assert "burns leaves, skin and eyes" in str(refused.value)
    numbers = {float(n) for n in re.findall(r"\d+(?:\.\d+)?", str(refused.value))}
    assert numbers == {float(percent), 3.0, 8.0}


def test_peroxide_of_unstated_strength_is_asked_for():
    with pytest.raises(CannotMixError, match="--bottle"):
        mix("peroxide", 1)


@pytest.mark.parametrize("other", [one for one in ADDITIONS if one != "peroxide"])
def test_nothing_goes_into_the_tank_with_peroxide(other):
    with pytest.raises(CannotMixError, match="alone"):
        check_together("peroxide", (other,))


@pytest.mark.parametrize("other", [one for one in ADDITIONS if one not in ("aspirin", "soda")])
def test_only_aspirin_goes_into_the_tank_with_soda(other):
    with pytest.raises(CannotMixError, match=other):
        check_together("soda", (other,))


def test_refusals_do_not_depend_on_order_or_spelling():
    for tank in (("soda", "Vinegar"), ("soda", "aspirin", " vinegar ")):
        with pytest.raises(CannotMixError, match="vinegar"):
            check_together(tank[0], tank[1:])
    with pytest.raises(CannotMixError, match="sulphur"):
        check_together("soda", ("sulfur",))
    with pytest.raises(CannotMixError, match="nothing is known"):
        check_together("soda", ("weed killer",))


def test_aspirin_is_shown_as_practice_without_registration():
    gallon = aspirin_for(US_GAL_L)
    # [read] garden advice: 81 to 250 mg a gallon; [practice] two tablets
    assert (gallon.tablets, gallon.least_mg, gallon.most_mg) == pytest.approx((2, 81, 250))
    assert "without registration" in gallon.note
    assert aspirin_for(1).most_mg == pytest.approx(66, abs=0.1)  # [read] 66 mg/L


@pytest.mark.parametrize("text", ["1 gal", "2gallons", "1 pint", "8 oz", "1 Quart"])
def test_a_measure_that_may_be_us_or_imperial_is_asked_for(text):
    with pytest.raises(CannotMixError, match="say which"):
        parse_volume_l(text)


@pytest.mark.parametrize("text", ["", "2", "l", "-2l", "0l", "two l", "2 m", "1/0 l", "nan l"])
def test_what_is_no_amount_is_refused_in_one_sentence(text):
    with pytest.raises(CannotMixError, match=r"\.$"):
        parse_volume_l(text)


@pytest.mark.parametrize(
    ("text", "litres"),
    [
        ("2l", 2),
        ("0,5 litres", 0.5),
        ("1/2 L", 0.5),
        ("1 US gal", US_GAL_L),
        ("2 imperial gallons", 2 * IMP_GAL_L),
    ],
)
def test_amounts_are_read_as_people_write_them(text, litres):
    assert parse_volume_l(text) == pytest.approx(litres)


def test_strengths_are_read_as_they_stand_on_the_bottle():
    assert [parse_strength_pct(text) for text in ("3", "3%", "3.0 %", "3,0%")] == [3, 3, 3, 3]
    with pytest.raises(CannotMixError):
        parse_strength_pct("three")


@pytest.mark.parametrize("water", [0, -1, math.inf, math.nan])
def test_no_water_is_no_tank(water):
    with pytest.raises(CannotMixError):
        mix("soda", water)


def test_a_tank_is_never_stronger_than_the_recipe():
    with pytest.raises(CannotMixError, match="never stronger"):
        mix("soda", 1, share=1.5)
