"""A grower lives through an invented season with the command line alone, day by day.

What the garden really is like stays hidden: the grower knows only what is printed, does what each
printed task says, and logs it. The journal's photos are filed straight into it.
"""

import re
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from models.care import BurnVerdict, entry_of, verdict_of
from models.entries import PhotoEntry
from models.journal import open_journal

ZONE = ZoneInfo("Europe/Berlin")
FIRST = date(2025, 6, 2)
DAYS = 40
PLANTS = ("A1", "A2", "A3", "A4", "B1", "B2", "B3", "B4")
RAIN_MM = {5: 12.0, 17: 3.0, 18: 8.0, 31: 25.0}
TASK = re.compile(
    r"^  \[ \] (in the morning|by day|at night): (.*?)(?=^  \[ \]|^\S|\Z)", re.M | re.S
)


@dataclass
class Nature:
    """What is really going on: sickness that peroxide happens to stop, caterpillars, late blight.

    That peroxide stops it is this story's invention.
    """

    severity: dict = field(default_factory=lambda: dict.fromkeys(PLANTS, 0.2))
    growing: set = field(default_factory=lambda: {"A2", "B1", "B3"})
    late: set = field(default_factory=set)
    caterpillars: dict = field(default_factory=lambda: dict.fromkeys(PLANTS, 0))

    def passes(self, number):
        """Let a night pass."""
        for plant in self.growing:
            self.severity[plant] = min(35.0, self.severity[plant] * 1.5)
        if number == 12:
            self.late.add("B4")
            self.severity["B4"] = 9.0
        if number == 20:
            self.caterpillars["A3"] = 2


@dataclass(frozen=True)
class Printed:
    """A task as it was printed."""

    part: str
    what: str
    why: str
    locked: bool


def printed_tasks(text):
    """Return the tasks that stand in a text, read as a person reads them."""
    tasks = []
    for part, body in TASK.findall(text):
        words = " ".join(body.split())
        what, _, rest = words.partition(" Why: ")
        locked = " Not before " in what
        tasks.append(Printed(part, what.split(" Not before ")[0], rest, locked))
    return tasks


class Grower:
    """Reads what is printed, does it, logs it."""

    def __init__(self, spotlamp, folder):
        self.run = spotlamp
        self.folder = folder
        self.nature = Nature()
        self.read: list[tuple[int, Printed]] = []
        self.number = 0

    def at(self, clock):
        """Return a time of the present day as one types it."""
        return f"{FIRST + timedelta(days=self.number)} {clock}"

    def when(self, clock):
        """Return a time of the present day."""
        return datetime.fromisoformat(self.at(clock)).replace(tzinfo=ZONE)

    def log(self, words, clock):
        """Log something and return what was said."""
        return self.run("log", *words.split(), "--at", self.at(clock)).output

    def live(self, number):
        """Live through one day: the morning's list, the evening's list."""
        self.number = number
        self.nature.passes(number)
        if number == 13:
            self.photograph(["B4"], "06:30")  # a leaf looked odd
        for clock in ("07:00", "09:50", "21:30"):
            self.follow(clock)
        if number in RAIN_MM:
            self.log(f"rain {RAIN_MM[number]}mm", "15:00")

    def follow(self, clock):
        """Print today's list and do what it says."""
        text = self.run("today", "--at", self.at(clock)).output
        for task in printed_tasks(text):
            if (task.part == "at night") == (clock == "21:30") and not task.locked:
                self.read.append((self.number, task))
                self.do(task, clock)

    def do(self, task, clock):
        """Do what a task says, by its own words."""
        for pattern, action in self.ACTIONS:
            match = re.match(pattern, task.what)
            if match:
                action(self, self.names(match[1]), clock)
                return
        pytest.fail(f"nobody could know what to do: {task.what}")

    @staticmethod
    def names(words):
        """Return the plants that a sentence names."""
        return list(PLANTS) if "all plants" in words else re.findall(r"\b[AB]\d\b", words)

    def prevent(self, plants, clock):
        """Spray soda."""
        targets = "all" if plants == list(PLANTS) else " ".join(plants)
        self.log(f"spray soda {targets}", "07:45" if clock == "07:00" else "09:55")

    def cure(self, plants, clock):
        """Spray peroxide, which in this story stops the disease."""
        self.log(f"spray peroxide {' '.join(plants)}", "07:30" if clock == "07:00" else "09:55")
        self.nature.growing -= set(plants)

    def check(self, plants, clock):
        """Compare photos with an unsprayed plant; no burn in this story."""
        with open_journal(self.folder) as journal:
            spray = [e for e in journal.log_entries(kind="spray") if e.product == "peroxide"][-1]
            seen = BurnVerdict(
                "no burn seen", plants[0], spray.number, self.when(clock), {"new_pale_pct": 0.1}
            )
            journal.log(entry_of(seen))

    def photograph(self, plants, clock):
        """File a photo of each plant as it stands."""
        with open_journal(self.folder) as journal:
            for plant in plants:
                journal.file_reading(self.photo(plant, clock))

    def photo(self, plant, clock):
        """Return what a photo of a plant would measure."""
        share, late = self.nature.severity[plant], plant in self.nature.late
        name = f"{plant}/{self.at(clock).replace(':', '-')}.jpg"
        return PhotoEntry(
            *(name, name, self.when(clock)),
            plant=plant,
            plant_from="folder",
            version="1",
            severity_pct=share,
            severity_low_pct=max(0.0, share - 0.5 - 0.03 * share),
            severity_high_pct=share + 0.5 + 0.03 * share,
            pattern="blight" if late else "spot" if share > 1 else "none",
            blight_kind="late" if late else "",
            frass_count=3 * self.nature.caterpillars[plant],
        )

    def look_at_night(self, plants, clock):
        """Photograph plants under the UV torch."""
        with open_journal(self.folder) as journal:
            for plant in plants:
                count = self.nature.caterpillars[plant]
                name = f"{plant}/night-{self.number}.jpg"
                journal.file_reading(
                    PhotoEntry(
                        *(name, name, self.when(clock)),
                        plant=plant,
                        plant_from="folder",
                        version="1",
                        mode="night",
                        caterpillar_count=count,
                        caterpillar_low=count,
                        caterpillar_high=count + 1,
                    )
                )

    def pick(self, plants, clock):
        """Pick all but the one that is missed at first."""
        for plant in plants:
            found = max(1, self.nature.caterpillars[plant] - 1)
            self.nature.caterpillars[plant] -= found
            self.log(f"pick {found} {plant}", clock)

    def isolate(self, plants, clock):
        """Take the plant out, two days after the clinic has seen it."""
        if self.number == 16:
            self.log(f"seen gone {' '.join(plants)}", clock)

    ACTIONS = (
        (r"Spray (.*) with the preventive soda mix", prevent),
        (r"Spot-test (\w+): photograph", cure),
        (r"Spray (.*) with the 3 % peroxide mix", cure),
        (r"Look at (.*) for burn", check),
        (r"(Photograph .*|Look at the neighbours of .*|Take better photos of .*)", photograph),
        (r"Pick the caterpillars off (.*) by hand", pick),
        (r"Look at (.*) (?:tonight|once more at night|again tonight)", look_at_night),
        (r"Isolate (\w+):", isolate),
    )


@pytest.fixture(scope="module")
def grower(tmp_path_factory):
    """Live through the season."""
    from typer.testing import CliRunner

    from scripts.cli import app

    def run(*arguments):
        result = CliRunner().invoke(app, [str(argument) for argument in arguments])
        assert result.exit_code == 0, f"{arguments}\n{result.output}\n{result.exception!r}"
        return result

    folder = tmp_path_factory.mktemp("season") / "beds"
    beds = ("--bed", "North=A1,A2,A3,A4", "--bed", "South=B1,B2,B3,B4")
    run("new", folder, *beds, "--time-zone", "Europe/Berlin")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        grower = Grower(run, folder)
        for number in range(DAYS):
            grower.live(number)
        yield grower


def kinds(grower):
    return {what for _, task in grower.read for what in [task.what.split()[0]]}


def logged(grower, kind):
    with open_journal(grower.folder) as journal:
        return journal.log_entries(kind=kind)


def sprays(grower, product):
    return [e for e in logged(grower, "spray") if e.product == product]


def day_of(entry):
    return (entry.at.date() - FIRST).days


def test_each_printed_task_names_what_plants_and_why(grower):
    assert len(grower.read) > 25
    for number, task in grower.read:
        assert task.what, number
        assert grower.names(task.what), task.what
        assert task.why.endswith((".", ".jpg")), task.why
        assert len(task.why) > 20


def test_every_kind_of_task_came_up(grower):
    assert kinds(grower) >= {"Spray", "Spot-test", "Look", "Photograph", "Pick", "Isolate"}


def test_one_plant_was_tested_before_any_other_got_peroxide(grower):
    first, *others = sprays(grower, "peroxide")
    assert len(first.plants) == 1
    assert others
    looks = [verdict_of(entry).checked_at for entry in logged(grower, "burn_check")]
    for spray in others:
        look = min(at for at in looks if at - first.at >= timedelta(hours=24))
        assert spray.at - look >= timedelta(hours=24)  # one more day after the look
    treated = {plant for spray in [first, *others] for plant in spray.plants}
    assert treated == {"A2", "B1", "B3"}


def test_each_plant_that_got_peroxide_was_looked_at_for_burn(grower):
    looked = [(v.plant, v.spray) for v in map(verdict_of, logged(grower, "burn_check"))]
    for spray in sprays(grower, "peroxide"):
        assert set(looked) >= {(plant, spray.number) for plant in spray.plants}


def test_products_were_two_days_apart(grower):
    made = sorted([*sprays(grower, "soda"), *sprays(grower, "peroxide")], key=lambda e: e.at)
    for earlier, later in pairwise(made):
        if earlier.product != later.product:
            assert later.at - earlier.at >= timedelta(hours=48)


def test_after_each_rain_and_at_least_every_two_weeks_prevention_was_sprayed(grower):
    made = [day_of(spray) for spray in sprays(grower, "soda")]
    for rained in RAIN_MM:
        assert any(rained < day <= rained + 5 for day in made), rained
    assert max(b - a for a, b in pairwise(made)) <= 14 + 5


def test_the_plant_with_late_blight_was_never_sprayed_again_and_its_neighbours_were_looked_at(
    grower,
):
    seen = min(number for number, task in grower.read if task.what.startswith("Isolate B4"))
    assert seen == 13
    after = [e for p in ("soda", "peroxide") for e in sprays(grower, p) if day_of(e) > seen]
    assert all("B4" not in spray.plants for spray in after)
    assert any("neighbours of B4" in task.what for _, task in grower.read)


def test_the_caterpillars_were_found_by_their_droppings_picked_and_looked_for_again(grower):
    about = [task.what for _, task in grower.read if "A3" in task.what]
    order = [
        next(n for n, what in enumerate(about) if re.search(words, what))
        for words in ("tonight with the UV", "Pick the caterpillars", "once more at night")
    ]
    assert order == sorted(order)
    assert sum(what.startswith("Pick") for what in about) == 2  # one was missed at first
    assert grower.nature.caterpillars["A3"] == 0


def test_at_the_end_nothing_was_against_a_rule_and_the_treated_plants_stand_under_watch(grower):
    grower.number = DAYS
    plan = grower.run("plan", "--at", grower.at("06:00")).output
    assert "Logged against a rule" not in plan
    flags = grower.run("flag", "--at", grower.at("06:00")).output
    assert not re.search(r"^\S+ +B4", flags, re.M)
    for plant in ("A2", "B1", "B3"):
        assert re.search(rf"{plant} +(watch|prevent)", flags)
