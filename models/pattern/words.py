"""The words for a call where people read it: what lesions look like, never what causes them."""

from models.pattern.call import PatternCall

__all__ = ["BRING_IT", "NO_DIAGNOSIS", "in_words"]

NO_DIAGNOSIS = "A pattern says what lesions look like. It is not a diagnosis."
"""Stands wherever a pattern is shown."""

BRING_IT = "Isolate, do not compost, show it to an extension service or plant clinic"
"""What to do about a leaf that looks like late blight: it spreads within days."""

_WORDS = {"spot": "spot-like", "blight": "blight-like", "none": "no pattern", "unsure": "unsure"}


def in_words(call: PatternCall) -> str:
    """Return a call as a word, such as ``spot-like`` or ``late-blight-like``."""
    kind = f"{call.blight_kind}-" if call.blight_kind in ("early", "late") else ""
    return kind + _WORDS[call.pattern]
