"""A large PNG as a row of small ones, so that it never has to be decoded whole.

The rows of a PNG are compressed in one piece, and each is filtered by the row above it. So the
piece is unpacked a strip at a time, and each strip becomes a PNG of its own, uncompressed, with
the last row of the strip before it, unfiltered, on top.
"""

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.photo.whole import png_chunks

__all__ = ["PngHead", "PngStrips", "png_head", "png_without_pixels"]

_CHANNELS = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}  # of each colour type
_STRIP_BYTES, _STRIP_PIXELS = 4_000_000, 1_000_000
_PALETTE = (b"PLTE", b"tRNS")


@dataclass(frozen=True)
class PngHead:
    """What the first chunk of a PNG says.

    Attributes
    ----------
    width_px, height_px : int
        Size.
    bits : int
        Of a channel, 1 to 16.
    colour : int
        0 grey, 2 red-green-blue, 3 palette, 4 grey and alpha, 6 red-green-blue and alpha.
    interlaced : bool
        Whether it is stored as seven pictures of growing fineness.
    """

    width_px: int
    height_px: int
    bits: int
    colour: int
    interlaced: bool

    @property
    def row_bytes(self) -> int:
        """Bytes of a row, without the one that names its filter."""
        return (self.width_px * self.bits * _CHANNELS[self.colour] + 7) // 8


def png_head(data: bytes) -> PngHead:
    """Read the first chunk of a PNG.

    Raises
    ------
    ValueError
        When it makes no sense.
    """
    width_px, height_px, bits, colour, _, _, interlace = struct.unpack_from(">IIBBBBB", data, 16)
    if colour not in _CHANNELS or bits not in (1, 2, 4, 8, 16):
        raise ValueError("a PNG of an unknown kind")
    return PngHead(width_px, height_px, bits, colour, interlace != 0)


def png_without_pixels(data: bytes) -> bytes:
    """Return a PNG of a single pixel with all else that the file says: dates, profile, palette."""
    head = replace(png_head(data), width_px=1, height_px=1, interlaced=False)
    parts = [data[:8], _chunk(b"IHDR", _head_content(head))]
    for name, start, end in png_chunks(data):
        if name == b"IEND":
            parts.append(_chunk(b"IDAT", zlib.compress(bytes(head.row_bytes + 1))))
        if name not in (b"IHDR", b"IDAT"):
            parts.append(_chunk(name, data[start:end]))
    return b"".join(parts)


class PngStrips:
    """The strips of a PNG that is not interlaced; whoever decodes them hands the last row back.

    Parameters
    ----------
    data : bytes
        The whole file.
    """

    def __init__(self, data: bytes) -> None:
        self._head = png_head(data)
        self._data = data
        self._above = b""
        rows = min(_STRIP_BYTES // (self._head.row_bytes + 1), _STRIP_PIXELS // self._head.width_px)
        self._rows = max(8, rows // 8 * 8)  # of a strip: a multiple of every scale

    def __iter__(self) -> Iterator[tuple[bytes, int]]:
        """Yield each strip as a PNG, and how many rows on its top belong to the strip before.

        Raises
        ------
        ValueError
            When pixels are missing or cannot be unpacked.
        """
        line = self._head.row_bytes + 1
        packed = self._unpacked()
        done, ready = 0, bytearray()
        while done < self._head.height_px:
            rows = min(self._rows, self._head.height_px - done)
            while len(ready) < rows * line:
                more = next(packed, None)
                if more is None:
                    raise ValueError("image data truncated")
                ready += more
            strip = bytes(ready[: rows * line])
            del ready[: rows * line]
            above = b"\0" + self._above if done else b""
            yield self._as_png(above + strip, rows + bool(above)), int(bool(above))
            done += rows

    def hand_back(self, row: NDArray[np.uint8] | NDArray[np.uint16]) -> None:
        """Take the last row of the strip just decoded, as values in the file's own channels.

        ``row`` has the shape (columns,) or (columns, channels); palettes give their numbers.
        """
        bits = self._head.bits
        if bits == 16:
            self._above = row.astype(">u2").tobytes()
        elif bits == 8:
            self._above = row.astype(np.uint8).tobytes()
        else:
            each = ((row[:, None] >> np.arange(bits - 1, -1, -1)) & 1).astype(np.uint8)
            self._above = np.packbits(each.ravel()).tobytes()

    def _unpacked(self) -> Iterator[bytes]:
        unpack = zlib.decompressobj()
        view = memoryview(self._data)
        try:
            for name, start, end in png_chunks(self._data):
                left: bytes | memoryview = view[start:end] if name == b"IDAT" else b""
                while len(left) and not unpack.eof:
                    yield unpack.decompress(left, _STRIP_BYTES)
                    left = unpack.unconsumed_tail
            yield unpack.flush()
        except zlib.error as error:
            raise ValueError("broken data stream") from error

    def _as_png(self, lines: bytes, rows: int) -> bytes:
        head = self._head
        size = _head_content(replace(head, height_px=rows))
        kept = [
            _chunk(name, self._data[start:end])
            for name, start, end in png_chunks(self._data)
            if name in _PALETTE and head.bits < 16
        ]
        pixels = _chunk(b"IDAT", zlib.compress(lines, 0))
        return b"".join(
            (self._data[:8], _chunk(b"IHDR", size), *kept, pixels, _chunk(b"IEND", b""))
        )


def _head_content(head: PngHead) -> bytes:
    return struct.pack(">IIBBBBB", head.width_px, head.height_px, head.bits, head.colour, 0, 0, 0)


def _chunk(name: bytes, content: bytes) -> bytes:
    checksum = zlib.crc32(content, zlib.crc32(name))
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", checksum)
