"""``spotlamp check`` on the sample garden with labels made up for it."""

import csv
import shutil
from pathlib import Path

import cv2
import pytest

from models.agreement import bland_altman, cohen_kappa, compare_calls, concordance
from scripts.common.terminal import sample_garden
from scripts.learn.check import Check, Compared, report

PATTERNS = {"plant-A1": "spot", "plant-A2": "none", "plant-A3": "blight"}


@pytest.fixture
def labels(tmp_path):
    """Write labels of some sample photos, with a severity that grows with each."""
    folder = tmp_path / "mine"
    folder.mkdir()
    rows = []
    for plant, pattern in PATTERNS.items():
        for path in sorted((sample_garden() / "bed-1" / plant).iterdir())[-3:]:
            shutil.copy(path, folder)
            rows.append({"photo": path.name, "pattern": pattern, "severity_pct": 2.0 * len(rows)})
    return write(folder / "labels.csv", rows)


def write(path: Path, rows) -> Path:
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    return path


def rows_of(path: Path):
    with path.open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream, strict=True))


@pytest.fixture
def checked(labels, tmp_path, spotlamp, read_table):
    """Run the command; return its words and the table it wrote."""
    out = tmp_path / "out"
    shown = spotlamp("check", labels, "--out", out, "--jobs", 2).output
    return shown, read_table(out / "compared.csv"), out


def test_each_labelled_photo_stands_beside_what_score_says_of_it(checked, labels, read_table):
    _, compared, out = checked
    scored = {row["photo"]: row for row in read_table(out / "photos.csv")}
    assert [row["photo"] for row in compared] == [row["photo"] for row in rows_of(labels)]
    for row in compared:
        assert row["called"] == scored[row["photo"]]["pattern"]
        assert row["measured_pct"] == scored[row["photo"]]["severity_pct"]
        assert row["problem"] == ""


def test_the_figures_are_those_of_the_table(checked):
    shown, compared, _ = checked
    called, truth = ([row[name] for row in compared] for name in ("called", "pattern"))
    calls = compare_calls(called, truth)
    both = [pair for pair in zip(called, truth, strict=True) if pair[0] != "unsure"]
    scored, measured = (
        [float(row[name]) for row in compared] for name in ("severity_pct", "measured_pct")
    )
    found, differences = concordance(measured, scored), bland_altman(measured, scored)
    assert "9 of 9 labelled photos compared." in shown
    flat = " ".join(shown.split())
    assert f"balanced accuracy, all photos {calls.balanced_accuracy:.3f}" in flat
    assert f"balanced accuracy, photos called {calls.balanced_accuracy_called:.3f}" in flat
    assert f"coverage {calls.coverage:.3f}" in flat
    kappa = cohen_kappa([c for c, _ in both], [t for _, t in both])
    assert f"Cohen's kappa, photos called {kappa:.3f}" in flat
    assert (
        f"Lin's concordance {found.coefficient:.3f} = r {found.correlation:.3f} "
        f"× Cb {found.accuracy:.3f}"
    ) in flat
    assert f"bias {differences.bias:+.2f} percentage points" in flat
    assert f"from {differences.limits[0]:.2f} to {differences.limits[1]:.2f}" in flat


def test_the_confusion_counts_each_photo_once(checked):
    shown, compared, _ = checked
    lines = [line.split() for line in shown.splitlines()]
    head = next(line for line in lines if line[:2] == ["your", "label"])[2:]
    for pattern in PATTERNS.values():
        row = next(line for line in lines if line and line[0] == pattern and len(line) > 3)
        own = [one["called"] for one in compared if one["pattern"] == pattern]
        assert [int(n) for n in row[1:]] == [own.count(answer) for answer in head]
        assert sum(int(n) for n in row[1:]) == 3


def test_the_plots_are_whole_pictures(checked):
    _, _, out = checked
    for name in ("patterns", "severity", "differences"):
        picture = cv2.imread(str(out / f"{name}.png"))
        assert min(picture.shape[:2]) > 400
        assert len({tuple(pixel) for pixel in picture[::7, ::7].reshape(-1, 3).tolist()}) > 3


def test_labels_that_agree_in_full_score_one(checked, labels, tmp_path, spotlamp):
    _, compared, out = checked
    rows = [
        {"photo": r["photo"], "pattern": r["called"], "severity_pct": r["measured_pct"]}
        for r in compared
        if r["called"] != "unsure"
    ]
    same = write(labels.parent / "same.csv", rows)
    flat = " ".join(spotlamp("check", same, "--out", out, "--jobs", 1).output.split())
    assert "balanced accuracy, all photos 1.000" in flat
    assert "coverage 1.000 Cohen's kappa, photos called 1.000" in flat
    assert "Lin's concordance 1.000 = r 1.000 × Cb 1.000" in flat
    assert "bias +0.00" in flat.replace("bias -0.00", "bias +0.00")


def test_patterns_or_severities_alone_are_enough(labels, tmp_path, spotlamp):
    rows = rows_of(labels)
    for kept, there, missing in (
        ("pattern", "patterns.png", "severity.png"),
        ("severity_pct", "severity.png", "patterns.png"),
    ):
        half = write(
            labels.parent / f"{kept}.csv", [{"photo": r["photo"], kept: r[kept]} for r in rows[:4]]
        )
        out = tmp_path / kept
        spotlamp("check", half, "--out", out, "--jobs", 1)
        assert (out / there).is_file()
        assert not (out / missing).exists()


def test_other_diseases_are_right_when_left_unsure_and_no_part_of_accuracy(
    labels, tmp_path, spotlamp
):
    rows = rows_of(labels)
    rows[0]["pattern"] = "other"
    shown = spotlamp("check", write(labels, rows), "--out", tmp_path / "out", "--jobs", 1).output
    assert "other diseases left unsure" in shown


def test_photos_that_are_missing_or_show_nothing_are_named(labels, tmp_path, spotlamp, read_table):
    (labels.parent / "broken.jpg").write_bytes(b"")
    rows = rows_of(labels)[:2]
    rows += [
        {"photo": name, "pattern": "spot", "severity_pct": 4} for name in ("gone.jpg", "broken.jpg")
    ]
    out = tmp_path / "out"
    shown = spotlamp("check", write(labels, rows), "--out", out, "--jobs", 1).output
    assert "2 of 4 labelled photos compared." in shown
    assert "“gone.jpg” is not there." in shown
    assert "“broken.jpg” is empty" in shown
    compared = read_table(out / "compared.csv")
    assert [row["called"] for row in compared[2:]] == ["missing", "missing"]
    assert [row["measured_pct"] for row in compared[2:]] == ["", ""]


def test_nothing_to_compare_ends_with_one(tmp_path, spotlamp):
    path = write(tmp_path / "labels.csv", [{"photo": "gone.jpg", "pattern": "spot"}])
    result = spotlamp("check", path, "--out", tmp_path / "out", code=1)
    assert "No labelled photo could be compared: “gone.jpg” is not there." in result.output


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ({"photo": "a.jpg"}, "neither a column pattern nor a column severity_pct"),
        ({"picture": "a.jpg", "pattern": "spot"}, "no column photo"),
        ({"photo": "a.jpg", "pattern": "rust"}, "holds the pattern 'rust'"),
        ({"photo": "a.jpg", "severity_pct": "much"}, "holds the severity_pct 'much'"),
        ({"photo": "a.jpg", "severity_pct": "120"}, "holds the severity_pct '120'"),
        ({"photo": "a.jpg", "severity_pct": "nan"}, "holds the severity_pct 'nan'"),
    ],
)
def test_labels_that_cannot_be_used_end_with_one_sentence(tmp_path, spotlamp, row, sentence):
    path = write(tmp_path / "labels.csv", [row])
    result = spotlamp("check", path, "--out", tmp_path / "out", code=1)
    assert sentence in result.output


def test_labels_that_are_not_there_are_wrong_usage(tmp_path, spotlamp):
    spotlamp("check", tmp_path / "none.csv", code=2)


def test_labels_with_semicolons_and_decimal_commas_give_the_same(
    labels, tmp_path, spotlamp, read_table
):
    write(labels, rows_of(labels)[:2])
    out = tmp_path / "out"
    said = spotlamp("check", labels, "--out", out, "--jobs", 1).stdout
    table = read_table(out / "compared.csv")
    labels.write_text(labels.read_text("utf-8").replace(",", ";").replace(".0", ",0"), "utf-8")
    assert spotlamp("check", labels, "--out", out, "--jobs", 1).stdout == said
    assert read_table(out / "compared.csv") == table


def test_a_photo_that_cannot_be_there_is_missing_and_nothing_more(labels, spotlamp, read_table):
    there = rows_of(labels)[0]
    names = ["a" * 300 + ".jpg", "gone.jpg"]
    write(labels, [there, *({**there, "photo": name} for name in names)])
    out = labels.parent / "out"
    said = spotlamp("check", labels, "--out", out, "--jobs", 1).output
    assert "1 of 3 labelled photos compared" in said
    assert [row["problem"] for row in read_table(out / "compared.csv")] == [
        "",
        "is not there.",
        "is not there.",
    ]


def test_equal_scores_have_no_correlation_and_the_report_says_so():
    compared = tuple(Compared(f"{n}.jpg", "", "spot", 10.0, 8.0 + n) for n in range(2))
    measured, scored = [8.0, 9.0], [10.0, 10.0]
    found = Check(
        compared, None, None, concordance(measured, scored), bland_altman(measured, scored)
    )
    said = report(found)
    assert "nan" not in said
    assert "no correlation" in said
    assert "Severity of 2 photos" in said
