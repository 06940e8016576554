"""``spotlamp train`` on small folders of painted leaves, and on tables of measurements."""

import csv
import json
import shutil

import cv2
import numpy as np
import pytest

from models.pattern import MEASURES, load_classifier
from models.pattern.training import read_labelled
from scripts.learn.labelled import read_labels
from scripts.workshop.rendered import draw_scene, render
from vision.day.measure import MEASURING_VERSION

NAMES = [measure.name for measure in MEASURES]


def paint(path, pattern, kind, seed):
    """Paint one leaf, small and in soft light."""
    scene = draw_scene(
        np.random.default_rng([5, seed]), width_px=300, height_px=256, background="paper",
        leaves=1, shape="leaflet", leaf_size=0.85, pattern=pattern, kind=kind, severity_pct=15.0,
        blur_px=0.0, motion_px=0.0, holes=0, soil_specks=0,
    )  # fmt: skip
    path.parent.mkdir(parents=True, exist_ok=True)
    cv2.imwrite(str(path), render(scene, seed).pixels[..., ::-1])
    return path


@pytest.fixture(scope="module")
def painted(tmp_path_factory):
    """Two sessions of spot, of blight and of healthy leaves, three photos each."""
    folder = tmp_path_factory.mktemp("painted")
    seed = 0
    for pattern, kinds in (("spot", ("septoria", "bacterial")), ("blight", ("early", "late")),
                           ("none", ("", ""))):  # fmt: skip
        for session, kind in enumerate(kinds):
            for _ in range(3):
                paint(folder / pattern / f"day-{session + 1}" / f"{seed}.png", pattern, kind, seed)
                seed += 1
    return folder


@pytest.fixture
def labelled(painted, tmp_path):
    """Put the same photos into one folder with labels.csv; each session saw all patterns."""
    folder = tmp_path / "labelled"
    folder.mkdir()
    with (folder / "labels.csv").open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        writer.writerow(("photo", "pattern", "session", "blight_kind"))
        for path in sorted(painted.rglob("*.png")):
            session, pattern = path.parent.name, path.parent.parent.name
            shutil.copy(path, folder)
            kind = {"day-1": "early", "day-2": "late"}[session] if pattern == "blight" else ""
            writer.writerow((path.name, pattern, session, kind))
    return folder


@pytest.fixture
def table(painted, tmp_path, spotlamp):
    """Return the table of measurements that a training keeps."""
    path = tmp_path / "features.csv"
    spotlamp("train", painted, "--out", tmp_path / "x.json", "--features", path, "--jobs", 1)
    return path


def rows_of(table):
    with table.open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream, strict=True))


def write_rows(path, rows):
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    return path


def test_a_folder_with_sub_folders_trains_a_classifier_that_score_can_use(
    painted, tmp_path, spotlamp, read_table
):
    own = tmp_path / "own.json"
    shown = spotlamp("train", painted, "--out", own, "--jobs", 2).output
    assert "Trained on 18 leaves, 18 of them photographed in 2 sessions." in shown
    summary = load_classifier(own).summary
    assert summary["patterns"] == {"blight": 6, "none": 6, "spot": 6}
    assert (summary["leaves"], summary["sessions"], summary["unusable_photos"]) == (18, 2, 0)
    assert (summary["source"], summary["corrections"]) == (painted.name, None)
    assert summary["measuring_version"] == MEASURING_VERSION
    assert len(summary["sessions_left_out"]) == 6

    photo = next((painted / "spot").rglob("*.png"))
    spotlamp("score", photo, "--out", tmp_path / "out", "--classifier", own, "--jobs", 1)
    (row,) = read_table(tmp_path / "out" / "photos.csv")
    assert row["pattern"] in ("spot", "blight", "none", "unsure")
    assert 0 < float(row["p_spot"]) < 1


def test_a_folder_is_found_from_where_the_user_stands_now(painted, tmp_path, spotlamp, monkeypatch):
    """Worker processes live on and may still stand where an earlier run was started."""
    spotlamp("train", painted, "--out", tmp_path / "first.json", "--jobs", 2)
    monkeypatch.chdir(painted.parent)
    spotlamp("train", painted.name, "--out", tmp_path / "second.json", "--jobs", 2)
    first, second = (load_classifier(tmp_path / f"{n}.json") for n in ("first", "second"))
    assert np.array_equal(first.weights, second.weights)


def test_a_folder_with_labels_trains_on_them_with_the_kinds_of_blight(labelled, tmp_path, spotlamp):
    own, kept = tmp_path / "own.json", tmp_path / "kept.csv"
    shown = spotlamp("train", labelled, "--out", own, "--features", kept, "--jobs", 2).output
    rows = rows_of(kept)
    assert list(rows[0]) == ["photo", "session", "pattern", "blight_kind", *NAMES]
    assert [row["photo"] for row in rows] == [
        row["photo"] for row in rows_of(labelled / "labels.csv")
    ]
    kinds = {(row["pattern"], row["session"], row["blight_kind"]) for row in rows}
    assert ("blight", "day-1", "early") in kinds
    assert ("spot", "day-1", "") in kinds
    for session in ("day-1", "day-2"):
        for pattern in ("spot", "blight", "none"):
            assert any(line.split()[:3] == [session, pattern, "3"] for line in shown.splitlines())
    assert "balanced accuracy, spot against blight, all leaves" in shown
    assert np.any(load_classifier(own).late_weights != 0)


def test_the_table_that_was_kept_trains_the_same_classifier(table, painted, tmp_path, spotlamp):
    one, two = tmp_path / "one.json", tmp_path / "two.json"
    spotlamp("train", table, "--out", one)
    spotlamp("train", table, "--out", two)
    assert one.read_bytes() == two.read_bytes()
    again, first = load_classifier(one), load_classifier(tmp_path / "x.json")
    # The table holds five digits of each measurement.
    assert again.weights == pytest.approx(first.weights, abs=1e-4)
    assert again.summary["sessions_left_out"] == first.summary["sessions_left_out"]


def test_the_printed_table_is_the_one_in_the_file(table, tmp_path, spotlamp):
    shown = spotlamp("train", table, "--out", tmp_path / "own.json").output
    summary = json.loads((tmp_path / "own.json").read_text("utf-8"))["summary"]
    for row in summary["sessions_left_out"]:
        numbers = (row["recall"], row["recall_called"], row["unsure"])
        words = [row["session"], row["pattern"], str(row["leaves"])]
        words += ["-" if value is None else f"{value:.3f}" for value in numbers]
        assert words in [line.split() for line in shown.splitlines()]
    assert f"{summary['unseen']['three_patterns']:.3f}  balanced accuracy, spot, blight" in shown


def test_corrections_are_added_and_recorded(table, painted, tmp_path, spotlamp):
    corrected = [{**row, "session": "my corrections"} for row in rows_of(table)[:2]]
    measured = write_rows(tmp_path / "measured.csv", corrected)
    shown = spotlamp("train", table, "--out", tmp_path / "a.json", "--corrections", measured).output
    assert "Trained on 20 leaves" in shown
    assert "2 of them are corrections." in shown
    summary = load_classifier(tmp_path / "a.json").summary
    assert summary["corrections"] == {"source": "measured.csv", "leaves": 2}

    photo = next((painted / "spot").rglob("*.png"))
    rows = [{"photo": str(photo), "pattern": "spot", "session": ""}]
    photographed = write_rows(tmp_path / "photographed.csv", rows)
    kept = tmp_path / "kept.csv"
    spotlamp(
        "train", table, "--out", tmp_path / "b.json", "--corrections", photographed,
        "--features", kept, "--jobs", 1,
    )  # fmt: skip
    assert len(rows_of(kept)) == 19
    assert rows_of(kept)[-1]["session"] == "(no session)"
    assert load_classifier(tmp_path / "b.json").summary["corrections"]["leaves"] == 1


def test_one_session_trains_but_says_that_nothing_is_known_of_others(table, tmp_path, spotlamp):
    rows = [row for row in rows_of(table) if row["session"] == "day-1"]
    one = write_rows(tmp_path / "one-day.csv", rows)
    shown = " ".join(spotlamp("train", one, "--out", tmp_path / "own.json").output.split())
    assert "Nothing can be said about sessions it has not seen" in shown
    assert "not calibrated" in shown
    assert load_classifier(tmp_path / "own.json").summary["unseen"] is None


def test_two_patterns_are_enough(table, tmp_path, spotlamp):
    rows = [row for row in rows_of(table) if row["pattern"] != "blight"]
    own = tmp_path / "own.json"
    shown = spotlamp("train", write_rows(tmp_path / "two.csv", rows), "--out", own).output
    assert "    -  balanced accuracy, spot against blight, all leaves" in shown
    classifier = load_classifier(own)
    table_of_two = read_labelled(tmp_path / "two.csv")
    called = classifier.probabilities(table_of_two.measured)
    assert called[:, 0].max() < 1e-6  # blight


def test_photos_that_show_no_leaf_or_are_damaged_are_named_and_passed_over(
    labelled, tmp_path, spotlamp
):
    cv2.imwrite(str(labelled / "empty.png"), np.full((200, 260, 3), 210, np.uint8))
    (labelled / "damaged.png").write_bytes(b"")
    with (labelled / "labels.csv").open("a", encoding="utf-8") as stream:
        stream.write("empty.png,spot,day-1,\ndamaged.png,spot,day-1,\ngone.png,none,day-2,\n")
    shown = spotlamp("train", labelled, "--out", tmp_path / "own.json", "--jobs", 1).output
    assert "3 labelled photos could not be used:" in shown
    for name in ("empty.png", "damaged.png", "gone.png"):
        assert f"“{name}” " in shown
    summary = load_classifier(tmp_path / "own.json").summary
    assert (summary["leaves"], summary["unusable_photos"]) == (18, 3)


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        ("photo,pattern\nx.png,spot\n", "no column session"),
        ("photo,pattern,session\n", "holds no labels"),
        ("photo,pattern,session\nx.png,rust,a\n", "holds the pattern 'rust'"),
        ("photo,pattern,session,blight_kind\nx.png,blight,a,mid\n", "blight_kind 'mid'"),
        ("photo,pattern,session\nx.png,spot,a\n", "No labelled leaf could be measured"),
    ],
)
def test_labels_that_cannot_be_used_end_with_one_sentence(tmp_path, spotlamp, content, sentence):
    folder = tmp_path / "photos"
    folder.mkdir()
    (folder / "labels.csv").write_text(content, encoding="utf-8")
    result = spotlamp("train", folder, "--out", tmp_path / "own.json", "--jobs", 1, code=1)
    assert sentence in result.output
    assert not (tmp_path / "own.json").exists()


def test_a_folder_without_any_label_says_what_it_should_hold(tmp_path, spotlamp, paint_photo):
    paint_photo(tmp_path / "photos" / "a.jpg")
    result = spotlamp("train", tmp_path / "photos", "--out", tmp_path / "own.json", code=1)
    assert "neither a labels.csv nor photos in sub-folders named by pattern" in result.output


def test_one_pattern_alone_cannot_be_trained_on(table, tmp_path, spotlamp):
    rows = [row for row in rows_of(table) if row["pattern"] == "spot"]
    only = write_rows(tmp_path / "only.csv", rows)
    result = spotlamp("train", only, "--out", tmp_path / "own.json", code=1)
    assert "only spot is there" in result.output


def test_a_table_of_something_else_is_refused(tmp_path, spotlamp):
    (tmp_path / "other.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    result = spotlamp("train", tmp_path / "other.csv", "--out", tmp_path / "own.json", code=1)
    assert "other.csv has no column 'photo'." in result.output
    spotlamp("train", tmp_path / "nowhere", code=2)


def test_the_same_painted_leaf_is_measured_alike_for_training_each_time():
    from scripts.workshop.learn.pattern_features import painted_leaf

    one, two = painted_leaf(4), painted_leaf(4)
    assert one is not None
    assert two is not None
    assert one[0] == two[0]
    assert np.array_equal(one[1], two[1], equal_nan=True)
    assert one[0].session.startswith("rendered_")
    assert (one[0].blight_kind != "") == (one[0].pattern == "blight")


def test_no_spreadsheet_runs_a_name_among_the_measurements(table, tmp_path, spotlamp):
    odd = {"photo": "=1+1.png", "session": "\n@walk"}
    first, *others = rows_of(table)
    path = write_rows(tmp_path / "odd.csv", [{**first, **odd}, *others])
    kept = tmp_path / "kept.csv"
    spotlamp("train", path, "--out", tmp_path / "own.json", "--features", kept)
    row = rows_of(kept)[0]
    assert (row["photo"], row["session"]) == ("'=1+1.png", "'\n@walk")
    read = read_labelled(kept)
    assert (read.photo[0], read.session[0]) == ("=1+1.png", "\n@walk")


@pytest.mark.parametrize("cell", ["many", "1e300", "inf"])
def test_a_measurement_that_is_none_is_named_with_its_line(table, tmp_path, spotlamp, cell):
    first, *others = rows_of(table)
    path = write_rows(tmp_path / "odd.csv", [{**first, NAMES[0]: cell}, *others])
    said = spotlamp("train", path, "--out", tmp_path / "own.json", code=1).output
    assert said == f"odd.csv, line 2: {NAMES[0]} cannot be '{cell}'.\n"


def test_labels_that_a_spreadsheet_saved_with_semicolons_are_read(labelled):
    path = labelled / "labels.csv"
    plain = read_labels(path)
    path.write_text(path.read_text("utf-8").replace(",", ";"), "utf-8-sig")
    assert read_labels(path) == plain


def test_a_label_that_is_no_text_is_named_with_its_line(labelled, tmp_path, spotlamp):
    with (labelled / "labels.csv").open("a", encoding="utf-8") as stream:
        stream.write("a\0.png,spot,day-1,\n")
    said = spotlamp("train", labelled, "--out", tmp_path / "own.json", code=1).output
    assert "line 20" in said
