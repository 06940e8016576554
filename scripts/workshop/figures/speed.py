"""Measure the speed of scoring, as ratios within one run, and print a table.

    python -m scripts.workshop figures speed [--write]

Times of one machine say little about another; ratios say more. So the time for a photo of 12
megapixels stands against the time that OpenCV takes to decode the same JPEG, and against a version
written plainly with scikit-image, in which only the network of symptoms is the same. Each repeat
times all of them one after the other, and the medians are compared, because other work on the
machine disturbs all of them alike. Costs about two minutes.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import skimage
from numpy.typing import NDArray
from scipy import ndimage
from threadpoolctl import threadpool_limits

from scripts.score.run import score_paths
from scripts.workshop.figures.write import as_table, fill
from scripts.workshop.rendered import Scene, render
from scripts.workshop.rendered.night import NightScene, render_night
from vision.day.lesion import LEAF_LENGTH_PX
from vision.day.symptom_network import see_symptoms
from vision.day.tissue import Healthy
from vision.measure import measure_day, measure_night
from vision.photo.decode import read_photo
from vision.photo.find import PhotoFile
from vision.records import HALO, LEAF, LESION

QUALITY = 92
SCENE = Scene(
    width_px=4000,
    height_px=3000,
    background="grey_board",
    pattern="spot",
    kind="septoria",
    severity_pct=12.0,
    noise=0.6,
    roughness=0.7,
)
NIGHT = NightScene(
    width_px=4000,
    height_px=3000,
    caterpillars=2,
    length_share=0.12,
    decoys=("tag", "twine", "dew"),
    arrangement="apart",
)
SEED = 5
COPIES = 48
REPEATS = 9
SLOW_REPEATS = 3
STARTS = 7

_SK: Any = skimage  # partly typed, which helps nobody here


def paint(path: Path) -> None:
    """Paint the photo of 12 megapixels and write it as a JPEG."""
    pixels = render(SCENE, SEED).pixels
    cv2.imwrite(
        str(path), cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, QUALITY]
    )


def paint_night(path: Path) -> None:
    """Paint a UV night photo of 12 megapixels and write it as a JPEG."""
    pixels = render_night(NIGHT, SEED).pixels
    cv2.imwrite(
        str(path), cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, QUALITY]
    )


def count(path: Path) -> int:
    """Read a night photo and count with the product's own functions; return the count."""
    night = measure_night(read_photo(PhotoFile(path, path.name)))
    return night.measurement.reading.caterpillar_count or 0


def score(path: Path) -> float:
    """Read and measure with the product's own functions; return the severity in percent."""
    reading = measure_day(read_photo(PhotoFile(path, path.name))).measurement.reading
    return float("nan") if reading.severity_pct is None else reading.severity_pct


def score_plainly(path: Path) -> float:
    """Do the same steps plainly with scikit-image; return the severity in percent.

    The photo is read whole, leaves are parted from the background by thresholds and morphology
    instead of networks, and each leaf is then brought to the product's common length and shown to
    the product's network of symptoms, which costs both versions the same.
    """
    photo = _SK.io.imread(path)
    numbers = _SK.measure.label(_plain_leaf(_SK.color.rgb2lab(photo)))
    regions = sorted(_SK.measure.regionprops(numbers), key=lambda region: -region.area)
    areas, sick = [], []
    for region in regions:
        if region.area >= 0.004 * numbers.size and region.area >= 0.12 * regions[0].area:
            areas.append(region.area)
            sick.append(_plain_severity(photo[region.slice], region.image))
    return float(np.average(sick, weights=areas))


def _plain_leaf(lab: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Find what is greener and yellower than the background, smooth it and fill its holes."""
    green = _SK.filters.gaussian(lab[..., 2] - lab[..., 1], 2)
    leaf = green > _SK.filters.threshold_otsu(green)
    leaf = _SK.morphology.closing(
        _SK.morphology.opening(leaf, _SK.morphology.disk(5)), _SK.morphology.disk(5)
    )
    return np.asarray(ndimage.binary_fill_holes(leaf))


def _plain_severity(photo: NDArray[np.uint8], leaf: NDArray[np.bool_]) -> float:
    length = max(leaf.shape)
    factor = min(1.0, LEAF_LENGTH_PX / length)
    size = tuple(round(side * factor) for side in leaf.shape)
    small = _SK.transform.resize(photo, size, anti_aliasing=True)
    inside = _SK.transform.resize(leaf.astype(float), size, anti_aliasing=True) > 0.5
    lab = _SK.color.rgb2lab(_SK.filters.gaussian(small, 0.8, channel_axis=-1))
    green = inside & (np.degrees(np.arctan2(lab[..., 2], lab[..., 1])) > 104)
    lightness, a, b = np.median(lab[green], axis=0)
    healthy = Healthy((float(lightness), float(a), float(b)), float(green.sum() / inside.sum()))
    seen = see_symptoms(lab.astype(np.float32), inside, healthy)
    sick = _SK.morphology.remove_small_objects(inside & (seen.sick > 0), max_size=6)
    dead = sick & (seen.dead > 0)
    classes = np.where(dead, LESION, np.where(sick, HALO, np.where(inside, LEAF, 0)))
    _plain_lesions(classes, lab[..., 0])
    return 100 * float(sick.sum() / inside.sum())


def _plain_lesions(
    classes: NDArray[np.int64], lightness: NDArray[np.float64]
) -> list[tuple[float, ...]]:
    regions = _SK.measure.regionprops(
        _SK.measure.label(classes == LESION), intensity_image=lightness
    )
    return [
        (
            region.area,
            region.equivalent_diameter_area,
            region.perimeter,
            region.solidity,
            region.axis_major_length,
            region.intensity_mean,
        )
        for region in regions
    ]


def seconds(work: Callable[[], object]) -> float:
    """Time one call."""
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def core_seconds(work: Callable[[], object]) -> float:
    """Time one call by the work of the core alone, which other programs disturb less."""
    started = time.process_time()
    work()
    return time.process_time() - started


def in_fresh_process(work: Callable[[Path], Any], path: Path) -> Any:  # noqa: ANN401
    """Run a function in a process of its own.

    A process that has handled large arrays decodes in two thirds of the time, because it need not
    ask the system for memory again; a program that scores photos is not in that state.
    """
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        return pool.submit(work, path).result()


def time_product(path: Path, work: Callable[[Path], object] = score) -> tuple[float, float]:
    """Return median seconds of a core for decoding and for the product, file in the cache."""
    data = np.fromfile(path, np.uint8)
    cv2.setNumThreads(1)

    def decode() -> object:
        return cv2.imdecode(data, cv2.IMREAD_COLOR)

    with threadpool_limits(1):
        work(path)
        pairs = [(core_seconds(decode), core_seconds(lambda: work(path))) for _ in range(REPEATS)]
    decoding, ours = np.median(pairs, axis=0)
    return float(decoding), float(ours)


def time_night(path: Path) -> tuple[float, float]:
    """Return median seconds of a core for decoding a night photo and for counting on it."""
    return time_product(path, count)


def time_plain_version(path: Path) -> tuple[float, float]:
    """Return median seconds of a core for the product and for the plain version, interleaved."""
    cv2.setNumThreads(1)
    with threadpool_limits(1):
        pairs = [
            (core_seconds(lambda: score(path)), core_seconds(lambda: score_plainly(path)))
            for _ in range(SLOW_REPEATS + 1)
        ]
    ours, plain = np.median(pairs[1:], axis=0)
    return float(ours), float(plain)


def time_processes(path: Path, folder: Path) -> tuple[float, float]:
    """Return photos a second with one process and with two, over copies of the photo.

    The second process's start is part of it, as for a grower; a first run warms nothing but the
    system's cache.
    """
    photos = folder / "photos"
    photos.mkdir()
    for number in range(COPIES):
        shutil.copy(path, photos / f"{number:02}.jpg")
        with (photos / f"{number:02}.jpg").open("ab") as file:
            file.write(bytes([number]))  # another content, so that none is taken for measured
    one, two = (
        seconds(partial(score_paths, [photos], folder / f"out-{jobs}", jobs=jobs))
        for jobs in (1, 2)
    )
    return COPIES / one, COPIES / two


def time_start() -> float:
    """Return median seconds of ``spotlamp --help``."""
    command = [sys.executable, "-m", "scripts", "--help"]
    times = [
        seconds(lambda: subprocess.run(command, check=True, capture_output=True))
        for _ in range(STARTS)
    ]
    return float(np.median(times))


def run(folder: Path) -> list[tuple[str, str, str]]:
    """Measure everything; return rows of what, figure and aim."""
    path = folder / "photo.jpg"
    paint(path)
    size_mb = path.stat().st_size / 1e6
    decode, ours = in_fresh_process(time_product, path)
    beside, plain = in_fresh_process(time_plain_version, path)
    by_night = folder / "night.jpg"
    paint_night(by_night)
    night_decode, night = in_fresh_process(time_night, by_night)
    one, two = time_processes(path, folder)
    with threadpool_limits(1):
        readings = f"{score(path):.1f} % and {score_plainly(path):.1f} %"
    return [
        ("photo", f"4000 × 3000 px, JPEG of {size_mb:.1f} MB", ""),
        ("decoding it at full size with OpenCV, one core", f"{decode:.3f} s", ""),
        ("reading and measuring it, one core", f"{ours:.3f} s", ""),
        ("against the decoding", f"{ours / decode:.1f} times", "at most 3"),
        ("counting caterpillars on a night photo of that size", f"{night:.3f} s", ""),
        ("against its decoding", f"{night / night_decode:.1f} times", "at most 3"),
        ("written plainly with scikit-image, one network in it, one core", f"{plain:.2f} s", ""),
        ("against that version", f"{plain / beside:.0f} times as fast", "at least 10"),
        ("severity that the two read", readings, ""),
        (f"photos a second, {COPIES} photos, one process", f"{one:.1f}", ""),
        ("with two processes", f"{two:.1f} ({two / one:.2f} times)", "at least 1.7 times"),
        ("`spotlamp --help`", f"{time_start():.2f} s", "under 0.4 s"),
        ("cores of the machine", str(os.cpu_count()), ""),
    ]


def main() -> None:
    """Measure, print, and fill the document's table if asked."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--write", action="store_true", help="fill the document's table")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        table = as_table(("what", "measured", "aim"), run(Path(folder)))
    print(table)
    if args.write:
        fill("speed", f"{table}\n\n`python -m scripts.workshop figures speed` measures this again.")


if __name__ == "__main__":
    main()
