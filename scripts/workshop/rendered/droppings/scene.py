"""A day photo of droppings: where they lie, how large they are, and what lies between them."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from scripts.workshop.rendered.scene import Scene, draw_scene

__all__ = ["GROUNDS", "LITTER", "DroppingScene", "draw_dropping_scene"]

GROUNDS = ("leaf", "soil", "mulch", "paper")
"""What droppings lie on; ``paper`` is a white sheet laid under the plant."""

LITTER = ("crumb", "shade", "lesion", "aphid", "seed", "chip", "speck")
"""Dark or small things that are no droppings. Lesions are painted on leaves alone; specks are flat
stains, as bacteria, resin or rain leave them, in crowds."""

_DAY_GROUNDS = {"leaf": "", "soil": "soil", "mulch": "straw", "paper": "paper"}


@dataclass(frozen=True)
class DroppingScene:
    """Everything that decides how a photo of droppings is painted, but for the seed.

    Attributes
    ----------
    ground : str
        One of ``GROUNDS``.
    droppings : int
        Droppings, 0 to 60. Fewer are painted where there is no room; the truth says how many.
    dropping_mm : float
        Usual length, 0.5 to 6.
    spread : float
        Spread of the lengths, as a standard deviation of their logarithm, 0 to 0.6.
    clumped : float
        Share of droppings that touch another, 0 to 1.
    green : float
        0 = black, 1 = dark green.
    brown : float
        How far that is turned to dark brown, 0 to 1.
    dried : float
        0 = fresh, 1 = dried out: greyer and lighter.
    tone : float
        Logarithm of how much lighter all droppings are than usual, -1 to 1.5.
    bark : bool
        Whether mulch is bark or wood instead of straw.
    pale : float
        0 = bark, 1 = fresh chips of wood.
    tint : tuple of float
        Factors on red, green and blue of soil and mulch: other soils, wet or dry.
    moist : float
        0 = dry and matt, 1 = fresh and glossy.
    ridges : float
        Depth of the ridges, 0 to 1.
    litter : tuple of str
        Each from ``LITTER``.
    litter_count : int
        How many of each kind, about.
    jpeg_quality : int
        20 to 100; 100 leaves the JPEG step out.
    day : Scene
        Ground, light and camera; its leaves are what droppings on a ``leaf`` lie on.
    """

    ground: str = "paper"
    droppings: int = 12
    dropping_mm: float = 3.2
    spread: float = 0.2
    clumped: float = 0.0
    green: float = 0.3
    brown: float = 0.0
    dried: float = 0.0
    tone: float = 0.0
    bark: bool = False
    pale: float = 0.0
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)
    moist: float = 0.4
    ridges: float = 0.6
    litter: tuple[str, ...] = ()
    litter_count: int = 8
    jpeg_quality: int = 90
    day: Scene = field(default_factory=lambda: Scene(1000, 750, leaves=0, frame_mm=90.0))

    def __post_init__(self) -> None:
        """Refuse what cannot be painted.

        Raises
        ------
        ValueError
            With one sentence that names the field and its range.
        """
        if self.ground not in GROUNDS:
            raise ValueError(f"ground is {self.ground!r}; it must be one of {', '.join(GROUNDS)}.")
        if not set(self.litter) <= set(LITTER):
            raise ValueError(f"litter is {self.litter}; it may hold only {', '.join(LITTER)}.")
        for name, low, high in (("droppings", 0, 60), ("dropping_mm", 0.5, 6), ("clumped", 0, 1)):
            if not low <= getattr(self, name) <= high:
                raise ValueError(
                    f"{name} is {getattr(self, name)}; it must be from {low} to {high}."
                )


def draw_dropping_scene(rng: np.random.Generator, **fixed: Any) -> DroppingScene:  # noqa: ANN401
    """Draw a scene of droppings at random over all conditions.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance. The same number of draws is made whatever is fixed.
    **fixed
        Fields of ``DroppingScene`` that are not to be drawn, and ``width_px`` and ``height_px``.

    Returns
    -------
    DroppingScene
        Droppings are about 6 px long or more.
    """
    size = {
        name: fixed.pop(name, default) for name, default in (("width_px", 1000), ("height_px", 750))
    }
    drawn = _draw_droppings(rng) | fixed
    lesions = "lesion" in drawn["litter"] and drawn["ground"] == "leaf"
    day = _draw_day(rng, drawn["ground"], drawn["dropping_mm"], lesions, size)
    own: dict[str, Any] = {"day": day, "bark": bool(rng.random() < 0.5)}
    own["pale"] = float(rng.beta(0.7, 0.9))
    own["tone"] = float(np.clip(rng.normal(0.15, 0.45), -1, 1.5))
    red, green, blue = np.exp(rng.normal(0, 0.3) + rng.normal(0, (0.06, 0.04, 0.16)))
    own["tint"] = (float(red), float(green), float(blue))
    return DroppingScene(**(own | drawn))


def _draw_droppings(rng: np.random.Generator) -> dict[str, Any]:
    empty = rng.random() < 0.15
    droppings = int(np.exp(rng.uniform(0, np.log(35))))
    kinds = int(rng.integers(0, 4))
    clumped = float(rng.uniform(0.1, 0.5)) if rng.random() < 0.3 else 0.0
    return {
        "ground": str(rng.choice(GROUNDS)),
        "droppings": 0 if empty else droppings,
        "dropping_mm": float(np.exp(rng.uniform(np.log(0.8), np.log(6)))),
        "spread": float(rng.uniform(0.05, 0.3)),
        "clumped": clumped,
        "green": float(rng.beta(1, 1.5)),
        "brown": float(rng.beta(0.6, 1.6)),
        "dried": float(rng.beta(0.6, 2.5)),
        "moist": float(rng.beta(1.3, 1.5)),
        "ridges": float(rng.uniform(0.3, 1)),
        "litter": tuple(str(kind) for kind in rng.choice(LITTER, kinds, replace=False)),
        "litter_count": int(rng.integers(3, 16)),
        "jpeg_quality": int(rng.integers(70, 97)),
    }


def _draw_day(
    rng: np.random.Generator, ground: str, dropping_mm: float, lesions: bool, size: dict[str, int]
) -> Scene:
    """Draw ground, light and camera; the scale keeps a usual dropping large enough to be seen."""
    short = min(size.values())
    widest_mm = short * dropping_mm / (22 if ground in ("soil", "mulch") else 9)
    frame_mm = float(np.clip(np.exp(rng.uniform(np.log(40), np.log(350))), 25, max(widest_mm, 30)))
    leaf_mm = float(np.clip(rng.uniform(45, 95), 30, max(1.0 * widest_mm, 30)))
    sick = ("spot", "blight")[int(rng.random() < 0.5)] if lesions else "none"
    severity = float(rng.uniform(3, 20))
    fixed: dict[str, Any] = {
        **size,
        "pattern": sick,
        "severity_pct": severity,
        "frame_mm": frame_mm,
        "leaf_length_mm": leaf_mm,
        "soil_specks": 0,
        "leaf_size": float(rng.uniform(0.85, 1.15)),
        "holes": 0,
        "motion_px": 0.0,
    }
    if ground == "leaf":
        return draw_scene(rng, leaves=1, shape="leaflet", **fixed)
    return draw_scene(rng, leaves=0, background=_DAY_GROUNDS[ground], **fixed)
