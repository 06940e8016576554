"""Readings kept between runs come back whole, or not at all."""

from dataclasses import asdict
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest

import vision
from models.pattern import CLASSIFIER_FILE, PatternCall
from scripts.score.kept import kept_reading
from scripts.score.photo import PhotoJob
from scripts.score.results import PhotoResult, from_json, to_json
from scripts.score.store import ReadingStore, Settings, measuring_fingerprint
from scripts.workshop.figures.learned import LEARNED
from vision.learned import LEARNED_FILES
from vision.photo.decode import content_hash
from vision.photo.find import PhotoFile
from vision.records import DayReading, LeafReading, Lesion, NightReading

CONTENT = "5e" * 32
CALL = PatternCall("blight", 0.1, 2 / 3, 0.05, "late", 0.4, "1 lesion: blight-like.")


def a_result():
    lesion = Lesion(1, 1.1, 2.2, 3.3, 4.4, 5.5, 0.6, 1.7, 0.8, -9.9, 0.1, 7.7, True)
    leaf = LeafReading(
        1, 0.1, 0.2, 1e6 / 3, (lesion,), 1.0, 2.0, 3.0, 2.5, 3.5, (50.0, -20.0, 30.0),
        ((1.0, 2.0), (3.5, 4.5)), ("cut_off",),
    )  # fmt: skip
    zone = timezone(timedelta(hours=2))
    reading = DayReading((leaf,), ("cut_off",), 1e6 / 3, 1.0, 2.0, 3.0, 2.5, 3.5)
    return PhotoResult(
        "a/x.jpg", CONTENT, datetime(2024, 7, 1, 8, 30, tzinfo=zone), "exif", 400, 300,
        ("small", "cut_off"), reading, pattern=CALL, leaf_patterns=(CALL,),
    )  # fmt: skip


def test_a_result_comes_back_from_json_with_every_digit():
    result = a_result()
    back = from_json(to_json(result))
    assert asdict(back) == {**asdict(result), "kept": True}
    assert isinstance(back.reading.leaves[0].lesions[0], Lesion)
    assert (back.pattern, back.leaf_patterns) == (CALL, (CALL,))
    assert back.status == result.status == "flagged"


def test_numbers_of_numpy_are_kept_as_well():
    reading = DayReading((), (), np.float32(0.5), severity_pct=np.float64(1 / 3))
    back = from_json(to_json(PhotoResult("x", taken_at=datetime(2024, 1, 1), reading=reading)))
    assert (back.reading.leaf_area_px, back.reading.severity_pct) == (0.5, 1 / 3)


@pytest.fixture
def store(tmp_path):
    return ReadingStore(tmp_path / "kept", measuring_fingerprint(Settings()))


def test_what_was_put_is_found_by_content_alone(store):
    assert store.get(CONTENT) is None
    store.put(a_result())
    assert store.get(CONTENT).reading.severity_pct == 3.0
    assert store.get("6f" * 32) is None


@pytest.mark.parametrize(
    "damage",
    [
        lambda data: b"",
        lambda data: data[: len(data) // 2],
        lambda data: data[:-1],
        lambda data: data.replace(b'"severity_pct": 3.0', b'"severity_pct": 8.0'),
        lambda data: bytes(len(data)),
        lambda data: data + b" ",
    ],
    ids=["empty", "cut", "last byte", "one digit", "zeros", "longer"],
)
def test_a_damaged_file_counts_as_not_there(store, damage):
    store.put(a_result())
    (file,) = store.folder.iterdir()
    data = file.read_bytes()
    assert damage(data) != data
    file.write_bytes(damage(data))
    assert store.get(CONTENT) is None


def test_a_whole_file_of_another_shape_counts_as_not_there(store, monkeypatch):
    monkeypatch.setattr("scripts.score.store.to_json", lambda result: b'{"name": "x"}')
    store.put(a_result())
    assert store.get(CONTENT) is None


def test_other_settings_find_nothing(store):
    store.put(a_result())
    other = ReadingStore(store.folder, measuring_fingerprint(Settings(mode="night")))
    assert other.get(CONTENT) is None


@pytest.mark.parametrize(
    ("where", "new"),
    [
        ("vision.day.measure.MEASURING_VERSION", "another"),
        ("scripts.score.store.package_version", lambda: "9.9"),
    ],
)
def test_a_new_way_of_measuring_finds_nothing_old(store, monkeypatch, where, new):
    store.put(a_result())
    monkeypatch.setattr(where, new)
    other = ReadingStore(store.folder, measuring_fingerprint(Settings()))
    assert other.get(CONTENT) is None


@pytest.mark.parametrize("place", range(len(LEARNED_FILES)), ids=lambda n: LEARNED_FILES[n].name)
def test_a_newly_trained_file_finds_nothing_old(store, tmp_path, monkeypatch, place):
    store.put(a_result())
    trained = tmp_path / LEARNED_FILES[place].name
    trained.write_bytes(LEARNED_FILES[place].read_bytes() + b" ")
    files = (*LEARNED_FILES[:place], trained, *LEARNED_FILES[place + 1 :])
    monkeypatch.setattr("scripts.score.store.LEARNED_FILES", files)
    other = ReadingStore(store.folder, measuring_fingerprint(Settings()))
    assert other.get(CONTENT) is None


def test_no_learned_file_is_missing_from_the_list():
    folder = Path(vision.__path__[0])
    kinds = (".json", ".onnx")
    there = {path for path in folder.rglob("*") if path.suffix in kinds} - {LEARNED}
    assert there == set(LEARNED_FILES)


def test_another_pattern_classifier_finds_nothing_old(store, tmp_path):
    store.put(a_result())
    own = tmp_path / "own.json"
    fingerprints = []
    for content in (b"1", b"2"):
        own.write_bytes(content)
        fingerprints.append(measuring_fingerprint(Settings(classifier=own)))
    assert len({store.fingerprint, *fingerprints}) == 3


def test_the_shipped_classifier_by_its_name_finds_what_it_called(store):
    same = measuring_fingerprint(Settings(classifier=CLASSIFIER_FILE))
    assert same == store.fingerprint


@pytest.mark.parametrize(
    ("result", "subtracted", "beside", "kept"),
    [
        ({"reading": DayReading(())}, False, True, True),  # nothing is subtracted by day
        ({"reading": DayReading(())}, False, False, True),
        ({"night": NightReading()}, False, False, True),
        ({"night": NightReading()}, True, True, True),
        ({"night": NightReading()}, False, True, False),  # a torch-off photo has come since
        ({"night": NightReading()}, True, False, False),  # or has gone
    ],
)
def test_a_night_reading_is_kept_for_the_torch_off_photo_that_it_was_made_with(
    tmp_path, store, result, subtracted, beside, kept
):
    photo, torch_off = (PhotoFile(tmp_path / name, name) for name in ("x.jpg", "off.jpg"))
    for file in (photo, torch_off):
        file.path.write_bytes(file.name.encode())
    off = content_hash(torch_off.path) if subtracted else ""
    sha256, when = content_hash(photo.path), datetime(2024, 7, 1)
    store.put(PhotoResult("old.jpg", sha256, when, "exif", torch_off_sha256=off, **result))
    job = PhotoJob(photo, store, None, torch_off=torch_off if beside else None)
    found = kept_reading(job)
    assert (found is not None) == kept
    assert found is None or (found.name, found.kept) == ("x.jpg", True)


def test_a_kept_reading_is_not_waited_for_until_the_disk_has_it(store, monkeypatch):
    """Were it damaged by a power cut, that would be noticed; thousands of waits take minutes."""
    monkeypatch.setattr("os.fsync", lambda descriptor: pytest.fail("waited for the disk"))
    store.put(a_result())
    assert store.get(CONTENT) is not None
    assert store.count_loss(CONTENT) == 1
