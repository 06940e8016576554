"""The made-up corpus of the attack: broken, half-copied, huge and odd files of every format.

All of it comes from a seed. Each name begins with what was done to the file.
"""

import importlib
import io
import os
import struct
import zlib
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

__all__ = ["HALF_COPIED", "make_corpus"]

HALF_COPIED = ("cut", "zeros")
"""Beginnings of the names of files that lack a part: none of them may be measured."""

_WAYS: dict[str, dict[str, Any]] = {
    "jpeg.jpg": {"format": "JPEG", "quality": 85},
    "progressive.jpg": {"format": "JPEG", "quality": 85, "progressive": True},
    "png.png": {"format": "PNG"},
    "lossy.webp": {"format": "WEBP", "quality": 80},
    "lossless.webp": {"format": "WEBP", "lossless": True, "method": 0},
    "raw.tif": {"format": "TIFF", "compression": None},
    "lzw.tif": {"format": "TIFF", "compression": "tiff_lzw"},
    "deflate.tif": {"format": "TIFF", "compression": "tiff_adobe_deflate"},
    "heic.heic": {"format": "HEIF", "quality": 70},
}
_STRIPS = ((1, 1), (1, 500), (500, 1), (2, 9000), (9000, 3), (17, 6000), (6000, 20), (40, 40))
_SIDE_PX = 14_100  # squared, just below the limit of 200 megapixels

Picture = NDArray[np.uint8]


def make_corpus(
    folder: Path, seed: int, of_each: int, *, bombs: bool, size_px: tuple[int, int] = (300, 400)
) -> int:
    """Write the corpus and return how many photos a run should find in it.

    Parameters
    ----------
    folder : Path
        Empty.
    seed : int
        The same seed makes the same files.
    of_each : int
        Files of each format and kind of damage.
    bombs : bool
        Whether those of nearly 200 megapixels are made too, which takes a while.
    size_px : tuple of int
        Rows and columns of the pictures that are damaged.
    """
    importlib.import_module("pillow_heif").register_heif_opener()
    rng = np.random.default_rng(seed)
    parts = [_damaged(rng, of_each, size_px), _strips(rng), _lies()]
    if bombs:
        parts.append(_bombs())
    count = 0
    for part in parts:
        for name, data in part:
            (folder / name).write_bytes(data)
            count += 1
    return count + _oddities(folder)


def _leaf(rng: np.random.Generator, rows: int = 300, columns: int = 400) -> Picture:
    """Paint a green leaf with brown spots on a noisy bench."""
    row, column = np.mgrid[0:rows, 0:columns]
    far = ((row - rows / 2) / (rows * 0.35)) ** 2 + ((column - columns / 2) / (columns * 0.4)) ** 2
    picture = np.full((rows, columns, 3), (190, 185, 180), float)
    picture[far < 1] = (60, 130, 50)
    for _ in range(6):
        at = rng.uniform(0.35, 0.65, 2) * (rows, columns)
        spot = np.hypot(row - at[0], column - at[1]) < rng.uniform(2, 10)
        picture[spot] = (90, 55, 30)
    return np.clip(picture + rng.normal(0, 6, picture.shape), 1, 255).astype(np.uint8)


def _encoded(picture: Picture, way: str) -> bytes:
    stream = io.BytesIO()
    Image.fromarray(picture).save(stream, **_WAYS[way])
    return stream.getvalue()


def _damaged(
    rng: np.random.Generator, of_each: int, size_px: tuple[int, int]
) -> Iterator[tuple[str, bytes]]:
    harms: dict[str, Callable[[np.random.Generator, bytes], bytes]] = {
        "cut": _cut,
        "zeros": _zeroed,
        "flipped": _flipped,
        "mixed": _mixed,
    }
    for way in _WAYS:
        yield f"whole-{way}", _encoded(_leaf(rng, *size_px), way)
        for harm, do in harms.items():
            for number in range(of_each):
                yield f"{harm}-{number}-{way}", do(rng, _encoded(_leaf(rng, *size_px), way))


def _cut(rng: np.random.Generator, data: bytes) -> bytes:
    return data[: int(rng.uniform(0.05, 0.9) * len(data))]


def _zeroed(rng: np.random.Generator, data: bytes) -> bytes:
    kept = int(rng.uniform(0.05, 0.85) * len(data))
    return data[:kept] + bytes(len(data) - kept)


def _flipped(rng: np.random.Generator, data: bytes) -> bytes:
    harmed = bytearray(data)
    for at in rng.integers(0, len(data), int(rng.integers(1, 60))):
        harmed[at] ^= 1 << int(rng.integers(8))
    return bytes(harmed)


def _mixed(rng: np.random.Generator, data: bytes) -> bytes:
    """Lay a piece of the file over another place of it."""
    length = int(rng.integers(1, max(2, len(data) // 4)))
    start, target = (int(rng.integers(0, len(data) - length)) for _ in range(2))
    return data[:target] + data[start : start + length] + data[target + length :]


def _strips(rng: np.random.Generator) -> Iterator[tuple[str, bytes]]:
    for rows, columns in _STRIPS:
        for way in _WAYS:
            with suppress(OSError, ValueError, RuntimeError):  # one that its encoder refuses
                yield f"strip-{rows}x{columns}-{way}", _encoded(_leaf(rng, rows, columns), way)


def _png(width_px: int, height_px: int, bits: int, colour: int, interlaced: int = 0) -> bytes:
    """Return a PNG of equal rows, made without its pixels ever being in memory."""
    channels = {0: 1, 2: 3, 6: 4}[colour]
    row = bytes((width_px * bits * channels + 7) // 8 + 1)
    pack = zlib.compressobj(1)
    packed = b"".join(pack.compress(row) for _ in range(height_px)) + pack.flush()
    return _png_of(width_px, height_px, bits, colour, interlaced, packed)


def _png_of(
    width_px: int, height_px: int, bits: int, colour: int, interlaced: int, packed: bytes
) -> bytes:
    head = struct.pack(">IIBBBBB", width_px, height_px, bits, colour, 0, 0, interlaced)
    chunks = ((b"IHDR", head), (b"IDAT", packed), (b"IEND", b""))
    framed = (
        struct.pack(">I", len(content)) + name + content
        + struct.pack(">I", zlib.crc32(content, zlib.crc32(name)))
        for name, content in chunks
    )  # fmt: skip
    return b"\x89PNG\r\n\x1a\n" + b"".join(framed)


def _lies() -> Iterator[tuple[str, bytes]]:
    """Yield small files that claim to be huge, or cost far more than they seem to."""
    packed = zlib.compress(bytes(1000))
    for width_px, height_px in ((60_000, 50_000), (2**31 - 1, 2**31 - 1), (0, 5)):
        yield f"lie-{width_px}x{height_px}.png", _png_of(width_px, height_px, 8, 2, 0, packed)
    yield "lie-line.png", _png(200_000_000, 1, 8, 0)
    jpeg = _encoded(_leaf(np.random.default_rng(0)), "progressive.jpg")
    last = jpeg[jpeg.rfind(b"\xff\xda") : -2]
    yield "lie-2000-scans.jpg", jpeg[:-2] + last * 2000 + jpeg[-2:]
    yield "lie-avif.heic", b"\0\0\0\x1cftypavif" + bytes(500)
    yield "lie-gif.png", b"GIF89a" + bytes(300)
    yield "lie-text.jpg", b"These are my notes.\n" * 40
    yield "lie-empty.webp", b""
    yield "lie-only-zeros.tif", bytes(9000)


def _bombs() -> Iterator[tuple[str, bytes]]:
    """Yield pictures of nearly as many pixels as are read."""
    for name, bits, colour, interlaced in (
        ("rgba16", 16, 6, 0), ("rgb8", 8, 2, 0), ("bits", 1, 0, 0), ("interlaced", 8, 2, 1),
    ):  # fmt: skip
        yield f"bomb-{name}.png", _png(_SIDE_PX, _SIDE_PX, bits, colour, interlaced)
    even = Image.new("RGB", (_SIDE_PX, _SIDE_PX), (60, 130, 50))
    for way in ("jpeg.jpg", "progressive.jpg", "lzw.tif"):
        stream = io.BytesIO()
        even.save(stream, **_WAYS[way])
        yield f"bomb-{way}", stream.getvalue()


def _oddities(folder: Path) -> int:
    """Make what a folder may hold besides ordinary files; return how many photos that are."""
    ordinary = _encoded(_leaf(np.random.default_rng(1)), "jpeg.jpg")
    count = 0
    for name in ("=1+1.jpg", "a\x1b[31m\nb.jpg", "лист 葉.jpg", "'quoted', \"leaf\".jpg",
                 "pair.jpg", "pair-off.jpg"):  # fmt: skip
        with suppress(OSError):  # some file systems take fewer signs
            (folder / name).write_bytes(ordinary)
            count += 1
    with suppress(OSError):
        os.mkfifo(folder / "pipe.jpg")  # no photo, and never opened
    for name, target in (("itself", folder / "itself.jpg"), ("nowhere", folder / "none.jpg")):
        with suppress(OSError):
            (folder / f"{name}.jpg").symlink_to(target)
            count += 1
    for name, target in (("log", Path("/proc/kmsg")), ("memory", Path("/proc/self/pagemap"))):
        if target.exists():
            (folder / f"{name}.jpg").symlink_to(target)
            count += 1
    (folder / "folder.jpg").mkdir()
    return count
