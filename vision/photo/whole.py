"""Whether a picture's file is whole, told from its container, before anything is decoded.

Decoders are kind: they paint what is missing grey, black or as more of the same, and such a photo
would be measured. A copy that was interrupted is either too short, or as long as the original and
full of zeros from some place on, for its place on the disk was taken before. Each format says in
its own way where its picture ends; a way to tell zeros from compressed data is noted beside each.
"""

import re
import struct
import zlib
from collections.abc import Iterator, Sequence
from typing import Literal

__all__ = [
    "CUT_SHORT",
    "DAMAGED",
    "HOLE",
    "Kind",
    "fault",
    "jpeg_bytes_a_pixel",
    "kind_of",
    "pieces_fault",
    "png_chunks",
    "raw_fault",
]

Kind = Literal["jpeg", "png", "tiff", "webp", "heif", "avif"]

CUT_SHORT = "is cut short: copy it again from the phone."
DAMAGED = "is damaged, or of a kind that is not read: copy it again."
HOLE = "has a hole where a part was not copied: copy it again from the phone."

MOST_SCANS = 100
"""Scans of a JPEG: cameras and programs write 1 to about 20; each costs a pass over the photo."""

_JPEG_END = b"\xff\xd9"
_JPEG_SCAN = re.compile(rb"\xff\xda\x00[\x06\x08\x0a\x0c][\x01-\x04]")
_LONG_ZEROS = bytes(512)
_HEIF_HOLE = bytes(32)  # in HEVC three zeros in a row never stand (ISO/IEC 23008-2, 7.4.2 [memory])
_TIFF_RAW, _TIFF_NEVER_ZEROS, _TIFF_DEFLATE = 1, (5, 32773), (8, 32946)
_DISK_BLOCK = 512
_LONG_TAIL_BYTES = 4096
_LONG_TAIL_SHARE = 1 / 8
_PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"


def kind_of(data: bytes) -> Kind | None:
    """Return what kind of picture the bytes begin like; None for none that is known."""
    starts: dict[Kind, tuple[bytes, ...]] = {
        "jpeg": (b"\xff\xd8\xff",),
        "png": (_PNG_SIGNATURE,),
        "tiff": (b"II*\0", b"MM\0*"),
    }
    for kind, known in starts.items():
        if data.startswith(known):
            return kind
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "webp"
    if data[4:8] == b"ftyp":
        return "avif" if data[8:12] in (b"avif", b"avis") else "heif"
    return None


def fault(data: bytes, kind: Kind) -> str | None:
    """Return what keeps a file from being whole, as words that go on after its name.

    Parameters
    ----------
    data : bytes
        The whole file.
    kind : Kind
        As `kind_of` tells; a TIFF's pixels are judged by `pieces_fault`, once its tags are known.

    Returns
    -------
    str or None
        None for a file that seems whole. What only decoding shows is left to the decoder.
    """
    match kind:
        case "jpeg":
            return _jpeg_fault(data)
        case "png":
            return _png_fault(data)
        case "webp":
            return _webp_fault(data)
        case "heif":
            return _heif_fault(data)
        case _:
            return None


def pieces_fault(
    data: bytes, starts: Sequence[int], counts: Sequence[int], compression: int
) -> str | None:
    """Return what is wrong with the pieces of a TIFF that hold its pixels, as `fault` does.

    Parameters
    ----------
    data : bytes
        The whole file.
    starts, counts : sequence of int
        Where each piece begins, and how many bytes it has.
    compression : int
        As TIFF numbers it. LZW and PackBits never write a long run of zeros, deflate ends with a
        checksum, and uncompressed pixels are judged by `raw_fault`; others by their decoder.
    """
    pieces = [(start, start + count) for start, count in zip(starts, counts, strict=False)]
    if any(end > len(data) for _, end in pieces):
        return CUT_SHORT
    if compression == _TIFF_RAW:
        return raw_fault(data, pieces)
    if compression in _TIFF_NEVER_ZEROS:
        return HOLE if any(data.find(_LONG_ZEROS, *piece) >= 0 for piece in pieces) else None
    if compression in _TIFF_DEFLATE:
        unpacks = all(_unpacks(memoryview(data)[start:end]) for start, end in pieces)
        return None if unpacks else DAMAGED
    return None


def raw_fault(data: bytes, pieces: Sequence[tuple[int, int]]) -> str | None:
    """Return whether the last part of uncompressed pixels seems to be missing, as `fault` does.

    Zeros may be black pixels. They are taken for a missing rest where they begin on a block of the
    disk, or are an eighth of all. A picture whose last part is perfectly black is lost with this.

    Parameters
    ----------
    data : bytes
        The whole file.
    pieces : sequence of (int, int)
        Where each piece begins and ends.
    """
    end = max((end for _, end in pieces), default=0)
    first = min((start for start, _ in pieces), default=0)
    zeros = end - max(first, len(data[:end].rstrip(b"\0")))
    aligned = zeros >= _LONG_TAIL_BYTES and (end - zeros) % _DISK_BLOCK == 0
    long = zeros >= max(_LONG_TAIL_BYTES, _LONG_TAIL_SHARE * (end - first))
    return CUT_SHORT if aligned or long else None


def _unpacks(piece: memoryview) -> bool:
    """Whether deflated bytes unpack up to their checksum; a little at a time."""
    unpack, left = zlib.decompressobj(), bytes(piece)
    try:
        while left and not unpack.eof:
            unpack.decompress(left, 1_000_000)
            left = unpack.unconsumed_tail
        unpack.flush()
    except zlib.error:
        return False
    return unpack.eof


def _jpeg_fault(data: bytes) -> str | None:
    """Ask for the mark that ends a picture, for no hole, and for a sensible number of scans.

    The mark is searched from the back, behind the head, since the small preview in there has such
    a mark too, and not asked to be the last bytes, since phones append films. A whole picture that
    lacks the mark alone is lost with this.
    """
    head = _jpeg_head(data)
    if data.rfind(_JPEG_END, head) < 0:
        return CUT_SHORT
    end = data.find(_JPEG_END, head)
    scans = sum(1 for _ in _JPEG_SCAN.finditer(data, head, end))
    if scans > MOST_SCANS:
        return (
            f"is a JPEG of {scans:,} scans, more than the {MOST_SCANS} that are read: "
            "save it again as an ordinary JPEG."
        )
    hole = scans == 1 and data.find(_LONG_ZEROS, head, end) >= 0
    return HOLE if hole and not _zeros_are_flat(data[:head]) else None


def _jpeg_head(data: bytes) -> int:
    """Return where the first scan begins, or how far the head can be followed."""
    at = 2
    for _, start, end in _jpeg_segments(data):
        at = end
        if data[start - 3] == 0xDA:
            return start - 4
    return min(at, len(data))


def _jpeg_segments(data: bytes) -> Iterator[tuple[int, int, int]]:
    """Yield the marker, the start of the content and the end of each segment of the head."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        if data[at + 1] == 0xFF:  # a fill byte
            at += 1
            continue
        (length,) = struct.unpack_from(">H", data, at + 2)
        yield data[at + 1], at + 4, at + 2 + length
        at += 2 + length


def _zeros_are_flat(head: bytes) -> bool:
    """Whether zeros can stand for an even area: where the shortest code says "nothing more".

    In the usual tables that code stands for a small change, so that a run of zeros would be a
    pattern which no photo has; in tables made for one photo an even area may be all zeros.
    """
    for marker, start, end in _jpeg_segments(head + bytes(4)):
        if marker == 0xC2:  # progressive: the tables stand between the scans
            return True
        while marker == 0xC4 and start + 17 < end:
            if head[start] & 0x10 and head[start + 17] != 0:
                return False
            start += 17 + sum(head[start + 1 : start + 17])
    return True


def jpeg_bytes_a_pixel(data: bytes) -> float:
    """Return the memory that a JPEG's decoder takes for each pixel of the file, whatever the scale.

    Where the picture comes in several scans, all its coefficients are kept, two bytes each;
    otherwise nothing but a few rows is.
    """
    head = _jpeg_head(data)
    end = data.find(_JPEG_END, head)
    several = sum(1 for _ in _JPEG_SCAN.finditer(data, head, max(end, head))) > 1
    for marker, start, _ in _jpeg_segments(data[: head + 4]):
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            if not several and marker != 0xC2:
                return 0.0
            sampled = [divmod(data[start + 7 + 3 * n], 16) for n in range(data[start + 5])]
            most = max(w for w, _ in sampled) * max(h for _, h in sampled)
            return 2 * sum(w * h for w, h in sampled) / max(1, most)
    return 0.0


def png_chunks(data: bytes) -> Iterator[tuple[bytes, int, int]]:
    """Yield the name, start and end of the content of each chunk, as far as they are whole."""
    at = len(_PNG_SIGNATURE)
    while at + 12 <= len(data):
        (length,) = struct.unpack_from(">I", data, at)
        name, start = data[at + 4 : at + 8], at + 8
        if start + length + 4 > len(data):
            return
        yield name, start, start + length
        if name == b"IEND":
            return
        at = start + length + 4


def _png_fault(data: bytes) -> str | None:
    """Ask for the chunk that ends a picture, and for the checksums of those that matter."""
    name = b""
    for name, start, end in png_chunks(data):
        critical = not name[0] & 0x20  # a capital letter
        (stored,) = struct.unpack_from(">I", data, end)
        if critical and zlib.crc32(memoryview(data)[start - 4 : end]) != stored:
            return CUT_SHORT if not any(data[-12:]) else DAMAGED
    return None if name == b"IEND" else CUT_SHORT


def _webp_fault(data: bytes) -> str | None:
    (size,) = struct.unpack_from("<I", data, 4)
    if size + 8 > len(data):
        return CUT_SHORT
    at = 12
    while at + 8 <= size + 8:
        name, (length,) = data[at : at + 4], struct.unpack_from("<I", data, at + 4)
        end = at + 8 + length
        if end > len(data):
            return CUT_SHORT
        if name == b"VP8L" and raw_fault(data, [(at + 8, end)]):
            return CUT_SHORT
        if name == b"VP8 " and _lossy_tail_is_missing(data[at + 8 : end]):
            return CUT_SHORT
        at = end + length % 2
    return None


def _lossy_tail_is_missing(coded: bytes) -> bool:
    """Whether more zeros stand at the end than a perfectly even picture ends with.

    Such a picture was measured to end with 0.2 zero bits for each block of 16 by 16 pixels; four
    times that is let pass.
    """
    if len(coded) < 10:
        return True
    width_px, height_px = (side & 0x3FFF for side in struct.unpack_from("<HH", coded, 6))
    blocks = (width_px + 15) // 16 * ((height_px + 15) // 16)
    zeros = len(coded) - len(coded.rstrip(b"\0"))
    return bool(zeros > max(64, blocks / 10))


def _heif_fault(data: bytes) -> str | None:
    """Ask that all boxes and all pieces of pictures lie in the file, and have no hole."""
    try:
        boxes = list(_boxes(data, 0, len(data)))
        if any(end > len(data) for _, _, end in boxes):
            return CUT_SHORT
        for name, start, end in boxes:
            if name == b"meta":
                return _items_fault(data, start + 4, end)
    except (struct.error, IndexError):
        return DAMAGED
    return CUT_SHORT


def _boxes(data: bytes, at: int, stop: int) -> Iterator[tuple[bytes, int, int]]:
    """Yield the name, start and end of the content of each box (ISO/IEC 14496-12 [memory])."""
    while at + 8 <= stop:
        length, name = struct.unpack_from(">I4s", data, at)
        start = at + 8
        if length == 1:
            (length,) = struct.unpack_from(">Q", data, start)
            start += 8
        if length == 0 and name == bytes(4):
            return  # zeros behind the last box
        end = stop if length == 0 else at + length
        yield name, start, end
        at = max(end, start)


def _items_fault(data: bytes, start: int, end: int) -> str | None:
    inside = {name: (first, last) for name, first, last in _boxes(data, start, end)}
    if b"iloc" not in inside or b"iinf" not in inside:
        return DAMAGED
    coded = set(_coded_items(data, *inside[b"iinf"]))
    for item, first, last in _extents(data, inside[b"iloc"][0]):
        if last > len(data):
            return CUT_SHORT
        if item in coded and data.find(_HEIF_HOLE, first, last) >= 0:
            return CUT_SHORT if not any(data[last - 32 : last]) else HOLE
    return None


def _coded_items(data: bytes, start: int, end: int) -> Iterator[int]:
    """Yield the numbers of the items that hold a picture, or one tile of it, as HEVC."""
    count_bytes = 2 if data[start] == 0 else 4
    for name, at, _ in _boxes(data, start + 4 + count_bytes, end):
        if name == b"infe" and data[at] >= 2:
            wide = data[at] >= 3
            (item,) = struct.unpack_from(">I" if wide else ">H", data, at + 4)
            type_at = at + 4 + (4 if wide else 2) + 2
            if data[type_at : type_at + 4] == b"hvc1":
                yield item


def _extents(data: bytes, start: int) -> Iterator[tuple[int, int, int]]:
    """Yield each item's number, with the start and end of each of its pieces in the file."""
    version, sizes, at = data[start], data[start + 4 : start + 6], start + 6
    offset_bytes, length_bytes = sizes[0] >> 4, sizes[0] & 15
    base_bytes, index_bytes = sizes[1] >> 4, (sizes[1] & 15) if version else 0

    def number(width: int) -> int:
        nonlocal at
        at += width
        if at > len(data):
            raise IndexError
        return int.from_bytes(data[at - width : at], "big")

    for _ in range(number(4 if version == 2 else 2)):
        item = number(4 if version == 2 else 2)
        in_file = number(2) & 15 == 0 if version else True
        number(2)  # which file: this one
        base = number(base_bytes)
        for _ in range(number(2)):
            number(index_bytes)
            offset, length = base + number(offset_bytes), number(length_bytes)
            if in_file:
                yield item, offset, offset + length if length else len(data)
