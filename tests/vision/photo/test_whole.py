"""Half-copied files of each format are told from whole ones before anything is decoded."""

import io
import struct
import zlib
from functools import cache

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from vision.photo.decode import UnreadablePhoto, read_photo
from vision.photo.find import PhotoFile
from vision.photo.whole import MOST_SCANS, fault, kind_of, pieces_fault, raw_fault

WAYS = {
    "jpeg": {"format": "JPEG", "quality": 80},
    "progressive": {"format": "JPEG", "quality": 80, "progressive": True},
    "png": {"format": "PNG"},
    "lossy": {"format": "WEBP", "quality": 80},
    "lossless": {"format": "WEBP", "lossless": True, "method": 0},
    "lzw": {"format": "TIFF", "compression": "tiff_lzw"},
    "deflate": {"format": "TIFF", "compression": "tiff_adobe_deflate"},
    "packbits": {"format": "TIFF", "compression": "packbits"},
    "raw": {"format": "TIFF", "compression": None},
    "heif": {"format": "HEIF", "quality": 70},
}


def noisy(rows=400, columns=300, seed=1):
    rng = np.random.default_rng(seed)
    smooth = cv2.GaussianBlur(rng.normal(0, 300, (rows, columns, 3)), (0, 0), 4)
    return np.clip(smooth + rng.normal(110, 12, smooth.shape), 1, 255).astype(np.uint8)


def encoded(way, pixels):
    pillow_heif.register_heif_opener()
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, **WAYS[way])
    return stream.getvalue()


@cache
def whole(way):
    """Return a noisy picture, encoded once: HEIF takes seconds on a busy machine."""
    return encoded(way, noisy())


def refusal(tmp_path, data):
    """Return the sentence that refuses a file, empty when it is read."""
    path = tmp_path / "leaf.jpg"
    path.write_bytes(data)
    try:
        read_photo(PhotoFile(path, "leaf.jpg"))
    except UnreadablePhoto as error:
        return str(error)
    return ""


@pytest.mark.parametrize("way", WAYS)
def test_a_whole_file_is_read(tmp_path, way):
    assert refusal(tmp_path, whole(way)) == ""


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("share", [0.3, 0.5, 0.7, 0.85])
def test_a_file_whose_rest_was_never_copied_is_refused(tmp_path, way, share):
    data = whole(way)
    kept = int(share * len(data))
    for rest in (b"", bytes(len(data) - kept)):
        assert "copy it again" in refusal(tmp_path, data[:kept] + rest)


@pytest.mark.parametrize("way", ["jpeg", "png", "deflate", "lzw", "packbits", "heif"])
def test_a_hole_in_the_middle_is_refused(tmp_path, way):
    data = whole(way)
    at = len(data) // 2
    holed = data[:at] + bytes(1024) + data[at + 1024 :]
    assert "copy it again" in refusal(tmp_path, holed)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("colour", [(0, 0, 1), (255, 255, 255), (60, 120, 40)])
def test_a_perfectly_even_picture_is_whole(way, colour):
    data = encoded(way, np.full((1200, 1000, 3), colour, np.uint8))
    assert fault(data, kind_of(data)) is None


@pytest.mark.parametrize("way", ["jpeg", "progressive", "png", "lossy", "lzw", "heif"])
def test_an_even_half_is_not_taken_for_a_missing_one(tmp_path, way):
    pixels = noisy()
    pixels[200:] = 0
    assert refusal(tmp_path, encoded(way, pixels)) == ""


@pytest.mark.parametrize("way", WAYS)
def test_zeros_behind_a_whole_picture_do_no_harm(tmp_path, way):
    assert refusal(tmp_path, whole(way) + bytes(5000)) == ""


def test_black_pixels_end_a_raw_picture_only_where_no_block_of_the_disk_begins():
    # 100 000 bytes of pixels; 4 600 zeros, which begin inside a block, may be black pixels.
    pieces = [(0, 50_000), (50_000, 100_000)]
    data = b"x" * 95_400 + bytes(4_600)
    assert raw_fault(data, pieces) is None
    assert raw_fault(b"x" * 95_232 + bytes(4_768), pieces) is not None  # 186 × 512
    assert raw_fault(b"x" * 80_001 + bytes(19_999), pieces) is not None  # a fifth of all
    assert pieces_fault(data, [0, 60_000], [60_000, 40_001], 7) is not None  # beyond the end


def test_a_jpeg_of_very_many_scans_is_refused_before_it_is_decoded(tmp_path):
    data = whole("progressive")
    at = data.rfind(b"\xff\xda")
    last_scan = data[at:-2]
    few, many = (data[:-2] + last_scan * count + b"\xff\xd9" for count in (20, 2000))
    assert refusal(tmp_path, few) == ""
    assert f"more than the {MOST_SCANS} that are read" in refusal(tmp_path, many)


def chunk(name, content):
    return (
        struct.pack(">I", len(content))
        + name
        + content
        + struct.pack(">I", zlib.crc32(name + content))
    )


def test_pixels_missing_from_a_png_with_sound_chunks_are_noticed(tmp_path):
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", 40, 30, 16, 2, 0, 0, 0))
    rows = chunk(b"IDAT", zlib.compress(bytes(29 * (40 * 6 + 1))))
    data = b"\x89PNG\r\n\x1a\n" + head + rows + chunk(b"IEND", b"")
    assert "copy it again" in refusal(tmp_path, data)


def test_a_kind_that_is_not_read_is_named(tmp_path):
    assert "holds an AVIF picture" in refusal(tmp_path, b"\0\0\0\x1cftypavif" + bytes(300))
