"""Whether a photo shows plants under a UV torch in the dark.

Under the torch, foliage sends back the torch's own leaked violet and its chlorophyll's red, and
next to no green; what the torch does not reach is dark, so that the brightest parts stand far
above the middle, and what glows far above those. By day, foliage is green, boards, paper and soil
are near neutral, and most of the picture is light; violet grow lights light it too. Dark soil by
day is as dark as a night photo, but all of it sends back one hue, warm or neutral.

A street, a wood at dusk, or leaves in the light of a flash are as dark at night, and lamps stand
out as far; but hardly anything in them is violet.

Where that leaves a doubt, as with dim greenish foliage or white paper in the beam, a caterpillar
itself decides: light that is sent back is never many times greener than all that lies around it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.colour import LINEAR_LIGHT
from vision.night.candidates import find_candidates
from vision.night.decide import decide
from vision.night.features import Sampled
from vision.night.judge import load_night_judge
from vision.night.light import FLOOR, read_night_light

__all__ = ["UvLook", "is_uv_photo", "look_at", "why_not_uv"]


@dataclass(frozen=True)
class _Glow:
    """From where on a body glows."""

    probability: float  # of being a caterpillar
    greener: float  # ln of green against the other colours, over foliage
    over_ground: float  # ln of its green against its ground's


_GRID = 128  # points along the short side that are looked at
_FLOOR = np.float32(0.0015)  # linear light; sensor noise below it has no colour
_LEAST_LIGHT = 0.004  # linear light of the brightest points: some ten levels of sRGB
_LEAF_GREEN, _LEAF_LIGHT = 0.15, 0.015

# Fitted on 2,762 real day photos, the same darkened and tinted, 500 painted day photos, and 520
# painted night scenes of two painters.
_DARK_WEIGHT, _GREEN_WEIGHT, _LEAST_SCORE = 1.8, 1.27, 4.75
_GLOWING_WEIGHT, _MOST_GLOWING = 1.5, 2.5
_LEAFY_WEIGHT, _MOST_LEAFY = 20.0, 0.3  # a leaf by day on black cloth is as dark a picture

# All of 49 painted dark soils by day that passed for night are below the first and warmer than the
# second, or below the third and greener than the last; none of 160 night scenes of two painters is.
_LEAST_SPREAD, _MOST_WARM = 0.24, 0.25
_LEAST_SPREAD_OF_NEUTRAL, _NEUTRAL_GREENNESS = 0.08, -0.25

# Fitted on 300 real day photos turned into photos by night without the torch (dusk, street lamps,
# flash, white torch, moon), and 140 night scenes of two painters: 38 of 300 and 115 of 140 have it.
_LEAST_VIOLET = 0.1
_VIOLET_GREENNESS, _VIOLET_RED = -0.3, 0.9  # greenness; share of green that red reaches
_DEEP_GREENNESS = -0.7  # a deeper blue than that of any sky
_BRIGHT_QUARTER, _RANGE = 75, (10, 90)  # percentiles: of light, and between which hues spread
_NEARLY = 0.95  # of one channel that the next reaches at least, where it need not be more

# Looked for in 1,168 doubtful ones of the same day photos, darkened and tinted too. One has such a
# body: a plant under violet grow lights, its photo tinted blue.
_LEAST_DOUBTFUL, _MOST_LEAFY_DOUBTFUL = 1.0, 0.2
_SURE = _Glow(0.97, 0.9, 2.0)
# Of 101 photos by night without the torch that look like one but for the violet, none has such a
# body; four of seven UV photos with caterpillars that did not look violet enough have.
_RATHER_SURE = _Glow(0.75, 0.5, 2.0)


@dataclass(frozen=True)
class UvLook:
    """What tells a UV photo from others.

    Attributes
    ----------
    middle, bright, brightest : float
        Median, 97th and 99.9th percentile of linear light, mean of the channels, 0 to 1.
    greenness : float
        Median of ln green − ln mean of red and blue, in linear light; 0 for grey.
    leafy_share : float
        Share of points that are lit, green, and redder than blue, as leaves are by day; 0 to 1.
    spread : float
        How far that greenness ranges among the brightest quarter of points.
    warm_share : float
        Share of points that are lit, at least as red as green, and as green as blue; 0 to 1.
    violet_share : float
        Share of lit points that are violet, as foliage under the torch is; 0 to 1.
    """

    middle: float
    bright: float
    brightest: float
    greenness: float
    leafy_share: float
    spread: float
    warm_share: float
    violet_share: float

    @property
    def one_hue(self) -> bool:
        """Whether most is lit and of one hue, warm or neutral, as soil is by day."""
        least = 0.0
        if self.warm_share > _MOST_WARM:
            least = _LEAST_SPREAD
        elif self.greenness > _NEUTRAL_GREENNESS:
            least = _LEAST_SPREAD_OF_NEUTRAL
        return self.middle > _LEAST_LIGHT and self.spread < least

    @property
    def score(self) -> float:
        """How much it looks like a UV photo: dark, something glows, and hardly any green leaf."""
        dark, bright, brightest = (
            float(np.log(level + _FLOOR)) for level in (self.middle, self.bright, self.brightest)
        )
        glowing = _GLOWING_WEIGHT * min(brightest - bright, _MOST_GLOWING)
        night = bright - _DARK_WEIGHT * dark - _GREEN_WEIGHT * self.greenness + glowing
        return night - _LEAFY_WEIGHT * min(self.leafy_share, _MOST_LEAFY)


def look_at(pixels: NDArray[np.uint8]) -> UvLook:
    """Measure what tells a UV photo from others, on a coarse grid of points.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    """
    step = max(1, min(pixels.shape[:2]) // _GRID)
    red, green, blue = LINEAR_LIGHT[pixels[::step, ::step].reshape(-1, 3)].T
    light = (red + green + blue) / 3
    greenness = np.log((green + _FLOOR) / ((red + blue) / 2 + _FLOOR))
    leafy = (greenness > _LEAF_GREEN) & (light > _LEAF_LIGHT) & (red > blue)
    warm = (red >= _NEARLY * green) & (green >= _NEARLY * blue) & (light > _LEAST_LIGHT)
    middle, quarter, bright, brightest = (
        float(level) for level in np.percentile(light, (50, _BRIGHT_QUARTER, 97, 99.9))
    )
    spread = float(np.ptp(np.percentile(greenness[light >= quarter], _RANGE)))
    violet = (blue > green) & (
        (greenness < _VIOLET_GREENNESS) & (red >= _VIOLET_RED * green)
        | (greenness < _DEEP_GREENNESS)
    )
    lit = light > _LEAST_LIGHT
    violet_share = int(np.count_nonzero(violet & lit)) / max(1, int(np.count_nonzero(lit)))
    usual, leafy_share, warm_share = (
        float(one) for one in (np.median(greenness), leafy.mean(), warm.mean())
    )
    return UvLook(middle, bright, brightest, usual, leafy_share, spread, warm_share, violet_share)


def why_not_uv(pixels: NDArray[np.uint8]) -> str:
    """Return the flag that says why a photo cannot be read as a UV photo, empty where it can.

    By night without the torch a photo can; `is_uv_photo` tells these.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    """
    look = look_at(pixels)
    if look.brightest < _LEAST_LIGHT:
        return "nothing_lit"
    return "" if _is_night(look) or _glows_in_doubt(look, pixels) else "not_uv_photo"


def _is_night(look: UvLook) -> bool:
    return look.score >= _LEAST_SCORE and not look.one_hue


def _glows_in_doubt(look: UvLook, pixels: NDArray[np.uint8]) -> bool:
    doubtful = look.score >= _LEAST_DOUBTFUL and look.leafy_share <= _MOST_LEAFY_DOUBTFUL
    return doubtful and _something_glows(pixels, _SURE)


def _something_glows(pixels: NDArray[np.uint8], least: _Glow) -> bool:
    """Whether a sure caterpillar is much greener than foliage and far brighter than its ground."""
    night = read_night_light(pixels)
    found = decide(find_candidates(night), night, load_night_judge())
    return any(
        one.probability >= least.probability and _shines_by_itself(one.seen, least) for one in found
    )


def _shines_by_itself(seen: Sampled, least: _Glow) -> bool:
    over_ground = np.log(seen.own_light[1] / (seen.ground[1] + float(FLOOR)))
    return bool(np.median(seen.ratio) >= least.greener and over_ground >= least.over_ground)


def is_uv_photo(pixels: NDArray[np.uint8]) -> bool:
    """Tell, where nobody says so, whether a photo shows plants under a UV torch in the dark.

    More is asked of it than of one that a person took for a UV photo: violet, or something that
    glows.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, columns, 3)
        sRGB, red first.
    """
    look = look_at(pixels)
    if look.brightest < _LEAST_LIGHT:
        return False
    if _is_night(look):
        return look.violet_share >= _LEAST_VIOLET or _something_glows(pixels, _RATHER_SURE)
    return _glows_in_doubt(look, pixels)
