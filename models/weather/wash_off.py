"""What rain leaves of a spray, by published figures; a guide beside the garden's own rule."""

from models.care.prevention import HALF_GONE_MM, residue_share

__all__ = ["residue_share", "wash_off_words"]


def wash_off_words(rain_mm: float) -> str:
    """Return what published figures say about so much rain on a spray, as a sentence.

    25 mm remove about half, more than 50 mm most of it, and rain within two hours of spraying a
    large part (Ontario ministry of agriculture, fruit note of 2020-07-16).

    Parameters
    ----------
    rain_mm : float
        Rain since the spray, mm, at least 0.
    """
    left = f"about {100 * residue_share(rain_mm):.0f} % of a registered protectant would be left"
    if rain_mm >= 2 * HALF_GONE_MM:
        return f"{rain_mm:.0f} mm since the last spray: {left}, most of it is gone."
    return f"{rain_mm:.0f} mm since the last spray: {left}; baking soda washes off sooner."
