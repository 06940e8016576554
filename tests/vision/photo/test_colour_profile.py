"""Photos whose colours are described by a profile."""

import io
import struct

import numpy as np
import pytest
from PIL import Image, ImageCms

from vision.photo.colour_profile import to_srgb
from vision.photo.decode import read_photo
from vision.photo.find import PhotoFile

# Colorants for D50 and the curve of Display P3, as its profile has them [memory].
P3 = ((0.51512, 0.24120, -0.00105), (0.29198, 0.69225, 0.04189), (0.15710, 0.06657, 0.78407))
# The same of sRGB (IEC 61966-2-1 adapted to D50) [memory].
SRGB = ((0.43607, 0.22249, 0.01392), (0.38515, 0.71687, 0.09708), (0.14307, 0.06061, 0.71410))
CURVE = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
D50 = (0.9642, 1.0, 0.8249)


def fixed(values):
    return b"".join(struct.pack(">i", round(value * 65536)) for value in values)


def profile(colorants, name=b"Wide screen\0"):
    """Build the bytes of an ICC profile of a screen with the sRGB curve."""
    tags = {
        b"desc": b"desc\0\0\0\0" + struct.pack(">I", len(name)) + name + bytes(78),
        b"cprt": b"text\0\0\0\0none\0",
        b"wtpt": b"XYZ \0\0\0\0" + fixed(D50),
    }
    for letter, colorant in zip((b"r", b"g", b"b"), colorants, strict=True):
        tags[letter + b"XYZ"] = b"XYZ \0\0\0\0" + fixed(colorant)
        tags[letter + b"TRC"] = b"para\0\0\0\0\0\x03\0\0" + fixed(CURVE)
    table, body = struct.pack(">I", len(tags)), b""
    for tag, content in tags.items():
        table += tag + struct.pack(">II", 132 + 12 * len(tags) + len(body), len(content))
        body += content + bytes(-len(content) % 4)
    head = struct.pack(">I4sI", 132 + 12 * len(tags) + len(body), bytes(4), 0x02400000)
    head += b"mntrRGB XYZ " + struct.pack(">6H", 2024, 1, 1, 0, 0, 0) + b"acsp"
    return (head + bytes(28) + fixed(D50)).ljust(128, b"\0") + table + body


def by_hand(rgb, colorants):
    """Convert by the formulas: decode the curve, go through XYZ, encode again."""
    level = np.asarray(rgb) / 255
    linear = np.where(level <= 0.04045, level / 12.92, ((level + 0.055) / 1.055) ** 2.4)
    linear = np.linalg.solve(np.transpose(SRGB), np.transpose(colorants) @ linear)
    linear = np.clip(linear, 0, 1)
    return 255 * np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


@pytest.mark.parametrize(
    "rgb", [(60, 120, 40), (200, 190, 60), (110, 70, 40), (128, 128, 128), (0, 0, 0), (255,) * 3]
)
def test_wide_colours_become_srgb_as_the_formulas_say(rgb):
    pixels = np.full((3, 5, 3), rgb, np.uint8)
    assert np.abs(to_srgb(pixels, profile(P3)) - by_hand(rgb, P3)).max() <= 1.5
    assert (pixels == rgb).all()


def test_a_wide_green_leaf_is_greener_in_srgb_numbers():
    red, green, blue = to_srgb(np.full((1, 1, 3), (60, 120, 40), np.uint8), profile(P3))[0, 0]
    assert red < 40
    assert blue < 30
    assert green >= 120


@pytest.mark.parametrize(
    "same",
    [
        None,
        b"",
        b"no profile at all",
        profile(P3)[:200],
        profile(SRGB, b"Some name\0"),
        ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(),
        ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes(),
    ],
    ids=["none", "empty", "text", "cut", "sRGB by another name", "sRGB", "no RGB"],
)
def test_without_another_usable_profile_nothing_changes(same):
    pixels = np.random.default_rng(1).integers(0, 256, (70, 31, 3), np.uint8)
    assert to_srgb(pixels, same) is pixels


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF", "HEIF"])
def test_the_profile_is_found_in_each_format(tmp_path, kind):
    if kind == "HEIF":
        import pillow_heif

        pillow_heif.register_heif_opener()
    stream = io.BytesIO()
    picture = Image.new("RGB", (30, 20), (60, 120, 40))
    picture.save(stream, kind, icc_profile=profile(P3), quality=95)
    (tmp_path / "leaf").write_bytes(stream.getvalue())
    photo = read_photo(PhotoFile(tmp_path / "leaf", "leaf"))
    assert np.abs(photo.pixels - by_hand((60, 120, 40), P3)).max() <= 6
