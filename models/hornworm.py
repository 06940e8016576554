"""Hornworms: how long they and their droppings are at each stage, and what a UV torch shows."""

import math

__all__ = [
    "EYE_LIMIT_J_PER_M2",
    "LENGTH_MM",
    "dropping_size_class",
    "eye_limit_s",
    "nearest_instar",
    "torch_caution",
]

LENGTH_MM = (6.7, 11.2, 23.4, 49.0, 81.3)
"""Usual length of the larval stages (instars) 1 to 5, in mm.

[memory: Capinera, Handbook of Vegetable Pests, and a University of Florida page]; the source was
not seen again, so that a stage is a hint and not a measurement.
"""


def nearest_instar(length_mm: float) -> int:
    """Return the stage, 1 to 5, whose usual length is nearest on a logarithmic scale.

    Parameters
    ----------
    length_mm : float
        Above 0.

    Examples
    --------
    >>> [nearest_instar(length) for length in (7, 11, 23, 49, 81)]
    [1, 2, 3, 4, 5]
    """
    distances = [abs(math.log(length_mm / usual)) for usual in LENGTH_MM]
    return distances.index(min(distances)) + 1


_MIDDLE_FROM_MM, _LARGE_FROM_MM = 2.0, 3.5
"""Droppings of stages 1 to 5 are guessed at 0.3, 0.5–1, 1–2, 2–3 and 4–6 mm [memory]."""


def dropping_size_class(length_mm: float) -> str:
    """Return ``small``, ``middle`` or ``large`` for a dropping of this length.

    Parameters
    ----------
    length_mm : float
        Long side of the dropping.

    Returns
    -------
    str
        ``small`` for a young larva, ``middle`` for a half-grown one, ``large`` for one that is
        nearly grown and eats most. Sizes by stage were found in no source: it is a rough hint.

    Examples
    --------
    >>> [dropping_size_class(length) for length in (0.8, 2.5, 5.0)]
    ['small', 'middle', 'large']
    """
    if length_mm < _MIDDLE_FROM_MM:
        return "small"
    return "middle" if length_mm < _LARGE_FROM_MM else "large"


EYE_LIMIT_J_PER_M2 = 10_000.0
"""UV-A (315 to 400 nm) that the eye may get in 8 hours, J/m².

[read, in a manual that restates the ICNIRP guideline]
"""

_STRONG_TO_NM = 370.0
_UV_TO_NM = 405.0


def eye_limit_s(irradiance_w_m2: float) -> float:
    """Return the seconds in which UV-A of some strength at the eye reaches the 8-hour limit.

    Parameters
    ----------
    irradiance_w_m2 : float
        UV-A at the eye, W/m², above 0.

    Raises
    ------
    ValueError
        When it is not above 0.

    Examples
    --------
    >>> eye_limit_s(25)
    400.0
    """
    if irradiance_w_m2 <= 0:
        raise ValueError(f"The UV-A at the eye is {irradiance_w_m2} W/m²; it must be above 0.")
    return EYE_LIMIT_J_PER_M2 / irradiance_w_m2


def torch_caution(wavelength_nm: float | None) -> str:
    """Return in one sentence what a torch of this wavelength may miss.

    365 nm made 8 of 13 kinds of butterfly larvae glow strongly, 385 to 395 nm 6, and 5 glowed under
    neither (Tilley & Stewart 2025) [read; butterflies, not hornworms].

    Parameters
    ----------
    wavelength_nm : float or None
        Printed on the torch; None where it is not known.
    """
    if wavelength_nm is None:
        return "Torches of 385 to 395 nm show fewer caterpillars than those of 365 nm."
    if wavelength_nm <= _STRONG_TO_NM:
        return f"A torch of {wavelength_nm:.0f} nm shows most, yet some larvae do not glow at all."
    if wavelength_nm <= _UV_TO_NM:
        return (
            f"A torch of {wavelength_nm:.0f} nm may miss caterpillars that 365 nm would show: "
            "use one of 365 nm if you can."
        )
    return f"A torch of {wavelength_nm:.0f} nm is no UV torch: caterpillars hardly glow under it."
