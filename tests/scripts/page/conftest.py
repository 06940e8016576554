"""A small garden with a record, and its page asked as a browser would."""

import contextlib
import os
import re
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.request import urlopen

import numpy as np
import pytest
from PIL import Image, ImageDraw
from starlette.testclient import TestClient
from typer.testing import CliRunner

from scripts.cli import app as commands
from scripts.page.app import garden_app
from scripts.page.guard import SCHEME
from scripts.page.standing import Desk

AT = "2025-07-31 07:00"
PORT = 8440
HOME = f"127.0.0.1:{PORT}"
NETWORK = f"192.168.7.20:{PORT}"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ROOT = Path(__file__).parents[3]
WIDTHS = (360, 768, 1280)
LOOKS = ("light", "dark", "night")
LONGEST_MS = 60_000
IN_BROWSER = [
    pytest.mark.browser,
    pytest.mark.processes,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium is installed: apt install chromium"),
]


def run(*arguments: object) -> str:
    result = CliRunner().invoke(commands, [str(argument) for argument in arguments])
    assert result.exit_code == 0, result.output
    return result.output


def paint_leaf(path: Path, seed: int, spots: int, left: int = 70) -> Path:
    rng = np.random.default_rng(seed)
    picture = Image.new("RGB", (480, 360), (200, 200, 205))
    draw = ImageDraw.Draw(picture)
    draw.ellipse([left, 70, left + 340, 290], fill=(60, 130, 50))
    for _ in range(spots):
        col, row, size = rng.uniform(150, 330), rng.uniform(120, 240), rng.uniform(6, 16)
        draw.ellipse([col - size, row - size, col + size, row + size], fill=(90, 55, 30))
    noisy = np.asarray(picture) + rng.normal(0, 3, (360, 480, 3))
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8)).save(path, quality=95)
    return path


@pytest.fixture(scope="session")
def built_garden(tmp_path_factory) -> Path:
    """Three plants and a gap, photos of two days, sprays, rain and a note."""
    folder = tmp_path_factory.mktemp("page") / "garden"
    run("new", folder, "--bed", "North=A1,A2", "--bed", "South=B1", "--time-zone", "Europe/Berlin")
    photos = folder / "photos"
    for number, (plant, day, spots) in enumerate(
        [("A1", 20, 3), ("A1", 30, 9), ("A2", 30, 0), ("B1", 30, 4)]
    ):
        edge = -60 if plant == "B1" else 70  # cut by the photo's edge, and flagged
        paint_leaf(photos / plant / f"2025-07-{day}_{plant}.jpg", number, spots, edge)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            "scripts.common.workers._in_processes", lambda function, jobs, *_: map(function, jobs)
        )
        run("score", photos, "--out", folder / "results", "--garden", folder)
    run("log", "rain", "12mm", "--at", "2025-07-25 09:00", "--garden", folder)
    run("log", "note", "Tied up.", "A1", "--at", "2025-07-26 09:00", "--garden", folder)
    return folder


@pytest.fixture
def folder(built_garden, tmp_path) -> Path:
    """Copy the garden, so that it may be changed."""
    copy = tmp_path / "garden"
    shutil.copytree(built_garden, copy)
    return copy


@pytest.fixture
def desk(folder) -> Desk:
    return Desk(folder, AT, keeps_days=True)


@pytest.fixture
def client(desk) -> Iterator[TestClient]:
    """Ask as a browser on the garden's own computer."""
    page = garden_app(desk, hosts={HOME}, port=PORT)
    with TestClient(page, base_url=f"{SCHEME}://{HOME}", client=("127.0.0.1", 5000)) as browser:
        yield browser


@pytest.fixture
def send() -> Callable[..., object]:
    """Send a form as a page of ours would, with its token."""

    def post(browser: TestClient, path: str, files: object = None, **fields: str) -> object:
        return browser.post(path, data={"csrf": token_of(browser), **fields}, files=files)

    return post


def token_of(browser: TestClient) -> str:
    found = re.search(r'<meta name="csrf" content="([0-9a-f]+)">', browser.get("/log").text)
    assert found
    return found[1]


def hashes_in(text: str) -> list[str]:
    return list(dict.fromkeys(re.findall(r"/photo/([0-9a-f]{64})", text)))


@pytest.fixture(scope="module")
def season(tmp_path_factory, request) -> Path:
    """Copy the sample season, every photo of which was scored by the real command.

    Who works on the page names a season built before, which saves minutes.
    """
    folder = tmp_path_factory.mktemp("season") / "garden"
    known = os.environ.get("SPOTLAMP_BUILT_SEASON")
    shutil.copytree(known or request.getfixturevalue("built_season").folder, folder)
    return folder


class Served:
    """The real command, serving a garden."""

    def __init__(self, folder, *options):
        with socket.socket() as asking:
            asking.bind(("127.0.0.1", 0))
            self.port = asking.getsockname()[1]
        self.folder = folder
        self.home = f"{SCHEME}://127.0.0.1:{self.port}"
        command = [sys.executable, "-u", "-m", "scripts", "serve", "--garden", str(folder)]
        self.process = subprocess.Popen(
            [*command, "--at", AT, "--port", str(self.port), *options],
            cwd=ROOT,
            env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"},
            stdout=subprocess.PIPE,
            text=True,
            encoding="utf-8",
        )
        for _ in range(600):
            with contextlib.suppress(OSError):
                urlopen(f"{self.home}/arrivals.json", timeout=5).close()
                return
            time.sleep(0.1)
        raise AssertionError("the page does not answer")

    def end(self):
        """End it as Ctrl-C does."""
        self.process.terminate()
        self.process.wait()
        self.process.stdout.close()


@pytest.fixture(scope="module")
def served(season):
    page = Served(season)
    yield page
    page.end()


@pytest.fixture(scope="module")
def chromium():
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with playwright.sync_playwright() as started:
        browser = started.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def open_page(chromium, served):
    """Open a window of a width and a look on the served garden; nothing may go elsewhere."""
    windows, asked, complaints = [], [], []

    def open_it(width=1280, look="light", at=served, **options):
        window = chromium.new_context(
            viewport={"width": width, "height": 800}, base_url=at.home, **options
        )
        window.set_default_timeout(LONGEST_MS)
        windows.append(window)
        cookie = {"name": f"spotlamp-look-{at.port}", "value": look, "url": at.home}
        window.add_cookies([cookie])
        window.on("request", lambda request: asked.append(request.url))
        page = window.new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda m: complaints.append(m.text) if m.type == "error" else None)
        return page

    yield open_it
    for window in windows:
        window.close()
    own = ("blob:", "data:", f"{SCHEME}://127.0.0.1:")
    assert [url for url in asked if not url.startswith(own)] == []
    assert complaints == []


def views(page):
    """Return the paths of every view."""
    page.goto("/plant/A1")
    photo = page.locator("#photos + .strip a").first.get_attribute("href")
    page.goto("/night")
    night = page.locator(".strip a").first.get_attribute("href")
    return [
        *("/", "/beds", "/plant/A1", photo, night, "/night", "/log", "/add", "/weather"),
        *("/mix?recipe=peroxide&water=2l&bottle=3%25", "/calendar"),
    ]
