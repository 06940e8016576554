"""Photo files to upright sRGB pixels, at the scale at which leaves are measured.

The only module that decodes images. Pillow decodes: its JPEG reader scales while it decodes like
OpenCV's, gives the same pixels in the same time, and unlike OpenCV's it refuses a file that is
cut short, reads CMYK, and writes nothing to the terminal when a file is damaged. OpenCV reads the
pictures with 16 bits a channel, which Pillow would cut to 8 without rounding.
"""

import importlib
import os
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import (
    Image,
    ImageFile,
    JpegImagePlugin,
    PngImagePlugin,
    TiffImagePlugin,
    WebPImagePlugin,
)

from vision.photo import taken
from vision.photo.address import Place, folders_of
from vision.photo.colour_profile import to_srgb
from vision.photo.content import (
    Content,
    UnreadablePhoto,
    content_hash,
    quoted_name,
    read_content,
)
from vision.photo.find import PhotoFile
from vision.photo.png_strips import PngStrips, png_head, png_without_pixels
from vision.photo.whole import (
    CUT_SHORT,
    DAMAGED,
    Kind,
    fault,
    jpeg_bytes_a_pixel,
    kind_of,
    pieces_fault,
)
from vision.records import Photo

__all__ = [
    "DECODING_LIMIT_BYTES",
    "PIXEL_LIMIT",
    "SMALL_SHORT_SIDE_PX",
    "WORKING_LONG_SIDE_PX",
    "UnreadablePhoto",
    "content_hash",
    "read_photo",
    "reduction_for",
]

WORKING_LONG_SIDE_PX = 1280
"""The long side that a photo keeps at least when it is decoded at a reduced scale.

The smallest lesion that matters is 1.6 mm across and should cover at least 10 px, so 6 px/mm. A
photo that one leaf fills shows 100 to 200 mm along its long side; at 1280 px that is 6 to 13 px/mm,
and most phones end between 1280 and 2560 px, since scales come in powers of two.
"""

PIXEL_LIMIT = 200_000_000
"""Largest number of pixels read by default: the largest phone photos have 200 megapixels."""

SIDE_LIMIT_PX = 65_535
"""Longest side read: what a JPEG can have; no panorama comes near it."""

DECODING_LIMIT_BYTES = 420_000_000
"""Memory for a file and its decoded pixels. With the program itself and what measuring takes, a
process stays below 600 MB. Ordinary JPEG and PNG are decoded in parts and never need so much."""

SMALL_SHORT_SIDE_PX = 200
"""A photo with a shorter short side is flagged `small`."""

_GREY_TOLERANCE = 2  # levels by which channels of a grey picture differ after JPEG's rounding
_EXIF_ORIENTATION = 274
_EXIF_DIRECTORY = 0x8769
_TIFF_BITS, _TIFF_COMPRESSION, _TIFF_SAMPLE_KIND, _TIFF_CHANNELS = 258, 259, 339, 277
_TIFF_PIECES = ((273, 279), (324, 325))  # starts and byte counts, of strips and of tiles
_STRIP_ROWS = 48
_WHOLE_PNG_PIXELS = 8_000_000  # a PNG up to this size is decoded whole, which is a little quicker
# Bytes a pixel that decoding takes, measured on 48 megapixels, with the libraries' own copies.
_LOSSY_WEBP_BYTES, _LOSSLESS_WEBP_BYTES, _HEIF_BYTES, _EIGHT_BIT_BYTES = 6, 10, 8, 4
_SIXTEEN_BIT_BYTES = 4  # of a channel

Pixels = NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class _Decoded:
    """Upright pixels with the photo's full upright size and the EXIF values in use."""

    pixels: Pixels
    width_px: int
    height_px: int
    reduction: int
    exif: dict[int, object]


def read_photo(
    file: PhotoFile,
    content: Content | None = None,
    *,
    pixel_limit: int = PIXEL_LIMIT,
    now: datetime | None = None,
) -> Photo:
    """Read a photo: hash, capture time and upright sRGB pixels at the working scale.

    JPEG, PNG, WebP, TIFF and HEIC/HEIF are recognised by their content, not by the file's name.
    Transparent parts become white, grey pictures three equal channels, 16-bit values are divided
    by 257 and rounded, and colours with a profile other than sRGB (phones write Display P3) are
    converted. The file is read once.

    Parameters
    ----------
    file : PhotoFile
        The file and its name in the tables.
    content : Content, optional
        What was read of it already.
    pixel_limit : int
        Largest number of pixels; the size is known from the header, before decoding.
    now : datetime, optional
        The present, local and without UTC offset, against which dates are judged.

    Returns
    -------
    Photo
        With the flags `small`, `bad_date`, `future_date` and `grey_photo` where they apply. The
        last row and column stand for fewer pixels of the file where its size is no multiple of
        `reduction`.

    Raises
    ------
    UnreadablePhoto
        For whatever reason the file gives no photo.
    """
    content = content or read_content(file.path)
    if not content.data:
        name = quoted_name(file.path)
        raise UnreadablePhoto(file.path, f"{name} is empty: copy it again from the phone.")
    decoded = _decode_safely(file.path, content.data, pixel_limit)
    folders = folders_of(file.path)
    when = taken.capture_time(decoded.exif, folders, content.modified_at, now or datetime.now())
    return Photo(
        path=file.path,
        name=file.name,
        sha256=content.sha256,
        taken_at=when.taken_at,
        taken_from=when.taken_from,
        pixels=decoded.pixels,
        width_px=decoded.width_px,
        height_px=decoded.height_px,
        reduction=decoded.reduction,
        flags=_flags(decoded, when),
    )


def reduction_for(width_px: int, height_px: int) -> int:
    """Return the scale at which a photo is decoded.

    Parameters
    ----------
    width_px, height_px : int
        Full size.

    Returns
    -------
    int
        The largest of 1, 2, 4 and 8 that leaves `WORKING_LONG_SIDE_PX` along the long side; 1
        when the photo has not so much.
    """
    long_side_px = max(width_px, height_px)
    fitting = [scale for scale in (2, 4, 8) if long_side_px >= scale * WORKING_LONG_SIDE_PX]
    return max(fitting, default=1)


def _decode_safely(path: Place, data: bytes, pixel_limit: int) -> _Decoded:
    # Damaged files make the decoders raise nearly anything (struct, zlib, type, key, syntax and
    # memory errors were all seen), and warn; for the grower each means the same.
    try:
        with warnings.catch_warnings(), _libraries_silenced():
            warnings.simplefilter("ignore")
            return _decode(path, data, pixel_limit)
    except UnreadablePhoto:
        raise
    except Exception as error:
        raise UnreadablePhoto(path, _decoding_problem(path, error)) from error


def _decoding_problem(path: Place, error: Exception) -> str:
    name = quoted_name(path)
    if isinstance(error, MemoryError):
        return f"{name} is too large for this computer's memory."
    if isinstance(error, NotImplementedError):
        return f"{name} is of a kind that is not read: {error}."
    cut = "truncated" in str(error).lower()
    return f"{name} {CUT_SHORT if cut else DAMAGED}"


@contextmanager
def _libraries_silenced() -> Iterator[None]:
    """Let the decoders' libraries write nowhere: some print a line for each damaged tag.

    Nothing of ours is printed meanwhile, for only ``scripts`` prints.
    """
    kept, nowhere = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 2)
    try:
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


def _decode(path: Place, data: bytes, pixel_limit: int) -> _Decoded:
    kind = _kind(path, data)
    picture = _READERS[kind](BytesIO(data))
    _check_size(path, picture, pixel_limit)
    if (what := fault(data, kind) or _tiff_fault(picture, data)) is not None:
        raise UnreadablePhoto(path, f"{quoted_name(path)} {what}")
    _check_memory(path, picture, data, kind)
    reduction = reduction_for(*picture.size)
    pixels, size_px = _reduced_pixels(picture, data, reduction)
    # After the pixels, because a PNG may carry its EXIF behind them.
    if _in_strips(picture, data):
        picture = _READERS["png"](BytesIO(png_without_pixels(data)))
    exif = _exif_values(picture)
    # Both libraries turn TIFF pictures themselves.
    orientation = None if kind == "tiff" else exif.get(_EXIF_ORIENTATION)
    profile = picture.info.get("icc_profile")
    pixels = _upright(to_srgb(pixels, profile), orientation)
    pixels = np.ascontiguousarray(pixels)
    pixels.setflags(write=False)
    width_px, height_px = reversed(size_px) if orientation in (5, 6, 7, 8) else size_px
    return _Decoded(pixels, width_px, height_px, reduction, exif)


def _kind(path: Place, data: bytes) -> Kind:
    kind = kind_of(data)
    if kind is None:
        raise UnreadablePhoto(
            path, f"{quoted_name(path)} holds no JPEG, PNG, WebP, TIFF or HEIC picture."
        )
    if kind not in _READERS:
        raise UnreadablePhoto(
            path,
            f"{quoted_name(path)} holds an AVIF picture, a kind that is not read: "
            "save it as a JPEG.",
        )
    return kind


def _open_heif(stream: BytesIO) -> ImageFile.ImageFile:
    # Loaded when the first such photo comes by: most folders have none.
    heif = importlib.import_module("pillow_heif")
    picture: ImageFile.ImageFile = heif.HeifImageFile(stream)
    return picture


# The readers are called themselves rather than through ``Image.open``, which would try two dozen
# other formats and has one limit on pixels for the whole process. They read the header alone.
_READERS: dict[Kind, Callable[[BytesIO], ImageFile.ImageFile]] = {
    "jpeg": JpegImagePlugin.JpegImageFile,
    "png": PngImagePlugin.PngImageFile,
    "tiff": TiffImagePlugin.TiffImageFile,
    "webp": WebPImagePlugin.WebPImageFile,
    "heif": _open_heif,
}


def _check_size(path: Place, picture: Image.Image, pixel_limit: int) -> None:
    pixel_count = picture.width * picture.height
    if pixel_count == 0:
        raise UnreadablePhoto(path, f"{quoted_name(path)} has no pixels.")
    if pixel_count > pixel_limit:
        raise UnreadablePhoto(
            path,
            f"{quoted_name(path)} has {pixel_count / 1e6:,.0f} megapixels, more than the "
            f"{pixel_limit / 1e6:,.0f} that are read.",
        )
    if max(picture.size) > SIDE_LIMIT_PX:
        raise UnreadablePhoto(
            path,
            f"{quoted_name(path)} has {picture.width:,} × {picture.height:,} pixels; no side may "
            f"be longer than {SIDE_LIMIT_PX:,}.",
        )


def _tiff_fault(picture: ImageFile.ImageFile, data: bytes) -> str | None:
    """Return what is missing of a TIFF, in which pieces may lie anywhere."""
    if not isinstance(picture, TiffImagePlugin.TiffImageFile):
        return None
    tags = picture.tag_v2
    for starts, counts in _TIFF_PIECES:
        if starts in tags and counts in tags:
            return pieces_fault(data, tags[starts], tags[counts], tags.get(_TIFF_COMPRESSION, 1))
    return None


def _check_memory(path: Place, picture: ImageFile.ImageFile, data: bytes, kind: Kind) -> None:
    """Refuse what cannot be decoded in parts and would take too much memory whole."""
    pixel_count = picture.width * picture.height
    if len(data) + pixel_count * _bytes_a_pixel(picture, data, kind) > DECODING_LIMIT_BYTES:
        raise UnreadablePhoto(
            path,
            f"{quoted_name(path)} is too large: with {pixel_count / 1e6:,.0f} megapixels, its kind "
            f"of {_KIND_NAMES[kind]} would take more than {DECODING_LIMIT_BYTES / 1e6:,.0f} MB of "
            "memory: save it as an ordinary JPEG.",
        )


_KIND_NAMES: dict[Kind, str] = {
    "jpeg": "JPEG (progressive, or of several scans)",
    "png": "PNG (interlaced)",
    "tiff": "TIFF",
    "webp": "WebP",
    "heif": "HEIC",
}


def _bytes_a_pixel(picture: ImageFile.ImageFile, data: bytes, kind: Kind) -> float:
    """Return the memory that the decoder takes for each pixel of the file."""
    if kind == "jpeg":
        return jpeg_bytes_a_pixel(data)
    if kind == "webp":
        return _LOSSLESS_WEBP_BYTES if b"VP8L" in data[:64] else _LOSSY_WEBP_BYTES
    if kind == "heif":
        return _HEIF_BYTES
    if _in_strips(picture, data):
        return 0
    bits, _ = _bits_a_channel(picture, data)
    if bits <= 8:
        return _EIGHT_BIT_BYTES
    channels = 4 if kind == "png" else picture.tag_v2.get(_TIFF_CHANNELS, 4)  # type: ignore[attr-defined]
    return float(_SIXTEEN_BIT_BYTES * channels)


def _in_strips(picture: ImageFile.ImageFile, data: bytes) -> bool:
    """Whether a picture is decoded a strip at a time: a PNG that is large, or has 16 bits."""
    if not isinstance(picture, PngImagePlugin.PngImageFile):
        return False
    head = png_head(data)
    large = head.width_px * head.height_px > _WHOLE_PNG_PIXELS
    return not head.interlaced and (large or head.bits == 16)


def _reduced_pixels(
    picture: ImageFile.ImageFile, data: bytes, reduction: int
) -> tuple[Pixels, tuple[int, int]]:
    """Return RGB pixels at the reduced scale, and the full (width, height) in px.

    A JPEG is scaled while it is decoded, which saves most of the time and all of the memory; the
    other formats are averaged over blocks of the same size, a strip at a time.
    """
    width_px, height_px = picture.size
    drafted = 1
    if isinstance(picture, JpegImagePlugin.JpegImageFile):  # others might offer a preview instead
        picture.draft("RGB", (max(1, width_px // reduction), max(1, height_px // reduction)))
        drafted = -(-max(width_px, height_px) // max(picture.size))
    strips = [_shrunk(strip, reduction // drafted) for strip in _decoded_strips(picture, data)]
    if drafted == 1:
        width_px, height_px = picture.size  # Pillow has turned a TIFF by now
    return strips[0] if len(strips) == 1 else np.concatenate(strips), (width_px, height_px)


def _decoded_strips(picture: ImageFile.ImageFile, data: bytes) -> Iterator[Pixels]:
    """Yield RGB pixels from the top; each strip but the last has a multiple of 8 rows."""
    if _in_strips(picture, data):
        yield from _png_strips(data)
        return
    if _bits_a_channel(picture, data)[0] > 8 or isinstance(picture, WebPImagePlugin.WebPImageFile):
        values = _opencv_values(picture, data)
        for top in range(0, len(values), _STRIP_ROWS):
            yield _pixels_of(_picture_of(values[top : top + _STRIP_ROWS]))
        return
    picture.load()
    for top in range(0, picture.height, _STRIP_ROWS):
        bottom = min(top + _STRIP_ROWS, picture.height)
        yield _pixels_of(picture.crop((0, top, picture.width, bottom)))


def _png_strips(data: bytes) -> Iterator[Pixels]:
    head, strips = png_head(data), PngStrips(data)
    for strip, repeated in strips:
        if head.bits == 16:
            values = _opencv_values(None, strip)
            picture = _picture_of(values[repeated:])
            strips.hand_back(values[-1][:, [0, 3]] if head.colour == 4 else values[-1])
        else:
            whole = PngImagePlugin.PngImageFile(BytesIO(strip))
            whole.load()
            picture = whole.crop((0, repeated, whole.width, whole.height))
            last = np.asarray(whole.crop((0, whole.height - 1, whole.width, whole.height)))[0]
            spread = 255 // (2**head.bits - 1) if whole.mode == "L" and head.bits < 8 else 1
            strips.hand_back(last.astype(np.uint8) // spread)
        yield _pixels_of(picture)


def _opencv_values(picture: ImageFile.ImageFile | None, data: bytes) -> NDArray[Any]:
    """Decode with OpenCV, which keeps 16 bits a channel and takes less memory for a WebP."""
    wanted = 8 if isinstance(picture, WebPImagePlugin.WebPImageFile) else 16
    if picture is not None and wanted == 16 and _bits_a_channel(picture, data) != (16, True):
        bits = _bits_a_channel(picture, data)[0]
        raise NotImplementedError(f"its pixels have {bits} bits a channel")
    values = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if wanted == 16 and (values is None or values.dtype != np.uint16):
        raise NotImplementedError("its 16-bit pixels are packed in an unusual way")
    if values is None or values.dtype.itemsize * 8 != wanted:
        raise ValueError("broken data stream")
    if values.ndim == 3:
        swap = cv2.COLOR_BGRA2RGBA if values.shape[2] == 4 else cv2.COLOR_BGR2RGB
        values = cv2.cvtColor(values, swap, dst=values)
    return np.asarray(values)


def _picture_of(values: NDArray[Any]) -> Image.Image:
    if values.dtype == np.uint16:
        wide = values.astype(np.uint32)  # (n * 255 + 32895) >> 16 is n / 257, rounded
        values = ((wide * 255 + 32895) >> 16).astype(np.uint8)
    return Image.fromarray(values)


def _bits_a_channel(picture: ImageFile.ImageFile, data: bytes) -> tuple[int, bool]:
    """Return the bits of a channel in the file, and whether they are plain whole numbers."""
    if isinstance(picture, PngImagePlugin.PngImageFile):
        return png_head(data).bits, True
    if isinstance(picture, TiffImagePlugin.TiffImageFile):
        bits = picture.tag_v2.get(_TIFF_BITS, (1,))
        kinds = picture.tag_v2.get(_TIFF_SAMPLE_KIND, (1,))
        return max(bits), set(kinds) == {1}
    return 8, True


def _pixels_of(picture: Image.Image) -> Pixels:
    return np.asarray(_without_alpha(picture))


def _without_alpha(picture: Image.Image) -> Image.Image:
    if picture.has_transparency_data:
        seen = picture.convert("RGBA")
        white = Image.new("RGB", seen.size, "white")
        white.paste(seen, mask=seen)
        return white
    return picture if picture.mode == "RGB" else picture.convert("RGB")


def _shrunk(pixels: Pixels, factor: int) -> Pixels:
    """Average over squares of `factor` pixels, as far as there are pixels at the far edges."""
    if factor == 1:
        return pixels
    rows, columns = (-(-side // factor) for side in pixels.shape[:2])
    below, right = rows * factor - pixels.shape[0], columns * factor - pixels.shape[1]
    if below or right:  # the JPEG decoder too repeats the edge to fill its last squares
        pixels = _as_pixels(cv2.copyMakeBorder(pixels, 0, below, 0, right, cv2.BORDER_REPLICATE))
    return _as_pixels(cv2.resize(pixels, (columns, rows), interpolation=cv2.INTER_AREA))


def _as_pixels(array: object) -> Pixels:
    return np.asarray(array, dtype=np.uint8)


def _exif_values(picture: Image.Image) -> dict[int, object]:
    """Return orientation, dates and offsets by tag number; what cannot be read is left out."""
    values: dict[int, object] = {}
    try:
        exif = picture.getexif()
        _take(values, exif.get, _EXIF_ORIENTATION, taken.EXIF_CHANGED_AT)
        inner = exif.get_ifd(_EXIF_DIRECTORY).get
        _take(
            values, inner, taken.EXIF_TAKEN_AT, taken.EXIF_TAKEN_OFFSET, taken.EXIF_CHANGED_OFFSET
        )
    except Exception:  # whatever garbage stands there, the pixels are still good
        return values
    return values


def _take(values: dict[int, object], get: Callable[[int], object], *tags: int) -> None:
    for tag in tags:
        value = get(tag)
        if value is not None:
            values[tag] = value


def _upright(pixels: Pixels, orientation: object) -> Pixels:
    """Turn and mirror as the EXIF orientation says; values other than 2 to 8 mean upright."""
    match orientation:
        case 2:
            turned = cv2.flip(pixels, 1)
        case 3:
            turned = cv2.rotate(pixels, cv2.ROTATE_180)
        case 4:
            turned = cv2.flip(pixels, 0)
        case 5:
            turned = cv2.transpose(pixels)
        case 6:
            turned = cv2.rotate(pixels, cv2.ROTATE_90_CLOCKWISE)
        case 7:
            turned = cv2.flip(cv2.transpose(pixels), -1)
        case 8:
            turned = cv2.rotate(pixels, cv2.ROTATE_90_COUNTERCLOCKWISE)
        case _:
            return pixels
    return _as_pixels(turned)


def _flags(decoded: _Decoded, when: taken.Taken) -> tuple[str, ...]:
    small = min(decoded.width_px, decoded.height_px) < SMALL_SHORT_SIDE_PX
    noticed = {
        "small": small,
        "bad_date": when.bad_date,
        "future_date": when.future_date,
        "grey_photo": _is_grey(decoded.pixels),
    }
    return tuple(name for name, applies in noticed.items() if applies)


def _is_grey(pixels: Pixels) -> bool:
    # A coarse grid settles nearly every photo; only a grey one is looked at whole.
    return _channels_agree(pixels[::16, ::16]) and _channels_agree(pixels)


def _channels_agree(pixels: Pixels) -> bool:
    red, green, blue = (pixels[..., channel].astype(np.int16) for channel in range(3))
    pairs = ((red, green), (green, blue), (blue, red))
    return all(int(np.abs(one - other).max()) <= _GREY_TOLERANCE for one, other in pairs)
