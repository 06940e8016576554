"""Each trainer runs end to end, by its command, on a hundredth of its data, for a few rounds.

The photos are painted and lie as those of ``../shared/photos`` do. What comes out is no good, but
it has the form that the product reads.
"""

import csv
import shutil
import zipfile
from pathlib import Path

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from models.pattern.training import read_labelled
from scripts.workshop.__main__ import app, parts_of
from scripts.workshop.learn.droppings import learn_networks
from scripts.workshop.learn.options import share_of, some
from scripts.workshop.rendered import draw_scene, render
from vision.chewed.measure import load_bite_judge
from vision.day.leaf_network import see_leaves
from vision.day.outline import load_networks
from vision.day.surface import load_surface
from vision.droppings import close, network
from vision.droppings.judge import load_judge
from vision.learned import load_onnx
from vision.night.judge import load_night_judge

pytestmark = [  # of exporting networks
    pytest.mark.filterwarnings("ignore::DeprecationWarning"),
    pytest.mark.filterwarnings("ignore:Converting a tensor to a Python boolean"),
    pytest.mark.filterwarnings("ignore:ONNX export mode is set to TrainingMode.EVAL"),
]


def paint(seed, background, pattern="none", severity_pct=0.0):
    """Return a painted photo's pixels, blue first, and its mask."""
    scene = draw_scene(
        np.random.default_rng(seed), background=background, pattern=pattern, leaves=1,
        severity_pct=severity_pct, shape="leaflet", leaf_size=0.8, width_px=256, height_px=224,
        holes=0,
    )  # fmt: skip
    photo = render(scene, seed)
    return photo.pixels[..., ::-1], photo.mask


@pytest.fixture(scope="module")
def photos(tmp_path_factory) -> Path:
    """Paint what stands in for all sets of photos."""
    folder = tmp_path_factory.mktemp("photos")

    def put(name, painted, mask=""):
        for path, picture in ((name, painted[0]), (mask, painted[1])):
            if path:
                (folder / path).parent.mkdir(parents=True, exist_ok=True)
                cv2.imwrite(str(folder / path), picture)

    def table(name, *rows):
        with (folder / name).open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows(rows)

    clean = [paint(seed, "grey_board") for seed in (1, 2)]
    sick = [paint(seed, "grey_board", "spot", 15.0) for seed in (3, 4)]
    white = [paint(5, "paper"), paint(6, "paper", "blight", 20.0)]
    for number in range(4):
        put(f"tomato/healthy/{number}.JPG", clean[number % 2])
        put(f"tomato/septoria_leaf_spot/{number}.JPG", sick[number % 2])
        put(f"coffee/images/c{number}.jpg", white[number % 2], f"coffee/masks/c{number}.png")
        put(f"canopy/plant_{number}.jpg", paint(20 + number, "foliage_near"))
    for number in range(2):
        put(f"potato/p{number}.jpg", sick[number], f"potato/masks/p{number}.png")
        put(f"field/bean/b{number}.jpg", white[number], f"field/bean/masks/b{number}.png")
        put(f"pepper/{number}___JR_HL {number}.JPG", clean[number])
        put(f"ground/{number}.jpg", paint(30 + number, "soil"))
    tomato = [
        (f"{kind}/{number}.JPG", pattern, f"session {number % 2}")
        for kind, pattern in (("healthy", "none"), ("septoria_leaf_spot", "spot"))
        for number in range(4)
    ]
    table("tomato/labels.csv", ("photo", "pattern", "session"), *tomato)
    table("coffee/severity.csv", ("photo", "severity_pct"), ("c0.jpg", 0), ("c1.jpg", 20))
    table("field/labels.csv", ("photo", "source", "pattern", "mask"),
          ("bean/b0.jpg", "bean", "none", "bean/masks/b0.png"),
          ("bean/b1.jpg", "bean", "spot", "bean/masks/b1.png"))  # fmt: skip
    return folder


@pytest.fixture(autouse=True)
def _few_rounds(monkeypatch):
    """Go through what is learned from a few times only: fitting takes most of the time."""
    for name in ("chewed", "droppings", "night", "surface"):
        monkeypatch.setattr(f"scripts.workshop.learn.{name}._ROUNDS", 3)


def learn(name, *options):
    """Run a trainer by its command; return what it says."""
    result = CliRunner().invoke(app, ["learn", name, *map(str, options)])
    assert result.exit_code == 0, f"{result.output}\n{result.exception!r}"
    return result.output


def test_every_trainer_is_run_here():
    here = Path(__file__).read_text("utf-8")
    assert [name for name in parts_of("learn") if f'("{name}"' not in here] == []


def test_a_share_is_spread_over_all_and_never_nothing():
    assert some("abcdefgh", 1.0) == list("abcdefgh")
    assert some("abcdefgh", 0.25) == ["a", "e"]
    assert some("abcdefgh", 0.01) == ["a"]
    assert some("", 0.5, 3) == []
    assert (share_of(400, 0.01), share_of(40, 0.01, 3), share_of(2, 0.1, 3)) == (4, 3, 2)


def test_the_outline_is_learned(photos, tmp_path):
    learn("outline", "--photos", photos, "--out", tmp_path / "outline.json", "--share", 0.01)
    assert len(load_networks(tmp_path / "outline.json")) == 2


def test_the_surface_is_learned(photos, tmp_path):
    said = learn("surface", "--photos", photos, "--out", tmp_path / "s.json", "--share", 0.01)
    assert "symptom overlap" in said
    surface = load_surface(tmp_path / "s.json")
    assert surface.interval_base >= 0
    assert surface.threshold == 0.46


def test_bites_are_learned(photos, tmp_path):
    learn("chewed", "--photos", photos, "--out", tmp_path / "chewed.json", "--share", 0.01)
    judge = load_bite_judge(tmp_path / "chewed.json")
    assert min(judge.times_low, judge.times_high) >= 1


def test_the_night_judge_is_learned(tmp_path):
    said = learn("night", "--out", tmp_path / "judge.json", "--share", 0.001, "--jobs", 1)
    assert "left out" in said
    load_night_judge(tmp_path / "judge.json")


def test_the_leaves_of_the_patterns_are_measured(photos, tmp_path):
    out = tmp_path / "features.csv"
    learn("pattern_features", "--photos", photos, "--out", out, "--share", 0.01, "--jobs", 1)
    assert set(read_labelled(out).session) >= {"coffee"}


def test_how_sure_to_be_of_droppings_is_learned(photos, tmp_path):
    options = ("--photos", photos, "--lessons", tmp_path, "--out", tmp_path, "--share", 0.001)
    said = learn("droppings", *options, "--judge-only")
    assert "false alarms" in said
    assert load_judge(tmp_path / "judge.json").doubt >= 1
    assert not (tmp_path / network.NET_PATH.name).exists()


def lessons(name, photos, folder) -> tuple[Path, set[str]]:
    out = folder / f"{name}.zip"
    learn(name, "--photos", photos, "--out", out, "--share", 0.01, "--painted", 4)
    with zipfile.ZipFile(out) as store:
        return out, {file.split("/")[0] for file in store.namelist()}


def test_lessons_of_the_outline_hold_each_source(photos, tmp_path):
    kinds = {"bean", "coffee", "potato", "tomato", "pepper", "ground", "canopy", "texture"}
    assert lessons("leaf_lessons", photos, tmp_path)[1] == kinds | {"painted"}


def test_lessons_of_the_tissue_hold_each_source(photos, tmp_path):
    kinds = {"bean", "coffee", "potato", "tomato", "pepper"}
    assert lessons("tissue_lessons", photos, tmp_path)[1] == kinds | {"painted"}


@pytest.fixture
def torch():
    pytest.importorskip("onnx", reason="only learning networks needs it: the train extra")
    return pytest.importorskip("torch", reason="only learning networks needs it: the train extra")


SHORTLY = ("--seconds", 1, "--share", 0.1, "--batch", 4, "--device", "cpu", "--half")


def test_the_network_of_the_outline_is_learned(photos, tmp_path, torch):
    taught, _ = lessons("leaf_lessons", photos, tmp_path)
    out = tmp_path / "leaf.onnx"
    said = learn("leaf_network", "--lessons", taught, "--out", out, "--without", "bean", *SHORTLY)
    assert "bean (unseen)" in said
    assert see_leaves(np.zeros((64, 96, 3), np.uint8), out).leaf.shape == (64, 96)


def test_the_second_network_of_the_outline_is_learned(photos, tmp_path, torch, monkeypatch):
    from scripts.workshop.learn import encoder, leaf_network_second

    begun = encoder.Encoder()  # the package with its real numbers need not be there
    torch.save(begun.state_dict(), tmp_path / "begun.pt")
    monkeypatch.setattr(leaf_network_second, "begun", lambda: encoder.begun(tmp_path / "begun.pt"))
    taught, _ = lessons("leaf_lessons", photos, tmp_path)
    out = tmp_path / "leaf.onnx"
    said = learn("leaf_network_second", "--lessons", taught, "--out", out, *SHORTLY)
    assert "bean" in said
    assert see_leaves(np.zeros((64, 96, 3), np.uint8), out).leaf.shape == (64, 96)


def test_the_network_of_the_tissue_is_learned(photos, tmp_path, torch):
    taught, _ = lessons("tissue_lessons", photos, tmp_path)
    said = learn("tissue_network", "--lessons", taught, "--out", tmp_path / "t.onnx", *SHORTLY)
    assert "concordance" in said
    seeing = load_onnx(tmp_path / "t.onnx")
    seeing.setInput(np.zeros((1, 6, 64, 96), np.float32))
    assert seeing.forward("seen").shape == (1, 2, 32, 48)


def test_the_networks_of_droppings_are_learned(photos, tmp_path, torch, monkeypatch):
    monkeypatch.setattr(network, "NET_PATH", network.NET_PATH)  # put back afterwards
    monkeypatch.setattr(close, "CLOSE_PATH", close.CLOSE_PATH)
    for name, few in (("_BATCH", 2), ("_READY", 1)):
        monkeypatch.setattr(f"scripts.workshop.learn.dropping_network.{name}", few)
    shipped = {path: path.read_bytes() for path in (network.NET_PATH, close.CLOSE_PATH)}
    try:  # what has learned so little finds nothing of which to be sure: the judge is learned above
        learn_networks(photos, tmp_path / "lessons", tmp_path, 0.0001)
    finally:
        network.load_network.cache_clear()
        close.load_close.cache_clear()
    for path, content in shipped.items():
        assert path.read_bytes() == content
        load_onnx(tmp_path / path.name)
    shutil.rmtree(tmp_path / "lessons")
