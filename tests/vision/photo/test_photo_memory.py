"""What one photo may cost: pixels are decoded in parts, or refused by name."""

import io
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from vision.photo import decode as photo_module
from vision.photo import png_strips
from vision.photo.decode import UnreadablePhoto, read_photo
from vision.photo.find import PhotoFile

ROOT = Path(__file__).parents[3]
LIMIT_MB = 600

MEASURED = """
import sys
from pathlib import Path
from vision.photo.find import PhotoFile
from vision.photo.decode import read_photo
try:
    print(read_photo(PhotoFile(Path(sys.argv[1]), "leaf")).pixels.shape)
except Exception as error:
    print(error)
status = Path("/proc/self/status").read_text()
print(int(status.partition("VmHWM:")[2].split()[0]) // 1024)
"""


def chunk(name, content):
    checksum = zlib.crc32(content, zlib.crc32(name))
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", checksum)


def even_png(width_px, height_px, bits, colour, interlace=0):
    """Return a PNG of equal rows, made without its pixels ever being in memory."""
    channels = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[colour]
    row = b"\0" + bytes((width_px * bits * channels + 7) // 8)
    pack = zlib.compressobj(1)
    packed = b"".join(pack.compress(row) for _ in range(height_px)) + pack.flush()
    head = struct.pack(">IIBBBBB", width_px, height_px, bits, colour, 0, 0, interlace)
    palette = chunk(b"PLTE", bytes(6)) if colour == 3 else b""
    parts = (chunk(b"IHDR", head), palette, chunk(b"IDAT", packed), chunk(b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


def said_and_peak_mb(path):
    """Read a photo in a process of its own, whose `ru_maxrss` would begin at the peak of ours."""
    if not Path("/proc/self/status").exists():
        pytest.skip("only Linux tells the peak of one process")
    done = subprocess.run(
        [sys.executable, "-c", MEASURED, str(path)],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    *said, peak_mb = done.stdout.splitlines()
    return said[0], int(peak_mb)


@pytest.mark.parametrize(
    ("side_px", "bits", "colour", "shape"),
    [(9_000, 16, 6, "(2250, 2250, 3)"), (14_100, 1, 0, "(1763, 1763, 3)")],
    ids=["16-bit RGBA", "black and white of nearly the pixel limit"],
)
def test_a_large_png_is_read_in_little_memory(tmp_path, side_px, bits, colour, shape):
    """Whole, each would take more than 600 MB."""
    path = tmp_path / "leaf.png"
    path.write_bytes(even_png(side_px, side_px, bits, colour))
    said, peak_mb = said_and_peak_mb(path)
    assert said == shape
    assert peak_mb < LIMIT_MB / 2  # measuring comes on top


def test_a_kind_that_is_only_decoded_whole_is_refused_by_name_when_large(tmp_path):
    path = tmp_path / "leaf.png"
    path.write_bytes(even_png(14_100, 14_100, 8, 2, interlace=1))
    with pytest.raises(UnreadablePhoto, match=r"“leaf.png” is too large: with 199 megapixels.*PNG"):
        read_photo(PhotoFile(path, "leaf.png"))


@pytest.mark.parametrize(
    ("kind", "more"),
    [
        ("JPEG", {"progressive": True}),
        ("TIFF", {"compression": "tiff_lzw"}),
        ("WEBP", {"method": 0}),
        ("WEBP", {"method": 0, "lossless": True}),
    ],
)
def test_every_other_kind_has_its_limit(tmp_path, monkeypatch, kind, more):
    stream = io.BytesIO()
    Image.new("RGB", (1000, 800), (60, 120, 40)).save(stream, kind, **more)
    path = tmp_path / "leaf"
    path.write_bytes(stream.getvalue())
    read_photo(PhotoFile(path, "leaf"))
    monkeypatch.setattr(photo_module, "DECODING_LIMIT_BYTES", 1_000_000)
    with pytest.raises(UnreadablePhoto, match="too large: with 1 megapixels"):
        read_photo(PhotoFile(path, "leaf"))


def test_a_picture_that_is_too_long_is_refused_by_its_sides(tmp_path):
    path = tmp_path / "leaf.png"
    path.write_bytes(even_png(70_000, 1, 8, 0))
    with pytest.raises(UnreadablePhoto, match="has 70,000 × 1 pixels; no side may be longer than"):
        read_photo(PhotoFile(path, "leaf.png"))


def raw_png(rows, bits, colour, filters, more=b""):
    """Return a PNG with its rows filtered as asked, written from the standard's own definition."""
    channels = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[colour]
    back = max(1, bits * channels // 8)
    width_px = rows.shape[1] * 8 // (bits * channels)
    lines, above = [], np.zeros(rows.shape[1], int)
    for row, kind in zip(rows.astype(int), filters, strict=True):
        left = np.concatenate([np.zeros(back, int), row[:-back]])
        corner = np.concatenate([np.zeros(back, int), above[:-back]])
        guess = left + above - corner
        far = np.abs(np.stack([guess - left, guess - above, guess - corner]))
        paeth = np.choose(np.argmin(far, axis=0), [left, above, corner])
        taken = [0 * row, left, above, (left + above) // 2, paeth][kind]
        lines.append(bytes([kind]) + ((row - taken) % 256).astype(np.uint8).tobytes())
        above = row
    head = struct.pack(">IIBBBBB", width_px, len(rows), bits, colour, 0, 0, 0)
    body = chunk(b"IHDR", head) + more + chunk(b"IDAT", zlib.compress(b"".join(lines)))
    return b"\x89PNG\r\n\x1a\n" + body + chunk(b"IEND", b"")


PALETTE = chunk(b"PLTE", bytes(range(48)) * 16) + chunk(b"tRNS", bytes([255, 0, 128]))
KINDS = [(1, 0), (2, 0), (4, 0), (8, 0), (16, 0), (8, 2), (16, 2), (1, 3), (2, 3), (4, 3), (8, 3),
         (8, 4), (16, 4), (8, 6), (16, 6)]  # fmt: skip


@pytest.mark.parametrize(("bits", "colour"), KINDS)
@given(seed=st.integers(0, 10**6))
@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_a_png_in_strips_is_the_same_as_whole(tmp_path_factory, bits, colour, seed):
    rng = np.random.default_rng(seed)
    channels = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[colour]
    row_bytes = int(rng.integers(1, 5)) * 8 * bits * channels // 8
    rows = rng.integers(0, 256, (37, row_bytes), np.uint8)
    more = b"" if colour != 3 else PALETTE[: 12 + 768] if bits == 8 else PALETTE
    if colour == 3 and bits < 8:
        more = chunk(b"PLTE", bytes(range(48))[: 3 * 2**bits]) + chunk(b"tRNS", b"\xff\0")
    data = raw_png(rows, bits, colour, rng.integers(0, 5, len(rows)), more)
    path = tmp_path_factory.getbasetemp() / "leaf.png"
    path.write_bytes(data)
    with pytest.MonkeyPatch.context() as patch:
        whole = read_photo(PhotoFile(path, "leaf.png")).pixels
        patch.setattr(photo_module, "_WHOLE_PNG_PIXELS", 0)
        patch.setattr(png_strips, "_STRIP_PIXELS", 1)
        in_strips = read_photo(PhotoFile(path, "leaf.png")).pixels
    assert np.array_equal(whole, in_strips)
    if bits == 16 and colour == 2:  # whole, 16 bits are read in one strip: compare with OpenCV
        values = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)[..., ::-1]
        assert np.abs(in_strips - values / 257).max() <= 0.5


def test_what_stands_behind_the_pixels_of_a_png_is_read_though_they_are_in_strips(tmp_path):
    exif = Image.Exif()
    exif[274] = 6
    block = chunk(b"eXIf", exif.tobytes().removeprefix(b"Exif\0\0"))
    plain = even_png(40, 30, 16, 2)
    path = tmp_path / "leaf.png"
    path.write_bytes(plain[:-12] + block + plain[-12:])
    photo = read_photo(PhotoFile(path, "leaf.png"))
    assert (photo.width_px, photo.height_px) == (30, 40)
