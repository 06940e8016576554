"""What a leaf's measurements are typical of, and how several leaves make one call."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

__all__ = [
    "BRING_IT",
    "NO_DIAGNOSIS",
    "BlightKind",
    "Pattern",
    "PatternCall",
    "call_of",
    "combine",
    "in_words",
]

Pattern = Literal["spot", "blight", "none", "unsure"]
BlightKind = Literal["early", "late", "unsure", ""]


@dataclass(frozen=True)
class PatternCall:
    """A pattern with its probabilities; never a diagnosis.

    Attributes
    ----------
    pattern : {"spot", "blight", "none", "unsure"}
        ``unsure`` when no probability is high enough, when the leaf is unlike those learned from,
        or when it is more like leaves that are sick in another way.
    p_spot, p_blight, p_none : float
        Calibrated probabilities, 0 to 1, given that the leaf shows one of the three; their sum
        is 1.
    blight_kind : {"early", "late", "unsure", ""}
        Second opinion on a leaf that is called blight; empty otherwise.
    strangeness : float
        Distance from the leaves learned from; above 1 a leaf is unlike them.
    reason : str
        One sentence of measurements for people.
    """

    pattern: Pattern
    p_spot: float
    p_blight: float
    p_none: float
    blight_kind: BlightKind
    strangeness: float
    reason: str


def combine(calls: Sequence[PatternCall], least_probability: float) -> PatternCall | None:
    """Combine the calls of a plant's leaves, or of the leaves in one photo.

    Sick leaves decide, however many healthy ones hang beside them.

    Parameters
    ----------
    calls : sequence of PatternCall
        One a leaf.
    least_probability : float
        Below it the call is ``unsure``.

    Returns
    -------
    PatternCall or None
        None where there is no leaf. The reason is that of the leaf that weighed most.
    """
    if not calls:
        return None
    deciding = _deciding(calls)
    spot, blight, none = (
        sum(getattr(call, name) for call in deciding) / len(deciding)
        for name in ("p_spot", "p_blight", "p_none")
    )
    sure = any(call.pattern != "unsure" for call in deciding)
    pattern = call_of(spot, blight, none, least_probability) if sure else "unsure"
    agreeing = [call for call in deciding if call.pattern == pattern] or deciding
    weightiest = max(agreeing, key=lambda call: max(call.p_spot, call.p_blight, call.p_none))
    return PatternCall(
        pattern,
        spot,
        blight,
        none,
        _kind(pattern, deciding),
        min(call.strangeness for call in deciding),
        weightiest.reason,
    )


def _deciding(calls: Sequence[PatternCall]) -> list[PatternCall]:
    """Return the leaves that decide: those surely sick, else the larger of healthy and doubtful."""
    sick = [call for call in calls if call.pattern in ("spot", "blight")]
    healthy = [call for call in calls if call.pattern == "none"]
    doubtful = [call for call in calls if call.pattern == "unsure" and call.p_none < 0.5]
    if sick or not (healthy or doubtful):
        return sick or list(calls)
    return healthy if len(healthy) > len(doubtful) else doubtful


def call_of(spot: float, blight: float, none: float, least_probability: float) -> Pattern:
    """Name the likeliest pattern, or ``unsure`` below the least probability."""
    best = max(spot, blight, none)
    if best < least_probability:
        return "unsure"
    if best == none:
        return "none"
    return "spot" if best == spot else "blight"


def _kind(pattern: Pattern, calls: Sequence[PatternCall]) -> BlightKind:
    """Let one late-blight-like leaf speak for all: it is the urgent case."""
    if pattern != "blight":
        return ""
    kinds = {call.blight_kind for call in calls}
    if "late" in kinds:
        return "late"
    return "early" if kinds <= {"early", ""} and "early" in kinds else "unsure"


NO_DIAGNOSIS = "A pattern says what lesions look like. It is not a diagnosis."
"""Stands wherever a pattern is shown."""

BRING_IT = "Isolate, do not compost, show it to an extension service or plant clinic"
"""What to do about a leaf that looks like late blight: it spreads within days."""

_WORDS = {"spot": "spot-like", "blight": "blight-like", "none": "no pattern", "unsure": "unsure"}


def in_words(call: PatternCall) -> str:
    """Return a call as a word, such as ``spot-like`` or ``late-blight-like``."""
    kind = f"{call.blight_kind}-" if call.blight_kind in ("early", "late") else ""
    return kind + _WORDS[call.pattern]
