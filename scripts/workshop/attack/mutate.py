"""Put small faults into the code, one at a time, and count how many of them no test notices.

    python -m scripts.workshop attack mutate [--area care] [--count 60] [--seed 1]

For each area a random sample of places of its code is drawn, and one fault at each (`mutants`). The
tests that run the place, quickest first, are run on a copy of the checkout; a fault that none of
them notices has survived. Those that nothing could notice stand with their reasons in
``equal_mutants.txt`` and are not counted. Needs ``pip install -e '.[mutate]'``. To see which test
runs which line takes some minutes an area and is kept for the next run; then it is some seconds of
one core a fault.
"""

import argparse
import ast
import gc
import json
import math
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from hashlib import sha256
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any

from scripts.workshop.attack.mutants import Module, Mutant

__all__ = ["AREAS", "Area", "Bench", "Judged", "drawn", "judge", "lines_of", "wilson_pct"]

ROOT = Path(__file__).parents[3]
EQUAL = Path(__file__).with_name("equal_mutants.txt")
_COPIED = (
    "vision",
    "models",
    "scripts",
    "tests",
    "sample_images",
    "pyproject.toml",
    "README.md",
    "DEVELOPERS.md",
)
_OPTIONS = (
    "-q", "-n0", "-x", "-p", "no:cacheprovider", "-m", "not processes", "--hypothesis-seed=0",
    "-W", "ignore::pytest.PytestAssertRewriteWarning",
)  # fmt: skip
_MOST_TEST_SECONDS = 25.0
_READS_CODE = "tests/test_records.py"
_WARM = (
    "numpy", "cv2", "PIL.Image", "pillow_heif", "sqlalchemy", "sqlalchemy.dialects.sqlite",
    "alembic.config", "typer.testing", "hypothesis", "tomlkit", "tzlocal", "icalendar", "rich",
)  # fmt: skip


@dataclass(frozen=True)
class Area:
    """A part of the program.

    Attributes
    ----------
    aim_pct : float
        Share of faults below which survivors are to stay.
    modules : tuple of str
        Patterns of its modules.
    tests : tuple of str
        Patterns of the files of tests that are about it.
    """

    aim_pct: float
    modules: tuple[str, ...]
    tests: tuple[str, ...]


AREAS: Mapping[str, Area] = {
    "care": Area(
        10,
        ("models/care/*.py",),
        # Without the random seasons, which take minutes: they would notice some more.
        ("tests/models/care/test_burn*.py", "tests/models/care/test_care_[!p]*.py"),
    ),
    "journal": Area(
        10,
        ("models/journal/*.py",),
        (
            "tests/models/journal/test_*.py",
            "tests/scripts/commands/test_restore.py",
            "tests/scripts/commands/test_fix.py",
        ),
    ),
    "lesion": Area(
        20,
        ("vision/day/lesion.py",),
        ("tests/vision/day/test_lesion.py",),
    ),
    "taken": Area(
        20,
        ("vision/photo/taken.py",),
        ("tests/vision/photo/test_taken.py", "tests/scripts/score/test_photo_dates.py"),
    ),
    "tag": Area(20, ("vision/tag/*.py",), ("tests/vision/tag/test_*.py",)),
    "filing": Area(
        20,
        (
            "scripts/score/filing.py",
            "scripts/score/photo.py",
            "scripts/score/results.py",
            "scripts/score/run.py",
            "scripts/score/store.py",
            "scripts/common/files.py",
            "scripts/common/tables.py",
            "scripts/commands/fix.py",
        ),
        (
            "tests/scripts/score/test_*.py",
            "tests/scripts/common/test_tables.py",
            "tests/scripts/commands/test_fix.py",
            "tests/scripts/commands/test_own_folders.py",
            "tests/scripts/commands/test_score.py",
        ),
    ),
}


@dataclass(frozen=True)
class Judged:
    """What became of a fault: ``noticed``, ``survived`` or ``equal``."""

    mutant: Mutant
    outcome: str


def wilson_pct(hits: int, count: int) -> tuple[float, float]:
    """Return the 95 % interval of a share in percent (Wilson 1927, J. Am. Stat. Assoc. 22:209)."""
    if not count:
        return 0.0, 100.0
    z, share = 1.959964, hits / count
    middle = share + z * z / (2 * count)
    reach = z * math.sqrt(share * (1 - share) / count + z * z / (4 * count * count))
    scale = 100 / (1 + z * z / count)
    return max(0.0, scale * (middle - reach)), min(100.0, scale * (middle + reach))


def drawn(root: Path, area: Area, count: int, seed: int) -> list[Mutant]:
    """Return a random sample of an area's faults: places first, then one fault of each.

    Parameters
    ----------
    root : Path
        Of the checkout.
    area : Area
        Whose modules are looked into.
    count : int
        How many, at most.
    seed : int
        The same seed draws the same from the same code.
    """
    chance = random.Random(seed)
    modules = [
        Module(path, (root / path).read_text("utf-8")) for path in _files(root, area.modules)
    ]
    places = [(module, place) for module in modules for place in module.places]
    chosen = chance.sample(places, min(count, len(places)))
    return [module.mutant(chance.choice(place)) for module, place in chosen]


def _files(root: Path, patterns: Iterable[str]) -> list[Path]:
    return sorted({path.relative_to(root) for pattern in patterns for path in root.glob(pattern)})


class Bench:
    """A copy of a checkout in which tests run, each time in a process made of a warm one.

    Parameters
    ----------
    root : Path
        Of the checkout.
    folder : Path
        For the copy.
    """

    def __init__(self, root: Path, folder: Path) -> None:
        self.root, self.said = folder / "copy", folder / "said.txt"
        for name in _COPIED:
            source, target = root / name, self.root / name
            if source.is_dir():
                shutil.copytree(source, target, ignore=shutil.ignore_patterns("__pycache__"))
            elif source.exists():
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.copy(source, target)
        _compile(self.root)

    def run(self, files: Sequence[str], plugin: object, cpu_seconds: float) -> int:
        """Run tests with a plugin; return pytest's exit code, or minus a signal's number."""
        return _in_child(lambda: self._tests(files, plugin), cpu_seconds)

    def _tests(self, files: Sequence[str], plugin: object) -> int:
        with tempfile.TemporaryDirectory(dir=self.root.parent) as scratch:
            os.chdir(self.root)
            os.environ["HYPOTHESIS_STORAGE_DIRECTORY"] = scratch
            sys.path[:] = [str(self.root), *(p for p in sys.path if p not in ("", str(ROOT)))]
            for name in [n for n in sys.modules if n.partition(".")[0] in _OURS]:
                del sys.modules[name]
            said = os.open(self.said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
            os.dup2(said, 1)
            os.dup2(said, 2)
            import pytest

            options = [*_OPTIONS, "--rootdir", str(self.root), "--basetemp", f"{scratch}/tests"]
            return int(pytest.main([*options, *files], plugins=[plugin]))


def _in_child(work: Callable[[], int], cpu_seconds: float) -> int:
    """Do work in a process of its own; return its exit code, or minus a signal's number."""
    sys.stdout.flush()
    pid = os.fork()
    if pid == 0:
        code = 3
        try:
            limit = math.ceil(cpu_seconds)
            resource.setrlimit(resource.RLIMIT_CPU, (limit, limit))
            code = work()
        except BaseException:
            traceback.print_exc()
        finally:
            sys.stderr.flush()
            os._exit(code)
    # The clock on the wall decides only where nothing is done at all: others work beside us.
    deadline = time.monotonic() + 60 + 20 * cpu_seconds
    while time.monotonic() < deadline:
        done, status = os.waitpid(pid, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.01)
    os.kill(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    return -signal.SIGKILL


_OURS = frozenset({"vision", "models", "scripts"})


def _compile(root: Path) -> None:
    """Keep compiled modules that are known by the text they were made of, whatever its date."""
    import compileall
    import py_compile

    mode = py_compile.PycInvalidationMode.CHECKED_HASH
    for name in _OURS:
        compileall.compile_dir(root / name, quiet=2, invalidation_mode=mode)


class _Mapping:
    """Sees which test runs which line, how long each takes and which fail without any fault."""

    def __init__(self, modules: Sequence[str], target: Path) -> None:
        self._modules, self._target = modules, target
        self._seconds: dict[str, float] = {}
        self._failed: set[str] = set()
        self._unfit: set[str] = set()

    def pytest_sessionstart(self) -> None:
        import coverage

        self._coverage = coverage.Coverage(include=self._modules, data_file=None, config_file=False)
        self._coverage.start()

    def pytest_runtest_protocol(self, item: Any) -> None:  # noqa: ANN401  of pytest
        self._coverage.switch_context(item.nodeid)
        self._began = time.process_time()

    def pytest_runtest_logreport(self, report: Any) -> None:  # noqa: ANN401
        self._seconds[report.nodeid] = time.process_time() - self._began
        if report.failed or report.skipped:
            self._unfit.add(report.nodeid)
            self._failed |= {report.nodeid} if report.failed else set()

    def pytest_sessionfinish(self) -> None:
        self._coverage.stop()
        data = self._coverage.get_data()
        root = Path.cwd()
        lines = {
            str(Path(name).relative_to(root)): {
                str(line): tests for line, tests in data.contexts_by_lineno(name).items()
            }
            for name in data.measured_files()
        }
        kept = {name: s for name, s in self._seconds.items() if name not in self._unfit}
        found = {"lines": lines, "seconds": kept, "failed": sorted(self._failed)}
        self._target.write_text(json.dumps(found), "utf-8")


class _Chosen:
    """Runs chosen tests alone, in their order."""

    def __init__(self, tests: Sequence[str]) -> None:
        self._place = {name: at for at, name in enumerate(tests)}

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        """Leave out the others; called by pytest."""
        items[:] = sorted(
            (item for item in items if item.nodeid in self._place),
            key=lambda item: self._place[item.nodeid],
        )


def lines_of(bench: Bench, area: Area, kept: Path) -> dict[str, Any]:
    """Return which tests run which line, from an earlier run where nothing has changed since.

    Parameters
    ----------
    bench : Bench
        Where the tests are run.
    area : Area
        Its modules and tests.
    kept : Path
        Folder of what earlier runs found.

    Returns
    -------
    dict
        ``lines``: by module and line the tests that run it; ``seconds``: of work by test, of those
        that pass; ``failed``: those that do not.

    Raises
    ------
    RuntimeError
        When the tests cannot be run.
    """
    tests = list(map(str, _files(bench.root, (_READS_CODE, *area.tests))))
    modules = _files(bench.root, area.modules)
    state = sha256()
    for path in sorted([*modules, *map(Path, tests)]):
        state.update(str(path).encode() + (bench.root / path).read_bytes())
    target = kept / f"{state.hexdigest()[:20]}.json"
    if not target.exists():
        kept.mkdir(parents=True, exist_ok=True)
        names = [str(bench.root / path) for path in modules]
        bench.run([*tests, "--maxfail=1000"], _Mapping(names, target), 3600)
    found: dict[str, Any] = json.loads(target.read_text("utf-8")) if target.exists() else {}
    if not found.get("lines"):
        target.unlink(missing_ok=True)
        raise RuntimeError(f"no test runs: {bench.said.read_text('utf-8')[-2000:]}")
    return found


def _tests_for(mutant: Mutant, found: Mapping[str, Any]) -> list[str]:
    """Return the tests that may notice a fault, quickest first: those that run its line.

    Where none does but in being imported, as with a constant, those that run its module.
    """
    seconds = found["seconds"]
    lines = found["lines"].get(mutant.path.as_posix(), {})
    near = set(lines.get(str(mutant.line), ())) & seconds.keys()
    near = (
        near
        or {test for tests in lines.values() for test in tests} & seconds.keys()
        or set(seconds)
    )
    # They read the text of the code, and so run no line of it.
    always = [test for test in seconds if test.startswith(_READS_CODE)]
    # Tests that share what a fixture made once are not seen to run what it did.
    files = {test.partition("::")[0] for test in near}
    beside = {test for test in seconds if test.partition("::")[0] in files} - near
    ordered = [*sorted(near, key=seconds.get), *always, *sorted(beside, key=seconds.get)]
    taken: list[str] = []
    total = 0.0
    for test in ordered:
        total += seconds[test]
        if taken and total > _MOST_TEST_SECONDS:
            break
        taken.append(test)
    return taken


def _equal() -> set[str]:
    """Return the names of faults that nothing could notice; the line after each says why."""
    if not EQUAL.exists():
        return set()
    lines = EQUAL.read_text("utf-8").splitlines()
    return {line.removeprefix("- ") for line in lines if line.startswith("- ")}


def judge(
    bench: Bench, mutants: Sequence[Mutant], found: Mapping[str, Any], equal: Iterable[str] = ()
) -> Iterator[Judged]:
    """Put faults into the copy one by one, run the tests that may notice each, and yield outcomes.

    What shows only when a function is called is put into the function itself, in a process in
    which all tests are at hand already; for the others, all is imported anew.

    Parameters
    ----------
    bench : Bench
        With the copy.
    mutants : sequence of Mutant
        The faults.
    found : mapping
        From `lines_of`.
    equal : iterable of str
        Names of faults that nothing could notice.
    """
    yield from (Judged(mutant, "equal") for mutant in mutants if mutant.name in equal)
    left = [mutant for mutant in mutants if mutant.name not in equal]
    quick = [mutant for mutant in left if mutant.in_function and not _runs_early(mutant, found)]
    tried = _Tried(bench, [(mutant, _tests_for(mutant, found)) for mutant in quick], found)
    files = dict.fromkeys(test.partition("::")[0] for test in found["seconds"])
    if quick and (code := bench.run(list(files), tried, 36000)):
        raise RuntimeError(f"the tests end with {code}: {bench.said.read_text('utf-8')[-2000:]}")
    for mutant, code in zip(quick, tried.codes(), strict=True):
        yield Judged(mutant, "noticed" if code else "survived")
    for mutant in left:
        if mutant not in quick:
            yield _judged_anew(bench, mutant, found)


def _runs_early(mutant: Mutant, found: Mapping[str, Any]) -> bool:
    """Whether a fault lies in what is called while modules are imported."""
    lines = found["lines"].get(mutant.path.as_posix(), {})
    return "" in lines.get(str(mutant.line), ())


class _Tried:
    """Tries faults in processes made of one in which all tests were collected."""

    def __init__(
        self,
        bench: Bench,
        chosen: Sequence[tuple[Mutant, Sequence[str]]],
        found: Mapping[str, Any],
    ) -> None:
        self._root, self._chosen, self._seconds = bench.root, chosen, found["seconds"]
        self._target = bench.root.parent / "codes.txt"

    def codes(self) -> list[int]:
        """Return the exit codes of the faults' tests."""
        lines = self._target.read_text("utf-8").split() if self._chosen else ()
        return [int(line) for line in lines]

    def pytest_runtestloop(self, session: Any) -> bool:  # noqa: ANN401  of pytest
        """Run tests with each fault; called by pytest in the place of running all once."""
        items = {item.nodeid: item for item in session.items}
        with self._target.open("w", encoding="utf-8") as codes:
            for mutant, tests in self._chosen:
                cpu = 10 + 3 * sum(self._seconds[test] for test in tests)
                work = partial(self._work, mutant, [items[t] for t in tests if t in items], session)
                print(_in_child(work, cpu), file=codes, flush=True)
        return True

    def _work(self, mutant: Mutant, items: Sequence[Any], session: Any) -> int:  # noqa: ANN401
        _put_in(mutant.code, str(self._root / mutant.path))
        for item, following in zip(items, [*items[1:], None], strict=True):
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            if session.testsfailed:
                return 1
        return 0


def _put_in(code: CodeType, file: str) -> None:
    """Give the functions of an imported module the code of the same module with a fault."""
    codes = {(one.co_qualname, one.co_firstlineno): one for one in _codes_in(code)}
    for thing in gc.get_objects():
        if type(thing) is FunctionType and thing.__code__.co_filename == file:
            own = thing.__code__
            thing.__code__ = codes[own.co_qualname, own.co_firstlineno]


def _codes_in(code: CodeType) -> Iterator[CodeType]:
    yield code
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield from _codes_in(constant)


def _judged_anew(bench: Bench, mutant: Mutant, found: Mapping[str, Any]) -> Judged:
    tests = _tests_for(mutant, found)
    cpu = 20 + 4 * sum(found["seconds"][test] for test in tests)
    file = bench.root / mutant.path
    sound = file.read_bytes()
    file.write_text(mutant.text, "utf-8")
    try:
        files = dict.fromkeys(test.partition("::")[0] for test in tests)
        code = bench.run(list(files), _Chosen(tests), cpu)
    finally:
        file.write_bytes(sound)
    if code == 5:
        raise RuntimeError(f"no test was run for {mutant.name}")
    return Judged(mutant, "noticed" if code else "survived")


def _row(name: str, area: Area, judged: Sequence[Judged]) -> str:
    counted = [one for one in judged if one.outcome != "equal"]
    survived = sum(one.outcome == "survived" for one in counted)
    low, high = wilson_pct(survived, len(counted))
    share = 100 * survived / max(1, len(counted))
    equal = len(judged) - len(counted)
    return (
        f"| {name} | {len(counted)} | {survived} | {share:.1f} % ({low:.1f} to {high:.1f}) "
        f"| {equal} | under {area.aim_pct} % |"
    )


def _without_fault(bench: Bench, mutant: Mutant) -> Mutant:
    """Return the same module without a fault: it must survive, or the tests count for nothing."""
    text = (bench.root / mutant.path).read_text("utf-8")
    return replace(
        mutant,
        before="no fault",
        after="no fault",
        text=ast.unparse(ast.parse(text)),
        code=compile(text, str(mutant.path), "exec"),
    )


_HEAD = (
    "| area | faults | survived | share (95 %) | equal ones left out | aim |\n"
    "|---|---|---|---|---|---|"
)


def main() -> None:
    """Draw, judge and print the table with the survivors below it."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--area", action="append", choices=sorted(AREAS))
    parser.add_argument("--count", type=int, default=60, help="faults of an area")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--kept", type=Path, default=Path(tempfile.gettempdir()) / "spotlamp-mutate"
    )
    args = parser.parse_args()
    for name in _WARM:
        with suppress(ImportError):
            __import__(name)
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(ROOT, Path(folder))
        names = args.area or list(AREAS)
        rows = [_row(name, AREAS[name], _judged(bench, name, args)) for name in names]
    print("\n".join([_HEAD, *rows]))


def _judged(bench: Bench, name: str, args: argparse.Namespace) -> list[Judged]:
    found = lines_of(bench, AREAS[name], args.kept)
    if found["failed"]:
        print(f"{name}: fail without any fault, and are not run: {', '.join(found['failed'])}")
    faults = drawn(bench.root, AREAS[name], args.count, args.seed)
    shown = {mutant.in_function: _without_fault(bench, mutant) for mutant in faults}
    judged = []
    for one in judge(bench, [*shown.values(), *faults], found, _equal()):
        if one.mutant in shown.values():
            if one.outcome != "survived":
                raise RuntimeError(f"{name}: tests fail with {one.mutant.path} without a fault")
            continue
        judged.append(one)
        if one.outcome == "survived":
            print(f"{name}: survived at line {one.mutant.line}: {one.mutant.name}", flush=True)
    return judged


if __name__ == "__main__":
    main()
