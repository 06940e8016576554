"""The parts of the program that faults are put into, and the tests that are to notice them."""

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["AREAS", "Area"]


@dataclass(frozen=True)
class Area:
    """A part of the program.

    Attributes
    ----------
    aim_pct : float
        Share of faults below which survivors are to stay.
    modules : tuple of str
        Patterns of its modules.
    tests : tuple of str
        Patterns of the files of tests that are about it.
    others : tuple of str
        Patterns of the files of tests that run it for the sake of something else. They are asked
        only about what the first do not notice.
    """

    aim_pct: float
    modules: tuple[str, ...]
    tests: tuple[str, ...]
    others: tuple[str, ...]


AREAS: Mapping[str, Area] = {
    "care": Area(
        10,
        ("models/care/*.py",),
        # Without the random seasons, which take minutes: they would notice some more.
        ("tests/models/care/test_[bs]*.py", "tests/models/care/test_care_[!p]*.py"),
        (
            "tests/models/garden/test_settings.py",
            "tests/scripts/care/test_*.py",
            "tests/scripts/commands/test_burn.py",
        ),
    ),
    "journal": Area(
        10,
        ("models/journal/*.py",),
        (
            "tests/models/journal/test_*.py",
            "tests/scripts/commands/test_restore.py",
            "tests/scripts/commands/test_fix.py",
        ),
        (
            "tests/models/corrections/test_corrected_reading.py",
            "tests/scripts/commands/test_export.py",
            "tests/scripts/commands/test_fix_reading.py",
            "tests/scripts/page/test_fixing.py",
            "tests/scripts/score/test_filing.py",
        ),
    ),
    "lesion": Area(
        20,
        ("vision/day/lesion.py",),
        ("tests/vision/day/test_lesion.py",),
        ("tests/vision/day/test_measure.py",),
    ),
    "taken": Area(
        20,
        ("vision/photo/taken.py",),
        ("tests/vision/photo/test_taken.py", "tests/scripts/score/test_photo_dates.py"),
        (
            "tests/vision/photo/test_photo.py",
            "tests/scripts/score/test_filing.py",
            "tests/scripts/commands/test_fix.py",
        ),
    ),
    "tag": Area(
        20,
        ("vision/tag/*.py",),
        ("tests/vision/tag/test_*.py",),
        (
            "tests/vision/day/test_measure.py",
            "tests/scripts/commands/test_tags.py",
        ),
    ),
    "filing": Area(
        20,
        (
            "scripts/score/filing.py",
            "scripts/score/photo.py",
            "scripts/score/results.py",
            "scripts/score/run.py",
            "scripts/score/store.py",
            "scripts/common/files.py",
            "scripts/common/tables.py",
            "scripts/commands/fix.py",
        ),
        (
            "tests/scripts/score/test_*.py",
            "tests/scripts/common/test_tables.py",
            "tests/scripts/commands/test_fix.py",
            "tests/scripts/commands/test_own_folders.py",
            "tests/scripts/commands/test_score.py",
        ),
        (
            "tests/scripts/commands/test_fix_*.py",
            "tests/scripts/page/test_arrivals.py",
            "tests/vision/photo/test_narrow.py",
        ),
    ),
}
