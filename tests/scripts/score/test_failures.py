"""What goes wrong is said in one sentence; whole files stay whole."""

import csv
import errno
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from PIL import Image

from scripts.common import files
from scripts.common.files import CannotWriteError
from scripts.common.workers import Done
from scripts.score import photo as photo_module
from scripts.score import run
from vision.opencv import MissingSystemLibrary

ROOT = Path(__file__).parents[3]


def test_bad_files_are_listed_and_the_rest_is_scored(garden, tmp_path, spotlamp, read_table):
    whole = (garden / "bed-1" / "a.jpg").read_bytes()
    (garden / "cut.jpg").write_bytes(whole[: len(whole) // 2])
    (garden / "empty.jpg").write_bytes(b"")
    (garden / "=text.jpg").write_text("hello")
    (garden / "notes.txt").write_text("hello")
    result = spotlamp("score", garden, "--out", tmp_path / "out")
    rows = {row["photo"]: row for row in read_table(tmp_path / "out" / "photos.csv")}
    bad = {"cut.jpg", "empty.jpg", "'=text.jpg"}
    assert {name for name, row in rows.items() if row["status"] == "unreadable"} == bad
    assert len(rows) == 7
    assert all(rows[name]["severity_pct"] == "" for name in bad)
    assert all(len(rows[name]["sha256"]) == 64 for name in bad)
    sentences = (tmp_path / "out" / "problems.txt").read_text(encoding="utf-8").splitlines()
    assert len(sentences) == 3
    assert all(line.endswith(".") for line in sentences)
    assert (
        "Photos found: 7 = 4 measured + 3 named in problems.txt + 0 passed over." in result.output
    )
    assert "3 photos could not be used" in result.output
    assert "1 file of another kind" in result.output


def test_a_photo_on_which_nothing_could_be_measured_is_named_and_the_sum_is_right(
    garden, tmp_path, spotlamp, read_table
):
    Image.new("RGB", (320, 240), (200, 200, 205)).save(garden / "bare.png")
    Image.new("RGB", (320, 240), (30, 10, 60)).save(garden / "night.jpg")
    Image.new("RGB", (320, 240), (30, 10, 60)).save(garden / "night-off.jpg")
    result = spotlamp("score", garden, "--out", tmp_path / "out")
    named = (tmp_path / "out" / "problems.txt").read_text(encoding="utf-8").splitlines()
    assert any(line.startswith("“bare.png” could not be measured. ") for line in named)
    assert all(line.endswith(".") for line in named)
    (line,) = [line for line in result.output.splitlines() if line.startswith("Photos found: 7 =")]
    measured, problems, passed_over = (
        int(part.split()[0]) for part in line.partition("= ")[2].split(" + ")
    )
    assert measured + problems + passed_over == 7
    assert (problems, passed_over) == (len(named), 1)
    assert measured + problems == len(read_table(tmp_path / "out" / "photos.csv"))


def test_a_folder_that_is_nested_too_deep_is_named(garden, tmp_path, spotlamp):
    here = os.open(garden, os.O_RDONLY)
    for _ in range(50):  # 50 × 100 signs are more than a path may have
        os.mkdir("d" * 100, dir_fd=here)
        below = os.open("d" * 100, os.O_RDONLY, dir_fd=here)
        os.close(here)
        here = below
    os.close(here)
    result = spotlamp("score", garden, "--out", tmp_path / "out")
    (named,) = (tmp_path / "out" / "problems.txt").read_text(encoding="utf-8").splitlines()
    assert named.endswith("ddd” cannot be looked into: it is nested too deep.")
    assert len(named) < 250
    assert "Passed over: 1 folder not looked into." in result.output


def test_a_one_pixel_photo_is_no_reason_to_stop(garden, tmp_path, spotlamp, read_table):
    Image.new("RGB", (1, 1)).save(garden / "dot.png")
    spotlamp("score", garden, "--out", tmp_path / "out", "--masks", "--overlays")
    rows = {row["photo"]: row for row in read_table(tmp_path / "out" / "photos.csv")}
    assert rows["dot.png"]["status"] in ("flagged", "unreadable")
    assert rows["bed-1/a.jpg"]["severity_pct"] != ""


def test_an_error_nobody_foresaw_costs_one_photo_alone(
    garden, tmp_path, spotlamp, read_table, monkeypatch
):
    real = photo_module.measure_day

    def fails_once(photo, *more):
        if photo.name == "bed-2/c.jpg":
            raise ZeroDivisionError("division\nby zero")
        return real(photo, *more)

    monkeypatch.setattr(photo_module, "measure_day", fails_once)
    spotlamp("score", garden, "--out", tmp_path / "out", "--jobs", 1)
    status = {r["photo"]: r["status"] for r in read_table(tmp_path / "out" / "photos.csv")}
    assert [name for name, value in status.items() if value == "unreadable"] == ["bed-2/c.jpg"]
    (sentence,) = (tmp_path / "out" / "problems.txt").read_text(encoding="utf-8").splitlines()
    assert sentence.startswith("“bed-2/c.jpg”")
    assert "ZeroDivisionError: division by zero" in sentence
    assert "in scripts/score/photo.py, line" in sentence


def test_an_error_nobody_foresaw_names_the_stage_in_which_it_arose(
    garden, tmp_path, spotlamp, monkeypatch
):
    monkeypatch.setattr("models.pattern.measures.position_measures", None)
    spotlamp("score", garden, "--out", tmp_path / "out", "--jobs", 1, code=1)
    sentences = (tmp_path / "out" / "problems.txt").read_text(encoding="utf-8").splitlines()
    assert len(sentences) == 4
    assert all("in models/pattern/measures.py, line" in sentence for sentence in sentences)


def test_when_nothing_could_be_measured_the_tables_are_there_and_the_code_is_1(
    tmp_path, spotlamp, read_table
):
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "x.jpg").write_bytes(b"")
    spotlamp("score", tmp_path / "in", "--out", tmp_path / "out", code=1)
    (row,) = read_table(tmp_path / "out" / "photos.csv")
    assert row["status"] == "unreadable"


def one_sentence(result, *words):
    assert result.stderr.count("\n") == 1, result.stderr
    assert result.stderr.endswith(".\n")
    for word in words:
        assert word in result.stderr
    return True


def test_a_folder_without_photos_is_one_sentence(tmp_path, spotlamp):
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "notes.txt").write_text("")
    result = spotlamp("score", tmp_path / "in", "--out", tmp_path / "out", code=1)
    assert one_sentence(result, "No photos", "files of other kinds: 1")
    assert not (tmp_path / "out").exists()


def test_a_path_that_does_not_exist_is_wrong_usage(tmp_path, spotlamp):
    result = spotlamp("score", tmp_path / "nowhere", "--out", tmp_path / "out", code=2)
    assert one_sentence(result, "nowhere")
    assert not (tmp_path / "out").exists()


def test_an_output_folder_that_is_a_file_is_one_sentence(garden, tmp_path, spotlamp):
    (tmp_path / "file").write_text("mine")
    for out in (tmp_path / "file", tmp_path / "file" / "deeper"):
        assert one_sentence(spotlamp("score", garden, "--out", out, code=1), "file there")
    assert (tmp_path / "file").read_text() == "mine"


def mounted(folder, options):
    """Mount a small file system in memory; skip the test where that is not allowed."""
    mount = shutil.which("mount")
    if mount is None or not hasattr(os, "geteuid") or os.geteuid() != 0:
        pytest.skip("only root can mount a small file system")
    folder.mkdir()
    done = subprocess.run(
        [mount, "-t", "tmpfs", "-o", options, "tmpfs", folder], capture_output=True, text=True
    )
    if done.returncode:
        pytest.skip(f"a small file system cannot be mounted here: {done.stderr.strip()}")


@pytest.fixture
def tiny_disk(tmp_path):
    """Mount a disk of 200 kB."""
    folder = tmp_path / "tiny"
    mounted(folder, "size=200k")
    yield folder
    subprocess.run(["umount", folder], check=True)


@pytest.fixture
def read_only_disk(tmp_path):
    """Mount a disk that cannot be written."""
    folder = tmp_path / "locked"
    mounted(folder, "ro,size=200k")
    yield folder
    subprocess.run(["umount", folder], check=True)


def every_file_is_whole(out):
    """Check each file by its own rules; return how many there are."""
    files = [path for path in out.rglob("*") if path.is_file()]
    for path in files:
        assert path.suffix != ".part", path
        if path.suffix in (".png", ".jpg"):
            with Image.open(path) as picture:
                picture.load()
        elif path.suffix == ".json":
            json.loads(path.read_bytes().split(b"\n", 1)[1])
        elif path.suffix == ".csv":
            rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines(), strict=True))
            assert len({len(row) for row in rows}) == 1
            assert path.read_bytes().endswith(b"\r\n")
    return len(files)


@pytest.mark.processes
@pytest.mark.parametrize("jobs", [1, 2])
def test_a_disk_that_really_fills_is_one_sentence_and_leaves_whole_files(
    tiny_disk, garden, tmp_path, paint_photo, spotlamp, jobs
):
    out = tiny_disk / "out"
    spotlamp("score", garden, "--out", out)
    before = (out / "photos.csv").read_bytes()
    for seed in range(10, 18):
        paint_photo(garden / "bed-3" / f"{seed}.jpg", seed)
    result = spotlamp("score", garden, "--out", out, "--overlays", "--jobs", jobs, code=1)
    assert "The disk is full" in result.stderr
    assert len([line for line in result.stderr.splitlines() if "photos done" not in line]) == 1
    assert every_file_is_whole(out) >= 7
    assert (out / "photos.csv").read_bytes() == before


def test_a_disk_that_cannot_be_written_is_one_sentence(read_only_disk, garden, spotlamp):
    result = spotlamp("score", garden, "--out", read_only_disk / "out", code=1)
    assert one_sentence(result, "locked")


def test_a_disk_that_fills_while_the_tables_are_written_keeps_the_old_tables(
    garden, tmp_path, spotlamp, monkeypatch, paint_photo
):
    out = tmp_path / "out"
    spotlamp("score", garden, "--out", out)
    before = {path.name: path.read_bytes() for path in out.glob("*.csv")}
    paint_photo(garden / "new.jpg", 50)
    real, calls = os.fsync, []

    def full(descriptor):
        calls.append(descriptor)
        if len(calls) == 4:  # the marker, then the third of five tables
            raise OSError(errno.ENOSPC, "No space left on device")
        real(descriptor)

    monkeypatch.setattr(files.os, "fsync", full)
    result = spotlamp("score", garden, "--out", out, "--jobs", 1, code=1)
    assert "disk is full" in result.stderr
    assert {path.name: path.read_bytes() for path in out.glob("*.csv")} == before
    assert every_file_is_whole(out)


@pytest.mark.processes
def test_a_worker_that_cannot_write_says_so_across_the_processes(garden, tmp_path):
    # A file where the folder of the masks should be: the worker fails, not the parent.
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "masks").write_text("")
    with pytest.raises(CannotWriteError, match="there is a file there"):
        run.score_paths([garden], tmp_path / "out", masks=True, jobs=2)


def many_photos(folder, paint_photo, number=40):
    first = paint_photo(folder / "0.jpg", size=(1000, 750)).read_bytes()
    for index in range(1, number):
        # Other bytes behind the picture's end: the same picture, another content.
        (folder / f"{index}.jpg").write_bytes(first + f"{index}".encode())


def started(folder, out):
    return subprocess.Popen(
        [sys.executable, "-m", "scripts", "score", folder, "--out", out, "--masks", "--overlays"],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8",
        start_new_session=True, preexec_fn=hear_interrupts,
    )  # fmt: skip


def hear_interrupts():
    """Listen to Ctrl-C as in a terminal: what a shell starts in the background ignores it."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def wait_until_pictures_come(process, out, number):
    for _ in range(12_000):
        if len(list(out.glob("overlays/*.jpg"))) >= number:
            return
        assert process.poll() is None, process.stderr.read()
        time.sleep(0.01)
    pytest.fail("no picture came in two minutes")


needs_signals = pytest.mark.skipif(os.name != "posix", reason="needs POSIX signals")


@needs_signals
def test_a_killed_run_leaves_whole_files_and_the_next_run_goes_on(
    tmp_path, paint_photo, spotlamp, read_table
):
    many_photos(tmp_path / "in", paint_photo)
    out = tmp_path / "out"
    with started(tmp_path / "in", out) as process:
        wait_until_pictures_come(process, out, 2)
        os.killpg(process.pid, signal.SIGKILL)
    assert process.returncode == -signal.SIGKILL
    named = [path for path in out.rglob("*") if path.suffix in (".jpg", ".png", ".csv")]
    assert len(named) >= 2
    for path in (path for path in named if path.suffix != ".csv"):
        with Image.open(path) as picture:
            picture.load()
    shown = spotlamp("score", tmp_path / "in", "--out", out, "--masks", "--overlays").output
    assert "not measured again" in shown
    assert every_file_is_whole(out) == 5 + 1 + 3 * 40
    assert len(read_table(out / "photos.csv")) == 40


@needs_signals
def test_ctrl_c_is_one_sentence_without_half_files(tmp_path, paint_photo):
    many_photos(tmp_path / "in", paint_photo)
    out = tmp_path / "out"
    with started(tmp_path / "in", out) as process:
        wait_until_pictures_come(process, out, 2)
        os.killpg(process.pid, signal.SIGINT)
        _, errors = process.communicate(timeout=180)
    assert process.returncode == 130
    (said,) = [line for line in errors.splitlines() if "photos done" not in line]
    assert said.startswith("Stopped.")
    assert every_file_is_whole(out) >= 2


def worker_pids(process):
    children = Path(f"/proc/{process.pid}/task/{process.pid}/children")
    if not children.exists():
        pytest.skip("the system does not list a process's children")
    return [pid for pid in map(int, children.read_text().split()) if is_worker(pid)]


def is_worker(pid):
    try:
        return b"scripts.common.worker" in Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:  # it has ended
        return False


@needs_signals
@pytest.mark.parametrize("sign", [signal.SIGKILL, signal.SIGTERM])
def test_workers_do_not_outlive_a_run_that_is_ended(tmp_path, paint_photo, sign):
    many_photos(tmp_path / "in", paint_photo)
    out = tmp_path / "out"
    with started(tmp_path / "in", out) as process:
        wait_until_pictures_come(process, out, 2)
        pids = worker_pids(process)
        assert pids
        process.send_signal(sign)
        _, errors = process.communicate(timeout=180)
    assert [line for line in errors.splitlines() if "photos done" not in line] == []
    deadline = time.monotonic() + 60
    while any(is_worker(pid) for pid in pids):
        assert time.monotonic() < deadline
        time.sleep(0.01)


@needs_signals
def test_a_worker_that_the_system_ends_takes_only_its_photo_with_it(
    tmp_path, paint_photo, read_table
):
    many_photos(tmp_path / "in", paint_photo, 12)
    out = tmp_path / "out"
    with started(tmp_path / "in", out) as process:
        wait_until_pictures_come(process, out, 2)
        os.kill(worker_pids(process)[0], signal.SIGKILL)
        _, errors = process.communicate(timeout=180)
    assert process.returncode == 0, errors
    rows = read_table(out / "photos.csv")
    (lost,) = [row["photo"] for row in rows if row["status"] == "unreadable"]
    assert len(rows) == 12
    (sentence,) = (out / "problems.txt").read_text(encoding="utf-8").splitlines()
    assert sentence.startswith(f"“{lost}” ended the process that measured it")
    # With problems and loss; what the lost photo had written before the end stays, whole.
    assert 5 + 1 + 2 + 3 * 11 <= every_file_is_whole(out) <= 5 + 1 + 2 + 3 * 12


def test_what_a_process_had_half_written_when_the_system_ended_it_is_gone_after_the_run(
    garden, tmp_path, spotlamp, monkeypatch
):
    out = tmp_path / "out"

    def half_written(function, jobs, _processes, _longest, on_lost):
        first, *others = jobs
        yield from map(function, others)
        for folder in (out, out / ".readings", out / "overlays"):
            (folder / ".0123abcd.part").write_bytes(b"half")
        yield on_lost(first, "ended the process that measured it")

    monkeypatch.setattr("scripts.common.workers._in_processes", half_written)
    spotlamp("score", garden, "--out", out, "--overlays", "--jobs", 2)
    assert every_file_is_whole(out) == 5 + 1 + 2 + 2 * 3
    assert (out / "problems.txt").exists()


def test_a_photo_that_did_not_come_back_twice_is_set_aside_until_it_changes(
    garden, tmp_path, spotlamp, monkeypatch, paint_photo
):
    tried = []

    def deadly(function, jobs, _processes, _longest, on_lost):
        for job in jobs:
            if isinstance(job, Done):
                yield job.result
                continue
            tried.append(job[1].file.name)
            yield on_lost(job, "took longer than 60 s") if "a.jpg" in tried[-1] else function(job)

    def sentence():
        spotlamp("score", garden, "--out", tmp_path / "out")
        return (tmp_path / "out" / "problems.txt").read_text(encoding="utf-8")

    monkeypatch.setattr("scripts.common.workers._in_processes", deadly)
    assert "took longer than 60 s: it was left out, and will be tried once more." in sentence()
    assert "took longer than 60 s, as before: it is set aside until the file" in sentence()
    assert tried.count("bed-1/a.jpg") == 2
    assert "could not be measured in 2 runs: it is set aside until the file" in sentence()
    assert tried.count("bed-1/a.jpg") == 2
    paint_photo(garden / "bed-1" / "a.jpg", 77)
    assert "will be tried once more" in sentence()


def test_a_system_without_the_libraries_of_opencv_is_one_sentence(
    garden, tmp_path, spotlamp, monkeypatch
):
    def missing():
        raise MissingSystemLibrary("OpenCV cannot be loaded: install libgl1.")

    monkeypatch.setattr("vision.opencv.require_opencv", missing)
    result = spotlamp("score", garden, "--out", tmp_path / "out", code=1)
    assert one_sentence(result, "libgl1")
    assert not (tmp_path / "out").exists()


def test_a_file_date_beyond_the_calendar_is_no_reason_to_stop(garden, tmp_path, spotlamp):
    try:
        os.utime(garden / "bed-1" / "a.jpg", (10**13, 10**13))
    except OSError:
        pytest.skip("this file system has no such dates")
    for _ in range(2):
        spotlamp("score", garden, "--out", tmp_path / "out")
