"""Put small faults into the code, one at a time, and count how many of them no test notices.

    python -m scripts.workshop attack mutate [--area care] [--count 60] [--seed 1] [--looks 1]

For each area a random sample of places of its code is drawn, and one fault at each (`mutants`). The
tests that run the place, quickest first, are run on a copy of the checkout. What none of them
notices is looked at a second time, in a fresh process: by the other tests of the area, and by those
tests of other parts that run the place. What none of these notices either has survived. Faults that
nothing could notice stand with their reasons in ``equal_mutants.txt`` and are not counted. Needs
``pip install -e '.[mutate]'``. To see which test runs which line takes some minutes an area and is
kept for the next run; then it is some seconds of one core a fault.
"""

import argparse
import ast
import math
import random
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from scripts.workshop.attack.areas import AREAS, Area
from scripts.workshop.attack.bench import ROOT, Bench, files_like, lines_of
from scripts.workshop.attack.judging import Judged, judge, second_look
from scripts.workshop.attack.mutants import Module, Mutant

__all__ = ["drawn", "share_of", "wilson_pct"]

EQUAL = Path(__file__).with_name("equal_mutants.txt")
_WARM = (
    "numpy", "cv2", "PIL.Image", "pillow_heif", "sqlalchemy", "sqlalchemy.dialects.sqlite",
    "alembic.config", "typer.testing", "hypothesis", "tomlkit", "tzlocal", "icalendar", "rich",
)  # fmt: skip


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
        Module(path, (root / path).read_text("utf-8")) for path in files_like(root, area.modules)
    ]
    places = [(module, place) for module in modules for place in module.places]
    chosen = chance.sample(places, min(count, len(places)))
    return [module.mutant(chance.choice(place)) for module, place in chosen]


def _equal() -> set[str]:
    """Return the names of faults that nothing could notice; the line after each says why."""
    if not EQUAL.exists():
        return set()
    lines = EQUAL.read_text("utf-8").splitlines()
    return {line.removeprefix("- ") for line in lines if line.startswith("- ")}


def _row(name: str, area: Area, looks: Sequence[Sequence[Judged]]) -> str:
    shares = " | ".join(share_of(judged) for judged in looks)
    counted = [one for one in looks[0] if one.outcome != "equal"]
    equal = len(looks[0]) - len(counted)
    return f"| {name} | {len(counted)} | {shares} | {equal} | under {area.aim_pct} % |"


def share_of(judged: Sequence[Judged]) -> str:
    """Return how many survived, with their share of those that are not equal."""
    counted = [one for one in judged if one.outcome != "equal"]
    survived = sum(one.outcome == "survived" for one in counted)
    low, high = wilson_pct(survived, len(counted))
    share = 100 * survived / max(1, len(counted))
    return f"{survived} = {share:.1f} % ({low:.1f} to {high:.1f})"


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


_LOOKS = ("survived the first look (95 %)", "and the second (95 %)")


def main() -> None:
    """Draw, judge and print the table with the survivors below it."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--area", action="append", choices=sorted(AREAS))
    parser.add_argument("--count", type=int, default=60, help="faults of an area")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--looks", type=int, choices=(1, 2), default=2, help="1: no second look")
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
    head = ("area", "faults", *_LOOKS[: args.looks], "equal ones left out", "aim")
    print("\n".join([f"| {' | '.join(head)} |", "|---" * len(head) + "|", *rows]))


def _judged(bench: Bench, name: str, args: argparse.Namespace) -> list[list[Judged]]:
    """Return what became of the faults, by the first look, and where it is asked for by both."""
    area = AREAS[name]
    found = lines_of(bench, area, args.kept)
    if found["failed"]:
        print(f"{name}: fail without any fault, and are not run: {', '.join(found['failed'])}")
    faults = drawn(bench.root, area, args.count, args.seed)
    sound = list({one.in_function: _without_fault(bench, one) for one in faults}.values())
    first = list(judge(bench, [*sound, *faults], found, _equal()))
    if any(one.outcome != "survived" for one in first if one.mutant in sound):
        raise RuntimeError(f"{name}: tests fail without a fault")
    first = [one for one in first if one.mutant not in sound]
    left = [one.mutant for one in first if one.outcome == "survived"]
    for mutant in left:
        print(f"{name}: survived the first look at line {mutant.line}: {mutant.name}", flush=True)
    if args.looks == 1:
        return [first]
    others = lines_of(bench, replace(area, tests=area.others), args.kept) if left else {}
    if left and second_look(bench, sound[0], found, others).outcome != "survived":
        said = bench.said.read_text("utf-8")[-2000:]
        raise RuntimeError(f"{name}: tests fail without a fault: {said}")
    judged = [one for one in first if one.outcome != "survived"]
    for mutant in left:
        judged.append(second_look(bench, mutant, found, others))
        print(f"{name}: {judged[-1].outcome} at line {mutant.line}: {mutant.name}", flush=True)
    return [first, judged]


if __name__ == "__main__":
    main()
