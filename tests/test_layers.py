"""The shape of the code: who may import whom, who decodes, who prints, what lies where.

Read from the syntax trees, so that imports inside functions count too.
"""

import ast
import builtins
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterable, Iterator
from fnmatch import fnmatch
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
LAYERS = ("scripts", "models", "vision")  # each may import itself and those after it
MODULES = sorted(path for layer in LAYERS for path in (ROOT / layer).rglob("*.py"))

TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml",
    "vision", "models", "tests", "sample_images", "scripts",
}  # fmt: skip

DECODING_CALLS = {"imread", "imreadmulti", "imdecode", "imdecodemulti", "VideoCapture"}
DECODING_CALLS |= {"open_heif", "read_heif"}
DECODING_MODULES = {"PIL", "pillow_heif", "imageio", "skimage.io", "matplotlib.image", "tifffile"}
MAY_DECODE = {
    "scripts/workshop/learn/surface.py": "masks of training and of truth, which are not photos",
    "vision/photo/decode.py": "the module that decodes photos",
    "vision/photo/colour_profile.py": "converts decoded pixels with Pillow's colour engine",
    "scripts/workshop/attack/files.py": "writes broken photos with Pillow; reads none",
    "scripts/workshop/paint/garden.py": "writes the sample photos with Pillow; reads none",
    "scripts/common/letters.py": "draws letters with Pillow; reads no picture",
    "scripts/workshop/learn/photos.py": "training masks and backgrounds, which are not scored",
    "scripts/workshop/learn/dropping_lessons.py": "training photos kept compressed in memory",
    "scripts/workshop/figures/agreement.py": "masks of truth, which are not photos",
    "scripts/workshop/learn/leaf_lessons.py": "masks of training, which are not photos",
    "scripts/workshop/learn/tissue_lessons.py": "likewise",
    "scripts/workshop/learn/leaf_pictures.py": "lessons from their file; needs Pillow alone",
    "scripts/workshop/figures/pins.py": "writes a painted photo with Pillow; reads none",
    "scripts/workshop/figures/same.py": "compares pictures of results, which are not photos",
    "scripts/workshop/figures/speed.py": "times OpenCV's own decoding beside ours",
}

DATABASE_MODULES = {"sqlalchemy", "alembic", "sqlite3"}
MAY_SEE_TABLES = {
    "scripts/garden/data_package.py": "describes the columns by their types",
    "scripts/workshop/figures/journal.py": "makes up rows; the journal puts them in",
    "scripts/workshop/attack/kills.py": "counts the rows while another process writes them",
}

MAY_WRITE_CSV = {
    "models/csv_tables.py": "the one writer",
    "scripts/workshop/paint/garden.py": "truth of painted photos, which holds no text of others",
    "scripts/workshop/paint/rounds.py": "truth of painted photos, likewise",
    "scripts/workshop/paint/season.py": "log of the painted season, likewise",
    "scripts/workshop/learn/dropping_lessons.py": "list of painted lessons, likewise",
}

NEEDS_TRAIN_EXTRA = {
    "scripts/workshop/learn/convolutions.py", "scripts/workshop/learn/smaller_onnx.py",
    "scripts/workshop/learn/encoder.py", "scripts/workshop/learn/leaf_network_second.py",
    "scripts/workshop/learn/leaf_network.py", "scripts/workshop/learn/leaf_pictures.py",
    "scripts/workshop/learn/tissue_network.py", "scripts/workshop/learn/tissue_pictures.py",
    "scripts/workshop/learn/dropping_network.py", "scripts/workshop/learn/dropping_closer.py",
}  # fmt: skip
NEEDS_EXTRA = {"vision/photo/address.py": "remote", "scripts/score/cluster.py": "cluster"}
NEEDS_MUTATE_EXTRA = {"scripts/workshop/attack/bench.py"}

DISTRIBUTION_OF = {
    "sklearn": "scikit-learn",
    "skimage": "scikit-image",
    "cv2": "opencv-python",
    "PIL": "pillow",
    "pillow_heif": "pillow-heif",
}

TEXT_ENDINGS = {"", ".py", ".md", ".toml", ".json", ".csv", ".txt", ".yml", ".yaml", ".cfg"}
MACHINE_PATH = re.compile(r"(?<![\w.])/(?:work|root|home|Users)/\w|\b[A-Za-z]:\\{1,2}Users\b")
DOWNLOAD_ADDRESS = re.compile(r"\b(?:https?|ftp):/{2}", re.IGNORECASE)


def short(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@pytest.fixture(params=MODULES, ids=short)
def module(request) -> Path:
    return request.param


@cache
def nodes(module: Path) -> tuple[ast.AST, ...]:
    return tuple(ast.walk(ast.parse(module.read_text("utf-8"), str(module))))


def imports(tree: Iterable[ast.AST]) -> Iterator[str]:
    """Yield the full names of imported modules, and ``module.name`` for what is taken from one."""
    for node in tree:
        match node:
            case ast.Import(names=names):
                yield from (alias.name for alias in names)
            case ast.ImportFrom(module=source, names=names, level=0):
                yield from (f"{source}.{alias.name}" for alias in names)
            case ast.ImportFrom(level=level) if level:
                pytest.fail("relative imports hide which layer they reach")
            case ast.Call(
                func=ast.Attribute(attr="import_module") | ast.Name(id="import_module"),
                args=[ast.Constant(value=name)],
            ):
                yield name


def names_used(tree: Iterable[ast.AST]) -> set[str]:
    """Return every name and attribute that the code mentions or imports by itself."""
    found = set()
    for node in tree:
        match node:
            case ast.Name(id=name) | ast.Attribute(attr=name) | ast.alias(name=name):
                found.add(name)
    return found


def is_within(name: str, package: str) -> bool:
    return name == package or name.startswith(package + ".")


def decodes(tree: Iterable[ast.AST]) -> bool:
    reached = [name for name in imports(tree) for m in DECODING_MODULES if is_within(name, m)]
    return bool(reached or DECODING_CALLS & names_used(tree))


def project_files() -> list[Path]:
    """Return the files of the project: what git tracks, or all that it would not ignore."""
    if (ROOT / ".git").exists():
        command = ["git", "-c", "safe.directory=*", "-C", str(ROOT), "ls-files", "-z"]
        listed = subprocess.run(command, capture_output=True, check=True).stdout
        tracked = [ROOT / name for name in listed.decode().split("\0") if name]
        return [path for path in tracked if path.is_file()]
    ignored = [line.strip("/") for line in (ROOT / ".gitignore").read_text().split("\n") if line]
    ignored.append("PKG-INFO")  # in a source package
    return [
        path
        for path in ROOT.rglob("*")
        if path.is_file()
        and not any(fnmatch(part, i) for part in path.relative_to(ROOT).parts for i in ignored)
    ]


def test_imports_go_from_scripts_to_models_to_vision_and_never_back(module):
    layer = LAYERS.index(short(module).split("/")[0])
    forbidden = (*LAYERS[:layer], "tests")
    back = [n for n in imports(nodes(module)) if any(is_within(n, f) for f in forbidden)]
    assert not back


def test_only_the_photo_module_decodes_images(module):
    assert short(module) in MAY_DECODE or not decodes(nodes(module))


@pytest.mark.parametrize(
    "code",
    [
        "import cv2\ncv2.imread('a.png')",
        "from cv2 import imdecode",
        "from PIL import Image\nImage.open('a.png')",
        "def late():\n    from PIL.JpegImagePlugin import JpegImageFile",
        "import skimage.io",
        "from skimage import io",
        "import importlib\nimportlib.import_module('pillow_heif')",
    ],
)
def test_decoding_is_recognised_in_each_of_its_forms(code):
    assert decodes(list(ast.walk(ast.parse(code))))


def test_each_module_that_may_decode_does():
    """An exception that is no longer needed is taken off the list."""
    there = [ROOT / name for name in MAY_DECODE if (ROOT / name).exists()]
    assert ROOT / "vision/photo/decode.py" in there
    assert [short(path) for path in there if not decodes(nodes(path))] == []


def test_only_the_journal_touches_the_database(module):
    reached = {name.split(".")[0] for name in imports(nodes(module))} & DATABASE_MODULES
    inside = module.is_relative_to(ROOT / "models" / "journal")
    assert inside or short(module) in MAY_SEE_TABLES or not reached


@pytest.mark.parametrize(
    "module", [m for m in MODULES if not short(m).startswith("scripts/")], ids=short
)
def test_only_scripts_print(module):
    assert not names_used(nodes(module)) & {"print", "stdout", "stderr", "logging"}


def test_tables_are_written_in_one_place(module):
    """Whatever stands in a cell of ours, no spreadsheet runs it."""
    assert short(module) in MAY_WRITE_CSV or not {"writer", "DictWriter"} & names_used(
        nodes(module)
    )


def test_what_is_imported_is_declared_as_a_dependency(module):
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    wanted = list(project["dependencies"])
    if short(module) in NEEDS_TRAIN_EXTRA:
        wanted += project["optional-dependencies"]["train"]
    if extra := NEEDS_EXTRA.get(short(module)):
        wanted += project["optional-dependencies"][extra]
    if short(module) in NEEDS_MUTATE_EXTRA:
        # pytest and Hypothesis come by way of dev.
        wanted += [*project["optional-dependencies"]["mutate"], "pytest", "hypothesis"]
    declared = {re.split(r"[<>=\[ ]", entry)[0] for entry in wanted}
    known = {*LAYERS, *sys.stdlib_module_names}
    tops = {name.split(".")[0] for name in imports(nodes(module))} - known
    assert {DISTRIBUTION_OF.get(top, top) for top in tops} <= declared


VISION_ROOMS = {
    "photo": set(),
    "tag": {"photo"},
    "chewed": set(),
    "droppings": set(),
    "day": {"photo", "tag", "droppings", "chewed"},
    "night": {"photo"},
    "measure": {"day", "night", "tag"},
}  # which rooms each may enter; all may use what lies beside the rooms
SCRIPTS_ROOMS = {
    "common": set(),
    "score": {"common"},
    "garden": {"score", "common"},
    "trend": {"care", "common"},
    "care": {"score", "trend", "common"},
    "learn": {"score", "common"},
    "page": {"score", "garden", "care", "trend", "common"},
    "guide": set(),
    "commands": {"score", "garden", "care", "trend", "learn", "page", "guide", "common"},
    "cli": {"commands", "common"},
    "__main__": {"cli"},
}


def room_of(name: str, top: str) -> str:
    """Return the room below ``top`` in which a module lies, or the module itself; empty outside."""
    parts = name.split(".")
    return parts[1] if parts[0] == top and len(parts) > 1 else ""


def arrows(top: str, rooms: dict[str, set[str]]) -> list[str]:
    found = []
    for path in MODULES:
        own = room_of(short(path).removesuffix(".py").replace("/", "."), top)
        entered = {room_of(name, top) for name in imports(nodes(path))} & set(rooms)
        if own in rooms:
            found += [f"{short(path)} enters {r}" for r in sorted(entered - rooms[own] - {own})]
    return found


@pytest.mark.parametrize(("top", "rooms"), [("vision", VISION_ROOMS), ("scripts", SCRIPTS_ROOMS)])
def test_rooms_are_entered_along_the_agreed_arrows(top, rooms):
    assert arrows(top, rooms) == []


@pytest.mark.parametrize(
    "module", [m for m in MODULES if not short(m).startswith("scripts/workshop/")], ids=short
)
def test_nothing_that_ships_reaches_the_workshop(module):
    assert not [n for n in imports(nodes(module)) if is_within(n, "scripts.workshop")]


MEASURING_PARTS = {"measure_day_photo", "measure_night_photo", "find_tag", "balanced", "card_mask"}
MAY_MEASURE_IN_PARTS = {
    "scripts/workshop/figures/tags.py": "compares numbers with and without a tag"
}


def test_photos_are_measured_in_one_way(module):
    """Who leaves out the tag or the white balance gets other numbers than the tables hold."""
    outside = not short(module).startswith("vision/")
    used = names_used(nodes(module)) & MEASURING_PARTS
    assert not (used and outside and short(module) not in MAY_MEASURE_IN_PARTS)


def test_each_module_that_may_measure_in_parts_does():
    used = [names_used(nodes(ROOT / name)) & MEASURING_PARTS for name in MAY_MEASURE_IN_PARTS]
    assert all(used)


def is_built_in_error(name: str) -> bool:
    known = getattr(builtins, name, None)
    return isinstance(known, type) and issubclass(known, BaseException)


def test_every_error_of_ours_ends_a_command_with_one_sentence(module):
    """Commands say in a sentence what derives from SpotlampError, and nothing else."""
    strangers = [
        node.name
        for node in nodes(module)
        if isinstance(node, ast.ClassDef)
        and any(isinstance(base, ast.Name) and is_built_in_error(base.id) for base in node.bases)
    ]
    assert strangers == (["SpotlampError"] if short(module) == "vision/errors.py" else [])


def class_names_compared(tree: Iterable[ast.AST]) -> list[ast.AST]:
    """Return where ``__name__`` of a class decides something: compared, or looked up."""
    deciding = [n for n in tree if isinstance(n, ast.Compare | ast.Subscript | ast.Call)]
    return [
        node
        for node in deciding
        for part in _asked(node)
        if any(isinstance(n, ast.Attribute) and n.attr == "__name__" for n in ast.walk(part))
    ]


def _asked(node: ast.AST) -> list[ast.expr]:
    match node:
        case ast.Compare(left=left, comparators=others):
            return [left, *others]
        case ast.Subscript(slice=index):
            return [index]
        case ast.Call(func=ast.Attribute(attr="get"), args=arguments):
            return arguments
    return []


def test_no_class_is_recognised_by_its_name(module):
    assert not class_names_compared(nodes(module))


@pytest.mark.parametrize(
    "code",
    ["CODES.get(type(e).__name__)", "CODES[type(e).__name__]", "type(e).__name__ == 'GardenError'"],
)
def test_recognising_a_class_by_its_name_is_noticed(code):
    assert class_names_compared(ast.walk(ast.parse(code)))


def test_the_top_level_holds_only_the_agreed_names_and_dot_files():
    tops = {path.relative_to(ROOT).parts[0] for path in project_files()}
    assert {name for name in tops if not name.startswith(".")} <= TOP_LEVEL


def test_no_text_names_a_machine_path_or_a_download_address():
    found = []
    for path in project_files():
        if path.suffix in TEXT_ENDINGS and ".git" not in path.parts:
            text = path.read_text("utf-8")
            found += [
                f"{short(path)}: {match.group()}"
                for pattern in (MACHINE_PATH, DOWNLOAD_ADDRESS)
                for match in pattern.finditer(text)
            ]
    assert found == []


@pytest.mark.parametrize(
    ("pattern", "text"),
    [
        (MACHINE_PATH, "see /" + "work/shared/notes"),
        (MACHINE_PATH, "'/" + "home/ann/photos'"),
        (MACHINE_PATH, "C:" + r"\Users\ann"),
        (DOWNLOAD_ADDRESS, "from http" + "s://example.org/x"),
    ],
)
def test_such_paths_and_addresses_are_recognised(pattern, text):
    assert pattern.search(text)
