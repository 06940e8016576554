"""What stands before the camera on a night round with the UV torch, as one frozen record."""

from dataclasses import dataclass
from typing import Any

import numpy as np

__all__ = [
    "ARRANGEMENTS",
    "DECOYS",
    "FOLIAGE_TONES",
    "HIDING",
    "POSES",
    "STYLES",
    "TROUBLES",
    "NightScene",
    "draw_night_scene",
]

STYLES = ("spline", "chain")
"""Two painters that share no shape of body or leaf and no camera."""

POSES = ("straight", "bent", "s", "hooked")
ARRANGEMENTS = ("apart", "crossing", "touching")
HIDING = ("", "leaf", "stem")

FOLIAGE_TONES = ("purple", "red", "black", "blue", "teal")
"""How phones show foliage under a UV torch."""

DECOYS = (
    "paper", "tag", "twine", "lint", "fabric", "glare", "stem", "vein", "flower", "pollen",
    "dew", "egg", "dead_leaf", "bird_dropping", "fruit", "cane",
)  # fmt: skip
"""Bright things that are no caterpillars."""

TROUBLES = ("", "weak", "hot_spot", "shaken", "hidden_glow")
"""What spoils a photo: torch too weak or far, a hot spot, shaking, a white balance that takes the
green for grey."""


@dataclass(frozen=True)
class NightScene:
    """Everything that decides how a night photo is painted, but for the seed.

    Attributes
    ----------
    width_px, height_px : int
        Size of the photo, 64 to 5000 each.
    style : {"spline", "chain"}
        Which of the two painters paints it.
    caterpillars : int
        How many, 0 to 8.
    arrangement : {"apart", "crossing", "touching"}
        How the first two lie to each other; any others lie apart.
    hiding : {"", "leaf", "stem"}
        What lies over part of the first caterpillar.
    poses : tuple of str
        One for each caterpillar, repeated when there are more of them.
    length_share : float
        Length of the longest caterpillar as a share of the photo's longer side, 0.01 to 0.6.
        None is shorter than 12 px.
    length_mm : float
        Its length in millimetres, 5 to 90; fixes the scale.
    slenderness : float
        Length ÷ width of the bodies, 3.5 to 10.
    larva_hue : float
        0 yellow-green, 0.35 green, 0.7 green-cyan, 1 cyan.
    hue_spread : float
        How much the caterpillars of one photo differ in hue.
    larva_glow : float
        Strength of the glow, 1 = usual; above 2 it is burnt out.
    marking : float
        Strength of bands, stripes and folds, 0 to 1.
    horn : bool
        Whether the tail's horn can be seen.
    decoys : tuple of str
        Each from ``DECOYS``; each is painted once or as one group.
    leaf_length_mm : float
        Length of a leaflet.
    density : float
        How thickly leaves stand, 0 (bare) to 1.
    tone : str
        One of ``FOLIAGE_TONES``.
    foliage_glow : float
        Strength of the foliage's light relative to the usual, 0.3 to 2.
    leak : float
        Violet light that the torch lets through: 0.1 = 365 nm with a filter, 1 = 395 nm.
    beam_x, beam_y : float
        Middle of the beam as shares of width and height.
    beam_radius : float
        Radius at which the beam has half its strength, as a share of the longer side.
    beam_floor : float
        Light far outside the beam, 0 to 1.
    stray : float
        Other light, such as a lamp or dusk, relative to the glow, 0 to 0.1.
    white_balance : tuple of float
        Gains of red, green and blue.
    exposure : float
        Brightness, 1 = as metered.
    blur_px, motion_px : float
        Defocus (standard deviation) and length of a motion blur in pixels.
    noise : float
        Sensor noise, 0 = none, 1 = a cheap phone in the dark.
    jpeg_quality : int
        20 to 100; 100 leaves the JPEG step out.
    off_shift_px : float
        How far the torch-off frame is shifted against the photo.
    trouble : str
        One of ``TROUBLES``; "" for a photo that can be counted.
    """

    width_px: int = 1200
    height_px: int = 900
    style: str = "spline"
    caterpillars: int = 1
    arrangement: str = "apart"
    hiding: str = ""
    poses: tuple[str, ...] = ("bent",)
    length_share: float = 0.15
    length_mm: float = 50.0
    slenderness: float = 6.0
    larva_hue: float = 0.45
    hue_spread: float = 0.05
    larva_glow: float = 1.0
    marking: float = 0.5
    horn: bool = True
    decoys: tuple[str, ...] = ()
    leaf_length_mm: float = 60.0
    density: float = 0.8
    tone: str = "purple"
    foliage_glow: float = 1.0
    leak: float = 0.6
    beam_x: float = 0.5
    beam_y: float = 0.5
    beam_radius: float = 0.45
    beam_floor: float = 0.15
    stray: float = 0.0
    white_balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    exposure: float = 1.0
    blur_px: float = 0.0
    motion_px: float = 0.0
    noise: float = 0.3
    jpeg_quality: int = 88
    off_shift_px: float = 0.0
    trouble: str = ""

    def __post_init__(self) -> None:
        """Refuse what cannot be painted.

        Raises
        ------
        ValueError
            With one sentence that names the field and its range.
        """
        for name, allowed in _NAMES.items():
            value = getattr(self, name)
            for one in value if isinstance(value, tuple) else (value,):
                if one not in allowed:
                    listed = ", ".join(map(repr, allowed))
                    raise ValueError(f"{name} is {one!r}; it must be one of {listed}.")
        for name, (low, high) in _RANGES.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise ValueError(f"{name} is {value}; it must be from {low} to {high}.")

    @property
    def px_per_mm(self) -> float:
        """Scale of the photo."""
        longest = max(self.length_share * max(self.width_px, self.height_px), 12)
        return longest / self.length_mm


_NAMES = {
    "style": STYLES,
    "arrangement": ARRANGEMENTS,
    "hiding": HIDING,
    "poses": POSES,
    "decoys": DECOYS,
    "tone": FOLIAGE_TONES,
    "trouble": TROUBLES,
}
_RANGES: dict[str, tuple[float, float]] = {
    "width_px": (64, 5000),
    "height_px": (64, 5000),
    "caterpillars": (0, 8),
    "length_share": (0.01, 0.6),
    "length_mm": (5, 90),
    "slenderness": (3.5, 10),
    "jpeg_quality": (20, 100),
}


def draw_night_scene(rng: np.random.Generator, **fixed: Any) -> NightScene:  # noqa: ANN401
    """Draw a night scene at random over all conditions that leave the photo countable.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance. The same number of draws is made whatever is fixed, so that pinning one
        field leaves the others as they were.
    **fixed
        Fields of ``NightScene`` that are not to be drawn. ``trouble`` spoils the drawn light or
        camera accordingly.

    Returns
    -------
    NightScene
        A scene in the default size; pass ``width_px`` and ``height_px`` for another.
    """
    drawn = _draw_caterpillars(rng) | _draw_surroundings(rng) | _draw_torch(rng)
    drawn |= _draw_camera(rng)
    merged = drawn | fixed
    count = merged["caterpillars"]
    longest = max(merged.get("width_px", 1200), merged.get("height_px", 900))
    length_px = merged["length_share"] * longest
    if (count < 2 or length_px < 70) and "arrangement" not in fixed:
        merged["arrangement"] = "apart"  # two crossing bodies of a few pixels are one to any eye
    if (count == 0 or length_px < 40) and "hiding" not in fixed:
        merged["hiding"] = ""
    merged |= {k: v for k, v in _spoil(rng, merged).items() if k not in fixed}
    return NightScene(**merged)


def _draw_caterpillars(rng: np.random.Generator) -> dict[str, Any]:
    count = int(rng.choice(7, p=(0.22, 0.36, 0.18, 0.11, 0.06, 0.04, 0.03)))
    share = float(np.exp(rng.uniform(np.log(0.025), np.log(0.6))))
    if count > 2:  # several of them need room
        share = min(share, 0.3)
    return {
        "style": str(rng.choice(STYLES)),
        "caterpillars": count,
        "arrangement": str(rng.choice(ARRANGEMENTS, p=(0.7, 0.16, 0.14))),
        "hiding": str(rng.choice(HIDING, p=(0.72, 0.15, 0.13))),
        "poses": tuple(str(p) for p in rng.choice(POSES, 8)),
        "length_share": share,
        "length_mm": float(np.exp(rng.uniform(np.log(14), np.log(88)))),
        "slenderness": float(rng.uniform(4.2, 8.5)),
        "larva_hue": float(rng.beta(1.5, 1.5)),
        "hue_spread": float(rng.uniform(0, 0.12)),
        "larva_glow": float(np.exp(rng.normal(0.05, 0.45))),
        "marking": float(rng.uniform(0.1, 1)),
        "horn": bool(rng.random() < 0.7),
    }


def _draw_surroundings(rng: np.random.Generator) -> dict[str, Any]:
    kinds = int(rng.choice(5, p=(0.2, 0.3, 0.25, 0.15, 0.1)))
    return {
        "decoys": tuple(str(d) for d in rng.choice(DECOYS, kinds, replace=False)),
        "leaf_length_mm": float(rng.uniform(35, 90)),
        "density": float(rng.beta(2.5, 1.2)),
        "tone": str(rng.choice(FOLIAGE_TONES, p=(0.36, 0.22, 0.17, 0.13, 0.12))),
        "foliage_glow": float(np.exp(rng.normal(-0.1, 0.35))),
    }


def _draw_torch(rng: np.random.Generator) -> dict[str, Any]:
    return {
        "leak": float(np.clip(np.exp(rng.normal(-0.7, 0.8)), 0.05, 1.4)),
        "beam_x": float(np.clip(rng.normal(0.5, 0.12), 0.2, 0.8)),
        "beam_y": float(np.clip(rng.normal(0.5, 0.12), 0.2, 0.8)),
        "beam_radius": float(np.exp(rng.uniform(np.log(0.2), np.log(0.9)))),
        "beam_floor": float(rng.uniform(0.03, 0.35)),
        "stray": float(0.03 * rng.random() ** 2) if rng.random() < 0.35 else 0.0,
    }


def _draw_camera(rng: np.random.Generator) -> dict[str, Any]:
    red, blue = np.exp(rng.normal(0, 0.22)), np.exp(rng.normal(0, 0.22))
    blur, motion = rng.uniform(0.5, 1.8), rng.uniform(2, 6)
    blurred, moved = rng.random(2) < (0.4, 0.25)
    return {
        "white_balance": (float(red), float(np.exp(rng.normal(0, 0.1))), float(blue)),
        "exposure": float(np.exp(rng.normal(0, 0.3))),
        "blur_px": float(blur) if blurred else 0.0,
        "motion_px": float(motion) if moved else 0.0,
        "noise": float(rng.beta(1.5, 2.2)),
        "jpeg_quality": int(rng.integers(60, 97)),
        "off_shift_px": float(rng.uniform(0, 3)),
    }


def _spoil(rng: np.random.Generator, merged: dict[str, Any]) -> dict[str, Any]:
    """Return what a trouble changes; the draws are made whatever the trouble."""
    weak, beam, shake, green = rng.uniform(
        (0.015, 0.06, 0.02, 3.0), (0.05, 0.10, 0.05, 5.0)
    ).tolist()
    longest = max(merged.get("width_px", 1200), merged.get("height_px", 900))
    red, _, blue = merged["white_balance"]
    return {
        "weak": {"exposure": weak, "noise": 0.9},
        "hot_spot": {"beam_radius": beam, "beam_floor": 0.04, "exposure": 5.0},
        "shaken": {"motion_px": shake * longest},
        "hidden_glow": {"white_balance": (3.2 * red, green / 3, 3.0 * blue), "leak": 1.4},
    }.get(merged.get("trouble", ""), {})
