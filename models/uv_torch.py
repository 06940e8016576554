"""UV torches: how long until the eye has had enough, and what a torch may miss."""

__all__ = ["EYE_LIMIT_J_PER_M2", "eye_limit_s", "torch_caution"]

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
