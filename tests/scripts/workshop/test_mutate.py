"""Small faults are put into code and noticed, or not, as they should be."""

import subprocess
import sys
from pathlib import Path

import pytest

from scripts.workshop.attack.mutants import Module
from scripts.workshop.attack.mutate import AREAS, EQUAL, ROOT, drawn, wilson_pct

PATH = Path("models/small.py")


def changes(source):
    """Return the faults of one line of code, without its path."""
    return {mutant.name.split(": ", 1)[1] for mutant in faults(source)}


def faults(source):
    module = Module(PATH, source)
    return [module.mutant(change) for place in module.places for change in place]


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("a < b", {"a < b → a <= b", "a < b → a >= b"}),
        ("a == b", {"a == b → a != b"}),
        ("x is None", {"x is None → x is not None"}),
        ("a + b", {"a + b → a - b"}),
        ("a or b", {"a or b → a and b"}),
        ("f(3)", {"f(3) → f(2)", "f(3) → f(4)"}),
        ("f(0.5)", {"f(0.5) → f(0.25)", "f(0.5) → f(1.0)"}),
        ("f(True)", {"f(True) → f(False)"}),
        ("x += y", {"x += y → x -= y"}),
        ("y = not x", {"y = not x → y = not not x"}),
        ("if x:\n    f()", {"if x: → if not x:"}),
        ("[x for x in y if x.z]", {"for x in y if x.z → for x in y if not x.z"}),
        ("for x in y:\n    f(x)", {"for x in y: → for x in ():"}),
        ("try:\n    f()\nexcept OSError:\n    g()", {"except OSError: → except MemoryError:"}),
        ("@cached\ndef f():\n    g()", {"@cached def f(): → def f():"}),
        (
            "while x:\n    if y:\n        break",
            {
                "while x: → while not x:",
                "if y: → if not y:",
                "if y: → if y: … with break or continue exchanged",
            },
        ),
    ],
)
def test_each_kind_of_fault_is_made(source, expected):
    assert changes(source) == expected


@pytest.mark.parametrize(
    "source",
    [
        '"""Text."""',
        "def f(x: int | None) -> A | B:\n    g(x)",
        "__all__ = ['a' + 'b']",
        "x = field(repr=False)",
        "zip(a, b, strict=True)",
        "Kind = int | None",
        "f'{a}' + b",
    ],
)
def test_what_does_not_run_or_shows_nothing_is_left_alone(source):
    assert changes(source) == set()


def test_a_fault_is_the_whole_module_with_one_change():
    place = faults("A = f(1)\nB = g()\n")
    assert [mutant.text for mutant in place] == ["A = f(0)\nB = g()", "A = f(2)\nB = g()"]
    assert {mutant.line for mutant in place} == {1}


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("x = 1", False),
        ("def f(x=1): pass", False),
        ("def f():\n    return 1", True),
        ("x = lambda: 1", True),
        ("class A:\n    x = 1", False),
        ("class A:\n    def f(self):\n        return [1 for _ in y]", True),
    ],
)
def test_it_is_told_whether_a_fault_shows_only_when_a_function_is_called(source, expected):
    assert {mutant.in_function for mutant in faults(source)} == {expected}


def test_the_seed_draws_the_sample_and_each_area_has_modules_and_tests():
    for area in AREAS.values():
        for pattern in (*area.modules, *area.tests):
            assert list(ROOT.glob(pattern)), pattern
    tag = AREAS["tag"]
    names = [[m.name for m in drawn(ROOT, tag, 9, seed)] for seed in (1, 1, 2)]
    assert names[0] == names[1] != names[2]
    assert len(names[0]) == 9


@pytest.mark.parametrize(
    ("hits", "count", "low", "high"),
    [(0, 10, 0.0, 27.75), (5, 10, 23.66, 76.34), (1, 60, 0.29, 8.86), (10, 10, 72.25, 100.0)],
)
def test_the_interval_of_a_share_is_wilsons(hits, count, low, high):
    """Check: 0 of 10 gives z² ÷ (10 + z²) = 27.75 %; the others by `statsmodels`."""
    assert wilson_pct(hits, count) == pytest.approx((low, high), abs=0.01)


def test_faults_that_nothing_could_notice_have_their_reasons():
    lines = EQUAL.read_text("utf-8").splitlines()
    faults = [number for number, line in enumerate(lines) if line.startswith("- ")]
    assert all(lines[number + 1].startswith("  because ") for number in faults)


CODE = """
LIMIT = 7
def larger(a, b):
    return a if a > b else b
def is_much(a):
    return a > LIMIT
"""
TESTS = """
from models.small import is_much, larger
def test_the_larger_one():
    assert larger(3, 2) == 3
def test_the_other():
    assert larger(2, 3) == 3
def test_much():
    assert is_much(8)
"""
RUN = """
import sys
from pathlib import Path
from scripts.workshop.attack.mutants import Module
from scripts.workshop.attack.mutate import Area, Bench, judge, lines_of
root, folder = map(Path, sys.argv[1:])
bench = Bench(root, folder)
found = lines_of(bench, Area(10, ("models/*.py",), ("tests/test_*.py",)), folder / "kept")
module = Module(Path("models/small.py"), (root / "models/small.py").read_text())
mutants = [module.mutant(change) for place in module.places for change in place]
for one in judge(bench, mutants, found, [mutants[-1].name]):
    print(one.outcome, one.mutant.before, "→", one.mutant.after)
print(found["lines"]["models/small.py"]["4"], found["failed"])
"""


@pytest.mark.processes
def test_a_fault_is_noticed_where_a_test_fails_and_survives_where_none_does(tmp_path):
    pytest.importorskip("coverage")
    root = tmp_path / "checkout"
    files = {"models/__init__.py": "", "models/small.py": CODE, "tests/test_small.py": TESTS}
    for name, text in files.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text(text, "utf-8")
    (tmp_path / "bench").mkdir()
    command = [sys.executable, "-c", RUN, str(root), str(tmp_path / "bench")]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    *outcomes, lines = done.stdout.splitlines()
    assert sorted(outcomes) == [
        "equal a > LIMIT → a <= LIMIT",
        "noticed LIMIT = 7 → LIMIT = 8",
        "noticed a > b → a <= b",
        "survived LIMIT = 7 → LIMIT = 6",
        "survived a > LIMIT → a >= LIMIT",
        "survived a > b → a >= b",
    ]
    assert "test_the_larger_one" in lines
    assert "test_much" not in lines
    assert lines.endswith("[]")
