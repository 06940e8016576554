"""Small painted photos and the real command, for the tests of what people run."""

import csv
import functools
import os
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
import typer.testing
from PIL import Image, ImageDraw
from typer.main import get_command
from typer.testing import CliRunner, Result

from scripts.cli import app

GREEN, BROWN, GREY = (60, 130, 50), (90, 55, 30), (200, 200, 205)


@pytest.fixture(scope="session", autouse=True)
def _commands_are_built_once() -> Iterator[None]:
    """Build the commands from their functions once: each run of one would take 60 ms for it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(typer.testing, "_get_command", functools.cache(get_command))
        yield


class BuiltSeason(NamedTuple):
    """The sample season as its demo built it; who changes it takes a copy."""

    folder: Path
    printed: str


@pytest.fixture(scope="session")
def built_season(tmp_path_factory) -> BuiltSeason:
    """Build the sample season once for all test processes: scoring its photos takes a minute."""
    base = tmp_path_factory.getbasetemp()
    shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    folder, printed = shared / "sample-season", shared / "sample-season.txt"
    try:
        (shared / "sample-season.lock").mkdir()
    except FileExistsError:  # another process builds it, or has
        end = time.monotonic() + 900
        while not printed.exists() and time.monotonic() < end:
            time.sleep(0.2)
    else:
        done = CliRunner().invoke(app, ["demo", "--season", "--out", str(folder)])
        words = done.output if done.exit_code == 0 else f"failed: {done.output} {done.exception!r}"
        (shared / "sample-season.part").write_text(words, "utf-8")
        (shared / "sample-season.part").rename(printed)
    words = printed.read_text("utf-8")
    assert not words.startswith("failed"), words
    return BuiltSeason(folder, words)


@pytest.fixture
def paint_photo() -> Callable[..., Path]:
    """Paint a green leaf with brown spots on grey; the seed makes each photo another one."""

    def paint(
        path: Path, seed: int = 0, size: tuple[int, int] = (320, 240), spots: int = 5
    ) -> Path:
        rng = np.random.default_rng(seed)
        width, height = size
        picture = Image.new("RGB", size, GREY)
        draw = ImageDraw.Draw(picture)
        draw.ellipse([width * 0.15, height * 0.2, width * 0.85, height * 0.8], fill=GREEN)
        for _ in range(spots):
            col, row = rng.uniform(0.35, 0.65) * width, rng.uniform(0.35, 0.65) * height
            radius = rng.uniform(0.01, 0.04) * width
            draw.ellipse([col - radius, row - radius, col + radius, row + radius], fill=BROWN)
        noisy = np.asarray(picture) + rng.normal(0, 3, (height, width, 3))
        path.parent.mkdir(parents=True, exist_ok=True)
        Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8)).save(path, quality=95)
        return path

    return paint


@pytest.fixture
def garden(tmp_path, paint_photo) -> Path:
    """Two plants with two photos each."""
    folder = tmp_path / "garden"
    for seed, name in enumerate(("bed-1/a.jpg", "bed-1/b.png", "bed-2/c.jpg", "bed-2/d.webp")):
        paint_photo(folder / name, seed)
    return folder


@pytest.fixture(autouse=True)
def _in_this_process(request, monkeypatch):
    """Do what workers do in this process, which is quicker and lets tests step in between."""
    if request.node.get_closest_marker("processes") is None:
        monkeypatch.setattr(
            "scripts.common.workers._in_processes", lambda function, jobs, *_: map(function, jobs)
        )


@pytest.fixture
def spotlamp() -> Callable[..., Result]:
    """Run the real command in this process; it must end with a sentence, never a traceback."""

    def run(*arguments: object, code: int = 0) -> Result:
        result = CliRunner().invoke(app, [str(argument) for argument in arguments])
        assert result.exit_code == code, f"{result.output}\n{result.exception!r}"
        assert result.exception is None or isinstance(result.exception, SystemExit)
        return result

    return run


@pytest.fixture
def read_table() -> Callable[[Path], list[dict[str, str]]]:
    """Read a whole CSV file, as strict as RFC 4180 asks."""

    def read(path: Path) -> list[dict[str, str]]:
        with path.open(encoding="utf-8", newline="") as stream:
            return list(csv.DictReader(stream, strict=True))

    return read


@pytest.fixture
def without_rights() -> Callable[[Path], AbstractContextManager[None]]:
    """Take the rights to a file or folder; who may do everything is somebody else meanwhile."""

    @contextmanager
    def taken(path: Path) -> Iterator[None]:
        nobody, mode = 65534, path.stat().st_mode
        path.chmod(0)
        before = os.geteuid()
        if before == 0:
            os.seteuid(nobody)
        try:
            yield
        finally:
            os.seteuid(before)
            path.chmod(mode)

    return taken
