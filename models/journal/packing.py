"""The lesions of a leaf as a few bytes: a season holds a million of them."""

from collections.abc import Iterable
from dataclasses import fields
from typing import Any

import numpy as np

from vision.records import Lesion

__all__ = ["LESION_BYTES", "LESION_FIELDS", "pack_lesions", "unpack_lesions"]

LESION_FIELDS = tuple(field.name for field in fields(Lesion) if field.name != "leaf")
"""What is kept of a lesion, in this order; changing it needs a migration."""

_KIND = np.dtype("<f4")  # 7 digits: finer than anything measured, half the size of a double

LESION_BYTES = len(LESION_FIELDS) * _KIND.itemsize
"""Of one lesion, packed."""


def pack_lesions(lesions: Iterable[Lesion]) -> bytes:
    """Return one leaf's lesions as 4-byte little-endian floats, `LESION_FIELDS` of each in turn."""
    rows = [[getattr(lesion, name) for name in LESION_FIELDS] for lesion in lesions]
    return np.asarray(rows, _KIND).tobytes()


def unpack_lesions(leaf: int, packed: bytes) -> tuple[Lesion, ...]:
    """Return the lesions that were packed, each number as the shortest decimal that it stands for.

    Parameters
    ----------
    leaf : int
        Number of the leaf.
    packed : bytes
        From `pack_lesions`; packing the result again gives the same bytes.
    """
    rows = np.frombuffer(packed, _KIND).reshape(-1, len(LESION_FIELDS))
    return tuple(_lesion(leaf, [float(str(value)) for value in row]) for row in rows)


def _lesion(leaf: int, values: list[float]) -> Lesion:
    known: dict[str, Any] = dict(zip(LESION_FIELDS, values, strict=True))
    return Lesion(leaf, **{**known, "at_margin": bool(known["at_margin"])})
