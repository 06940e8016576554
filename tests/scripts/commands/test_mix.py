"""``spotlamp mix`` as a grower sees it."""

import re

from typer.testing import CliRunner

from scripts.cli import app


def run(*words):
    return CliRunner().invoke(app, ["mix", *words])


def test_soda_is_weighed_with_the_spoons_and_their_spread_beside_it():
    shown = run("soda", "--water", "1us-gal").output
    assert "27.6 g" in shown
    assert "2 US tablespoons, level, which may weigh 24 to 42 g" in shown
    assert "0.729 %" in shown


def test_the_final_strength_of_peroxide_is_shown_by_either_convention():
    words = ("peroxide", "--water", "1us-gal", "--bottle", "3%")
    assert "0.113 % (33 mM)" in run(*words).output
    assert "0.117 %" in run(*words, "--made-up").output


def test_cautions_stand_below_every_recipe():
    for words in (("soda",), ("peroxide", "--bottle", "3")):
        shown = run(*words, "--water", "1l").output
        for said in ("label", "local rules", "gloves and eye protection", "Children", "ripe fruit"):
            assert said.lower() in shown.lower()


def test_aspirin_is_shown_only_when_asked_for_and_as_what_it_is():
    plain = run("soda", "--water", "2l").output
    asked = run("soda", "--water", "2l", "--with", "aspirin").output
    assert "aspirin" not in plain.lower()
    assert "Practice without registration" in " ".join(asked.split())


def test_refusals_end_with_one_sentence_and_no_amounts():
    for words in (
        ("peroxide", "--water", "1l", "--bottle", "6%"),
        ("peroxide", "--water", "1l"),
        ("soda", "--water", "1l", "--with", "vinegar"),
        ("soda", "--water", "1 gal"),
        ("copper", "--water", "1l"),
    ):
        result = run(*words)
        assert result.exit_code == 1
        assert result.stdout == ""
        assert len(result.stderr.splitlines()) == 1


def test_a_small_tank_never_asks_for_nothing():
    shown = run("soda", "--water", "5ml", "--with", "aspirin").output
    assert "0.036 g" in shown
    assert "less than a kitchen scale shows" in shown
    assert "less than a quarter of a US teaspoon" in shown
    assert not re.search(r" 0(\.0+)? (g|to|mg|tablets|oz)", shown)
    assert "0.012 mL" in run("peroxide", "--water", "0,3ml", "--bottle", "3%").output


def test_a_large_tank_is_shown_without_an_exponent():
    assert "water      20000 L" in run("soda", "--water", "20000l").output


def test_soda_has_no_strength_on_a_bottle():
    refused = run("soda", "--water", "1l", "--bottle", "3%")
    assert refused.exit_code == 2
    assert "soda has none" in refused.output
