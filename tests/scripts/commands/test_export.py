"""The whole journal goes out as plain tables and comes back, losing nothing."""

import csv
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from models.corrections import Mark, Redrawn
from models.csv_tables import escape_formula, unescape_formula
from models.entries import Find, LeafEntry, LogEntry, PhotoEntry
from models.garden.beds import Plant
from models.journal import JournalError, Wish, open_journal
from models.journal.tables import METADATA
from models.journal.versions import newest_version
from scripts.garden.coco import run_lengths
from scripts.garden.data_package import (
    PackageError,
    journal_files,
    journal_tables,
)
from vision.records import Lesion

NOON = datetime(2025, 7, 1, 12, 0, 0, 250_000, tzinfo=UTC)
ODD = ("=1+1", "'=1", "a\r\nb", 'say "yes"', "a,b;c", "\r", "\n", " ", "ä€\U0001f345", "'", "")
FIELD_TYPES = {"string", "integer", "number", "boolean", "datetime"}


def write(folder: Path, files: dict[str, bytes]) -> Path:
    folder.mkdir(exist_ok=True)
    for name, data in files.items():
        (folder / name).write_bytes(data)
    return folder


def fill(journal) -> None:
    """File something in each table, with odd texts and numbers."""
    numbers = (0.1, 1e-17, 1 / 3, 99.99999999999999)
    lesions = [
        Lesion(leaf, 1 / 3, 2.2, 3.3, 4.4, 5.5, 0.6, 1.7, 0.8, -9.9, 0.1, 7.7, leaf == 1)
        for leaf in (1, 1, 2)
    ]
    for number, text in enumerate(ODD):
        leaves = (
            LeafEntry(1, 1e6 / 3, 1, *(numbers[number % 4],) * 5, "spot", 1e-9, None, 0.5, "",
                      ("cut_off", "touching"), None, 0.25, text),
            LeafEntry(2, 10.0, 0, 0.0, 0.0, 0.0, 0.0, 0.0),
        )  # fmt: skip
        photo = PhotoEntry(
            text, f"{number:064}", NOON + timedelta(seconds=number / 3), plant=text,
            version=f"7-{text}", leaves=leaves, lesion_count=3 if number else None,
        )  # fmt: skip
        journal.file_reading(photo, lesions, [Find("dropping", 1, 1 / 3, 2.5, 4.0, 3.0, 0.9)])
        journal.log(LogEntry(0, "note", NOON, (text,) if text else (), text, None, text))
    journal.correct(1, LogEntry(0, "rain", NOON, amount=12.5))
    journal.fix_taken(f"{1:064}", NOON - timedelta(days=3), "=clock")
    journal.correct_pattern(f"{0:064}", "spot", session="=round")
    journal.put_right(f"{3:064}", Wish("not_lesion", marks=(Mark(2.2, 3.3, 1 / 3),), reason="="))
    inside = Redrawn(0, "7-=", leaves[0], tuple(lesions[:1]))
    outline = (Mark(0, 0), Mark(0, 9.5), Mark(9, 9))
    journal.put_right(f"{4:064}", Wish("outline", marks=outline, redrawn=inside))
    journal.assign(f"{1:064}", "A1")
    journal.remove(f"{2:064}")
    journal.undo_fix(f"{2:064}")
    journal.record_plants([Plant("A1", "North", 1, 2, tag=7), Plant("=2", "South")])


@pytest.fixture
def filled():
    with open_journal("sqlite://") as journal:
        fill(journal)
        yield journal


def again(folder: Path, **options) -> dict[str, bytes]:
    with open_journal("sqlite://") as journal:
        journal.put_everything(journal_tables(folder, **options))
        return journal_files(journal)


def test_what_was_exported_and_imported_is_exported_alike(filled, tmp_path):
    files = journal_files(filled)
    assert all(len(files[f"{name}.csv"].splitlines()) > 1 for name in METADATA.tables)
    assert again(write(tmp_path / "out", files)) == files


def test_fixes_that_an_import_brings_without_their_places_change_nothing(filled, tmp_path):
    files = journal_files(filled)
    files["marks.csv"] = files["marks.csv"].splitlines(keepends=True)[0]
    folder = write(tmp_path / "out", files)
    with open_journal("sqlite://") as journal:
        journal.put_everything(journal_tables(folder, edited=True))
        found = journal.corrected(f"{3:064}")
    assert found.photo == found.measured
    assert len(found.idle) == 1


def test_an_imported_journal_gives_back_the_same(filled, tmp_path):
    folder = write(tmp_path / "out", journal_files(filled))
    with open_journal("sqlite://") as journal:
        assert journal.put_everything(journal_tables(folder)) == len(ODD)
        assert journal.photos() == filled.photos()
        assert journal.log_entries(with_corrected=True) == filled.log_entries(with_corrected=True)
        assert journal.pattern_corrections() == filled.pattern_corrections()
        assert journal.plants() == filled.plants()
        assert journal.fixes() == filled.fixes() != ()
        # And it goes on from there.
        assert journal.log(LogEntry(0, "note", NOON)) == len(ODD) + 2


ROWS = st.lists(
    st.tuples(
        st.text(st.characters(codec=None, categories=None), max_size=12),
        st.floats(0, 100),
        st.datetimes(datetime(1990, 1, 1), datetime(2100, 1, 1)),
    ),
    min_size=4,
    max_size=12,
)


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(ROWS)
def test_any_text_number_and_time_comes_back(tmp_path, rows):
    with open_journal("sqlite://") as journal:
        for place, (text, number, when) in enumerate(rows):
            photo = PhotoEntry(text, f"{place:064}", when, plant=text, version="1")
            journal.file_reading(replace(photo, severity_pct=number))
            journal.log(LogEntry(0, "note", when, (text,), text=text, amount=number))
        files, photos = journal_files(journal), journal.photos()
    folder = write(tmp_path / "out", files)
    with open_journal("sqlite://") as journal:
        journal.put_everything(journal_tables(folder))
        assert journal.photos() == photos
        assert journal_files(journal) == files


@settings(max_examples=50, deadline=None)
@given(st.text())
def test_an_escaped_text_comes_back(text):
    assert unescape_formula(escape_formula(text)) == text


def test_the_description_describes_each_column(filled):
    files = journal_files(filled)
    package = json.loads(files["datapackage.json"])
    assert {one["name"] for one in package["resources"]} == set(METADATA.tables)
    assert len(files) == len(package["resources"]) + 1
    for resource in package["resources"]:
        rows = list(csv.reader(files[resource["path"]].decode().splitlines()))
        fields = resource["schema"]["fields"]
        assert rows[0] == [field["name"] for field in fields]
        assert {field["type"] for field in fields} <= FIELD_TYPES
        assert all(field["description"] for field in fields)
        assert set(resource["schema"]["primaryKey"]) <= set(rows[0])
        for key in resource["schema"].get("foreignKeys", []):
            assert key["reference"]["resource"] in {"", *METADATA.tables}
        for field in fields:
            if field["name"].endswith(("_px", "_pct")):
                assert field.get("unit"), field["name"]


def test_a_table_that_was_changed_is_refused_unless_said(filled, tmp_path):
    folder = write(tmp_path / "out", journal_files(filled))
    path = folder / "plants.csv"
    path.write_bytes(path.read_bytes().replace(b"North", b"West"))
    with pytest.raises(PackageError, match=r"plants\.csv” is not as it was exported"):
        again(folder)
    assert b"West" in again(folder, edited=True)["plants.csv"]


@pytest.mark.parametrize(
    ("table", "old", "new", "problem"),
    [
        ("photos", b"2025-07-01T", b"yesterday ", "line 2: taken_at cannot be"),
        ("leaves", b"cut_off;touching\r", b"cut_off\r", ""),
        ("readings", b",true,", b",perhaps,", "line 2: is_current cannot be"),
        ("readings", b"is_current", b"is_old", "columns"),
        ("plants", b"A1,North,1,2,7", b"A1,North", "line 3: it has 2 cells"),
        ("plants", b"A1,North,1", b"A1,North,", "line 3: row cannot be"),
        ("leaves", b"333333.3333333333", b"NaN", "area_px cannot be"),
        ("log", b"A", b"\xff", ""),
    ],
)
def test_a_table_that_cannot_be_read_gives_a_sentence(filled, tmp_path, table, old, new, problem):
    folder = write(tmp_path / "out", journal_files(filled))
    path = folder / f"{table}.csv"
    path.write_bytes(path.read_bytes().replace(old, new, 1))
    if not problem:
        again(folder, edited=True)
        return
    with pytest.raises(PackageError, match=problem) as error:
        again(folder, edited=True)
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    ("table", "column", "value", "problem"),
    [
        ("photos", "taken_at", "0001-01-01T00:00:00.000000Z", "its year must be 1989 to 2100"),
        ("photos", "filed_at", "9999-01-01T00:00:00.000000Z", "its year must be"),
        ("photos", "taken_from", "guess", "it must be exif, name or file"),
        ("photos", "plant_from", "star", "it must be tag, folder"),
        ("photos", "sha256", "../../x", "64 hexadecimal digits"),
        ("photos", "id", "9223372036854775808", "id cannot be"),
        ("photos", "id", "0", "it must be from 1"),
        ("readings", "mode", "dusk", "it must be day or night"),
        ("readings", "severity_pct", "-5", "it must be from 0 to 100"),
        ("readings", "severity_pct", "1e308", "it must be from 0 to 100"),
        ("readings", "p_spot", "1.5", "it must be from 0 to 1"),
        ("readings", "pattern", "measles", "it must be spot, blight"),
        ("readings", "caterpillar_count", "-1", "it must be from 0"),
        ("readings", "flags", "a b", "names of flags"),
        ("leaves", "area_px", "-1", "it must be from 0"),
        ("leaves", "leaf", "0", "it must be from 1"),
        ("leaves", "severity_low_pct", "inf", ""),
        ("lesions", "area_px", "1e300", "it must be from 0"),
        ("lesions", "darkness", "-1e300", "it must be from -1000000000"),
        ("log", "kind", "prayer", "it must be spray, rain"),
        ("log", "at", "0001-01-01T00:00:00.000000Z", "its year"),
        ("log", "amount", "-3", "it must be from 0"),
        ("log", "corrects", "1", "an earlier entry"),
        ("log", "kind", "burn_check", "text cannot be"),
        ("log", "kind", "seen", "text cannot be"),
        ("log", "kind", "decline", "text cannot be"),
        ("log_plants", "position", "0", "it must be from 1"),
        ("corrections", "pattern", "unsure", "it must be spot, blight, none or other"),
        ("fixes", "what", "name", "it must be taken, plant, removed, "),
        ("fixes", "what", "pattern", "value cannot be"),
        ("finds", "kind", "worm", "it must be dropping or caterpillar"),
        ("marks", "size_px", "-1", "it must be from 0"),
        ("fixes", "value", "soon", "it must be a time"),
        ("plants", "tag", "587", "it must be from 1 to 586"),
        ("plants", "name", "", "it must be a name"),
    ],
)
def test_a_value_that_cannot_be_is_refused_by_table_row_and_column(
    filled, tmp_path, table, column, value, problem
):
    folder = write(tmp_path / "out", journal_files(filled))
    path = folder / f"{table}.csv"
    with path.open(newline="") as stream:
        head, first, *rest = csv.reader(stream)
    first[head.index(column)] = value
    with path.open("w", newline="") as stream:
        csv.writer(stream).writerows([head, first, *rest])
    with open_journal("sqlite://") as journal:
        with pytest.raises(PackageError) as error:
            journal.put_everything(journal_tables(folder, edited=True))
        assert all(count == 0 for count in counts(journal).values())
    said = str(error.value)
    assert f"{table}.csv”, line 2: " in said
    assert problem in said
    assert column in said or " cannot be" in problem
    assert "\n" not in said


def counts(journal) -> dict[str, int]:
    with journal.reading() as connection:
        return {
            name: len(connection.execute(table.select()).all())
            for name, table in METADATA.tables.items()
        }


def test_a_photo_has_one_current_reading(filled, tmp_path):
    folder = write(tmp_path / "out", journal_files(filled))
    path = folder / "readings.csv"
    lines = path.read_text("utf-8").splitlines()
    header = lines[0].split(",")
    assert header[:4] == ["id", "photo_id", "version", "is_current"]
    with path.open("a", newline="") as stream:
        row = dict.fromkeys(header, "") | {"id": "900", "photo_id": "1", "version": "z"}
        csv.writer(stream).writerow((row | {"is_current": "true", "mode": "day"}).values())
    with pytest.raises(PackageError, match="is_current cannot be “True”: one reading"):
        again(folder, edited=True)


def test_rows_that_point_nowhere_are_refused_and_nothing_is_imported(filled, tmp_path):
    folder = write(tmp_path / "out", journal_files(filled))
    (folder / "photos.csv").write_bytes((folder / "photos.csv").read_bytes().splitlines(True)[0])
    with open_journal("sqlite://") as journal:
        with pytest.raises(JournalError, match="do not fit together"):
            journal.put_everything(journal_tables(folder, edited=True))
        assert journal.plants() == ()


def test_a_journal_that_is_not_empty_is_not_imported_into(filled, tmp_path):
    folder = write(tmp_path / "out", journal_files(filled))
    with pytest.raises(JournalError, match="not empty"):
        filled.put_everything(journal_tables(folder))


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"resources": 1}'])
def test_a_folder_without_description_is_no_export(tmp_path, text):
    if text:
        (tmp_path / "datapackage.json").write_text(text)
    with pytest.raises(PackageError, match=r"datapackage\.json"):
        journal_tables(tmp_path)


def test_an_export_of_another_version_is_refused(filled, tmp_path):
    files = journal_files(filled)
    ours = f'"{newest_version()}"'.encode()
    files["datapackage.json"] = files["datapackage.json"].replace(ours, b'"9000"')
    with pytest.raises(PackageError, match="version 9000"):
        journal_tables(write(tmp_path / "out", files))


def test_an_export_from_before_there_were_fixes_is_read(filled, tmp_path):
    files = journal_files(filled)
    for name, table in METADATA.tables.items():
        if "since" in table.info:
            del files[f"{name}.csv"]
    ours = f'"{newest_version()}"'.encode()
    files["datapackage.json"] = files["datapackage.json"].replace(ours, b'"0001"')
    lines = files["corrections.csv"].splitlines()
    files["corrections.csv"] = b"\r\n".join(line.rpartition(b",")[0] for line in lines)
    folder = write(tmp_path / "out", files)
    with open_journal("sqlite://") as journal:
        assert journal.put_everything(journal_tables(folder, edited=True)) == len(ODD)
        assert journal.pattern_corrections() == filled.pattern_corrections()
        assert journal.photos() != ()
        assert journal.fixes() == ()


def decode(segmentation: dict) -> np.ndarray:
    """Read COCO's run lengths as its definition says."""
    lengths = segmentation["counts"]
    inside = np.arange(len(lengths)) % 2 == 1
    return np.repeat(inside, lengths).reshape(segmentation["size"], order="F")


@settings(max_examples=50, deadline=None)
@given(hnp.arrays(bool, hnp.array_shapes(min_dims=2, max_dims=2, max_side=7)))
def test_run_lengths_give_the_mask_back(mask):
    segmentation = {"size": list(mask.shape), "counts": run_lengths(mask)}
    assert np.array_equal(decode(segmentation), mask)


@pytest.fixture
def scored(tmp_path, spotlamp, paint_photo) -> Path:
    folder = tmp_path / "plot"
    spotlamp("new", folder, "--bed", "North=A1,A2")
    paint_photo(folder / "A1" / "x.jpg", 1, (641, 480))
    paint_photo(folder / "A2" / "y.jpg", 2)
    spotlamp("score", folder, "--out", tmp_path / "results", "--jobs", "1")
    return folder


def test_masks_agree_with_the_readings(scored, tmp_path, spotlamp, paint_photo):
    # Large enough to be decoded at half its size; neither side is even.
    paint_photo(scored / "A2" / "large.jpg", 3, (2593, 1951), spots=8)
    spotlamp("score", scored, "--out", tmp_path / "results", "--jobs", "1")
    said = spotlamp(
        "export", tmp_path / "out", "--garden", scored, "--masks", scored, "--jobs", "1"
    )
    assert "on 3 photos" in said.output
    document = json.loads((tmp_path / "out" / "masks.json").read_text())
    names = {one["id"]: one["name"] for one in document["categories"]}
    with open_journal(scored) as journal:
        photos = {photo.sha256: photo for photo in journal.photos()}
        lesions = {sha256: journal.lesions(sha256) for sha256 in photos}
    for image in document["images"]:
        photo = photos[image["sha256"]]
        assert image["file_name"] == photo.photo
        own = [one for one in document["annotations"] if one["image_id"] == image["id"]]
        for one in own:
            mask = decode(one["segmentation"])
            assert mask.shape == (image["height"], image["width"])
            assert one["area"] == mask.sum()
            rows, columns = np.nonzero(mask)
            left, top, width, height = one["bbox"]
            assert (left, top) == (columns.min(), rows.min())
            assert (width, height) == (np.ptp(columns) + 1, np.ptp(rows) + 1)
        blades = [one["area"] for one in own if names[one["category_id"]] == "leaf"]
        dead = [one["area"] for one in own if names[one["category_id"]] == "lesion"]
        # Leaves are judged at a common length, and their masks brought back: a little is rounded.
        assert blades == pytest.approx([leaf.area_px for leaf in photo.leaves], rel=0.01)
        assert len(dead) == len(lesions[photo.sha256]) > 0
        assert sum(dead) == pytest.approx(sum(x.area_px for x in lesions[photo.sha256]), rel=0.05)


def test_masks_leave_out_what_somebody_put_right(scored, tmp_path, spotlamp):
    garden = ("--garden", scored)
    spotlamp("fix", scored / "A1", "--not-leaf", "1", *garden)
    spotlamp("fix", scored / "A2", "--pattern", "spot", *garden)
    said = spotlamp("export", tmp_path / "out", "--masks", scored, "--jobs", "1", *garden).output
    assert "1 left out, because you said" in said
    document = json.loads((tmp_path / "out" / "masks.json").read_text())
    assert [image["file_name"] for image in document["images"]] == ["A2/y.jpg"]


def test_masks_leave_out_what_is_not_the_reading_any_more(scored, tmp_path, spotlamp, monkeypatch):
    monkeypatch.setattr("scripts.garden.coco._SAME_AREA_PX", -1)
    said = spotlamp("export", tmp_path / "out", "--garden", scored, "--masks", scored / "A1")
    assert "0 outlines on 0 photos. 1 left out" in said.output


def test_the_commands_make_the_same_journal_again(scored, tmp_path, spotlamp):
    spotlamp("relabel", scored / "A1" / "x.jpg", "spot", "--garden", scored)
    spotlamp("export", tmp_path / "out", "--garden", scored)
    spotlamp("new", tmp_path / "other", "--bed", "North=A1,A2")
    said = spotlamp("import", tmp_path / "out", "--garden", tmp_path / "other")
    assert said.output == "2 photos with all that belongs to them imported.\n"
    spotlamp("export", tmp_path / "again", "--garden", tmp_path / "other")
    names = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert len(names) == len(METADATA.tables) + 1
    for name in names:
        assert (tmp_path / "out" / name).read_bytes() == (tmp_path / "again" / name).read_bytes()
    assert "not empty" in spotlamp(
        "import", tmp_path / "out", "--garden", tmp_path / "other", code=1
    ).output  # fmt: skip


def test_relabelled_photos_are_what_training_reads(scored, tmp_path, spotlamp):
    from scripts.learn.labelled import read_labels

    spotlamp("relabel", scored / "A1", "blight", "--kind", "early", "--garden", scored)
    spotlamp("relabel", scored / "A2", "other", "--session", "walk", "--garden", scored)
    spotlamp("export", tmp_path / "out", "--relabelled", "--garden", scored)
    labels = read_labels(tmp_path / "out" / "relabelled.csv")
    assert [(one.pattern, one.blight_kind) for one in labels] == [
        ("blight", "early"),
        ("other", ""),
    ]
    assert labels[1].session == "walk"
    assert all(one.path.is_file() for one in labels)


def test_no_spreadsheet_runs_a_name_among_the_relabelled(scored, spotlamp, paint_photo):
    from scripts.learn.labelled import read_labels

    paint_photo(scored / "=1+1.jpg", 5)
    spotlamp("score", scored, "--out", scored.parent / "results", "--jobs", "1")
    spotlamp("relabel", scored / "=1+1.jpg", "none", "--session", "＝walk", "--garden", scored)
    spotlamp("export", scored, "--relabelled", "--garden", scored)
    written = (scored / "relabelled.csv").read_text("utf-8").splitlines()[1]
    assert written == "'=1+1.jpg,none,'＝walk,"
    (label,) = read_labels(scored / "relabelled.csv")
    assert (label.path.name, label.session) == ("=1+1.jpg", "＝walk")
    assert label.path.is_file()


@pytest.mark.parametrize("first", ["file", "server"])
def test_a_record_is_the_same_byte_for_byte_wherever_it_was_and_went(
    server_journal, tmp_path, first
):
    places = ["sqlite://", server_journal()] if first == "file" else [server_journal(), "sqlite://"]
    with open_journal(places[0]) as journal:
        fill(journal)
        files = journal_files(journal)
    for number, place in enumerate((places[1], "sqlite://", server_journal())):
        with open_journal(place) as other:
            folder = write(tmp_path / str(number), files)
            assert other.put_everything(journal_tables(folder)) == len(ODD)
            assert journal_files(other) == files
            # Both go on counting after what came.
            assert other.log(LogEntry(0, "note", NOON)) == len(ODD) + 2
            assert other.file_reading(PhotoEntry("new.jpg", "ab" * 32, NOON)) == "new"
