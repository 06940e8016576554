"""List the files that scoring one photo in a garden runs through: measuring it, and all around.

    python -m scripts.workshop figures way

A file counts if a function of it runs; what runs only while modules are imported does not count,
nor does the workshop. The photo is measured in this process, as a worker would.
"""

import shutil
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from types import FrameType
from typing import Any
from unittest.mock import patch

from typer.testing import CliRunner

from scripts.workshop.figures.write import ROOT

__all__ = ["Way", "way_of_one_photo"]

_LAYERS = ("vision", "models", "scripts")
_PHOTOS = ROOT / "sample_images/garden/bed-1/plant-A1"


class Way:
    """Notes which of the project's files are run through, in two parts."""

    def __init__(self) -> None:
        self._measuring: set[str] = set()
        self._around: set[str] = set()
        self._found = self._around
        self._importing = 0

    @property
    def measuring(self) -> set[str]:
        """Those run through while photos are measured, as paths from the top of the project."""
        return set(_ours(self._measuring))

    @property
    def around(self) -> set[str]:
        """Those run through before and after that."""
        return set(_ours(self._around))

    def noted(self, act: Callable[[], object]) -> None:
        """Do something in this process and thread, and note the files that it runs through."""
        sys.setprofile(self._watch)
        try:
            act()
        finally:
            sys.setprofile(None)

    def measured(self, function: Callable[..., Any], jobs: Iterable[Any], *_: Any) -> Iterator[Any]:  # noqa: ANN401  whatever a worker does
        """Do the jobs that processes would share out, noted as measuring."""
        for job in jobs:
            self._found = self._measuring
            result = function(job)
            self._found = self._around
            yield result

    def _watch(self, frame: FrameType, event: str, _: Any) -> None:  # noqa: ANN401  as Python asks
        if frame.f_code.co_name == "<module>":
            self._importing += {"call": 1, "return": -1}.get(event, 0)
        elif event == "call" and not self._importing:
            self._found.add(frame.f_code.co_filename)


def _ours(names: Iterable[str]) -> Iterator[str]:
    for name in names:
        path = Path(name)
        if path.is_relative_to(ROOT):
            parts = path.relative_to(ROOT).parts
            if parts[0] in _LAYERS and parts[1] != "workshop":
                yield "/".join(parts)


def way_of_one_photo(folder: Path) -> Way:
    """Return the files that scoring one photo of a garden runs through.

    Parameters
    ----------
    folder : Path
        Empty; a garden with the photo is made in it.
    """
    from scripts.cli import app
    from scripts.garden.make import make_garden

    garden, photos = folder / "garden", folder / "garden" / "photos" / "A1"
    make_garden(garden, ["North=A1,A2"], time_zone="UTC")
    photos.mkdir(parents=True)
    shutil.copy(min(_PHOTOS.iterdir()), photos)
    command = ["score", str(photos), "--out", str(folder / "out"), "--garden", str(garden)]
    way = Way()

    def score() -> None:
        result = CliRunner().invoke(app, command)
        if result.exit_code:
            raise RuntimeError(result.output)

    with patch("scripts.common.workers._in_processes", way.measured):
        way.noted(score)
    return way


def main() -> None:
    """Print the files by room, and how many there are."""
    with tempfile.TemporaryDirectory() as folder:
        way = way_of_one_photo(Path(folder))
    for title, files in (("Measuring", way.measuring), ("Around", way.around - way.measuring)):
        print(f"{title}: {len(files)} files")
        for room in sorted({str(Path(name).parent) for name in files}):
            inside = sorted(Path(name).name for name in files if str(Path(name).parent) == room)
            print(f"{len(inside):4}  {room}: {', '.join(inside)}")
    print(f"{len(way.measuring | way.around)} files in all.")


if __name__ == "__main__":
    main()
