"""From files of every kind that phones and people make to upright sRGB pixels."""

import hashlib
import importlib.util
import io
import os
import pickle
import struct
import subprocess
import sys
import zlib
from datetime import datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from tests.vision.photo.test_photo_memory import said_and_peak_mb
from vision.photo import content
from vision.photo.decode import (
    PIXEL_LIMIT,
    WORKING_LONG_SIDE_PX,
    UnreadablePhoto,
    content_hash,
    read_photo,
    reduction_for,
)
from vision.photo.find import PhotoFile

NOW = datetime(2025, 7, 1, 12)
ORIENTATION, CHANGED_AT, TAKEN_AT, TAKEN_OFFSET = 274, 306, 36867, 36881
EXIF_DIRECTORY = 0x8769

FORMATS = {
    "jpeg": {"format": "JPEG", "quality": 95, "subsampling": 0},
    "png": {"format": "PNG"},
    "webp": {"format": "WEBP", "lossless": True, "method": 0},
    "tiff": {"format": "TIFF", "compression": "tiff_lzw"},
    "heif": {"format": "HEIF", "quality": -1, "chroma": 444},
}
LOSS = {"jpeg": 4, "png": 0, "webp": 0, "tiff": 0, "heif": 4}
"""Levels by which a smooth picture may differ after a round trip."""


@pytest.fixture(autouse=True)
def _writing_heif():
    pillow_heif.register_heif_opener()


def scene(rows=60, columns=90):
    """Return a smooth picture in which no two corners and no two channels are alike."""
    row, column = np.mgrid[0:rows, 0:columns]
    channels = (200 * row / rows + 20, 180 * column / columns + 40, 120 - 60 * row / rows)
    return np.stack(channels, axis=-1).astype(np.uint8)


def gentle(rows, columns):
    """Return a picture whose slope is the same for every size, as in photos."""
    row, column = np.mgrid[0:rows, 0:columns]
    channels = (60 + row / 64, 40 + column / 64, 120 - row / 128 + column / 128)
    return np.stack(channels, axis=-1).astype(np.uint8)


def encoded(picture, kind="jpeg", **more):
    if isinstance(picture, np.ndarray):
        picture = Image.fromarray(picture)
    stream = io.BytesIO()
    picture.save(stream, **(FORMATS[kind] | more))
    return stream.getvalue()


def exif(**values):
    block, inner = Image.Exif(), {}
    for name, value in values.items():
        tag = globals()[name.upper()]
        (inner if tag > EXIF_DIRECTORY else block)[tag] = value
    if inner:
        block[EXIF_DIRECTORY] = inner
    return block.tobytes()


def put(folder, data, name="leaf.jpg"):
    path = folder / name
    path.write_bytes(data)
    return PhotoFile(path, name)


def read(folder, data, name="leaf.jpg", **more):
    return read_photo(put(folder, data, name), now=NOW, **more)


def difference(one, other):
    return int(np.abs(np.asarray(one).astype(int) - np.asarray(other)).max())


# What comes out


@pytest.mark.parametrize("kind", FORMATS)
def test_each_format_gives_the_same_picture_as_was_put_in(tmp_path, kind):
    photo = read(tmp_path, encoded(scene(), kind))
    assert photo.pixels.shape == (60, 90, 3)
    assert (photo.width_px, photo.height_px, photo.reduction) == (90, 60, 1)
    assert difference(photo.pixels, scene()) <= LOSS[kind]


@pytest.mark.parametrize("kind", FORMATS)
@pytest.mark.parametrize("size", [(60, 90), (401, 2600)])
def test_pixels_are_rgb_bytes_in_one_read_only_block(tmp_path, kind, size):
    pixels = read(tmp_path, encoded(scene(*size), kind, exif=exif(orientation=6))).pixels
    assert pixels.dtype == np.uint8
    assert pixels.flags.c_contiguous
    assert not pixels.flags.writeable


def test_the_record_names_the_file_and_its_content(tmp_path):
    data = encoded(scene())
    photo = read(tmp_path, data)
    assert (photo.path, photo.name) == (tmp_path / "leaf.jpg", "leaf.jpg")
    assert photo.sha256 == hashlib.sha256(data).hexdigest() == content_hash(photo.path)


@given(st.binary(max_size=200_000))
@settings(max_examples=25)
def test_the_hash_is_sha256_of_the_bytes(tmp_path_factory, data):
    path = tmp_path_factory.getbasetemp() / "some bytes"
    path.write_bytes(data)
    assert content_hash(path) == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize(
    "name",
    [
        "two words.jpg",
        "a,b;c.jpg",
        "\"quoted\" 'leaf'.jpg",
        "лист 葉 ورقة.jpg",
        "=1+1.jpg",
        "no ending",
        "wrong.png",
    ],
)
def test_any_file_name_will_do(tmp_path, name):
    assert difference(read(tmp_path, encoded(scene()), name).pixels, scene()) <= LOSS["jpeg"]


# Orientation


def as_stored(upright, orientation):
    """Return the picture that a phone stores for an orientation (EXIF 2.3, tag 274).

    The tag says where the stored first row and first column lie in the upright picture: 1 top
    and left, 2 top and right, 3 bottom and right, 4 bottom and left, 5 left and top, 6 right
    and top, 7 right and bottom, 8 left and bottom [memory].
    """
    swapped = orientation >= 5
    first_row_side = {1: "t", 2: "t", 3: "b", 4: "b", 5: "l", 6: "r", 7: "r", 8: "l"}
    first_column_side = {1: "l", 2: "r", 3: "r", 4: "l", 5: "t", 6: "t", 7: "b", 8: "b"}
    stored = upright.transpose(1, 0, 2) if swapped else upright
    if first_row_side[orientation] in "br":
        stored = stored[::-1]
    if first_column_side[orientation] in "br":
        stored = stored[:, ::-1]
    return np.ascontiguousarray(stored)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["jpeg", "png", "webp", "tiff"])
@pytest.mark.parametrize("size", [(60, 90), (400, 2600)])
def test_orientation_is_honoured_once(tmp_path, kind, orientation, size):
    stored = as_stored(scene(*size), orientation)
    photo = read(tmp_path, encoded(stored, kind, exif=exif(orientation=orientation)))
    assert (photo.height_px, photo.width_px) == size
    expected = scene(*size)
    if photo.reduction > 1:
        expected = cv2.resize(expected, (1300, 200), interpolation=cv2.INTER_AREA)
    assert photo.pixels.shape == expected.shape
    assert difference(photo.pixels, expected) <= LOSS[kind] + 1


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_of_heif_is_honoured_once(tmp_path, orientation):
    # HEIF turns pictures by a property of its own; this encoder writes it from the EXIF value
    # and keeps that in the file as well, as phones do.
    stored = as_stored(scene(), orientation)
    photo = read(tmp_path, encoded(stored, "heif", exif=exif(orientation=orientation)), "a.heic")
    assert (photo.height_px, photo.width_px) == (60, 90)
    assert difference(photo.pixels, scene()) <= LOSS["heif"]


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["png", "tiff"])
def test_orientation_of_16_bit_pictures_is_honoured_once(tmp_path, kind, orientation):
    stored = as_stored(scene(), orientation)
    data = with_orientation(sixteen_bit(stored, kind), kind, orientation)
    photo = read(tmp_path, data)
    assert (photo.height_px, photo.width_px) == (60, 90)
    assert difference(photo.pixels, scene()) == 0


def sixteen_bit(picture, kind):
    done, data = cv2.imencode(f".{kind}", picture[..., ::-1].astype(np.uint16) * 257)
    assert done
    return data.tobytes()


def with_orientation(data, kind, orientation):
    if kind == "png":
        block = exif(orientation=orientation).removeprefix(b"Exif\0\0")
        return data[:33] + png_chunk(b"eXIf", block) + data[33:]
    (directory,) = struct.unpack_from("<I", data, 4)
    (count,) = struct.unpack_from("<H", data, directory)
    entries = [data[directory + 2 + 12 * n :][:12] for n in range(count)]
    entries = [entry for entry in entries if struct.unpack_from("<H", entry)[0] != ORIENTATION]
    entries.append(struct.pack("<HHIHH", ORIENTATION, 3, 1, orientation, 0))
    entries.sort(key=lambda entry: struct.unpack_from("<H", entry)[0])
    table = struct.pack("<H", len(entries)) + b"".join(entries) + b"\0\0\0\0"
    return data[:4] + struct.pack("<I", len(data)) + data[8:] + table


def png_chunk(kind, body):
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


@pytest.mark.parametrize("orientation", [0, 9, 99, 65535])
@pytest.mark.parametrize("kind", ["jpeg", "png", "webp", "tiff"])
def test_an_absurd_orientation_means_upright(tmp_path, kind, orientation):
    plain = {"compression": None} if kind == "tiff" else {}  # LZW's writer refuses the value
    data = encoded(scene(), kind, exif=exif(orientation=orientation), **plain)
    assert difference(read(tmp_path, data).pixels, scene()) <= LOSS[kind]


def test_heif_is_not_turned_by_exif(tmp_path):
    # The standard has its own property for turning and calls the EXIF value informative
    # (ISO/IEC 23008-12 [memory]); here that property says "upright" against the EXIF.
    data = bytearray(encoded(scene(), "heif", exif=exif(orientation=1)))
    at = data.index(exif(orientation=1).removeprefix(b"Exif\0\0"))
    data[at : at + 26] = exif(orientation=6).removeprefix(b"Exif\0\0")[:26]
    photo = read(tmp_path, bytes(data))
    assert difference(photo.pixels, scene()) <= LOSS["heif"]


# Kinds of pixel


def test_16_bits_are_rounded_to_8(tmp_path):
    # 257 16-bit levels make one 8-bit level: 128 → 0.498 → 0, 129 → 0.502 → 1, 65535 → 255.
    values = np.zeros((1, 4, 3), np.uint16)
    values[0, :, 0] = (128, 129, 65406, 65407)
    values[0, :, 2] = (65535, 257, 256 * 128, 0)
    done, data = cv2.imencode(".png", values[..., ::-1])
    assert done
    pixels = read(tmp_path, data.tobytes()).pixels
    assert pixels[0, :, 0].tolist() == [0, 1, 254, 255]
    assert pixels[0, :, 2].tolist() == [255, 1, 128, 0]
    assert not pixels[..., 1].any()


@pytest.mark.parametrize("kind", ["png", "tiff"])
@pytest.mark.parametrize("scale", [1, 257])
def test_grey_pictures_have_three_equal_channels(tmp_path, kind, scale):
    grey = scene()[..., 0].astype(np.uint16 if scale > 1 else np.uint8) * scale
    done, data = cv2.imencode(f".{kind}", grey)
    assert done
    photo = read(tmp_path, data.tobytes())
    assert difference(photo.pixels, scene()[..., :1]) == 0
    assert "grey_photo" in photo.flags


@pytest.mark.parametrize("compression", ["raw", "tiff_lzw", "tiff_adobe_deflate", "packbits"])
@pytest.mark.parametrize("byte_order", ["<", ">"])
def test_tiff_is_read_in_each_compression(tmp_path, compression, byte_order):
    picture = Image.fromarray(scene())
    data = encoded(picture, "tiff", compression=compression, big_endian=byte_order == ">")
    assert difference(read(tmp_path, data).pixels, scene()) == 0


@pytest.mark.parametrize("compression", [1, 5, 8])  # none, LZW, deflate, as TIFF numbers them
def test_16_bit_tiff_is_read_in_each_compression(tmp_path, compression):
    values = scene()[..., ::-1].astype(np.uint16) * 257
    done, data = cv2.imencode(".tiff", values, [cv2.IMWRITE_TIFF_COMPRESSION, compression])
    assert done
    assert difference(read(tmp_path, data.tobytes()).pixels, scene()) == 0


def test_transparent_parts_become_white(tmp_path):
    rgba = np.dstack([scene(), np.full((60, 90), 255, np.uint8)])
    rgba[:, :30, 3] = 0
    rgba[:, 30:60, 3] = 102  # 0.4: 0.4 × colour + 0.6 × 255
    for kind in ("png", "webp", "tiff"):
        pixels = read(tmp_path, encoded(rgba, kind, **({"exact": True} if kind == "webp" else {})))
        assert (pixels.pixels[:, :30] == 255).all()
        assert difference(pixels.pixels[:, 30:60], 0.4 * scene()[:, 30:60] + 153) <= 1
        assert difference(pixels.pixels[:, 60:], scene()[:, 60:]) == 0


def test_transparent_parts_of_16_bit_pictures_become_white(tmp_path):
    bgra = np.dstack([scene()[..., ::-1], np.full((60, 90), 255, np.uint8)]).astype(np.uint16)
    bgra[:, :30, 3] = 0
    done, data = cv2.imencode(".png", bgra * 257)
    assert done
    pixels = read(tmp_path, data.tobytes()).pixels
    assert (pixels[:, :30] == 255).all()
    assert difference(pixels[:, 30:], scene()[:, 30:]) == 0


def test_a_palette_with_transparent_colours_is_read(tmp_path):
    picture = Image.new("P", (9, 6))
    picture.putpalette([10, 200, 30, 250, 220, 40, 90, 60, 20])
    picture.putdata([0, 1, 2] * 18)
    pixels = read(tmp_path, encoded(picture, "png", transparency=bytes([255, 0, 255]))).pixels
    assert pixels[0, :3].tolist() == [[10, 200, 30], [255, 255, 255], [90, 60, 20]]


@pytest.mark.parametrize("mode", ["1", "L", "LA", "PA", "CMYK"])
def test_unusual_modes_of_tiff_and_png_keep_their_shape(tmp_path, mode):
    picture = Image.fromarray(scene()).convert("L" if mode in ("LA", "PA") else "RGB").convert(mode)
    kind = "tiff" if mode in ("CMYK", "PA") else "png"
    photo = read(tmp_path, encoded(picture, kind, compression=None))
    assert difference(photo.pixels, picture.convert("RGB")) <= 1


@pytest.mark.parametrize("size", [(60, 90), (400, 2600)])
def test_a_cmyk_jpeg_keeps_its_colours(tmp_path, size):
    picture = Image.fromarray(scene(*size)).convert("CMYK")
    photo = read(tmp_path, encoded(picture))
    expected = np.asarray(picture.convert("RGB"))
    if photo.reduction > 1:
        expected = cv2.resize(expected, (1300, 200), interpolation=cv2.INTER_AREA)
    assert difference(photo.pixels, expected) <= 8


@pytest.mark.parametrize(
    "more", [{"progressive": True}, {"subsampling": 2}, {"restart_marker_rows": 1}]
)
def test_the_variants_of_jpeg_are_read(tmp_path, more):
    assert difference(read(tmp_path, encoded(scene(), **more)).pixels, scene()) <= 8


def test_a_jpeg_followed_by_other_data_is_read(tmp_path):
    # Phones append a short film or a second picture.
    data = encoded(scene()) + b"\0\0\0\x18ftypmp42" + bytes(5000)
    assert difference(read(tmp_path, data).pixels, scene()) <= LOSS["jpeg"]


def test_numbers_that_are_no_photo_are_refused_in_one_sentence(tmp_path):
    picture = Image.fromarray(scene()[..., 0].astype(np.float32))
    with pytest.raises(UnreadablePhoto, match=r"^“leaf.jpg” is of a kind that is not read: .*32"):
        read(tmp_path, encoded(picture, "tiff", compression=None))


# Scale


@pytest.mark.parametrize(
    ("size", "reduction"),
    [
        ((1, 1), 1),
        ((2559, 100), 1),
        ((2560, 100), 2),
        ((100, 2560), 2),
        ((4000, 3000), 2),
        ((5119, 3000), 2),
        ((5120, 3000), 4),
        ((8160, 6120), 4),
        ((10240, 2), 8),
        ((40000, 100), 8),
    ],
)
def test_the_scale_is_the_largest_that_leaves_the_working_size(size, reduction):
    assert reduction_for(*size) == reduction


@given(st.integers(1, 60_000), st.integers(1, 60_000))
def test_a_scaled_photo_keeps_the_working_size_and_no_larger_scale_would(width_px, height_px):
    reduction, long_side_px = reduction_for(width_px, height_px), max(width_px, height_px)
    assert reduction in (1, 2, 4, 8)
    assert reduction == 1 or long_side_px / reduction >= WORKING_LONG_SIDE_PX
    assert reduction == 8 or long_side_px / (2 * reduction) < WORKING_LONG_SIDE_PX


@pytest.mark.parametrize("kind", FORMATS)
@pytest.mark.parametrize("size", [(400, 2600), (401, 2561), (2999, 331)])
def test_a_reduced_photo_is_the_average_over_blocks(tmp_path, kind, size):
    photo = read(tmp_path, encoded(scene(*size), kind))
    rows, columns = size[0] // 2, size[1] // 2
    blocks = scene(*size)[: rows * 2, : columns * 2].reshape(rows, 2, columns, 2, 3)
    assert photo.reduction == 2
    assert photo.pixels.shape == (-(-size[0] // 2), -(-size[1] // 2), 3)
    assert (photo.height_px, photo.width_px) == size
    assert difference(photo.pixels[:rows, :columns], blocks.mean(axis=(1, 3))) <= LOSS[kind] + 1


@given(
    rows=st.integers(1, 40),
    columns=st.integers(1, 40),
    long_px=st.sampled_from([2560, 2571, 5120, 5127, 10240, 10247]),
    lying=st.booleans(),
    kind=st.sampled_from(["jpeg", "png"]),
)
@settings(max_examples=40, deadline=None)
def test_a_reduced_strip_equals_area_resizing(
    tmp_path_factory, rows, columns, long_px, lying, kind
):
    size = (rows, long_px) if lying else (long_px, columns)
    strip = gentle(*size)
    photo = read(tmp_path_factory.getbasetemp(), encoded(strip, kind))
    factor = photo.reduction
    assert factor == reduction_for(*size)
    padding = [(0, -side % factor) for side in size]
    padded = np.pad(strip, (*padding, (0, 0)), mode="edge")
    shape = (padded.shape[1] // factor, padded.shape[0] // factor)
    expected = cv2.resize(padded, shape, interpolation=cv2.INTER_AREA)
    assert photo.pixels.shape == expected.shape
    assert difference(photo.pixels, expected) <= LOSS[kind]


def test_reduced_jpeg_pixels_are_those_of_opencv(tmp_path):
    rng = np.random.default_rng(7)
    noise = cv2.GaussianBlur(rng.normal(0, 80, (1300, 2600, 3)), (0, 0), 2)
    file = put(tmp_path, encoded(np.clip(scene(1300, 2600) + noise, 0, 255).astype(np.uint8)))
    ours = read_photo(file).pixels
    theirs = cv2.imread(str(file.path), cv2.IMREAD_REDUCED_COLOR_2)[..., ::-1]
    assert difference(ours, theirs) <= 1


def test_a_preview_inside_a_heif_photo_is_not_taken_for_the_photo(tmp_path):
    # Cameras store previews that are larger than the working scale; libraries offer them.
    data = encoded(scene(1300, 2600), "heif", thumbnails=[1700], chroma=420)
    photo = read(tmp_path, data)
    expected = cv2.resize(scene(1300, 2600), (1300, 650), interpolation=cv2.INTER_AREA)
    assert photo.pixels.shape == expected.shape
    assert (photo.width_px, photo.height_px) == (2600, 1300)


# Flags


@pytest.mark.parametrize(
    ("size", "small"), [((199, 900), True), ((900, 199), True), ((200, 200), False)]
)
def test_a_photo_with_a_short_side_under_200_px_is_small(tmp_path, size, small):
    assert ("small" in read(tmp_path, encoded(scene(*size))).flags) is small


def test_a_long_strip_is_judged_by_its_full_size(tmp_path):
    photo = read(tmp_path, encoded(scene(210, 2600)))
    assert photo.pixels.shape[0] == 105
    assert photo.flags == ()


def test_a_single_pixel_is_a_small_photo(tmp_path):
    for kind in ("jpeg", "png", "webp", "tiff"):
        photo = read(tmp_path, encoded(np.full((1, 1, 3), (20, 160, 40), np.uint8), kind))
        assert photo.pixels.shape == (1, 1, 3)
        assert photo.flags == ("small",)


def test_a_grey_jpeg_stored_in_colour_is_grey_and_one_green_pixel_is_enough_not_to_be(tmp_path):
    grey = np.repeat(scene(300, 400)[..., :1], 3, axis=2)
    assert read(tmp_path, encoded(grey)).flags == ("grey_photo",)
    grey[113, 207, 1] += 30
    assert read(tmp_path, encoded(grey, "png")).flags == ()


def test_an_ordinary_photo_has_no_flags(tmp_path):
    assert read(tmp_path, encoded(scene(300, 400))).flags == ()


# Capture time


@pytest.mark.parametrize("kind", FORMATS)
def test_the_capture_time_is_read_in_each_format(tmp_path, kind):
    block = exif(taken_at="2025:06:14 07:30:12", taken_offset="+02:00", orientation=3)
    plain = {"compression": None} if kind == "tiff" else {}  # LZW's writer cannot nest EXIF
    data = encoded(scene(), kind, exif=block, **plain)
    photo = read(tmp_path, data, "IMG_20240101_000000.jpg")
    assert photo.taken_from == "exif"
    assert photo.taken_at.isoformat() == "2025-06-14T07:30:12+02:00"


def test_without_exif_the_name_and_then_the_file_tell_the_time(tmp_path):
    photo = read(tmp_path, encoded(scene()), "IMG_20250614_073012.jpg")
    assert (photo.taken_from, photo.taken_at) == ("name", datetime(2025, 6, 14, 7, 30, 12))
    file = put(tmp_path, encoded(scene()))
    changed_at = datetime(2025, 5, 1, 10, 20, 30)
    os.utime(file.path, (changed_at.timestamp(),) * 2)
    photo = read_photo(file, now=NOW)
    assert (photo.taken_from, photo.taken_at) == ("file", changed_at)


def test_an_absurd_date_is_flagged_and_judged_against_the_present(tmp_path):
    tomorrow = f"{datetime.now() + timedelta(hours=5):%Y:%m:%d %H:%M:%S}"
    later = f"{datetime.now() + timedelta(days=3):%Y:%m:%d %H:%M:%S}"
    for text, bad in ((tomorrow, False), (later, True), ("0000:00:00 00:00:00", True)):
        file = put(tmp_path, encoded(scene(300, 400), exif=exif(taken_at=text)))
        assert read_photo(file).flags == (("bad_date",) if bad else ())


@pytest.mark.parametrize("kind", ["jpeg", "png", "webp", "heif"])
@given(block=st.binary(max_size=300))
@settings(max_examples=25, deadline=None)
def test_garbage_in_place_of_exif_spoils_no_photo(tmp_path_factory, kind, block):
    for start in (b"", b"Exif\0\0II*\0\x08\0\0\0", b"Exif\0\0MM\0*\0\0\0\x08"):
        try:
            data = encoded(scene(), kind, exif=start + block)
        except (ValueError, OSError, RuntimeError):
            continue  # the encoder refuses it
        photo = read(tmp_path_factory.getbasetemp(), data)
        assert photo.pixels.size == scene().size


# Bad input


def sentence_of(call, *args, **kwargs):
    with pytest.raises(UnreadablePhoto) as caught:
        call(*args, **kwargs)
    sentence = str(caught.value)
    assert "leaf.jpg" in sentence
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert caught.value.path.name == "leaf.jpg"
    assert caught.value.reason == sentence
    return sentence


def test_an_empty_file(tmp_path):
    assert "is empty" in sentence_of(read, tmp_path, b"")


@pytest.mark.parametrize("data", [b"These are my notes.\n" * 50, b"\0" * 999, b"GIF89a", b"x"])
def test_a_file_that_is_no_picture(tmp_path, data):
    assert "holds no JPEG, PNG, WebP" in sentence_of(read, tmp_path, data)


@pytest.mark.parametrize("kind", FORMATS)
@pytest.mark.parametrize("kept", [0.2, 0.5, 0.9, 0.98])
def test_a_picture_that_is_cut_short(tmp_path, kind, kept):
    rng = np.random.default_rng(3)
    data = encoded(rng.integers(0, 255, (300, 200, 3), np.uint8), kind)
    sentence = sentence_of(read, tmp_path, data[: int(kept * len(data))])
    assert "copy it again" in sentence


@pytest.mark.parametrize("progressive", [False, True])
@pytest.mark.parametrize("size", [(300, 200), (1000, 2600)])
@pytest.mark.parametrize("rest", [b"", bytes(200_000)])
def test_a_jpeg_without_its_end_is_called_cut_short(tmp_path, progressive, size, rest):
    # With zeros behind: a copy that was interrupted after its place on the disk was taken.
    block = exif(taken_at="2025:06:14 07:30:12")
    data = encoded(scene(*size), exif=block, progressive=progressive)
    assert data.endswith(b"\xff\xd9")
    for end in (-2, -40, -len(data) // 3):
        assert "is cut short" in sentence_of(read, tmp_path, data[:end] + rest)


def test_a_file_that_has_vanished(tmp_path):
    file = PhotoFile(tmp_path / "leaf.jpg", "leaf.jpg")
    assert "is not there any more" in sentence_of(read_photo, file)
    assert "is not there any more" in sentence_of(content_hash, file.path)


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    file = put(tmp_path, encoded(scene()))

    def refusing(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(content.os, "open", refusing)
    assert "no permission" in sentence_of(read_photo, file)
    assert "no permission" in sentence_of(content_hash, file.path)


def test_a_disk_that_fails(tmp_path, monkeypatch):
    file = put(tmp_path, encoded(scene()))

    def failing(*_args):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(content.os, "open", failing)
    assert "cannot be opened: Input/output error" in sentence_of(read_photo, file)


def test_folders_and_pipes_named_like_a_photo(tmp_path):
    path = tmp_path / "leaf.jpg"
    path.mkdir()
    assert "cannot be opened: Is a directory" in sentence_of(read_photo, PhotoFile(path, path.name))
    path.rmdir()
    os.mkfifo(path)
    assert "it is no ordinary file" in sentence_of(read_photo, PhotoFile(path, "leaf.jpg"))
    assert "it is no ordinary file" in sentence_of(content_hash, path)


@pytest.mark.skipif(not Path("/proc/kmsg").exists(), reason="needs Linux's /proc")
@pytest.mark.parametrize("target", ["/proc/kmsg", "/proc/self/pagemap", "/proc/kcore", "/dev/zero"])
def test_a_link_to_what_the_system_makes_up_is_not_waited_for(tmp_path, target):
    path = tmp_path / "leaf.jpg"
    path.symlink_to(target)
    assert "leaf.jpg" in sentence_of(read_photo, PhotoFile(path, "leaf.jpg"))


def test_a_file_too_large_for_a_photo_is_not_read(tmp_path, monkeypatch):
    file = put(tmp_path, encoded(scene()))
    monkeypatch.setattr(content, "BYTE_LIMIT", 100)
    assert "it is too large (0 MB)" in sentence_of(read_photo, file)
    assert "it is too large (0 MB)" in sentence_of(content_hash, file.path)


@pytest.mark.parametrize("kind", FORMATS)
def test_more_pixels_than_the_limit_are_refused(tmp_path, kind):
    data = encoded(scene(), kind)
    read(tmp_path, data, pixel_limit=60 * 90)
    assert "megapixels" in sentence_of(read, tmp_path, data, pixel_limit=60 * 90 - 1)


def huge_png(width_px, height_px):
    head = struct.pack(">IIBBBBB", width_px, height_px, 8, 2, 0, 0, 0)
    body = png_chunk(b"IHDR", head) + png_chunk(b"IDAT", b"x\x9c" + bytes(50))
    return b"\x89PNG\r\n\x1a\n" + body + png_chunk(b"IEND", b"")


def huge_jpeg(width_px, height_px):
    data = encoded(scene())
    at = data.index(b"\xff\xc0") + 5
    return data[:at] + struct.pack(">HH", height_px, width_px) + data[at + 4 :]


def huge_webp(width_px, height_px):
    size = b"".join((side - 1).to_bytes(3, "little") for side in (width_px, height_px))
    head = b"VP8X\x0a\0\0\0\0\0\0\0" + size
    picture = encoded(scene(), "webp")[12:]
    body = b"WEBP" + head + picture
    return b"RIFF" + struct.pack("<I", len(body)) + body


@pytest.mark.parametrize(
    "data",
    [huge_png(60_000, 50_000), huge_png(2**31 - 1, 2**31 - 1), huge_jpeg(65_000, 65_000)],
    ids=["png", "largest png", "jpeg"],
)
def test_a_decompression_bomb_is_refused_and_costs_no_memory(tmp_path, data):
    assert "megapixels, more than the 200 that are read" in sentence_of(read, tmp_path, data)
    said, peak_mb = said_and_peak_mb(tmp_path / "leaf.jpg")
    assert "more than the 200 that are read" in said
    assert peak_mb < 200  # with the program; the pixels would take 9 GB and more


def test_a_webp_that_claims_a_huge_canvas_is_refused_and_costs_no_memory(tmp_path):
    sentence_of(read, tmp_path, huge_webp(16_000, 16_000))
    said, peak_mb = said_and_peak_mb(tmp_path / "leaf.jpg")
    assert "leaf" in said
    assert peak_mb < 200  # with the program; the canvas would take 768 MB


def test_a_picture_just_over_pillows_own_limit_gives_no_warning(tmp_path):
    # Pillow warns above 89 megapixels; phones take 108.
    data = encoded(Image.new("1", (12_000, 9_000), 1), "png")
    assert read(tmp_path, data).reduction == 8
    assert PIXEL_LIMIT > 12_000 * 9_000


def test_pictures_without_pixels(tmp_path):
    sentence_of(read, tmp_path, huge_png(0, 5))
    sentence_of(read, tmp_path, huge_jpeg(0, 5))


def test_a_heif_container_of_another_codec(tmp_path):
    data = b"\0\0\0\x1cftypmif1\0\0\0\0mif1miafxxxx" + bytes(300)
    assert "of a kind that is not read" in sentence_of(read, tmp_path, data)


def test_too_little_memory_is_said(tmp_path, monkeypatch):
    def failing(*_args):
        raise MemoryError

    monkeypatch.setattr("vision.photo.decode._pixels_of", failing)
    assert "memory" in sentence_of(read, tmp_path, encoded(scene()))


def test_the_sentence_shows_no_control_signs(tmp_path):
    with pytest.raises(UnreadablePhoto, match=r"^“a\\x1b\\nb.jpg” is empty"):
        read(tmp_path, b"", "a\x1b\nb.jpg")


def test_the_exception_survives_the_way_between_processes(tmp_path):
    with pytest.raises(UnreadablePhoto) as caught:
        read(tmp_path, b"")
    back = pickle.loads(pickle.dumps(caught.value))
    assert (back.path, back.reason) == (caught.value.path, caught.value.reason)


def gives_a_photo_or_the_sentence(tmp_path_factory, data):
    file = put(tmp_path_factory.getbasetemp(), data)
    try:
        photo = read_photo(file, now=NOW, pixel_limit=10**6)
    except UnreadablePhoto:
        sentence_of(read_photo, file, pixel_limit=10**6)
    else:
        assert (photo.pixels.dtype, photo.pixels.ndim) == (np.uint8, 3)


STARTS = {
    "none": b"",
    "jpeg": b"\xff\xd8\xff\xe0",
    "png": b"\x89PNG\r\n\x1a\n",
    "tiff": b"II*\0\x08\0\0\0",
    "webp": b"RIFF\x40\0\0\0WEBPVP8 ",
    "heif": b"\0\0\0\x18ftypheic\0\0\0\0mif1heic",
}


@given(start=st.sampled_from(sorted(STARTS)), rest=st.binary(max_size=400))
@settings(max_examples=200, deadline=None)
def test_random_bytes_give_nothing_but_the_sentence(tmp_path_factory, start, rest):
    gives_a_photo_or_the_sentence(tmp_path_factory, STARTS[start] + rest)


@pytest.mark.parametrize("kind", [*FORMATS, "png16", "tiff16"])
@given(changes=st.lists(st.tuples(st.floats(0, 0.999), st.binary(min_size=1, max_size=6))))
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_damaged_photos_give_a_photo_or_the_sentence(tmp_path_factory, kind, changes):
    if kind.endswith("16"):
        data = bytearray(sixteen_bit(scene(), kind.removesuffix("16")))
    else:
        data = bytearray(encoded(scene(), kind, exif=exif(changed_at="2025:06:14 07:30:12")))
    for place, new in changes:
        at = int(place * len(data))
        data[at : at + len(new)] = new
    gives_a_photo_or_the_sentence(tmp_path_factory, bytes(data))


def test_a_damaged_jpeg_writes_nothing_to_the_terminal(tmp_path, capfd):
    rng = np.random.default_rng(5)
    data = bytearray(encoded(rng.integers(0, 255, (300, 200, 3), np.uint8)))
    data[5000:5300] = b"\x12\x34\xff\xd0\x55\xaa" * 50
    read(tmp_path, bytes(data))
    assert capfd.readouterr() == ("", "")


# Cost of importing


def test_the_heif_library_is_loaded_with_the_first_such_photo(tmp_path):
    put(tmp_path, encoded(scene()), "a.jpg")
    put(tmp_path, encoded(scene(), "heif"), "b.heic")
    program = (
        "import sys; from pathlib import Path\n"
        "from vision.photo.find import find_photos; from vision.photo.decode import read_photo\n"
        "for photo in find_photos([Path(sys.argv[1])]).photos:\n"
        "    read_photo(photo); print('pillow_heif' in sys.modules)\n"
    )
    origin = importlib.util.find_spec("vision").submodule_search_locations[0]
    answer = subprocess.run(
        [sys.executable, "-W", "error", "-c", program, str(tmp_path)],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(origin).parent,
    )
    assert answer.stdout.split() == ["False", "True"]
    assert answer.stderr == ""
