"""What the command line of every trainer asks alike: photos from where, file to where, how much."""

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TypeVar

__all__ = ["options_of", "share_of", "some"]

PHOTOS = Path("../shared/photos")

Item = TypeVar("Item")


def options_of(
    description: str | None, out: Path | None, *, photos: bool = True
) -> argparse.ArgumentParser:
    """Return the options that trainers have in common, to which each may add its own.

    Parameters
    ----------
    description : str or None
        Of the trainer; its first line is shown.
    out : Path or None
        Where what is learned goes if nothing else is said; None: it has to be said.
    photos : bool
        Whether photos are learned from.
    """
    parser = argparse.ArgumentParser(description=(description or "").split("\n")[0])
    if photos:
        parser.add_argument("--photos", type=Path, default=PHOTOS)
    parser.add_argument("--out", type=Path, default=out, required=out is None)
    parser.add_argument(
        "--share", type=float, default=1.0, help="of all that is learned from, 0 to 1, to try out"
    )
    return parser


def share_of(count: int, share: float, least: int = 1) -> int:
    """Return a share of a number, but not less than that many."""
    return max(min(least, count), round(share * count))


def some(items: Sequence[Item], share: float, least: int = 1) -> list[Item]:
    """Return a share of things, spread evenly over them, but not less than that many."""
    number = share_of(len(items), share, least)
    return [items[place * len(items) // number] for place in range(number)]
