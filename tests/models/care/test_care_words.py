"""Names and numbers as the advice says them."""

import re

from hypothesis import given
from hypothesis import strategies as st

from models.care.cautions import CAUTIONS, SELLING, said
from models.care.words import heat_words, joined
from models.numerals import counted, plain_number

NAMES = st.builds(
    lambda stem, number: f"{stem}{number}",
    st.sampled_from(["A", "plant-B", "", "Ä 1/"]),
    st.integers(0, 30),
)


def spelled_out(listed):
    """Return the names of a list, runs taken apart again."""
    names = []
    for part in re.split(", | and ", listed):
        first, _, last = part.partition(" to ")
        names.append(first)
        while last and names[-1] != last:
            stem, number = re.fullmatch(r"(.*?)(\d+)", names[-1]).groups()
            names.append(f"{stem}{int(number) + 1}")
    return names


@given(st.lists(NAMES, min_size=1, max_size=60))
def test_no_name_is_lost_in_a_long_list(names):
    assert spelled_out(joined(names)) == names


def test_three_hundred_plants_are_no_paragraph():
    names = [f"{bed}{n}" for bed in "ABC" for n in range(1, 101)]
    assert joined(names) == "A1 to A100, B1 to B100 and C1 to C100"


def test_a_few_names_are_read_one_by_one():
    assert joined(f"A{n}" for n in range(1, 11)).count(",") == 8


@given(st.floats(1e-9, 1e12))
def test_a_plain_number_has_no_exponent_and_three_digits(value):
    text = plain_number(value)
    assert re.fullmatch(r"\d+(\.\d+)?", text)
    assert abs(float(text) - value) <= 0.005 * value


def test_one_thing_is_not_many():
    assert counted(1, "bed") == "1 bed"
    assert counted(0, "bed") == "0 beds"


def test_who_sells_produce_is_told_of_that_and_each_caution_is_said_in_full_once():
    usual, reminder = said(CAUTIONS, set())
    assert usual == [caution.full for caution in CAUTIONS.values()]
    assert reminder == ""
    sold, _ = said(CAUTIONS, set(), sells_produce=True)
    pairs = zip(CAUTIONS, usual, sold, strict=True)
    assert {name: now for name, before, now in pairs if now != before} == {"selling": SELLING}
    first, *others = CAUTIONS
    full, reminder = said(CAUTIONS, {first})
    assert full == [CAUTIONS[name].full for name in others]
    assert reminder == CAUTIONS[first].brief


def test_a_temperature_is_told_in_the_gardens_units():
    """Water freezes at 32 °F and boils at 212 °F."""
    assert [heat_words(c, "US") for c in (0, 100)] == ["32 °F", "212 °F"]
    assert heat_words(100, "metric") == "100 °C"
