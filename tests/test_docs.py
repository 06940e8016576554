"""What the documents and the help say is there, complete, and true."""

import os
import re
import shlex
import shutil
import signal
import socket
import subprocess
import sys
import time
import tomllib
import urllib.error
import urllib.request
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from typer.main import get_command
from typer.testing import CliRunner

from models.entries import LogEntry, PhotoEntry
from models.journal import open_journal
from models.mix import RECIPES
from models.pattern import MEASURES
from scripts.cli import app
from scripts.common.terminal import COMMAND_ORDER, sample_garden
from scripts.garden.make import make_garden
from scripts.guide.pages import TOPICS, source
from scripts.page.guard import SCHEME
from scripts.score.columns import EXTRA_TABLES, TABLES
from scripts.trend.tables import TREND_TABLES
from scripts.workshop.__main__ import GROUPS, parts_of
from scripts.workshop.figures.flags import flag_sentences, flags_table
from scripts.workshop.figures.rooms import FOLDERS, rooms_text
from scripts.workshop.figures.write import documents, held
from scripts.workshop.paint.pictures import PICTURE, readme_picture
from vision.day.leaf import MOST_LEAVES
from vision.flags import FLAGS
from vision.photo.decode import content_hash

ROOT = Path(__file__).resolve().parent.parent
DOCUMENTS = {path.relative_to(ROOT).as_posix(): path.read_text("utf-8") for path in documents()}
README, DEVELOPERS = DOCUMENTS["README.md"], DOCUMENTS["DEVELOPERS.md"]
GUIDE = "\n\n".join(source(topic) for topic in TOPICS)
COMMANDS = dict(get_command(app).commands)  # type: ignore[attr-defined]
README_LINES = 120  # two screens: it is the door, the manual lies behind it
SHOWN = TABLES | EXTRA_TABLES | TREND_TABLES
COLUMNS = [(table.name, column) for table in SHOWN.values() for column in table.columns]

UNITS = {  # what a column's meaning must say, by the end of its name
    "_mm2": "mm²",
    "_mm": "mm",
    "mm_per_px": "millimetres a pixel",
    "area_px": "square pixels",
    "_px": "pixel",
    "_pct_days": "percent-days",
    "_per_day": "per day",
    "_days": "days",
    "_points": "percentage points",
    "_pct": "percent",
    "relative_audpc": "0 to 1",
    "judged_from": "ISO 8601",
    "judged_to": "ISO 8601",
    "day": "ISO 8601",
    "lesions_per_leaf": "number of lesions",
    "roundness": "no unit",
    "elongation": "no unit",
    "solidity": "no unit",
    "darkness": "units of CIELAB",
    "p_spot": "0 to 1",
    "p_blight": "0 to 1",
    "p_none": "0 to 1",
    "taken_at": "ISO 8601",
    "at_margin": "yes or no",
    "hue_difference_deg": "degrees",
    "glow_contrast": "no unit",
    "confidence": "0 to 1",
    "pattern": "not a diagnosis",
    "pattern_reason": "as a sentence",
}
WITHOUT_UNIT = {
    *("photo", "sha256", "taken_from", "plant", "mode", "status", "flags"),
    *("blight_kind", "leaf", "lesion", "dropping", "caterpillar"),
    *("instar_hint", "rejected", "reason", "reason_in_words"),
    *("leaf_count", "lesion_count", "frass_count"),
    *("photo_count", "method", "direction", "judged_visits", "judged_leaves"),
    *("caterpillar_count", "caterpillar_low", "caterpillar_high"),
    *("frass_low", "frass_high", "size_class"),
}


def blocks(text: str, language: str = "") -> list[str]:
    """Return the fenced code of a document."""
    found = re.findall(r"^```(\w*)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    return [code for named, code in found if named == language]


def table_under(text: str, heading: str) -> list[list[str]]:
    """Return the cells of the table under a heading of a document, without its own head."""
    section = text.split(f"{heading}\n", 1)[1].split("\n#", 1)[0]
    lines = [line for line in section.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def examples(text: str) -> list[str]:
    """Return the commands that a document shows: in fenced code, and alone in a table's cell."""
    found = re.findall(
        r"^```\w*\n.*?^```$|(?<=\| )`spotlamp [^`]+`(?= \|)", text, re.MULTILINE | re.DOTALL
    )
    lines = [line.strip("`") for block in found for line in block.splitlines()]
    return [line for line in lines if line.startswith("spotlamp ")]


def options_of(command: Any) -> set[str]:
    """Return the long options of a command, and of the commands in it."""
    inner = getattr(command, "commands", {}).values()
    own = {name for option in command.params for name in option.opts if name.startswith("--")}
    return own.union(*(options_of(one) for one in inner)) - {"--help"}


@pytest.fixture
def near_photos(tmp_path, monkeypatch) -> Path:
    """Stand where a reader stands: beside a folder of photos."""
    for plant in ("bed-1/plant-A1", "bed-2/plant-B3"):
        target = tmp_path / "my-photos" / plant.split("/")[1]
        target.mkdir(parents=True)
        for photo in sorted((sample_garden() / plant).iterdir())[:2]:
            shutil.copy(photo, target)
    labels = "".join(
        f"{path.relative_to(tmp_path / 'my-photos').as_posix()},spot,3\n"
        for path in sorted((tmp_path / "my-photos").rglob("*.*"))
    )
    (tmp_path / "my-photos" / "labels.csv").write_text(f"photo,pattern,severity_pct\n{labels}")
    for plant, pattern in (("plant-A1", "spot"), ("plant-A2", "none"), ("plant-A3", "blight")):
        for number, photo in enumerate(sorted((sample_garden() / "bed-1" / plant).iterdir())[-4:]):
            target = tmp_path / "labelled" / pattern / f"day-{number % 2}"
            target.mkdir(parents=True, exist_ok=True)
            shutil.copy(photo, target)
    spray_test(tmp_path / "tested-garden")
    (tmp_path / "station.csv").write_text(
        "Time,Out,RH,Rain\n"
        + "".join(f"2026-06-{1 + n // 24:02} {n % 24:02}:00,18,95,0.2\n" for n in range(72))
    )
    night = np.full((300, 400, 3), (60, 15, 40), np.uint8)  # blue first, as OpenCV writes
    cv2.ellipse(night, (200, 150), (40, 8), 30, 0, 360, (150, 230, 60), -1, cv2.LINE_AA)
    (tmp_path / "my-night-photos").mkdir()
    cv2.imwrite(str(tmp_path / "my-night-photos" / "A1.png"), night)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def spray_test(folder: Path) -> None:
    """Make a garden with a logged spray, and a photo from before and after it."""
    make_garden(folder, ["North=A3,B1"], time_zone="UTC")
    sample = sorted((sample_garden() / "bed-1" / "plant-A1").iterdir())[0].read_bytes()
    with open_journal(folder) as journal:
        for day in (1, 3):
            at = datetime(2026, 6, day, 8, tzinfo=UTC)
            path = folder / f"A3-{day}.jpg"
            path.write_bytes(sample + bytes([day]))
            journal.file_reading(PhotoEntry(path.name, content_hash(path), at, plant="A3"))
        sprayed_at = datetime(2026, 6, 2, 7, tzinfo=UTC)
        journal.log(LogEntry(0, "spray", sprayed_at, ("A3",), product="peroxide"))


def test_the_readme_is_a_door_of_two_screens():
    assert len(README.splitlines()) <= README_LINES


def test_the_documents_have_examples_of_each_command():
    shown = {shlex.split(line)[1] for text in (README, GUIDE) for line in examples(text)}
    assert shown >= set(COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_each_option_of_a_command_is_told_of_in_the_documents(name):
    told = set(re.findall(r"--[a-z][a-z-]*", README + GUIDE))
    assert options_of(COMMANDS[name]) - told == set()


def test_the_documents_name_no_command_and_no_option_that_is_gone():
    known = set().union(*(options_of(command) for command in COMMANDS.values()))
    for name, text in (("README.md", README), ("the guide", GUIDE)):
        named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", text)) - {"--help"}
        assert named <= known, name
    for name, text in DOCUMENTS.items():
        commands = set(re.findall(r"`spotlamp ([a-z]+)", text))
        assert commands <= set(COMMANDS), name


def run_all(text: str) -> None:
    for line in examples(text):
        arguments = shlex.split(line)[1:]
        if arguments[0] == "serve":
            serves(arguments)
            continue
        result = CliRunner().invoke(app, arguments)
        assert result.exit_code == 0, f"{line}\n{result.output}\n{result.exception!r}"


def serves(arguments: list[str]) -> None:
    """Serve a page on a free port in a process of its own until it was read once."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "scripts", *arguments, "--port", str(port)]
    paths = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(command, env=paths, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout
            assert process.stdout.readline().startswith("The garden page of ")
            assert b"Today" in first_answer(f"{SCHEME}://127.0.0.1:{port}/")
        finally:
            process.send_signal(signal.SIGINT)
        assert process.wait(60) == 0


def first_answer(address: str) -> bytes:
    """Return what a page says, as soon as it answers: the port is named a moment before."""
    for _ in range(300):
        with suppress(urllib.error.URLError), urllib.request.urlopen(address, timeout=60) as page:
            return page.read()
        time.sleep(0.2)
    pytest.fail(f"{address} did not answer")


def test_the_readmes_examples_run_one_after_the_other(near_photos):
    run_all(README)
    assert len(list((near_photos / "results" / "overlays").rglob("*.jpg"))) == 4


def test_the_guides_examples_run_one_after_the_other(near_photos):
    run_all(GUIDE)
    assert len(list((near_photos / "results" / "overlays").rglob("*.jpg"))) == 4
    assert len(list((near_photos / "results" / "masks").rglob("*.png"))) == 4
    assert (near_photos / "spotlamp-demo" / "photos.csv").is_file()


@pytest.mark.parametrize("name", DOCUMENTS)
def test_the_documents_python_examples_run(name, near_photos):
    for example in blocks(DOCUMENTS[name], "python"):
        subprocess.run([sys.executable, "-c", example], check=True, cwd=near_photos)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_each_link_of_a_document_leads_somewhere(name):
    folder = (ROOT / name).parent
    links = [link.split("#")[0] for link in re.findall(r"\]\(([^)\s]+)\)", DOCUMENTS[name])]
    assert [link for link in links if link and not (folder / link).exists()] == []


@pytest.mark.parametrize("name", DOCUMENTS)
def test_each_file_that_a_document_names_by_its_path_is_there(name):
    """A path is meant from the top, or from where the document lies."""
    places = (ROOT, (ROOT / name).parent)
    file = r"(?:[\w.-]+/)+[\w-]+\.(?:py|md|json|csv|onnx|jpg)"
    room = r"(?:vision|models|scripts|tests|sample_images)/[\w/.-]*"
    named = re.findall(rf"`({file}|{room})`", DOCUMENTS[name])
    ours = [path for path in named if path.split("/")[0] not in {"results", "truth"}]
    gone = [path for path in ours if not any((place / path).exists() for place in places)]
    assert gone == []


@pytest.mark.parametrize("name", DOCUMENTS)
def test_each_function_that_a_document_names_stands_where_it_says(name):
    """Such as `vision.measure.measure_day`, or `scripts/common/files.py: write_whole`."""
    dotted = re.findall(r"`((?:vision|models|scripts)(?:\.\w+)+)\.(\w+)`", DOCUMENTS[name])
    filed = re.findall(r"`([\w/]+)\.py: (\w+)`", DOCUMENTS[name])
    for module, named in [*dotted, *filed]:
        place = ROOT / module.replace(".", "/")
        is_module = (place / f"{named}.py").is_file() or (place / named).is_dir()
        defined = place.with_suffix(".py")
        said = defined.read_text("utf-8") if defined.is_file() else ""
        assert is_module or re.search(rf"^(?:def |class )?{named}\b", said, re.MULTILINE), named


@pytest.mark.parametrize("name", DOCUMENTS)
def test_each_part_of_the_workshop_that_a_document_names_is_there(name):
    groups = "|".join(GROUPS)
    named = re.findall(rf"scripts\.workshop ({groups}) (\w+)", DOCUMENTS[name])
    assert [part for part in named if part[1] not in parts_of(part[0])] == []


ONE_MORE_DAY = r"one plant first.{,20}?24 hours\W+a look for burn\W+(?:and )?one more day"


@pytest.mark.parametrize(
    "name", ["README.md", "models/care/RULES.md", "scripts/guide/care.md", "scripts/guide/mix.md"]
)
def test_the_wait_after_a_peroxide_test_is_told_alike_wherever_it_is_told(name):
    for text in (DOCUMENTS[name], RECIPES["peroxide"].use):
        told = " ".join(text.replace("*", "").split())
        assert re.search(ONE_MORE_DAY, told, re.IGNORECASE)


def test_each_document_is_reached_from_the_readme():
    """By links, from one document to the next; the guide's pages also from the command."""
    reached, ahead = set(), ["README.md"]
    while ahead:
        name = ahead.pop()
        reached.add(name)
        for link in re.findall(r"\]\(([^)#\s]+\.md)", DOCUMENTS[name]):
            target = ((ROOT / name).parent / link).resolve().relative_to(ROOT).as_posix()
            ahead += [target] if target not in reached else []
    assert reached == set(DOCUMENTS)


@pytest.mark.parametrize("name", COMMANDS)
def test_each_commands_help_says_what_it_reads_writes_and_costs(name):
    shown = CliRunner().invoke(app, [name, "--help"]).output
    for said in (r"\bReads\b", r"\bwrites?\b", r"\bcosts?\b|\bat once\b"):
        assert re.search(said, shown, re.IGNORECASE), f"{said} is missing"


@pytest.mark.parametrize("name", COMMANDS)
def test_each_option_of_a_command_has_its_help(name):
    options = [p for p in COMMANDS[name].params if p.name != "help"]
    assert [p.name for p in options if not (p.help or "").strip()] == []


def test_the_table_of_flags_is_the_registry():
    """``python -m scripts.workshop figures flags`` writes it anew."""
    document, _, between, _ = held("flags")
    assert between.strip() == flags_table()
    shown = table_under(document.read_text("utf-8"), "## Flags")
    written = [(row[0].strip("`"), row[1], row[2]) for row in shown]
    known = [(f.name, f.sentence, "yes" if f.measurable else "no") for f in FLAGS.values()]
    assert written == known


def test_the_guide_lists_every_flag():
    """``python -m scripts.workshop figures flags`` writes it anew."""
    assert held("flag-sentences")[2].strip() == flag_sentences()
    assert all(f"`{flag.name}`: {flag.sentence}" in GUIDE for flag in FLAGS.values())


def test_columns_named_in_the_guide_are_columns_of_photos():
    rows = table_under(source("photos"), "## The tables")
    named = {n for row in rows for n in re.findall(r"`(\w+)`", row[0])}
    assert len(named) > 8
    assert named <= {column.name for column in TABLES["photos"].columns}


@pytest.mark.parametrize(("table", "column"), COLUMNS, ids=lambda v: getattr(v, "name", v))
def test_each_column_has_a_sentence_with_its_unit(table, column):
    assert re.fullmatch(r"\S.*\.", column.meaning)
    if column.name not in WITHOUT_UNIT:
        end = next(end for end in UNITS if column.name.endswith(end))
        assert UNITS[end] in column.meaning


def test_the_stages_are_told_with_the_numbers_of_the_code():
    stages = " ".join(DOCUMENTS["vision/README.md"].split())
    assert MOST_LEAVES == 12
    assert "at most twelve leaves" in stages
    assert f"{len(MEASURES)} measurements" in stages


def test_the_version_is_the_same_everywhere():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    shown = CliRunner().invoke(app, ["--version"]).output.strip()
    assert shown == f"spotlamp {project['version']}"


def test_the_licence_is_stated_in_full():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert project["license"] == "MIT"
    licence = README.split("## Licence", 1)[1]
    assert "Permission is hereby granted, free of charge" in licence
    assert licence.rstrip().endswith("USE OR OTHER DEALINGS IN THE SOFTWARE.")


def test_ci_runs_the_readmes_test_command():
    command = next(line for b in blocks(README) for line in b.splitlines() if "pytest" in line)
    assert command.endswith('.venv/bin/pip install ".[test]" && .venv/bin/python -m pytest')
    steps = (ROOT / ".ci" / "run").read_text("utf-8")
    assert steps.splitlines().count('"$work/venv/bin/python" -m pytest') == 1


@pytest.mark.parametrize("name", ["README.md", *(f"scripts/guide/{t}.md" for t in TOPICS)])
def test_the_pictures_of_a_document_are_there_and_small_and_told_in_words(name):
    named = re.findall(r"!\[([^\]]*)\]\(([^)]+)\)", DOCUMENTS[name])
    assert named or name != "README.md"
    for told, picture in named:
        assert len(told) > 40
        assert 10_000 < ((ROOT / name).parent / picture).stat().st_size <= 150_000


def test_the_readmes_picture_is_what_the_program_draws_now(tmp_path):
    """``python -m scripts.workshop paint pictures`` draws it anew."""
    readme_picture(tmp_path / "again.jpg", sample_garden())
    shown, again = cv2.imread(str(PICTURE)), cv2.imread(str(tmp_path / "again.jpg"))
    assert shown.shape == again.shape
    # Other releases of OpenCV draw letters and lines a little differently.
    assert np.mean(np.abs(shown.astype(float) - again)) < 4


@pytest.mark.parametrize("folder", FOLDERS)
def test_the_map_of_rooms_is_that_of_the_code(folder):
    """``python -m scripts.workshop figures rooms`` writes it anew."""
    assert held(f"rooms-{folder}")[2].strip() == rooms_text(folder)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_a_document_names_no_module_that_is_gone(name):
    known = {path.name for folder in ("vision", "models", "scripts", "tests") for path in
             (ROOT / folder).rglob("*.py")}  # fmt: skip
    assert set(re.findall(r"`(\w+\.py)`", DOCUMENTS[name])) <= known


def test_the_help_lists_commands_in_the_order_of_the_work_with_whole_sentences():
    shown = CliRunner().invoke(app, ["--help"]).output
    listed = re.findall(r"^  ([a-z]+)  ", shown.split("Commands:")[1], re.MULTILINE)
    assert sorted(listed) == sorted(COMMANDS)
    for earlier, later in (("new", "score"), ("score", "plan"), ("plan", "log"), ("log", "train")):
        assert listed.index(earlier) < listed.index(later)
    assert "..." not in shown.split("Commands:")[1]
    flat = " ".join(shown.split())
    for name, command in COMMANDS.items():
        first = " ".join(command.help.split("\n\n")[0].split()).split(". ")[0].rstrip(".")
        assert f"{name} {first}." in flat


def test_each_command_has_its_place_in_the_order():
    assert set(COMMANDS) <= set(COMMAND_ORDER)
