"""The attack notices what it is there to notice."""

import csv

import pytest

from scripts.workshop.attack.files import make_corpus
from scripts.workshop.attack.journal import attack_disk, attack_imports, attack_journal
from scripts.workshop.attack.run import attack_files, judge_run


def results(folder, rows, named=""):
    folder.mkdir()
    with (folder / "photos.csv").open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([("photo", "status"), *rows])
    (folder / "problems.txt").write_text(named, "utf-8")
    return folder


SUM = "Photos found: 2 = 1 measured + 1 named in problems.txt + 0 passed over."
ROWS = [("whole.jpg", "ok"), ("cut-1.jpg", "unreadable")]
NAMED = "“cut-1.jpg” is cut short: copy it again from the phone.\n"


def test_a_run_that_held_has_no_problem(tmp_path):
    out = results(tmp_path / "out", ROWS, NAMED)
    assert judge_run(SUM, "2 of 2 photos done\n", 0, out, 300).problems == ()


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"shown": "2 photos"}, "0 found"),
        ({"shown": SUM.replace("= 1", "= 2")}, "2 found = 2 + 1 + 0"),
        ({"shown": SUM.replace("= 1", "= 2").replace("1 named", "0 named")}, "2 + 0 + 0 is"),
        ({"shown": SUM.replace("+ 0 passed", "+ 1 passed")}, "1 + 1 + 1 is printed"),
        ({"errors": "Traceback (most recent call last):\n"}, "on standard error"),
        ({"errors": "TIFFReadDirectory: Warning\n"}, "on standard error"),
        ({"code": -9}, "ended with -9"),
        ({"peak_mb": 601}, "601 MB"),
        ({"rows": [ROWS[0], ("cut-1.jpg", "flagged")]}, "half a file and was measured"),
        ({"rows": ROWS[:1]}, "1 of 1 rows"),
        ({"named": ""}, "0 sentences"),
        ({"named": "“cut-1.jpg” met an error inside the program (x).\n"}, "inside the program"),
        ({"named": "“cut-1.jpg” took longer than 20 s: it was left out.\n"}, "took longer"),
        ({"named": "“cut-1.jpg” ended the process that measured it.\n"}, "ended the process"),
    ],
)
def test_each_thing_that_must_hold_is_noticed_when_it_does_not(tmp_path, change, what):
    usual = {"shown": SUM, "errors": "", "code": 0, "peak_mb": 1, "rows": ROWS, "named": NAMED}
    given = usual | change
    out = results(tmp_path / "out", given.pop("rows"), given.pop("named"))
    problems = judge_run(**given, out=out).problems
    assert any(what in problem for problem in problems), problems


@pytest.mark.parametrize(("again", "problems"), [(ROWS[1], 0), (("slow.jpg", "unreadable"), 1)])
def test_what_took_too_long_is_tried_once_more_and_counts_if_it_does_again(
    tmp_path, monkeypatch, again, problems
):
    slow = "“slow.jpg” took longer than 20 s: it was left out, and will be tried once more.\n"
    outcomes = iter([(("slow.jpg", "unreadable"), slow), (again, slow if problems else NAMED)])

    def scored(photos, out, jobs):
        row, named = next(outcomes)
        return SUM, "", 0, results(out / str(len(list(out.iterdir()))), [ROWS[0], row], named), 300

    monkeypatch.setattr("scripts.workshop.attack.run._scored", scored)
    verdict = attack_files(tmp_path, tmp_path, 1)
    assert len(verdict.problems) == problems
    assert verdict.note.endswith("; 1 took over 20 s, and were tried once more")


def test_the_corpus_comes_from_the_seed_alone(tmp_path):
    for name in ("one", "same", "other"):
        (tmp_path / name).mkdir()
    counts = [
        make_corpus(tmp_path / name, seed, 1, bombs=False, size_px=(60, 80))
        for name, seed in (("one", 1), ("same", 1), ("other", 2))
    ]
    one, same, other = (
        {path.name: path.read_bytes() for path in (tmp_path / name).glob("*-0-*")}
        for name in ("one", "same", "other")
    )
    assert one == same
    assert one != other
    assert len(set(counts)) == 1
    assert len(one) == 9 * 4


def test_a_few_files_go_through_the_whole_attack(tmp_path, paint_photo):
    whole = paint_photo(tmp_path / "photos" / "whole.jpg").read_bytes()
    (tmp_path / "photos" / "cut-1.jpg").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "photos" / "whole-off.jpg").write_bytes(whole)
    verdict = attack_files(tmp_path / "photos", tmp_path / "out", 1)
    assert verdict.problems == ()
    assert verdict.tries == 3
    assert "1 measured, 1 named, 1 passed over" in verdict.note


@pytest.mark.parametrize("attack", [attack_journal, attack_disk, attack_imports])
def test_a_garden_is_attacked_and_holds(tmp_path, attack):
    assert attack(tmp_path, 1, 5) == []
