"""What rain leaves of a spray, by published figures; a guide beside the garden's own rule."""

__all__ = ["MM_PER_INCH", "residue", "wash_off_words"]

MM_PER_INCH = 25.4


def residue(rain_mm: float) -> float:
    """Return the share of a protectant that is left after rain, 1 to 0.

    25 mm (1 inch) remove about half (Ontario ministry of agriculture, fruit note of 2020-07-16);
    halving with every further inch is a model. Bicarbonate has no sticker and is less rainfast.

    Parameters
    ----------
    rain_mm : float
        Rain since the spray, mm, at least 0.
    """
    return float(0.5 ** (rain_mm / MM_PER_INCH))


def wash_off_words(rain_mm: float) -> str:
    """Return what published figures say about so much rain on a spray, as a sentence."""
    share = f"about {100 * residue(rain_mm):.0f} % of a registered protectant would be left"
    if rain_mm >= 2 * MM_PER_INCH:
        return f"{rain_mm:.0f} mm since the spray: {share}, most of it is gone."
    return f"{rain_mm:.0f} mm since the spray: {share}; baking soda washes off sooner."
