"""Photos handed to the page are kept, scored and filed; what is no photo is named."""

import io
import json
import os
import signal
import socket
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from urllib.request import urlopen

import pytest

from models.journal import open_journal
from scripts.page import arrivals as module
from scripts.page.arrivals import Arrivals, RefusedError
from scripts.page.guard import SCHEME
from tests.scripts.page.conftest import paint_leaf, token_of

ROOT = Path(__file__).parents[3]
LONGEST_S = 60


def photos_of(folder, plant=None):
    with open_journal(folder) as journal:
        return journal.photos(plant)


def leaf(tmp_path, seed, name="leaf.jpg"):
    return paint_leaf(tmp_path / f"painted-{seed}" / name, seed, 3)


def until(true, longest_s=LONGEST_S):
    end = time.monotonic() + longest_s
    while time.monotonic() < end:
        if found := true():
            return found
        time.sleep(0.05)
    raise AssertionError("it did not happen")


def settled(client):
    """Wait until nothing waits any more; return what became of all."""

    def done():
        shown = client.get("/arrivals.json").json()
        return shown if shown and all(one["state"] != "waiting" for one in shown) else None

    return until(done)


def hand_over(client, *files, plant=""):
    given = [("photos", (name, data, "image/jpeg")) for name, data in files]
    return client.post("/add", data={"csrf": token_of(client), "plant": plant}, files=given)


def test_a_photo_is_scored_and_filed_as_score_would(client, folder, tmp_path):
    from scripts.score.run import score_paths

    photo = leaf(tmp_path, 41, "2025-07-31_A2.jpg")
    hand_over(client, (photo.name, photo.read_bytes()), plant="A2")
    (one,) = settled(client)
    assert one["state"] == "filed"
    filed = next(p for p in photos_of(folder, "A2") if p.sha256 == one["photo"])
    scored = score_paths([photo], tmp_path / "out").results[0].reading
    assert filed.severity_pct == pytest.approx(scored.severity_pct)
    assert filed.lesion_count == sum(len(leaf.lesions) for leaf in scored.leaves)
    assert (folder / filed.photo).read_bytes() == photo.read_bytes()
    assert "A2" in client.get(f"/photo/{one['photo']}").text


def test_refused_files_are_named_with_the_sentence_of_score(client, folder, tmp_path):
    from scripts.score.run import score_paths

    whole = leaf(tmp_path, 42).read_bytes()
    bad = {"cut.jpg": whole[: len(whole) // 2], "empty.jpg": b"", "no.png": b"no picture at all"}
    hand_over(client, *bad.items())
    said = {one["name"]: one for one in settled(client)}
    before = {p.photo for p in photos_of(folder)}
    for name, data in bad.items():
        alone = tmp_path / f"alone-{name}" / name
        alone.parent.mkdir()
        alone.write_bytes(data)
        told = score_paths([alone], tmp_path / f"out-{name}").results[0]
        assert said[name]["state"] == "refused"
        assert said[name]["words"] == f"“{name}” {told.why_not}"
    assert {p.photo for p in photos_of(folder)} == before
    assert client.get("/add").status_code == 200


@pytest.mark.parametrize("name", ["film.mp4", "page.html", "leaf", "leaf.jpg.exe"])
def test_what_is_no_photo_by_its_ending_is_not_taken(client, name):
    answer = hand_over(client, (name, b"x"))
    assert "is no photo by its ending" in answer.text
    assert client.get("/arrivals.json").json() == []


@pytest.mark.parametrize(
    "name",
    [
        "../../garden.jpg",
        "..\\..\\garden.jpg",
        "/etc/passwd.jpg",
        ".hidden.jpg",
        "C:\\x.jpg",
        "a\x00b.jpg",
        "x" * 4000 + ".jpg",
        "<script>alert(1)</script>.jpg",
    ],
)
def test_no_name_leads_a_photo_out_of_its_folder(folder, tmp_path, name):
    taking = Arrivals(folder, 1)
    before = {path for path in tmp_path.rglob("*") if ".page" not in path.parts}
    taken = taking.take(name, "", io.BytesIO(leaf(tmp_path / "p", 43).read_bytes()))
    assert "/" not in taken.name
    assert "\\" not in taken.name
    taking.start()
    done = until(lambda: next((a for a in taking.shown() if a.state != "waiting"), None))
    taking.close()
    assert done.state == "filed"
    after = {path for path in tmp_path.rglob("*") if ".page" not in path.parts}
    new = {path for path in after - before if path.is_file() and "p" not in path.parts}
    photos = {path for path in new if path.suffix == ".jpg"}
    assert len(photos) == 1
    assert all(path.is_relative_to(folder / "photos" / "added") for path in photos)


def test_an_unknown_plant_is_refused_and_nothing_is_taken(client, tmp_path):
    answer = hand_over(client, ("a.jpg", b"x"), plant="../A1")
    assert "has no plant" in answer.text
    assert client.get("/arrivals.json").json() == []


def test_a_photo_larger_than_any_phones_is_refused(client, monkeypatch, folder):
    monkeypatch.setattr(module, "MOST_BYTES", 1000)
    answer = hand_over(client, ("large.jpg", b"x" * 1001))
    assert "is larger than" in answer.text
    assert list((folder / ".page" / "spool").iterdir()) == []


def test_more_photos_than_one_form_takes_are_refused(client, folder):
    files = [(f"{n}.jpg", b"x") for n in range(module.MOST_FILES + 1)]
    assert hand_over(client, *files).status_code == 400
    assert client.get("/arrivals.json").json() == []


def test_no_more_are_taken_than_may_wait(folder, monkeypatch):
    monkeypatch.setattr(module, "_MOST_WAITING", 2)
    taking = Arrivals(folder, 1)
    for number in range(2):
        taking.take(f"{number}.jpg", "", io.BytesIO(b"x"))
    with pytest.raises(RefusedError, match="add the others later"):
        taking.take("3.jpg", "", io.BytesIO(b"x"))


def test_two_hundred_photos_at_once_are_all_taken_and_the_page_stays_up(client, folder):
    token = token_of(client)

    def one(number):
        files = [("photos", (f"{number}.jpg", f"no photo {number}".encode(), "image/jpeg"))]
        headers = {"accept": "application/json", "x-spotlamp-form": token}
        return client.post("/add", files=files, headers=headers).status_code

    with ThreadPoolExecutor(20) as many:
        assert set(many.map(one, range(200))) == {200}
    assert client.get("/beds").status_code == 200
    assert len({one["name"] for one in settled(client)}) == 200


def test_the_same_photo_handed_over_again_is_there_once(client, folder, tmp_path):
    data = leaf(tmp_path, 44).read_bytes()
    hand_over(client, ("a.jpg", data))
    settled(client)
    hand_over(client, ("b.jpg", data))
    settled(client)
    holding = [p for p in (folder / "photos").rglob("*.jpg") if p.read_bytes() == data]
    assert len(holding) == 1
    assert "is in the record already" in client.get("/add").text


def test_photos_of_one_name_lie_beside_each_other(client, folder, tmp_path):
    for seed in (45, 46):
        hand_over(client, ("image.jpg", leaf(tmp_path, seed).read_bytes()), plant="B1")
    settled(client)
    names = {p.name for p in (folder / "photos" / "B1").iterdir()}
    assert {"image.jpg", "image-2.jpg"} <= names


def test_what_waits_when_the_page_ends_is_scored_when_it_runs_again(folder, tmp_path):
    first = Arrivals(folder, 1)  # never started: as if it was killed at once
    first.take("later.jpg", "A2", io.BytesIO(leaf(tmp_path, 47).read_bytes()))
    before = len(photos_of(folder))
    again = Arrivals(folder, 1)
    again.start()
    until(lambda: len(photos_of(folder)) == before + 1)
    again.close()


def test_a_photo_in_its_place_but_not_yet_filed_is_filed_after_a_restart(folder, tmp_path):
    first = Arrivals(folder, 1)
    taken = first.take("half.jpg", "A2", io.BytesIO(leaf(tmp_path, 48).read_bytes()))
    place = first._place_for(taken)
    (folder / place).parent.mkdir(parents=True, exist_ok=True)
    (folder / ".page" / "spool" / taken.key / "file").rename(folder / place)
    again = Arrivals(folder, 1)
    again.start()
    until(lambda: any(p.photo == place for p in photos_of(folder, "A2")))
    again.close()


def test_a_file_that_came_only_in_part_is_never_scored(folder):
    half = folder / ".page" / "spool" / ".20250731-half"
    half.mkdir(parents=True)
    (half / "file").write_bytes(b"half")
    taking = Arrivals(folder, 1)
    taking.start()
    taking.close()
    assert taking.shown() == ()
    assert not half.exists()


def test_what_a_process_had_half_written_when_it_was_ended_is_gone_after_the_run(
    folder, tmp_path, monkeypatch
):
    half = folder / ".page" / ".readings" / ".0123abcd.part"

    def half_written(function, jobs, *_):
        half.parent.mkdir(exist_ok=True)
        half.write_bytes(b"half")
        return map(function, jobs)

    monkeypatch.setattr("scripts.common.workers._in_processes", half_written)
    taking = Arrivals(folder, 1)
    for seed in (49, 50):
        taking.take("leaf.jpg", "", io.BytesIO(leaf(tmp_path, seed).read_bytes()))
    taking._filed = taking.close  # the page ends after the first
    taking.start()
    taking._worker.join(LONGEST_S)
    assert [one.state for one in taking.shown()] == ["waiting", "filed"]
    assert not half.exists()
    assert any(half.parent.rglob("*.json"))


def free_port():
    with socket.socket() as asking:
        asking.bind(("127.0.0.1", 0))
        return asking.getsockname()[1]


def started(folder, port):
    """Start the real command; return its process once it answers."""
    command = [sys.executable, "-m", "scripts", "serve", "--garden", folder, "--port", str(port)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL)

    def answers():
        try:
            return urlopen(f"{SCHEME}://127.0.0.1:{port}/arrivals.json", timeout=2).status == 200
        except OSError:
            return False

    until(answers)
    return process


@pytest.mark.processes
def test_a_server_killed_while_photos_come_and_are_scored_loses_none_that_it_took(folder, tmp_path):
    import httpx2

    port = free_port()
    server = started(folder, port)
    address = f"{SCHEME}://127.0.0.1:{port}"
    taken = []
    try:
        with httpx2.Client(base_url=address) as browser:
            token = token_of(browser)
            for number in range(4):
                data = leaf(tmp_path, 60 + number, f"killed-{number}.jpg").read_bytes()
                answer = browser.post(
                    "/add",
                    data={"plant": "B1"},
                    files=[("photos", (f"killed-{number}.jpg", data, "image/jpeg"))],
                    headers={"accept": "application/json", "x-spotlamp-form": token},
                )
                taken += [one["name"] for one in json.loads(answer.content)["taken"]]
            # And one that is cut off in the middle of its way.
            with socket.create_connection(("127.0.0.1", port)) as line:
                head = f"POST /add HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Length: 90000\r\n"
                line.sendall(
                    f"{head}Content-Type: multipart/form-data; boundary=x\r\n\r\n".encode()
                )
                server.send_signal(signal.SIGKILL)
                server.wait()
        assert len(taken) == 4
        server = started(folder, port)
        until(lambda: sum("killed-" in p.photo for p in photos_of(folder, "B1")) == 4)
    finally:
        server.kill()
        server.wait()
