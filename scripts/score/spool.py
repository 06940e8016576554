"""The results of a run, in the order of the photos' names, however many there are."""

import pickle
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import IO, overload

from scripts.score.results import PhotoResult

__all__ = ["ResultSpool"]

IN_MEMORY = 2_000
"""Results that stay in memory; further ones lie in a file until they are read again."""


class ResultSpool(Sequence[PhotoResult]):
    """Results as they came, read in the order of their names.

    Parameters
    ----------
    folder : Path, optional
        Where the file lies, without a name, while this program runs; the system's place for such
        files by default.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self._folder = folder
        self._file: IO[bytes] | None = None
        self._held: list[PhotoResult | int] = []  # itself, or where in the file it begins
        self._names: list[str] = []
        self._order: list[int] | None = None

    def add(self, name: str, result: PhotoResult) -> None:
        """Add a photo's result under the photo's name."""
        self._order = None
        self._names.append(name)
        self._held.append(result if len(self._held) < IN_MEMORY else self._written(result))

    def order(self) -> list[int]:
        """Return the places of the results in the order of their names, counted as they came."""
        if self._order is None:
            self._order = sorted(range(len(self._names)), key=self._names.__getitem__)
        return self._order

    def __len__(self) -> int:
        return len(self._held)

    def __iter__(self) -> Iterator[PhotoResult]:
        return (self._at(place) for place in self.order())

    @overload
    def __getitem__(self, index: int) -> PhotoResult: ...

    @overload
    def __getitem__(self, index: slice) -> list[PhotoResult]: ...

    def __getitem__(self, index: int | slice) -> PhotoResult | list[PhotoResult]:
        if isinstance(index, slice):
            return [self._at(place) for place in self.order()[index]]
        return self._at(self.order()[index])

    def _at(self, place: int) -> PhotoResult:
        held = self._held[place]
        if isinstance(held, PhotoResult) or self._file is None:
            return held  # type: ignore[return-value]  # nothing lies in a file that is not there
        self._file.seek(held)
        found: PhotoResult = pickle.load(self._file)
        return found

    def _written(self, result: PhotoResult) -> int:
        if self._file is None:
            self._file = tempfile.TemporaryFile(dir=self._folder)  # noqa: SIM115  as long as we
        begin = self._file.seek(0, 2)
        pickle.dump(result, self._file)
        return begin
