"""Say in one sentence of measurements why a leaf is called as it is."""

from collections.abc import Mapping

import numpy as np

__all__ = ["reason"]

_LIKE = {
    "spot": "spot-like",
    "blight": "blight-like",
    "none": "no pattern of disease",
    "unsure": "not clear enough to call",
}


def reason(measured: Mapping[str, float], pattern: str) -> str:
    """Return one sentence, such as "12 lesions off the margin, ...: spot-like.".

    Parameters
    ----------
    measured : mapping of str to float
        The measurements of ``models.pattern.measures`` by name.
    pattern : str
        What was called.
    """
    parts = [
        _lesions(measured),
        *_sizes(measured),
        *_halo(measured),
        *_looks(measured),
    ]
    return f"{', '.join(parts)}: {_LIKE[pattern]}."


def _unlogged(value: float) -> float:
    return float(np.expm1(value))


def _lesions(measured: Mapping[str, float]) -> str:
    inner = round(_unlogged(measured["inner_lesions"]))
    margin = round(_unlogged(measured["margin_lesions"]))
    if inner + margin == 0:
        return f"{_unlogged(measured['sick_amount']):.1f} % of the leaf with symptoms"
    noun = "lesion" if inner + margin == 1 else "lesions"
    return f"{inner + margin} {noun}, {margin} of them at the margin"


def _sizes(measured: Mapping[str, float]) -> list[str]:
    if measured["largest_diameter"] == 0:
        return []
    median, largest = 100 * measured["median_diameter"], 100 * measured["largest_diameter"]
    share = 100 * measured["largest_share"]
    return [
        f"usually {median:.0f} % of a leaf side across, the largest {largest:.0f} %"
        f" with {share:.0f} % of the dead tissue"
    ]


def _halo(measured: Mapping[str, float]) -> list[str]:
    share = measured["halo_share"]
    return [f"yellow halos {100 * share:.0f} % of the symptoms"] if share > 0.05 else []


def _looks(measured: Mapping[str, float]) -> list[str]:
    looks = []
    if measured["pale_centre"] > 0.08:
        looks.append("pale centres")
    if measured["rings"] > 0.05:
        looks.append("ringed")
    if measured["covered"] > 0.35:
        looks.append("scattered over the leaf")
    return looks
