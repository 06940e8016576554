"""A copy of a checkout in which tests run, with a fault or none, and are seen to run lines."""

import json
import math
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from typing import Any

from scripts.workshop.attack.areas import Area
from scripts.workshop.attack.mutants import Mutant

__all__ = [
    "ALL_TESTS",
    "CRASHED",
    "IN_ONE_PROCESS",
    "READS_CODE",
    "ROOT",
    "Bench",
    "files_like",
    "in_child",
    "lines_of",
]

ROOT = Path(__file__).parents[3]
READS_CODE = "tests/test_records.py"
CRASHED = 70
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
    "-q", "-n0", "-x", "-p", "no:cacheprovider", "--hypothesis-seed=0",
    "-W", "ignore::pytest.PytestAssertRewriteWarning",
)  # fmt: skip
# Tests with processes of their own are slow, and nothing is seen of what those run: asked last.
IN_ONE_PROCESS = ("-m", "not processes and not browser")
ALL_TESTS = ("-m", "not browser")


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

    def run(
        self,
        files: Sequence[str],
        plugin: object,
        cpu_seconds: float,
        marked: Sequence[str] = IN_ONE_PROCESS,
    ) -> int:
        """Run tests with a plugin; return pytest's exit code, or minus a signal's number."""
        return in_child(lambda: self._tests([*marked, *files], plugin), cpu_seconds)

    @contextmanager
    def with_fault(self, mutant: Mutant) -> Iterator[None]:
        """Put a fault into the copy's files, and take it out again."""
        file = self.root / mutant.path
        sound = file.read_bytes()
        file.write_text(mutant.text, "utf-8")
        try:
            yield
        finally:
            file.write_bytes(sound)

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

            _wait_for_examples()
            options = [*_OPTIONS, "--rootdir", str(self.root), "--basetemp", f"{scratch}/tests"]
            return int(pytest.main([*options, *files], plugins=[plugin]))


def _wait_for_examples() -> None:
    """Let examples take their time: where others work beside us, slow is no fault."""
    from hypothesis import HealthCheck, settings

    settings.register_profile("bench", deadline=None, suppress_health_check=[HealthCheck.too_slow])
    settings.load_profile("bench")


def in_child(work: Callable[[], int], cpu_seconds: float) -> int:
    """Do work in a process of its own; return its exit code, or minus a signal's number.

    It is ``CRASHED`` where the work itself met an error.
    """
    sys.stdout.flush()
    pid = os.fork()
    if pid == 0:
        code = CRASHED
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

    def pytest_addoption(self) -> None:
        """Begin: the first that pytest asks for, before what it shares imports our modules."""
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
    tests = list(map(str, files_like(bench.root, (READS_CODE, *area.tests))))
    modules = files_like(bench.root, area.modules)
    state = sha256(Path(__file__).read_bytes())
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


def files_like(root: Path, patterns: Iterable[str]) -> list[Path]:
    """Return the files that fit any of some patterns, from the root, sorted."""
    return sorted({path.relative_to(root) for pattern in patterns for path in root.glob(pattern)})
