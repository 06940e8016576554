"""What was read wrongly on a photo is put right, everything follows at once, and it comes back."""

import json
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw
from typer.testing import CliRunner

from models.corrections import Mark
from models.journal import Journal, JournalError, StaleError, Wish, open_journal
from scripts.cli import app
from scripts.garden.correct import correct, undo
from scripts.garden.data_package import journal_files

GREEN, BROWN, GREY = (60, 130, 50), (90, 55, 30), (200, 200, 205)
PHOTO = "A1/2026-07-10_0731.jpg"
AT = ("--at", "2026-07-11 08:00")
SPOTS = ((200, 250, 30), (260, 330, 40), (250, 420, 22))  # row, column, radius
OWN_TABLES = {"fixes.csv", "marks.csv", "corrections.csv", "redrawn.csv", "redrawn_lesions.csv"}


def run(*arguments: object, code: int = 0) -> str:
    result = CliRunner().invoke(app, [str(argument) for argument in arguments])
    assert result.exit_code == code, f"{result.output}\n{result.exception!r}"
    return result.output


def paint(path: Path, spots=SPOTS) -> None:
    """Paint a green leaf with brown discs on grey."""
    picture = Image.new("RGB", (640, 480), GREY)
    draw = ImageDraw.Draw(picture)
    draw.ellipse([96, 96, 544, 384], fill=GREEN)
    for row, col, radius in spots:
        draw.ellipse([col - radius, row - radius, col + radius, row + radius], fill=BROWN)
    noisy = np.asarray(picture) + np.random.default_rng(3).normal(0, 3, (480, 640, 3))
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8)).save(path, quality=95)


@pytest.fixture(scope="module")
def scored(tmp_path_factory) -> Path:
    """Score a garden's photo once for all tests."""
    folder = tmp_path_factory.mktemp("once") / "plot"
    run("new", folder, "--bed", "North=A1,A2", "--time-zone", "Europe/Berlin")
    paint(folder / PHOTO)
    run("score", folder, "--out", folder.parent / "out", "--jobs", "1")
    return folder


@pytest.fixture
def plot(scored, tmp_path) -> Path:
    return Path(shutil.copytree(scored, tmp_path / "plot"))


@pytest.fixture
def fix(plot) -> Callable[..., str]:
    """Run the command on the photo."""

    def fixed(*arguments: object, code: int = 0) -> str:
        return run("fix", plot / PHOTO, *arguments, "--garden", plot, code=code)

    return fixed


@pytest.fixture
def journal(plot):
    with open_journal(plot) as opened:
        yield opened


def held(folder: Path):
    with open_journal(folder) as journal:
        found = journal.corrected(PHOTO)
    assert found is not None
    return found


def all_told(folder: Path) -> dict[str, object]:
    """Return everything that the record leads to, and the record without what was put right."""
    garden = ("--garden", folder)
    tables = folder.parent / "trend"
    shutil.rmtree(tables, ignore_errors=True)
    told: dict[str, object] = {
        "flag": run("flag", *AT, *garden),
        "plan": run("plan", *AT, *garden),
        "today": run("today", *AT, *garden),
        "trend": CliRunner().invoke(app, ["trend", "--out", str(tables), *map(str, garden)]).output,
        **{path.name: path.read_bytes() for path in sorted(tables.rglob("*.csv"))},
    }
    with open_journal(folder) as journal:
        files = journal_files(journal)
    told |= {name: data for name, data in files.items() if name not in OWN_TABLES}
    told.pop("datapackage.json")  # it holds the hashes of the others
    return told


@pytest.mark.parametrize(
    "said",
    [
        ("--not-lesion", "1.1"),
        ("--missed-lesion", "180,340,30"),
        ("--not-leaf", "1"),
        ("--pattern", "blight", "--kind", "late"),
        ("--outline", "110,180 110,460 380,460 380,180"),
        ("--unused",),
        ("--missed-dropping", "60,60"),
        ("--remove",),
        ("--not-lesion", "1.1", "--not-lesion", "260,330", "--not-lesion", "1.3", "--not-eaten"),
    ],
    ids=lambda said: said[0][2:],
)
def test_everything_follows_and_undoing_brings_back_every_byte(plot, fix, said):
    before = all_told(plot)
    out = fix(*said)
    after = all_told(plot)
    assert after["flag"] != before["flag"]
    assert after["plan"] != before["plan"]
    assert "Taken back with" in out
    assert {name for name in before if name.endswith(".csv") and "trend" not in name}
    # The record itself is as it was: what was said stands beside it.
    for name in ("photos.csv", "readings.csv", "leaves.csv", "lesions.csv"):
        assert after[name] == before[name]
    for _ in range(sum(word.startswith("--") and word != "--kind" for word in said)):
        fix("--undo")
    assert all_told(plot) == before
    assert "nothing to take back" in fix("--undo")


def test_severity_status_and_plan_follow_a_rejected_lesion(plot, fix):
    measured = held(plot).measured
    assert measured.lesion_count == 3
    largest = held(plot).lesions[0].lesion
    out = fix("--not-lesion", "262,333", "--reason", "soil")
    after = held(plot).photo
    assert after.lesion_count == 2
    assert after.severity_pct == pytest.approx(
        measured.severity_pct - largest.share_of_leaf_pct, abs=0.05
    )
    assert f"severity {after.severity_pct:.1f} %" in out
    assert "no lesion at 260,330. soil" in out
    assert f"{after.severity_pct:.1f} %" in run("flag", "A1", *AT, "--garden", plot)
    fix("--not-lesion", "1.2", "--not-lesion", "1.3")
    assert held(plot).photo.pattern == "none"
    told = run("flag", "A1", *AT, "--garden", plot)
    assert "0.0 % sick" in told


def test_a_late_blight_that_the_grower_sees_isolates_the_plant(plot, fix):
    assert "isolate" not in run("flag", "A1", *AT, "--garden", plot)
    assert "late-blight-like" in fix("--pattern", "blight", "--kind", "late")
    assert "isolate" in run("flag", "A1", *AT, "--garden", plot)
    assert "isolate" in run("plan", *AT, "--garden", plot)


def test_a_photo_not_to_be_used_stays_in_the_record_and_says_nothing(plot, fix):
    fix("--unused", "--reason", "a neighbour's leaf")
    with open_journal(plot) as journal:
        (photo,) = journal.photos()
    assert (photo.severity_pct, photo.flags) == (None, ("set_aside",))
    assert "no measured photo" in run("flag", "A1", *AT, "--garden", plot)
    with open_journal(plot) as journal:
        assert journal.removed_photos() == ()
    fix("--undo")
    fix("--remove")
    with open_journal(plot) as journal:
        assert journal.photos() == ()
        assert [photo.photo for photo in journal.removed_photos()] == [PHOTO]


def test_an_outline_is_measured_anew_inside(plot, fix):
    whole = held(plot).measured
    fix("--outline", "112,295 130,420 200,510 280,510 350,420 368,295")  # its right half
    found = held(plot)
    (leaf,) = found.leaves
    assert leaf.state == "redrawn"
    assert leaf.entry.area_px < 0.75 * whole.leaves[0].area_px
    assert found.photo.lesion_count == 2
    # And what lies inside can be put right as well.
    fix("--not-lesion", "250,420")
    assert held(plot).photo.lesion_count == 1


def test_a_photo_scored_again_keeps_what_was_said(plot, fix, monkeypatch):
    fix("--not-lesion", "260,330")
    fix("--outline", "100,90 100,550 390,550 390,90")
    before = held(plot).photo
    out = ("--out", plot.parent / "out", "--jobs", "1")
    said = run("score", plot, *out)
    assert "1 photo on which you put something right" in said
    assert held(plot).photo == before
    # A newer version measures alike here, so that what was said finds the same lesions.
    monkeypatch.setattr("vision.day.measure.MEASURING_VERSION", 99)
    monkeypatch.setattr("scripts.score.filing.MEASURING_VERSION", 99)
    run("score", plot, *out)
    found = held(plot)
    assert found.measured.version.startswith("99-")
    assert found.idle == frozenset()
    assert found.photo.severity_pct == pytest.approx(before.severity_pct)
    with open_journal(plot) as journal:
        assert journal.redrawn_since(PHOTO, found.measured.version) == ()


def test_a_removed_photo_is_left_out_of_the_closing_words(plot, fix):
    fix("--not-leaf", "1")
    said = run("score", plot, "--out", plot.parent / "out", "--jobs", "1")
    assert "Worst plants" not in said


def test_patterns_that_were_put_right_are_labels_to_check_against(plot, fix, read_table):
    fix("--pattern", "spot")
    out = plot.parent / "record"
    run("export", out, "--relabelled", "--garden", plot)
    (row,) = read_table(out / "relabelled.csv")
    assert (row["pattern"], row["session"], row["blight_kind"]) == ("spot", "2026-07-10", "")
    checked = run("check", out / "relabelled.csv", "--out", plot.parent / "checked", "--jobs", "1")
    assert "1 of 1" in checked
    fix("--undo")
    run("export", plot.parent / "after", "--relabelled", "--garden", plot)
    assert read_table(plot.parent / "after" / "relabelled.csv") == []


def test_the_list_says_what_why_and_what_changes_nothing(plot, fix):
    fix("--not-lesion", "260,330", "--reason", "a drop of tar")
    fix("--not-leaf", "1")
    first, second = run("fix", "--garden", plot).splitlines()
    assert "  1  " in first
    assert "a drop of tar Changes nothing now" in first
    assert "no leaf at 240,320" in second
    fix("--undo", "--number", "2")
    first, second = run("fix", "--garden", plot).splitlines()
    assert "Changes nothing" not in first
    assert "Taken back since." in second


def test_the_list_goes_on_beside_a_reading_that_is_damaged(plot, fix):
    fix("--not-lesion", "260,330", "--reason", "a drop of tar")
    with closing(sqlite3.connect(plot / "journal.sqlite")) as raw, raw:
        raw.execute("UPDATE readings SET severity_pct = 93.0")
    assert "a drop of tar" in run("fix", "--garden", plot)


def test_saying_the_same_again_changes_nothing(plot, fix):
    fix("--not-lesion", "260,330")
    assert "so already" in fix("--not-lesion", "1.1")
    fix("--pattern", "spot")
    fix("--pattern", "none")
    assert "so already" not in fix("--pattern", "spot")
    assert held(plot).photo.pattern == "spot"


@pytest.mark.parametrize(
    ("arguments", "code", "problem"),
    [
        (("--not-lesion", "100,50"), 1, "No lesion that was counted lies there (100,50)"),
        (("--not-lesion", "9.9"), 1, "no lesion 9.9"),
        (("--not-lesion", "here"), 2, "is no place"),
        (("--not-lesion", "9999,5"), 1, "lies outside the photo"),
        (("--missed-lesion", "5,5"), 1, "No leaf that was measured lies there"),
        (("--missed-lesion", "260,330"), 1, "lesion 1.1 already, which counts"),
        (("--missed-caterpillar", "5,5"), 1, "no night photo"),
        (("--not-caterpillar", "5,5"), 1, "No caterpillar that was counted"),
        (("--not-dropping", "5,5"), 1, "No dropping that was counted"),
        (("--outline", "5,5 6,6"), 1, "3 to 2000 points"),
        (("--outline", "5,5 5,6 6,6"), 1, "Nothing could be measured inside"),
        (("--kind", "late"), 2, "only a blight"),
        (("--pattern", "spot", "--undo"), 2, "one at a time"),
        (("--undo", "--number", "7"), 1, "no fix 7"),
        (("--number", "7"), 2, "goes with --undo"),
        (("--not-lesion", "1.1", "--not-lesion", "9.9"), 1, "no lesion 9.9"),
    ],
)
def test_what_cannot_be_put_right_gives_a_sentence_and_changes_nothing(
    plot, fix, arguments, code, problem
):
    said = fix(*arguments, code=code)
    assert problem in " ".join(said.replace("│", " ").split())
    assert "Nothing was put right" in run("fix", "--garden", plot)


def test_an_outline_needs_the_photo_where_it_was_filed(plot, fix):
    (plot / PHOTO).rename(plot / "elsewhere.jpg")
    said = run(
        "fix", PHOTO, "--outline", "110,180 110,460 380,460", "--garden", plot, code=1
    )  # fmt: skip
    assert "does not lie in the garden's folder" in said


def test_two_people_lose_neither_ones_work(plot, journal):
    one = other = journal.corrected(PHOTO).edition
    first = correct(journal, plot, PHOTO, "not_lesion", marks=[Mark(260, 330)], seen=one)
    with pytest.raises(StaleError, match="look again") as refused:
        correct(journal, plot, PHOTO, "not_lesion", marks=[Mark(200, 250)], seen=other)
    assert "\n" not in str(refused.value)
    with pytest.raises(StaleError):
        undo(journal, PHOTO, seen=other)
    assert journal.fixes() == (first,)
    now = journal.corrected(PHOTO).edition
    correct(journal, plot, PHOTO, "not_lesion", marks=[Mark(200, 250)], seen=now)
    assert journal.corrected(PHOTO).photo.lesion_count == 1
    # Taking back and saying again is another edition, though the numbers are alike.
    undo(journal, PHOTO)
    assert journal.corrected(PHOTO).edition not in {one, now}


def test_a_date_or_plant_is_taken_back_from_its_last_word_on(plot, journal):
    correct(journal, plot, PHOTO, "plant", value="A2")
    correct(journal, plot, PHOTO, "plant", value="a1")
    with pytest.raises(JournalError, match="Take back fix 2 first"):
        undo(journal, PHOTO, 1)
    undo(journal, PHOTO, 2)
    assert journal.corrected(PHOTO).photo.plant == "A2"
    with pytest.raises(JournalError, match="is no time"):
        correct(journal, plot, PHOTO, "taken", value="soon")


def test_fixes_of_a_reading_go_out_and_come_back(plot, fix):
    fix("--not-lesion", "1.1", "--missed-lesion", "180,340,30", "--pattern", "blight")
    fix("--outline", "100,90 100,550 390,550 390,90")
    fix("--missed-dropping", "60,60")
    fix("--undo")
    run("export", plot.parent / "record", "--garden", plot)
    other = plot.parent / "other"
    run("new", other, "--bed", "North=A1,A2", "--time-zone", "Europe/Berlin")
    run("import", plot.parent / "record", "--garden", other)
    with open_journal(plot) as one, open_journal(other) as another:
        assert journal_files(one) == journal_files(another)
        assert one.corrected(PHOTO).photo == another.corrected(PHOTO).photo
        assert one.photos() != one.photos(as_measured=True)
    package = json.loads((plot.parent / "record" / "datapackage.json").read_text("utf-8"))
    assert {"marks", "finds", "redrawn"} <= {one["name"] for one in package["resources"]}


WORDS = st.sampled_from(
    [
        ("not_lesion", "", (260, 330)),
        ("not_lesion", "", (200, 250)),
        ("lesion", "", (180, 340)),
        ("lesion", "", (300, 250)),
        ("dropping", "", (60, 60)),
        ("pattern", "blight late", ()),
        ("pattern", "none", ()),
        ("not_leaf", "", ()),
        ("not_eaten", "", ()),
        ("unused", "", ()),
        ("plant", "A2", ()),
        ("plant", "A1", ()),
        ("removed", "", ()),
    ]
)


def say(journal: Journal, folder: Path, word) -> int | None:
    """Put something right; None where it cannot be, as a lesion of a leaf that is none."""
    what, value, place = word
    marks = [Mark(*place)] if place else []
    try:
        return correct(journal, folder, PHOTO, what, value=value, marks=marks).number
    except JournalError:
        return None


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.one_of(WORDS, st.integers(0, 12)), min_size=1, max_size=8))
def test_any_words_and_undos_equal_the_words_left_in_force(scored, tmp_path_factory, steps):
    """A number takes back the fix of that number, where there is one that can be."""
    folder = tmp_path_factory.mktemp("any")
    for name in ("one", "other"):
        shutil.copytree(scored, folder / name)
    with open_journal(folder / "one") as journal:
        said = {}
        for step in steps:
            if isinstance(step, int):
                try:
                    undo(journal, PHOTO, step)
                except JournalError:
                    continue
            elif number := say(journal, folder / "one", step):
                said.setdefault(number, step)
        left = [fix for fix in journal.fixes() if not fix.undone]
        found, photos = journal.corrected(PHOTO), journal.photos()
    with open_journal(folder / "other") as journal:
        for fix in left:
            what, value, _ = said[fix.number]
            journal.put_right(PHOTO, wish_like(fix, what, value))
        alone, others = journal.corrected(PHOTO), journal.photos()
    assert found.photo == alone.photo
    assert photos == others
    assert [(one.state, one.entry) for one in found.leaves] == [
        (one.state, one.entry) for one in alone.leaves
    ]


def wish_like(fix, what, value):
    return Wish(what, value, fix.marks, session=fix.session)
