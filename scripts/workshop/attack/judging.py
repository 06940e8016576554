"""Judge a fault: run the tests that may notice it, the quickest first, and see whether one does."""

import gc
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from types import CodeType, FunctionType
from typing import Any

from scripts.workshop.attack.bench import (
    ALL_TESTS,
    CRASHED,
    IN_ONE_PROCESS,
    READS_CODE,
    Bench,
    in_child,
)
from scripts.workshop.attack.mutants import Mutant

__all__ = ["Judged", "judge", "second_look"]

_NO_TESTS = 5  # pytest's code
_MOST_TEST_SECONDS = 25.0
_MOST_OTHER_SECONDS = 40.0


@dataclass(frozen=True)
class Judged:
    """What became of a fault: ``noticed``, ``survived`` or ``equal``."""

    mutant: Mutant
    outcome: str


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
    if quick and (code := bench.run(_files_of(found["seconds"]), tried, 36000)):
        raise RuntimeError(f"the tests end with {code}: {bench.said.read_text('utf-8')[-2000:]}")
    codes = dict(zip(quick, tried.codes(), strict=True))
    for mutant in left:
        code = codes.get(mutant, CRASHED)
        if code == CRASHED:
            tests = _tests_for(mutant, found)
            chosen = _Chosen(tests, found["failed"], found)
            cpu = 30 + 4 * sum(found["seconds"][test] for test in tests)
            code = _run_anew(bench, mutant, _files_of(tests), chosen, cpu)
        yield Judged(mutant, "noticed" if code else "survived")


def second_look(
    bench: Bench, mutant: Mutant, found: Mapping[str, Any], others: Mapping[str, Any]
) -> Judged:
    """Judge a fault by the other tests of its area, and by those of others that run its line.

    Parameters
    ----------
    bench : Bench
        With the copy.
    mutant : Mutant
        The fault, which the quickest tests that run its line have not noticed.
    found, others : mapping
        From `lines_of`: of the tests of the area, and of the tests of other parts.
    """
    seconds: dict[str, float] = {**others["seconds"], **found["seconds"]}
    near = sorted(_near(mutant, others) - found["seconds"].keys(), key=seconds.__getitem__)
    own = sorted(found["seconds"].keys() - set(_tests_for(mutant, found)), key=seconds.__getitem__)
    tests = [*own, *_within(_MOST_OTHER_SECONDS, near, seconds)]
    chosen = _Chosen(tests, [*found["failed"], *others["failed"]], found)
    files = _files_of([*tests, *found["seconds"]])
    cpu = 60 + 4 * sum(seconds[test] for test in tests)
    code = _run_anew(bench, mutant, files, chosen, cpu, ALL_TESTS)
    return Judged(mutant, "survived" if code in (0, _NO_TESTS) else "noticed")


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
        self._bench, self._chosen, self._seconds = bench, chosen, found["seconds"]
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
                sound = (self._bench.root / mutant.path).read_text("utf-8")
                chosen = [items[test] for test in tests if test in items]
                work = partial(self._work, mutant, sound, chosen, session)
                with self._bench.with_fault(mutant):
                    print(in_child(work, cpu), file=codes, flush=True)
        return True

    def _work(
        self,
        mutant: Mutant,
        sound: str,
        items: Sequence[Any],
        session: Any,  # noqa: ANN401
    ) -> int:
        _put_in(mutant, sound, str(self._bench.root / mutant.path))
        for item, following in zip(items, [*items[1:], None], strict=True):
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            if session.testsfailed:
                return 1
        return 0


def _put_in(mutant: Mutant, sound: str, file: str) -> None:
    """Give the functions of a module the code of the same module with a fault.

    Raises
    ------
    RuntimeError
        When no function changes thereby: the module is not imported yet, or elsewhere.
    """
    pairs = zip(_codes_in(compile(sound, file, "exec")), _codes_in(mutant.code), strict=True)
    codes = dict(pairs)
    changed = False
    for thing in gc.get_objects():
        if type(thing) is FunctionType and thing.__code__.co_filename == file:
            own, thing.__code__ = thing.__code__, codes[thing.__code__]
            changed |= own != thing.__code__
    if not changed and any(own != other for own, other in codes.items()):
        raise RuntimeError("no function has the fault")


def _codes_in(code: CodeType) -> Iterator[CodeType]:
    yield code
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield from _codes_in(constant)


class _Chosen:
    """Runs chosen tests alone, in their order; then any with processes of their own.

    Those are not chosen one by one, for nothing is seen of what their processes run.
    """

    def __init__(self, tests: Sequence[str], failed: Sequence[str], own: Mapping[str, Any]) -> None:
        self._place = {name: at for at, name in enumerate(tests)}
        self._failed, self._files = set(failed), _files_of(own["seconds"])

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        """Leave out the others; called by pytest."""
        items[:] = sorted(
            (item for item in items if item.nodeid in self._place or self._is_unseen(item)),
            key=lambda item: self._place.get(item.nodeid, len(self._place)),
        )

    def _is_unseen(self, item: Any) -> bool:  # noqa: ANN401  of pytest
        is_own = item.nodeid.partition("::")[0] in self._files
        return is_own and "processes" in item.keywords and item.nodeid not in self._failed


def _files_of(tests: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(test.partition("::")[0] for test in tests))


def _run_anew(
    bench: Bench,
    mutant: Mutant,
    files: Sequence[str],
    chosen: _Chosen,
    cpu_seconds: float,
    marked: Sequence[str] = IN_ONE_PROCESS,
) -> int:
    """Run tests with a fault in a process that imports all anew; return their exit code."""
    with bench.with_fault(mutant):
        code = bench.run(files, chosen, cpu_seconds, marked)
    if code == CRASHED:
        said = bench.said.read_text("utf-8")[-2000:]
        raise RuntimeError(f"no test was run for {mutant.name}: {said}")
    return code


def _tests_for(mutant: Mutant, found: Mapping[str, Any]) -> list[str]:
    """Return the tests that may notice a fault, quickest first: those that run its line.

    Where none does but in being imported, as with a constant, those that run its module.
    """
    seconds = found["seconds"]
    near = _near(mutant, found) or set(seconds)
    # They read the text of the code, and so run no line of it.
    always = [test for test in seconds if test.startswith(READS_CODE)]
    # Tests that share what a fixture made once are not seen to run what it did.
    files = {test.partition("::")[0] for test in near}
    beside = {test for test in seconds if test.partition("::")[0] in files} - near
    ordered = [*sorted(near, key=seconds.get), *always, *sorted(beside, key=seconds.get)]
    return _within(_MOST_TEST_SECONDS, ordered, seconds)


def _near(mutant: Mutant, found: Mapping[str, Any]) -> set[str]:
    """Return the tests that run a fault's line, or where none does, those that run its module."""
    lines = found["lines"].get(mutant.path.as_posix(), {})
    known = found["seconds"].keys()
    near: set[str] = set(lines.get(str(mutant.line), ())) & known
    return near or {test for tests in lines.values() for test in tests} & known


def _within(most: float, tests: Sequence[str], seconds: Mapping[str, float]) -> list[str]:
    """Return the first tests that together take no longer than so many seconds, at least one."""
    taken: list[str] = []
    total = 0.0
    for test in tests:
        total += seconds[test]
        if taken and total > most:
            break
        taken.append(test)
    return taken
