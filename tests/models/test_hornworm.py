"""Seconds to the eye's limit, and what a torch of some wavelength may miss."""

import pytest

from models.hornworm import eye_limit_s, torch_caution


@pytest.mark.parametrize(("irradiance_w_m2", "seconds"), [(10, 1000), (25, 400)])
def test_the_eyes_limit_is_reached_in_the_published_time(irradiance_w_m2, seconds):
    # 10,000 J/m2 in 8 h [read, a manual that restates ICNIRP]; times [calc from it].
    assert eye_limit_s(irradiance_w_m2) == pytest.approx(seconds)


def test_no_light_has_no_time():
    with pytest.raises(ValueError, match="above 0"):
        eye_limit_s(0)


def test_a_torch_of_395_nm_may_miss_and_one_of_365_nm_shows_most():
    # Tilley & Stewart 2025 [read, analogue: butterflies].
    assert "may miss" in torch_caution(395)
    assert "may miss" not in torch_caution(365)
    assert "no UV torch" in torch_caution(450)
    assert "385 to 395" in torch_caution(None)
