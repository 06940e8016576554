"""Learn ``vision/chewed.json``: what tells a bite from the sinus between two lobes.

    python -m scripts.train_chewed --photos ../shared/photos

Outlines are those of painted leaflets and of real leaves as they are found on photos. Each is
looked at whole, and again after feeding was painted into it. Only numbers are kept. Takes about a
minute and a half of one core.
"""

import argparse
import json
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from sklearn.model_selection import GroupKFold

from scripts.fit_layers import fit
from scripts.outline_pictures import read
from vision.chewed import (
    BITE_LOG_ODDS,
    CHEWED_PATH,
    BiteJudge,
    chewed_interval,
    eaten_pct,
    is_compound,
    margin_bays,
    without_stalk,
)
from vision.chewed_bays import BAY_LENGTH_PX, BAY_MEASURES, Bay
from vision.layers import layers_of
from vision.leaf import find_leaves
from vision.raster import largest_part, shrunk
from vision.rendered import Scene, draw_scene
from vision.rendered.feeding import cut_gaps
from vision.rendered.layout import lay_out

Bools = NDArray[np.bool_]
Floats = NDArray[np.float32]

_SEED = 30
_HIDDEN, _ROUNDS = (32, 16), 200
_FOLDS = 4
_AIM = 0.95
_MOST_GAIN = 1.5  # more would read too much of round bites, whose bays are seen whole
_BITE, _NONE = 0.5, 0.2  # eaten share of a bay from which, and below which, it is (no) bite
FITTED_ON = (
    "Outlines of painted leaflets (vision.rendered) and of real leaves: tomato (PlantVillage: "
    "Hughes & Salathé 2015, arXiv:1511.08060, CC BY-SA 3.0) and coffee (Esgario, Krohling & "
    "Ventura 2020, Computers and Electronics in Agriculture 169:105162, MIT licence), whole and "
    "with bites painted into them. Only these numbers are kept."
)


@dataclass(frozen=True, eq=False)
class Case:
    """One outline with its bays.

    Attributes
    ----------
    kind : str
        Source, and whether it was bitten.
    outline : int
        Number of the whole outline it comes from.
    eaten : float
        Truth in percent of the whole.
    bays : list of Bay
        Bays of the outline.
    bitten : ndarray of float32, shape (bays,)
        Eaten share of each bay.
    left_px : int
        Pixels that are left of the leaf.
    """

    kind: str
    outline: int
    eaten: float
    bays: list[Bay] = field(repr=False)
    bitten: Floats
    left_px: int


def painted_outlines(seed: int, count: int) -> Iterator[tuple[str, Bools]]:
    """Yield painted leaflets."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        scene = draw_scene(rng, shape="leaflet", leaves=1, leaf_size=0.9)
        outline = lay_out(rng, scene)[0].leaflets[0].outline
        low = outline.min(axis=0)
        points = np.rint(outline - low + 4).astype(np.int32)
        canvas = np.zeros((int(points[:, 1].max()) + 5, int(points[:, 0].max()) + 5), np.uint8)
        cv2.fillPoly(canvas, [points], 1)
        yield "painted", _ready(canvas > 0)


def real_outlines(photos: Path, seed: int, counts: dict[str, int]) -> Iterator[tuple[str, Bools]]:
    """Yield leaves as they are found on real photos."""
    for kind, count in counts.items():
        paths = sorted(
            path
            for path in (photos / kind).rglob("*")
            if path.suffix.lower() in (".jpg", ".jpeg") and "masks" not in path.parts
        )
        for path in random.Random(seed).sample(paths, min(count, len(paths))):
            found = find_leaves(read(path))
            if found.count and not (found.touching[0] or found.cut_off[0]):
                yield kind.partition("/")[0], _ready(found.numbers == 1)


def _ready(leaf: Bools) -> Bools:
    """Bring a leaf's largest part to the usual length, without holes."""
    left, top, width, height = cv2.boundingRect(leaf.view(np.uint8))
    cut = leaf[top : top + height, left : left + width].astype(np.uint8) * 255
    small = np.pad(shrunk(cut, BAY_LENGTH_PX / max(width, height)) > 127, 4).view(np.uint8)
    outlines, _ = cv2.findContours(small, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros(small.shape, np.uint8)
    cv2.drawContours(filled, [max(outlines, key=cv2.contourArea)], -1, 1, cv2.FILLED)
    return filled.view(np.bool_)


def bitten(rng: np.random.Generator, leaf: Bools, pct: float) -> Bools:
    """Return what feeding leaves of a leaf; only the margin is eaten."""
    outlines, _ = cv2.findContours(leaf.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = outlines[0][:, 0].astype(np.float64)
    outline = np.roll(outline, -int(rng.integers(len(outline))), axis=0)
    scene = Scene(bite_share=1.0)
    scale = max(leaf.shape) / float(rng.uniform(45, 95))
    gaps = cut_gaps(rng, scene, outline, leaf.astype(np.float32), scale, (pct / 100, 0))
    return leaf & (gaps.left > 0.5)


def cases(outlines: Iterator[tuple[str, Bools]], seed: int) -> Iterator[Case]:
    """Look at each outline whole, and twice bitten."""
    rng = np.random.default_rng(seed)
    for number, (kind, leaf) in enumerate(outlines):
        blade = without_stalk(leaf)
        if is_compound(leaf) or np.count_nonzero(blade) < 0.95 * np.count_nonzero(leaf):
            continue
        yield _case(f"{kind}, whole", number, leaf, leaf)
        for most in (10, 30):
            rest = largest_part(bitten(rng, leaf, float(rng.uniform(0.5, most))))
            yield _case(f"{kind}, bitten", number, leaf, rest)


def _case(kind: str, number: int, whole: Bools, rest: Bools) -> Case:
    gone = whole & ~rest
    bays = margin_bays(rest, without_stalk(rest))
    shares = [np.count_nonzero(bay.inside & gone) / np.count_nonzero(bay.inside) for bay in bays]
    eaten = 100 * np.count_nonzero(gone) / np.count_nonzero(whole)
    left = int(np.count_nonzero(rest))
    return Case(kind, number, eaten, bays, np.array(shares, np.float32), left)


def believed_share(case: Case, odds: Floats) -> float:
    """Return the area of the bays believed to be bites, as a share of what is left."""
    believed = [bay.inside for bay, one in zip(case.bays, odds, strict=True) if one > BITE_LOG_ODDS]
    return float(np.count_nonzero(np.any(believed, axis=0)) / case.left_px) if believed else 0.0


def gain_of(shown: list[Case], shares: list[float]) -> float:
    """Return by how much believed bays fall short of what is missing, usually."""
    ratios = [
        case.eaten / (100 - case.eaten) / share
        for case, share in zip(shown, shares, strict=True)
        if share > 0.005 and case.kind.endswith("bitten")
    ]
    return round(float(np.clip(np.median(ratios), 1.0, _MOST_GAIN)), 2)


def learn(shown: list[Case]) -> dict[str, Any]:
    """Learn the network and the interval's figures."""
    inputs = np.stack([bay.values for case in shown for bay in case.bays])
    share = np.concatenate([case.bitten for case in shown])
    of_case = np.concatenate([np.full(len(c.bays), n, np.intp) for n, c in enumerate(shown)])
    outline = np.array([case.outline for case in shown])[of_case]
    clear = (share > _BITE) | (share < _NONE)
    odds = np.zeros(len(share), np.float32)
    for known, unseen in GroupKFold(_FOLDS).split(inputs, groups=outline):
        use = known[clear[known]]
        stored = fit(inputs[use], share[use] > _BITE, _HIDDEN, BAY_MEASURES, _SEED, _ROUNDS)
        odds[unseen] = layers_of(stored).log_odds(inputs[unseen])
    apart = [odds[of_case == number] for number in range(len(shown))]
    stored = {
        "bays": fit(inputs[clear], share[clear] > _BITE, _HIDDEN, BAY_MEASURES, _SEED, _ROUNDS)
    }
    shares = [believed_share(case, one) for case, one in zip(shown, apart, strict=True)]
    gain = gain_of(shown, shares)
    read_ = [eaten_pct(gain * share) for share in shares]
    figures = interval_figures(shown, apart, read_, gain)
    judge = BiteJudge(layers_of(stored["bays"]), **figures)
    _report(shown, apart, read_, judge)
    return stored | figures


def interval_figures(
    shown: list[Case], odds: list[Floats], read_: list[float], gain: float
) -> dict[str, float]:
    """Return the narrowest figures of the interval that hold 95 % of the bitten leaves.

    Half of what is left outside may be left on either side.
    """
    layers = layers_of({"mean": [0.0], "spread": [1.0], "layers": []})
    figures = {"doubt": 1.5, "gain": gain, "base_pct": 0.3, "slope_low": 0.0, "slope_high": 0.0}
    for name, side in (("slope_low", 0), ("slope_high", 1)):
        for value in np.arange(0.0, 3.01, 0.05):
            figures[name] = round(float(value), 2)
            judge = BiteJudge(layers, **figures)
            held = [
                (case.eaten >= ends[0]) if side == 0 else (case.eaten <= ends[1])
                for case, one, pct in zip(shown, odds, read_, strict=True)
                if case.kind.endswith("bitten")
                for ends in [chewed_interval(pct, case.bays, one, judge)]
            ]
            if np.mean(held) >= 1 - (1 - _AIM) / 2:
                break
    return figures


def _report(shown: list[Case], odds: list[Floats], read_: list[float], judge: BiteJudge) -> None:
    print(f"gain {judge.gain}, interval {judge.slope_low} down and {judge.slope_high} up")
    for kind in sorted({case.kind for case in shown}):
        own = [n for n, case in enumerate(shown) if case.kind == kind]
        value = np.array([read_[n] for n in own])
        true = np.array([shown[n].eaten for n in own])
        ends = np.array([chewed_interval(read_[n], shown[n].bays, odds[n], judge) for n in own])
        held = np.mean((ends[:, 0] <= true) & (true <= ends[:, 1]))
        print(
            f"{kind}: {len(own)}, eaten {true.mean():.1f} %, bias {np.mean(value - true):+.2f}, "
            f"mean miss {np.abs(value - true).mean():.2f}, above 1 %: {np.mean(value > 1):.2f}, "
            f"interval holds {held:.2f}, width {np.mean(ends[:, 1] - ends[:, 0]):.1f}"
        )


def main() -> None:
    """Learn, and write the file."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=Path, default=Path("../shared/photos"))
    parser.add_argument("--out", type=Path, default=CHEWED_PATH)
    args = parser.parse_args()
    counts = {"tomato/healthy": 150, "tomato/septoria_leaf_spot": 60, "coffee": 60}
    outlines = (*painted_outlines(_SEED, 140), *real_outlines(args.photos, _SEED, counts))
    shown = list(cases(iter(outlines), _SEED))
    stored = {"fitted_on": FITTED_ON, **learn(shown)}
    args.out.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
