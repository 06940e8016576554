"""Show whether two checkouts measure alike: tables to the byte, masks and overlays to the pixel.

    python -m scripts.workshop figures same --before ../older --photos ../shared/photos

For changes that must not change what is measured, such as moving modules. Ends with 1 where a file
differs, and names it.
"""

import argparse
import random
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import cv2

from scripts.workshop.figures.write import ROOT

__all__ = ["chosen_photos", "differing"]

_SAMPLES = ("garden", "night/garden", "droppings/garden")
_KINDS = ("*.csv", "masks/**/*.png", "overlays/**/*.jpg", "problems.txt")


def chosen_photos(folder: Path, number: int, seed: int = 1) -> list[Path]:
    """Return some of the photos below a folder, masks left out, the same for the same seed."""
    photos = sorted(
        path
        for path in folder.rglob("*")
        if path.suffix.lower() in (".jpg", ".jpeg", ".png") and "masks" not in path.parts
    )
    return sorted(random.Random(seed).sample(photos, min(number, len(photos))))


def differing(before: Path, after: Path) -> list[str]:
    """Return the names of result files that one folder lacks, or that are not alike.

    Pictures carry a key that changes with every learned file: their pixels are compared.

    Parameters
    ----------
    before, after : Path
        Folders of results of ``spotlamp score``.
    """
    names = {
        path.relative_to(folder).as_posix()
        for folder in (before, after)
        for kind in _KINDS
        for path in folder.glob(kind)
    }
    return sorted(name for name in names if _content(before / name) != _content(after / name))


def _content(path: Path) -> bytes | None:
    if not path.is_file():
        return None
    if path.suffix in (".png", ".jpg"):
        picture = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
        return None if picture is None else bytes(str(picture.shape), "ascii") + picture.tobytes()
    return path.read_bytes()


def _score(checkout: Path, photos: Path, out: Path, jobs: int) -> None:
    command = ["score", str(photos), "--out", str(out), "--masks", "--overlays", "--jobs"]
    subprocess.run(
        [sys.executable, "-m", "scripts", *command, str(jobs)],
        cwd=checkout,
        check=True,
        capture_output=True,
    )


def main() -> None:
    """Score the same photos in both checkouts, and compare."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--before", type=Path, required=True, help="the other checkout")
    parser.add_argument("--photos", type=Path, help="folder of further photos")
    parser.add_argument("--number", type=int, default=60, help="of them")
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        photos = Path(folder) / "photos"
        for sample in _SAMPLES:
            shutil.copytree(ROOT / "sample_images" / sample, photos / sample)
        for path in chosen_photos(args.photos, args.number) if args.photos else []:
            to = photos / "further" / path.relative_to(args.photos)
            to.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(path, to)
        found = [Path(folder) / name for name in ("before", "after")]
        for checkout, out in zip((args.before, ROOT), found, strict=True):
            _score(checkout, photos, out, args.jobs)
        moved = differing(*found)
        number = sum(1 for path in found[1].rglob("*") if path.is_file() and path.suffix)
    print("\n".join(f"differs: {name}" for name in moved) or f"{number} files, all alike.")
    raise SystemExit(bool(moved))


if __name__ == "__main__":
    main()
