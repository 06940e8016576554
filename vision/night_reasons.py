"""Why a bright thing on a UV night photo is not counted, by name."""

__all__ = ["REASONS"]

REASONS: dict[str, str] = {
    "too_blue": "It shines blue-white, as paper, cloth and plastic with a brightener do.",
    "violet_glare": "It mirrors the torch's own violet light.",
    "not_green": "Its hue is not the green to cyan of a caterpillar's glow.",
    "too_faint": "It glows hardly more than foliage, as stems and veins do.",
    "too_small": "It covers too few pixels to have a shape, as pollen, dew and eggs do.",
    "too_thin": "It is too long for its width, as twine, lint and stems are.",
    "too_round": "It is as wide as it is long, as flowers, drops and eggs are.",
    "straight_edged": "It has straight edges or corners, as a tag has.",
    "unlike": "Its colour and shape together are unlike a caterpillar's.",
}
"""Sentence for people by the name that stands in the table."""
