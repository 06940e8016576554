"""The 95 % interval of a severity.

It covers the error of the measuring itself: how far the percentage may lie from the one that an
exact mask of the same photo would give. It grows with the share of pixels that the threshold
surface doubts, and was widened until it held 95 of 100 photos with a known mask that the surface
had not been fitted on (``scripts.workshop.learn.surface``). It does not cover which leaves were
chosen for the photo; the spread between leaves does that.
"""

from vision.day.surface import Surface

__all__ = ["severity_interval"]


def severity_interval(
    severity_pct: float, doubtful_pct: float, surface: Surface
) -> tuple[float, float]:
    """Return the lower and upper end of the 95 % interval, from 0 to 100 %.

    Parameters
    ----------
    severity_pct : float
        What was measured, 0 to 100.
    doubtful_pct : float
        From ``vision.day.lesion.Symptoms``.
    surface : Surface
        Carries the two figures of the widening.
    """
    half = surface.interval_base + surface.interval_slope * doubtful_pct
    return float(max(0.0, severity_pct - half)), float(min(100.0, severity_pct + half))
