"""A small garden with a record, and its page asked as a browser would."""

import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

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
    return Desk(folder, AT)


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
