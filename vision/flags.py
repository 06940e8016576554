"""The one registry of quality flags: why a photo or a leaf is not measured as usual.

A flag is a name (in the ``flags`` columns), a sentence for people, whether the photo can still be
measured, and whether a spray may rest on it. ``tests/vision/test_flags.py`` freezes the names, on
which other programs rely.
"""

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["FLAGS", "NOT_FOR_SPRAYING", "Flag", "explain", "in_order"]


@dataclass(frozen=True)
class Flag:
    """A named reason to read a measurement with care, or to do without it.

    Attributes
    ----------
    name : str
        Lower case, words joined by ``_``; what the tables show.
    sentence : str
        One sentence for a grower: what is wrong and what to do.
    measurable : bool
        Whether the photo is still measured.
    carries_spray : bool
        Whether the decision to spray may rest on such a reading; the others only ask for care.
    """

    name: str
    sentence: str
    measurable: bool = True
    carries_spray: bool = True


_ALL = (
    Flag(
        "blurred",
        "The photo is not sharp: hold the phone still, tap on the leaf, take it again.",
        carries_spray=False,
    ),
    Flag(
        "too_dark", "The photo is too dark: take it in daylight or open shade.", carries_spray=False
    ),
    Flag(
        "over_exposed",
        "Parts of the leaf are burnt out white: take it out of direct sun.",
        carries_spray=False,
    ),
    Flag(
        "colour_cast",
        "The light is strongly coloured, so yellow and brown are hard to judge.",
        carries_spray=False,
    ),
    Flag(
        "small",
        "The photo has few pixels: small spots cannot be seen. Send the original photo.",
        carries_spray=False,
    ),
    Flag(
        "no_single_leaf",
        "No leaf stands out from the others: hold one leaf up, or pick it, and take it again.",
        False,
    ),
    Flag("no_leaf", "Nothing that looks like a leaf was found.", measurable=False),
    Flag(
        "red_blue_swapped",
        "Red and blue seem to be exchanged: the file was written wrongly.",
        False,
        carries_spray=False,
    ),
    Flag("cut_off", "A leaf is cut by the edge of the photo: its percentage is of the part seen."),
    Flag("touching", "Leaves touch or overlap and were measured as one."),
    Flag(
        "outline_unknown",
        "The leaf has several parts, or gaps that may be natural: what was eaten cannot be told.",
    ),
    Flag(
        "all_sick",
        "So little green is left that the healthy colour had to be assumed.",
        carries_spray=False,
    ),
    Flag("busy_background", "The leaf lies among other plants or soil: its outline is less sure."),
    Flag("many_small_leaves", "Only the largest leaves were measured."),
    Flag(
        "bad_date",
        "The date inside the photo makes no sense and was passed over.",
        carries_spray=False,
    ),
    Flag(
        "future_date",
        "The date in its name is still to come and was passed over: put it right.",
        carries_spray=False,
    ),
    Flag(
        "no_date",
        "The photo has no date of its own, only its file's: say when it was taken.",
        carries_spray=False,
    ),
    Flag(
        "clock_doubtful",
        "The date is half a year off the others: check the camera's clock.",
        carries_spray=False,
    ),
    Flag("set_aside", "You said not to use this photo; “spotlamp fix” tells when and why.", False),
    Flag(
        "grey_photo",
        "The photo has no colour: leaf and disease cannot be measured.",
        False,
        carries_spray=False,
    ),
    Flag(
        "not_uv_photo",
        "This is no photo of plants under a UV torch in the dark: caterpillars were not counted.",
        False,
    ),
    Flag("nothing_lit", "Nothing is lit: the torch was off or too far away.", False),
    Flag("torch_weak", "The torch is weak or far away, so a caterpillar may be missed: go closer."),
    Flag("hot_spot", "The torch burns out part of the photo: hold it farther away or wider."),
    Flag("shaken", "The photo is shaken or out of focus: lean the phone on a stake, tap, retake."),
    Flag(
        "glow_hidden",
        "The phone's white balance hides the glow: lock it to daylight and take it again.",
    ),
    Flag(
        "torch_off_unfit",
        "The torch-off photo has another size than the photo and was not subtracted.",
    ),
    Flag(
        "tag_unclear",
        "A stake tag is torn, dirty, bent, blurred or partly hidden, and was passed over.",
    ),
    Flag("tag_tilted", "A stake tag is tilted too far: lay it flat beside the leaf."),
    Flag("tag_small", "A stake tag is too small to be read in this photo: go closer."),
    Flag("tag_doubled", "There is more than one stake tag in the photo, so none was used."),
    Flag("tag_unknown", "The stake tag belongs to no plant of this garden."),
)

FLAGS: dict[str, Flag] = {flag.name: flag for flag in _ALL}
"""Every flag by its name, in the order in which they are shown."""

NOT_FOR_SPRAYING = frozenset(flag.name for flag in _ALL if not flag.carries_spray)
"""Flags with which a reading does not carry the decision to spray."""


def explain(name: str) -> str:
    """Return the sentence for people behind a flag's name.

    Raises
    ------
    KeyError
        When there is no such flag.
    """
    return FLAGS[name].sentence


def in_order(names: Iterable[str]) -> tuple[str, ...]:
    """Return flags once each, in the order in which they are shown."""
    given = set(names)
    return tuple(name for name in FLAGS if name in given)
