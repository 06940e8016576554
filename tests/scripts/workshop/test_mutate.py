"""Small faults are put into code and noticed, or not, as they should be."""

import subprocess
import sys
from pathlib import Path

import pytest

from scripts.workshop.attack.areas import AREAS
from scripts.workshop.attack.bench import ROOT
from scripts.workshop.attack.judging import Judged
from scripts.workshop.attack.mutants import Module
from scripts.workshop.attack.mutate import EQUAL, drawn, share_of, wilson_pct

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
        for pattern in (*area.modules, *area.tests, *area.others):
            assert list(ROOT.glob(pattern)), pattern
        own, others = (
            {path for pattern in patterns for path in ROOT.glob(pattern)}
            for patterns in (area.tests, area.others)
        )
        assert not own & others
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


def test_a_share_is_of_the_faults_that_could_be_noticed():
    (fault,) = faults("a + b")
    outcomes = ["equal"] * 5 + ["survived"] + ["noticed"] * 59
    assert share_of([Judged(fault, one) for one in outcomes]) == "1 = 1.7 % (0.3 to 8.9)"


def test_faults_that_nothing_could_notice_have_their_reasons():
    lines = EQUAL.read_text("utf-8").splitlines()
    faults = [number for number, line in enumerate(lines) if line.startswith("- ")]
    assert all(lines[number + 1].startswith("  because ") for number in faults)


CODE = """
LIMIT = 7
PAIR = (lambda: 1), (lambda: 2)
def larger(a, b):
    return a if a > b else b
def is_much(a):
    return a > LIMIT
def said():
    return 5
"""
LATE = """
def twice(a):
    return a + a
"""
EARLY = """
def made():
    return 2
MADE = made()
"""
TESTS = """
import subprocess, sys
import pytest
from models.early import MADE
from models.small import PAIR, is_much, larger
def test_the_larger_one():
    assert larger(3, 2) == 3
def test_the_other():
    assert larger(2, 3) == 3
def test_much():
    assert is_much(8)
def test_the_first_of_two():
    assert PAIR[0]() == 1
def test_what_is_imported_late():
    from models.late import twice
    assert twice(3) == 6
def test_what_is_made_while_modules_are_imported():
    assert MADE == 2
@pytest.mark.processes
def test_what_another_process_does():
    code = "from models.small import said; print(said())"
    assert subprocess.check_output([sys.executable, "-c", code]).split() == [b"5"]
"""
OTHERS = """
from models.small import is_much
def test_not_much():
    assert not is_much(7)
"""
MARKS = "[tool.pytest.ini_options]\nmarkers = ['processes: of its own', 'browser: in one']\n"
RUN = """
import sys
from pathlib import Path
import coverage, hypothesis, pytest
from scripts.workshop.attack.areas import Area
from scripts.workshop.attack.bench import Bench, lines_of
from scripts.workshop.attack.judging import judge, second_look
from scripts.workshop.attack.mutants import Module
AGAIN = {"a >= LIMIT", "return 4", "a >= b"}
root, folder = map(Path, sys.argv[1:])
bench = Bench(root, folder)
found, others = (
    lines_of(bench, Area(10, ("models/*.py",), (tests,), ()), folder / "kept")
    for tests in ("tests/test_small.py", "tests/test_others.py")
)
modules = [Module(p.relative_to(root), p.read_text()) for p in root.glob("models/*.py")]
places = [(module, place) for module in modules for place in module.places]
mutants = [module.mutant(change) for module, place in places for change in place]
equal = [mutant.name for mutant in mutants if "a <= b" in mutant.name]
for one in judge(bench, mutants, found, equal):
    print(one.outcome, one.mutant.before, "→", one.mutant.after)
    if one.outcome == "survived" and one.mutant.after in AGAIN:
        again = second_look(bench, one.mutant, found, others)
        print("again:", again.outcome, one.mutant.before, "→", one.mutant.after)
print(found["lines"]["models/small.py"]["5"], found["failed"])
"""


@pytest.fixture(scope="module")
def judged(tmp_path_factory):
    """Judge all faults of a small program by its tests."""
    pytest.importorskip("coverage")
    folder = tmp_path_factory.mktemp("small")
    root, bench = folder / "checkout", folder / "bench"
    files = {
        "models/__init__.py": "",
        "models/small.py": CODE,
        "models/early.py": EARLY,
        "models/late.py": LATE,
        "tests/conftest.py": "import models.early",
        "tests/test_small.py": TESTS,
        "tests/test_others.py": OTHERS,
        "pyproject.toml": MARKS,
    }
    for name, text in files.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text(text, "utf-8")
    bench.mkdir()
    command = [sys.executable, "-c", RUN, str(root), str(bench)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


@pytest.mark.processes
def test_a_fault_is_noticed_where_a_test_fails_and_survives_where_none_does(judged):
    first = [line for line in judged[:-1] if not line.startswith("again")]
    assert sorted(first) == [
        "equal a > b → a <= b",
        "noticed LIMIT = 7 → LIMIT = 8",
        "noticed a + a → a - a",
        "noticed a > LIMIT → a <= LIMIT",
        "noticed lambda: 1 → lambda: 0",
        "noticed lambda: 1 → lambda: 2",
        "noticed return 2 → return 1",
        "noticed return 2 → return 3",
        "survived LIMIT = 7 → LIMIT = 6",
        "survived a > LIMIT → a >= LIMIT",
        "survived a > b → a >= b",
        "survived lambda: 2 → lambda: 1",
        "survived lambda: 2 → lambda: 3",
        "survived return 5 → return 4",
        "survived return 5 → return 6",
    ]


@pytest.mark.processes
def test_a_second_look_asks_the_tests_of_other_parts_and_those_with_processes(judged):
    again = [line.removeprefix("again: ") for line in judged if line.startswith("again")]
    assert sorted(again) == [
        "noticed a > LIMIT → a >= LIMIT",
        "noticed return 5 → return 4",
        "survived a > b → a >= b",
    ]


@pytest.mark.processes
def test_it_is_seen_which_test_runs_which_line(judged):
    assert "test_the_larger_one" in judged[-1]
    assert "test_much" not in judged[-1]
    assert judged[-1].endswith("[]")
