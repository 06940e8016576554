"""What a person can put right: the base of every error that the program foresees."""

from typing import ClassVar

__all__ = ["NOTHING_DONE", "WRONG_USAGE", "SpotlampError"]

NOTHING_DONE, WRONG_USAGE = 1, 2
"""Exit codes: what was asked for could not be done; it was asked for in a wrong way."""


class SpotlampError(Exception):
    """Something foreseen is the matter; its text is one sentence for people.

    Attributes
    ----------
    exit_code : int
        With which a command ends that meets it.
    """

    exit_code: ClassVar[int] = NOTHING_DONE
