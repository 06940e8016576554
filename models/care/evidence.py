"""What is known of one plant at one moment: the facts that the decision table asks about."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from models.care.alarms import Alarm, alarm_of, sudden_rise
from models.care.enough import is_uncertain, leaves_to_settle
from models.care.mornings import rests_until
from models.care.peroxide import Gate, burned_on, gate_of, look_at, open_checks
from models.care.prevention import Due, due_for
from models.care.records import BurnVerdict
from models.care.season import PEROXIDE, Season, hours_between
from models.care.thresholds import Thresholds
from models.care.visits import Visit
from models.entries import LogEntry

__all__ = ["Evidence", "evidence_of", "needs_care"]


@dataclass(frozen=True)
class Evidence:
    """The facts about one plant.

    Attributes
    ----------
    plant : str
        Its name.
    limits : Thresholds
        The garden's.
    today : date
        The garden's day.
    visit : Visit or None
        The last measured day.
    alarm : Alarm or None
        What isolates it.
    sudden : str
        A fast rise that too few leaves show to isolate the plant for it, as words; or empty.
    spray : LogEntry or None
        Its last peroxide spray.
    hours_since_spray : float or None
        Hours since then.
    rests_until : date or None
        First morning on which it may be sprayed again after that.
    check : BurnVerdict or None
        What the look at this plant for burn of that spray says.
    awaits_look : bool
        Whether that look is still to be made.
    burn : BurnVerdict or None
        A burn within the pause after it.
    gate : Gate
        Whether peroxide may go on further plants of the garden.
    returned : bool or None
        Whether it is sicker than after its last peroxide; None where it had none.
    due : Due
        Its next preventive spray.
    season_over : bool
        Whether nothing at all was photographed or logged for long.
    wants_test : bool
        Whether the grower chose this plant for the spot-test.
    test_plant : str
        The plant that the rule, or the grower, chose for the spot-test; empty: none.
    """

    plant: str
    limits: Thresholds
    today: date
    visit: Visit | None
    alarm: Alarm | None
    sudden: str
    spray: LogEntry | None
    hours_since_spray: float | None
    rests_until: date | None
    check: BurnVerdict | None
    awaits_look: bool
    burn: BurnVerdict | None
    gate: Gate
    returned: bool | None
    due: Due
    season_over: bool = False
    wants_test: bool = False
    test_plant: str = ""

    @property
    def more_leaves(self) -> int | None:
        """Leaves to photograph on one day where further ones help; None where they would not.

        So many as would settle an uncertain interval, and at least those of a walk.
        """
        if self.visit is None:
            return None
        if is_uncertain(self.visit, self.limits):
            return leaves_to_settle(self.visit, self.limits)
        usual = self.limits.walk_leaves
        return usual if self.visit.leaf_count < usual else None

    @property
    def age_days(self) -> int | None:
        """Days since the last measured photo; None where nobody knows its day."""
        known = self.visit is not None and self.visit.is_dated
        return (self.today - self.visit.day).days if self.visit and known else None

    @property
    def is_looked_after(self) -> bool:
        """Whether a look is young enough to spray preventively by."""
        age = self.age_days
        return age is not None and age <= self.limits.photo_days

    def choosing(self, test_plant: str, *, by_grower: bool) -> "Evidence":
        """Return the evidence with the garden's choice of the plant to test."""
        wants = by_grower and test_plant == self.plant
        return replace(self, test_plant=test_plant, wants_test=wants)


def evidence_of(season: Season) -> Mapping[str, Evidence]:
    """Return the facts of every plant, before anyone chose the plant to test."""
    gate = gate_of(season)
    awaiting = {plant for check in open_checks(season) for plant in check.plants}
    return {
        plant: _of(season, plant, gate, awaits_look=plant in awaiting) for plant in season.plants
    }


def _of(season: Season, plant: str, gate: Gate, *, awaits_look: bool) -> Evidence:
    sprays = season.sprays(PEROXIDE, plant)
    spray = sprays[-1] if sprays else None
    looks = season.visits[plant]
    return Evidence(
        plant=plant,
        limits=season.limits,
        today=season.today,
        visit=looks[-1] if looks else None,
        alarm=alarm_of(season, plant),
        sudden=sudden_rise(season, plant),
        spray=spray,
        hours_since_spray=None if spray is None else hours_between(spray.at, season.now),
        rests_until=None if spray is None else rests_until(season, spray),
        check=None if spray is None else look_at(season, spray, plant),
        awaits_look=awaits_look,
        burn=burned_on(season, plant),
        gate=gate,
        returned=None if spray is None else _returned(season, plant, spray),
        due=due_for(season, plant),
        season_over=season.is_over,
    )


def needs_care(evidence: Evidence) -> bool:
    """Whether a plant is sick enough to matter, and not merely marked by a treated disease.

    Killed tissue never turns green again, so a treated plant counts only when it is sicker than
    after its treatment.
    """
    visit = evidence.visit
    if visit is None or evidence.alarm is not None:
        return False
    return visit.severity_pct >= evidence.limits.sick_pct and evidence.returned is not False


def _returned(season: Season, plant: str, spray: LogEntry) -> bool:
    """Whether the last look is surely sicker than the look that stands for the treatment."""
    looks = season.visits[plant]
    baseline = _baseline(season, plant, spray, looks)
    if baseline is None or looks[-1].day <= baseline.day:
        return False
    settled = looks[-1].day > spray.at.date() + timedelta(days=season.limits.again_days)
    return settled and looks[-1].low_pct > baseline.high_pct


def _baseline(
    season: Season, plant: str, spray: LogEntry, looks: tuple[Visit, ...]
) -> Visit | None:
    """Return the look with which later ones are compared.

    The last one within a week of the spray, since what was infected before it still comes out; the
    first one after that where there is none; and the first one after the sickest leaves were taken
    off, where they were.
    """
    sprayed = spray.at.date()
    stripped = [e.at.date() for e in season.entries("removed_leaves", plant)]
    since = max([day for day in stripped if day >= sprayed], default=None)
    if since is not None:
        return next((visit for visit in looks if visit.day >= since), None)
    settled = sprayed + timedelta(days=season.limits.again_days)
    until = [visit for visit in looks if visit.day <= settled]
    return until[-1] if until else next(iter(looks), None)
