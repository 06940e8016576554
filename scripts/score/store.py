"""The readings kept from earlier runs, so that an unchanged photo is not measured again."""

from dataclasses import dataclass
from hashlib import sha256
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Literal

import cv2

from models.pattern import CLASSIFIER_FILE, UnfitClassifier
from scripts.common.files import write_whole
from scripts.score.results import PhotoResult, from_json, to_json
from vision.day import measure
from vision.learned import LEARNED_FILES
from vision.photo.address import Place
from vision.photo.content import file_bytes

__all__ = ["ReadingStore", "Settings", "measuring_fingerprint", "package_version"]


@dataclass(frozen=True)
class Settings:
    """What changes a reading, besides the photo itself.

    Attributes
    ----------
    mode : {"auto", "night"}
        Whether each photo's kind is recognised, or all are read as UV night photos.
    classifier : Path or None
        File of the pattern classifier; None for the one that comes with the program.
    """

    mode: Literal["auto", "night"] = "auto"
    classifier: Path | None = None


def package_version() -> str:
    """Return the installed version, or ``not installed`` when run from a bare checkout."""
    try:
        return version("spotlamp")
    except PackageNotFoundError:
        return "not installed"


def measuring_fingerprint(settings: Settings) -> str:
    """Return a hash of all that decides a reading besides the photo.

    The settings, the versions of the measuring, of the package and of OpenCV, and the trained
    files, which change more often than the numbers that people must remember to raise.

    Raises
    ------
    UnfitClassifier
        When a file of the settings cannot be opened.
    """
    versions = (str(measure.MEASURING_VERSION), package_version(), cv2.__version__)
    trained = (*LEARNED_FILES, settings.classifier or CLASSIFIER_FILE)
    try:
        hashes = [sha256(file_bytes(file)).hexdigest() for file in trained]
    except OSError as error:
        raise UnfitClassifier(f"A learned file cannot be opened: {error}.") from error
    return sha256("\n".join((settings.mode, *versions, *hashes)).encode()).hexdigest()


@dataclass(frozen=True)
class ReadingStore:
    """A folder of readings, one file each, named by photo content and way of measuring.

    Attributes
    ----------
    folder : Path or Address
        Where the files are; made at the first ``put``.
    fingerprint : str
        From ``measuring_fingerprint``.
    """

    folder: Place
    fingerprint: str

    def key(self, content: str, torch_off: str = "") -> str:
        """Return the name of the reading of a photo with this content hash, 64 hex digits.

        ``torch_off`` is the content hash of the photo to be subtracted, empty without one.
        """
        beside = f"{torch_off}\n" if torch_off else ""
        return sha256(f"{content}\n{beside}{self.fingerprint}".encode()).hexdigest()

    def get(self, content: str, torch_off: str = "") -> PhotoResult | None:
        """Return the kept reading; None when there is none or its file is damaged.

        The file begins with the hash of the rest, so that any damage is noticed.
        """
        try:
            digest, data = self._path(content, torch_off).read_bytes().split(b"\n", 1)
            if digest != _digest(data):
                return None
            return from_json(data)
        except (OSError, KeyError, TypeError, ValueError):
            return None

    def put(self, result: PhotoResult) -> None:
        """Keep a reading.

        Raises
        ------
        CannotWriteError
            When the disk is full or the folder cannot be written.
        """
        data = to_json(result)
        path = self._path(result.sha256, result.torch_off_sha256)
        write_whole({path: _digest(data) + b"\n" + data}, durable=False)

    def remember(self, mark: str, content: str) -> None:
        """Keep the content hash of what has this mark, such as an object of a store.

        Raises
        ------
        CannotWriteError
            When the disk is full or the folder cannot be written.
        """
        if mark:
            write_whole({self._seen_path(mark): content.encode()}, durable=False)

    def content_of(self, mark: str) -> str:
        """Return the content hash of what has this mark; empty where none is kept."""
        try:
            return self._seen_path(mark).read_bytes().decode() if mark else ""
        except (OSError, ValueError):
            return ""

    def losses(self, content: str) -> int:
        """Return in how many runs the photo with this content did not come back."""
        try:
            return int(self._losses_path(content).read_bytes())
        except (OSError, ValueError):
            return 0

    def count_loss(self, content: str) -> int:
        """Count a run in which the photo did not come back; return how many there are by now.

        Raises
        ------
        CannotWriteError
            When the disk is full or the folder cannot be written.
        """
        count = self.losses(content) + 1
        write_whole({self._losses_path(content): str(count).encode()}, durable=False)
        return count

    def _losses_path(self, content: str) -> Place:
        return self.folder / f"{self.key(content)}.lost"

    def _seen_path(self, mark: str) -> Place:
        return self.folder / f"{sha256(mark.encode('utf-8', 'surrogateescape')).hexdigest()}.seen"

    def _path(self, content: str, torch_off: str) -> Place:
        return self.folder / f"{self.key(content, torch_off)}.json"


def _digest(data: bytes) -> bytes:
    return sha256(data).hexdigest().encode()
