"""What is known of a photo from earlier runs: its reading, or that it is set aside."""

from dataclasses import replace
from datetime import datetime

from scripts.score.photo import PhotoJob, remember, unmeasured
from scripts.score.pictures import carries_key
from scripts.score.results import PhotoResult
from vision.photo.address import Address, Place, folders_of
from vision.photo.decode import UnreadablePhoto, content_hash
from vision.photo.find import PhotoFile
from vision.photo.taken import capture_time

__all__ = ["MOST_LOSSES", "kept_reading", "lost"]

MOST_LOSSES = 2
"""Runs in which a photo may end its process, or take too long, before it is set aside."""
_SET_ASIDE = "it is set aside until the file changes"


def lost(job: PhotoJob, what: str) -> PhotoResult:
    """Name a photo whose process did not come back, and remember it."""
    try:
        content = _digest(job, job.file) or content_hash(job.file.path)
    except UnreadablePhoto:
        content = ""
    remember(job.store, job.file, content)
    said = f"{what}: it was left out, and will be tried once more."
    if job.store.count_loss(content) >= MOST_LOSSES:
        said = f"{what}, as before: {_SET_ASIDE}."
    return unmeasured(job.file, said, content)


def kept_reading(job: PhotoJob) -> PhotoResult | None:
    """Return the reading kept from an earlier run if nothing of this job must be made anew.

    A photo that is set aside is not made anew either. What lies at an address is not fetched for
    it: as long as the store tells of no change, it is what it was.
    """
    try:
        content = _digest(job, job.file)
        torch_off = _digest(job, job.torch_off) if job.torch_off else ""
    except UnreadablePhoto:
        return None
    if not content:
        return None
    if aside := _set_aside(job, content):
        return aside
    # A day photo's reading is kept without what lies beside it.
    result = job.store.get(content, torch_off) or job.store.get(content)
    if result is None or (result.mode == "night" and result.torch_off_sha256 != torch_off):
        return None
    key = job.store.key(content, result.torch_off_sha256)
    if not all(carries_key(path, key) for path in (job.mask, job.overlay) if path):
        return None
    try:
        return _dated(replace(result, name=job.file.name), job.file.path)
    except (OSError, OverflowError, ValueError):  # a file date that no calendar knows
        return None


def _digest(job: PhotoJob, file: PhotoFile) -> str:
    """Return a file's content hash; empty for what lies at an address and is not known yet."""
    if file.path in job.contents:
        return job.contents[file.path].sha256
    if isinstance(file.path, Address):
        return job.store.content_of(file.path.mark)
    return content_hash(file.path)


def _set_aside(job: PhotoJob, content: str) -> PhotoResult | None:
    """Return what is said of a photo that did not come back too often; None where it may come."""
    if job.store.losses(content) < MOST_LOSSES:
        return None
    said = f"could not be measured in {MOST_LOSSES} runs: {_SET_ASIDE}."
    return PhotoResult(job.file.name, content, problem=said)


def _dated(result: PhotoResult, path: Place) -> PhotoResult:
    """Return a kept result with today's name and date of the file, where these give its time."""
    if result.taken_from == "exif":
        return result
    changed_at_s = path.changed_at_s if isinstance(path, Address) else path.stat().st_mtime
    modified_at = datetime.fromtimestamp(changed_at_s or 0.0)
    taken = capture_time({}, folders_of(path), modified_at, datetime.now())
    flags = tuple(name for name in result.flags if name != "future_date")
    flags = (*flags, "future_date") if taken.future_date else flags
    return replace(result, taken_at=taken.taken_at, taken_from=taken.taken_from, flags=flags)
