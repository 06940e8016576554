"""Photos measured by a cluster of a scheduler and two workers, started as the guide says."""

import hashlib
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from scripts.common.progress import PhotoProgress
from scripts.score import cluster

pytestmark = pytest.mark.processes

ROOT = Path(__file__).parents[3]
PHOTOS, PICTURES, CUT_SHORT = 200, 5, 4
"""Photos in all; pictures of which they are copies; the first of these that is cut short.

Most copies are of the last picture, which takes no time to measure.
"""
KILLED_AFTER = 20  # results
DEADLY = b"ends the process that holds it"
SITE = f"""
import os, pickle, sys
if "scripts.common.worker" in sys.orig_argv:
    loads = pickle.loads
    def deadly(data):
        if {DEADLY!r} in data:
            os.kill(os.getpid(), 9)
        return loads(data)
    pickle.loads = deadly
"""


@pytest.fixture(scope="module")
def dask(tmp_path_factory):
    """Run a scheduler and two workers; one photo's bytes end the process that is handed them."""
    folder = tmp_path_factory.mktemp("dask")
    (folder / "sitecustomize.py").write_text(SITE)
    names, where = {**os.environ, "PYTHONPATH": f"{ROOT}{os.pathsep}{folder}"}, folder / "where"
    common = ["--scheduler-file", where, "--host", "127.0.0.1", "--no-dashboard"]
    scheduler = ["distributed.cli.dask_scheduler", *common, "--port", "0"]
    worker = ["distributed.cli.dask_worker", *common, "--no-nanny", "--nthreads", "1"]
    with (folder / "said").open("w") as said:
        running = [
            subprocess.Popen(
                [sys.executable, "-m", *command], cwd=folder, env=names, stdout=said, stderr=said
            )
            for command in (scheduler, worker, worker)
        ]
    while not where.exists():
        assert running[0].poll() is None, (folder / "said").read_text()
        time.sleep(0.05)
    yield json.loads(where.read_text())["address"], running
    for process in running:
        process.kill()
        process.wait()


def test_versions_that_differ_are_refused_before_any_work(
    dask, tmp_path, paint_photo, spotlamp, monkeypatch
):
    photo = paint_photo(tmp_path / "in" / "a.jpg", size=(16, 12))
    monkeypatch.setattr(cluster, "package_version", lambda: "9.9")
    cluster.versions.cache_clear()
    said = spotlamp("score", photo, "--out", tmp_path / "out", "--cluster", dask[0], code=1).output
    cluster.versions.cache_clear()
    assert "would measure otherwise (spotlamp " in said
    assert "here 9.9): install the same versions on all machines." in said
    assert not (tmp_path / "out").exists()


def test_a_worker_of_other_versions_that_comes_later_does_nothing():
    wanted = cluster.versions() | {"OpenCV": "3.1"}
    kind, told = cluster.run_beside(b"", b"", 1.0, wanted)
    assert (kind, told.split(",")[0]) == ("version", f"OpenCV {cluster.cv2.__version__}")


def test_photos_are_counted_once_though_a_worker_is_killed_and_a_photo_ends_its_process(
    dask, tmp_path, paint_photo, spotlamp, read_table, monkeypatch
):
    address, (_, first, _) = dask
    plain = [paint_photo(tmp_path / "plain" / f"{n}.jpg", n, (160, 120)) for n in range(PICTURES)]
    whole = plain[CUT_SHORT].read_bytes()
    plain[CUT_SHORT].write_bytes(whole[: len(whole) // 2])
    many = tmp_path / "many"
    many.mkdir()
    for number in range(PHOTOS):
        # Other bytes behind the picture's end: the same picture, another content.
        data = plain[picture_of(number)].read_bytes() + b"%d" % number
        data += DEADLY if number == 0 else b""
        (many / f"{number}.jpg").write_bytes(data)
    for path in (*plain, *many.iterdir()):
        os.utime(path, (1_720_000_000, 1_720_000_000))
    done = []

    def kill_midway(self, result):
        done.append(result.name)
        if len(done) == KILLED_AFTER:
            first.send_signal(signal.SIGKILL)

    spotlamp("score", tmp_path / "plain", "--out", tmp_path / "a", "--masks", "--jobs", 1)
    monkeypatch.setattr(PhotoProgress, "done", kill_midway)
    spotlamp("score", many, "--out", tmp_path / "b", "--masks", "--cluster", address)
    assert first.wait() == -signal.SIGKILL
    assert sorted(done) == sorted(path.name for path in many.iterdir())
    for name in ("photos", "leaves", "lesions"):
        rows = read_table(tmp_path / "b" / f"{name}.csv")
        assert [row for row in rows if row["photo"] != "0.jpg"] == [
            dict(row, photo=copy.name, **digest(copy, name))
            for copy in sorted(many.iterdir(), key=lambda path: path.name)
            if copy.name != "0.jpg"
            for row in read_table(tmp_path / "a" / f"{name}.csv")
            if row["photo"] == f"{picture_of(int(copy.stem))}.jpg"
        ]
    said, *others = (tmp_path / "b" / "problems.txt").read_text("utf-8").splitlines()
    assert said.startswith("“0.jpg” ended the process that measured it, probably for want of mem")
    assert said.endswith("as before: it is set aside until the file changes.")
    (cut_short,) = (tmp_path / "a" / "problems.txt").read_text("utf-8").splitlines()
    assert {line.split("” ")[1] for line in others} == {cut_short.split("” ")[1]}
    masks = [int(path.stem) for path in (tmp_path / "b" / "masks").iterdir()]
    assert sorted(masks) == [n for n in range(1, PHOTOS) if picture_of(n) != CUT_SHORT]


def picture_of(number):
    return number // 5 % CUT_SHORT if number % 5 == 0 else CUT_SHORT


def digest(path, table):
    """Return the cell that tells copies apart, of the table that has it."""
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    return {"sha256": digest} if table == "photos" else {}


def test_a_scheduler_that_does_not_answer_is_one_sentence(
    tmp_path, paint_photo, spotlamp, monkeypatch
):
    photo = paint_photo(tmp_path / "in" / "a.jpg", size=(16, 12))
    monkeypatch.setattr(cluster, "SECONDS_TO_ANSWER", 0.2)
    address = "tcp://127.0.0.1:1"
    said = spotlamp("score", photo, "--out", tmp_path / "out", "--cluster", address, code=1).output
    assert said.startswith(f"No scheduler answers at “{address}”")
    assert not (tmp_path / "out").exists()


def test_without_the_library_the_extra_is_named(tmp_path, paint_photo, spotlamp, monkeypatch):
    def missing(name):
        raise ImportError(name)

    photo = paint_photo(tmp_path / "in" / "a.jpg", size=(16, 12))
    monkeypatch.setattr(cluster, "import_module", missing)
    given = (photo, "--out", tmp_path / "out", "--cluster", "tcp://127.0.0.1:1")
    assert "pip install 'spotlamp[cluster]'" in spotlamp("score", *given, code=1).output
