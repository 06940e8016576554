"""The command: where it listens, what the terminal says, and what it costs others."""

import re
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from scripts.page import serve
from scripts.page.app import garden_app
from scripts.page.guard import SCHEME
from tests.scripts.page.conftest import AT, HOME

ROOT = Path(__file__).parents[3]
HEAVY = {"starlette", "jinja2", "uvicorn", "segno", "python_multipart", "cv2", "numpy"}


@pytest.fixture
def ended_at_once(monkeypatch):
    """Let the server end when it has begun to listen; return what it listened on."""
    listened = []

    def run(_, sockets):
        listened.extend(one.getsockname() for one in sockets)

    monkeypatch.setattr("uvicorn.Server.run", run)
    return listened


def free_port():
    with socket.socket() as asking:
        asking.bind(("127.0.0.1", 0))
        return asking.getsockname()[1]


def test_the_page_listens_to_this_computer_alone(spotlamp, folder, ended_at_once):
    port = free_port()
    said = spotlamp("serve", "--garden", folder, "--port", port).output
    assert f"127.0.0.1:{port}/" in said
    assert [name for name, _ in ended_at_once] == ["127.0.0.1"]
    assert "code" not in said


def test_with_phone_a_code_of_eight_digits_is_shown(spotlamp, folder, ended_at_once, monkeypatch):
    monkeypatch.setattr(serve, "_address_in_network", lambda: "192.168.7.20")
    port = free_port()
    said = spotlamp("serve", "--garden", folder, "--port", port, "--phone").output
    assert re.search(rf"192\.168\.7\.20:{port}/enter and give the code \d{{8}}\.", said)
    assert "▀" in said
    assert [name for name, _ in ended_at_once] == ["0.0.0.0"]


def test_a_port_that_is_taken_is_said_in_a_sentence(spotlamp, folder):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        said = spotlamp("serve", "--garden", folder, "--port", port, code=1).output
    assert f"Port {port} cannot be used" in said
    assert "--port" in said


def test_a_time_that_cannot_be_read_is_said_before_anything_listens(
    spotlamp, folder, ended_at_once
):
    assert "is no time" in spotlamp("serve", "--garden", folder, "--at", "soon", code=2).output
    assert ended_at_once == []


def test_an_earlier_season_is_read_as_it_ended(spotlamp, folder, ended_at_once, monkeypatch):
    spotlamp("season", "new", "--at", "2026-03-01", "--garden", folder)
    shown = []

    def app(desk, **more):
        page = garden_app(desk, **more)
        with TestClient(page, base_url=f"{SCHEME}://{HOME}", client=("127.0.0.1", 9)) as browser:
            shown.append(browser.get("/beds", headers={"host": next(iter(more["hosts"]))}).text)
        return page

    monkeypatch.setattr(serve, "garden_app", app)
    for words in (("--season", "2025"), ("--at", "2026-03-02 08:00")):
        spotlamp("serve", "--garden", folder, "--port", free_port(), *words)
    old, new = shown
    assert "30 Jul" in old
    assert "sick," in old
    assert "sick," not in new
    assert "30 Jul 2025: 4 photos" in " ".join(new.split())  # in the list of earlier seasons alone
    assert new.count("30 Jul") == 1
    assert "own days" in spotlamp("serve", "--season", "2025", "--at", AT, code=2).output
    assert "no season" in spotlamp("serve", "--season", "1", "--garden", folder, code=1).output


def test_without_a_garden_nothing_listens(spotlamp, tmp_path, ended_at_once):
    assert "is no garden" in spotlamp("serve", "--garden", tmp_path, code=2).output
    assert ended_at_once == []


def test_the_secret_and_the_devices_are_read_by_their_owner_alone(spotlamp, folder, ended_at_once):
    spotlamp("serve", "--garden", folder, "--port", free_port(), "--at", AT)
    assert (folder / ".page" / "secret").stat().st_mode & 0o077 == 0


def test_what_the_page_keeps_is_never_scored(spotlamp, folder, tmp_path, client):
    from tests.scripts.page.conftest import hashes_in

    sha256 = hashes_in(client.get("/plant/A1").text)[0]
    client.get(f"/picture/large/{sha256}.jpg")
    spotlamp("score", folder, "--out", tmp_path / "out")
    table = (tmp_path / "out" / "photos.csv").read_text("utf-8")
    assert ".page" not in table


def test_help_does_without_the_page(spotlamp):
    code = f"import sys; import scripts.cli; sys.exit(', '.join({HEAVY!r} & set(sys.modules)) or 0)"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
