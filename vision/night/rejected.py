"""Why a bright thing on a UV night photo is not counted, by name."""

from collections.abc import Callable, Mapping

__all__ = ["ASKED", "REASONS", "SHORT", "reason_for"]

REASONS: dict[str, str] = {
    "violet_glare": "It mirrors the torch's own violet light.",
    "too_blue": "It shines blue-white, as paper, cloth and plastic with a brightener do.",
    "too_small": "It covers too few pixels to have a shape, as pollen, dew and eggs do.",
    "too_thin": "It is too long for its width, as twine, lint and stems are.",
    "too_round": "It is hardly longer than wide, as flowers, drops and eggs are.",
    "straight_edged": "It has straight edges and corners, as a tag has.",
    "too_faint": "It glows hardly more than foliage, as stems and veins do.",
    "not_green": "Its hue is not the green to cyan of a caterpillar's glow.",
    "unlike": "Its colour and shape together are unlike a caterpillar's.",
}
"""Sentence for people by the name that stands in the table."""

SHORT: dict[str, str] = {
    "violet_glare": "torch glare",
    "too_blue": "blue-white",
    "too_small": "too small",
    "too_thin": "too thin",
    "too_round": "too round",
    "straight_edged": "straight edges",
    "too_faint": "too faint",
    "not_green": "not green",
    "unlike": "unlike a larva",
}
"""A few words for a picture, by the same names."""

Features = Mapping[str, float]

# Limits are common sense of this project (a caterpillar is 4 to 10 times as long as wide) and of
# colour (brighteners send out more blue than green). They word a rejection and decide none.
_TESTS: tuple[tuple[str, Callable[[Features], bool]], ...] = (
    ("violet_glare", lambda f: f["green_over_blue"] < -0.7),
    ("too_blue", lambda f: f["green_over_blue"] < 0.05),
    ("too_small", lambda f: f["ln_length_px"] < 2.2),
    ("too_thin", lambda f: f["ln_slenderness"] > 2.5 or f["ln_width_px"] < 0.55),
    ("too_round", lambda f: f["ln_slenderness"] < 0.9),
    ("straight_edged", lambda f: f["box_fill"] > 0.88 and f["end_near_large"] > 0.9),
    ("too_faint", lambda f: f["ln_green_ratio"] < 0.9),
    ("not_green", lambda f: f["green_over_red"] < 0.35),
)


ASKED = ("green_over_blue", "ln_length_px", "ln_slenderness", "ln_width_px", "box_fill",
         "end_near_large", "ln_green_ratio", "green_over_red")  # fmt: skip
"""Names of the features that a reason is found by."""


def reason_for(features: Features) -> str:
    """Return the name of the first reason that fits a rejected thing.

    Parameters
    ----------
    features : mapping of str to float
        By the names in ``ASKED``, as ``vision.night.features`` measures them.
    """
    return next((name for name, fits in _TESTS if fits(features)), "unlike")
