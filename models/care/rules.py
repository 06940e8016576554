"""The decision tables, written once: conditions, status, rule. The first row that fits counts.

The table of ``RULES.md`` is made from these rows, and each row has a test. A condition is a
question with its words; a row lists the conditions that must all hold.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

from models.care.caterpillars import NightEvidence
from models.care.choice import doubt_of, is_fresh, may_be_late
from models.care.evidence import Evidence, needs_care
from models.care.records import Status
from models.care.thresholds import Thresholds, filled

__all__ = [
    "LEAF_CONDITIONS",
    "LEAF_RULES",
    "NIGHT_CONDITIONS",
    "NIGHT_RULES",
    "Condition",
    "Rule",
    "first_fitting",
]

Facts = TypeVar("Facts")


@dataclass(frozen=True)
class Condition(Generic[Facts]):
    """A question about a plant.

    Attributes
    ----------
    words : str
        For the table; ``{name}`` stands for a threshold.
    holds : callable
        Answers it from the facts.
    """

    words: str
    holds: Callable[[Facts], bool]


@dataclass(frozen=True)
class Rule:
    """One row of a decision table.

    Attributes
    ----------
    name : str
        Unique.
    when : tuple of str
        Names of the conditions that must all hold.
    status : Status
        What the plant's status then is.
    ask : str
        What to do, as a sentence; empty where there is nothing to do. ``{plants}``: the plants.
    why : str
        The rule, as a sentence.
    task : str
        Kind of the task; empty where there is none.
    """

    name: str
    when: tuple[str, ...]
    status: Status
    ask: str
    why: str
    task: str = ""

    def said(self, limits: Thresholds) -> "Rule":
        """Return the row with the garden's thresholds in its reason."""
        return replace(self, why=filled(self.why, limits))


def first_fitting(
    rules: tuple[Rule, ...], conditions: Mapping[str, Condition[Facts]], facts: Facts
) -> Rule | None:
    """Return the first row all of whose conditions hold; None where no row fits."""
    fitting = (r for r in rules if all(conditions[name].holds(facts) for name in r.when))
    return next(fitting, None)


def _alarmed(kind: str) -> Callable[[Evidence], bool]:
    return lambda e: e.alarm is not None and e.alarm.kind == kind


def _severity(e: Evidence) -> float:
    return e.visit.severity_pct if e.visit else 0.0


def _has_blight_of_unsure_kind(e: Evidence) -> bool:
    return e.visit is not None and may_be_late(e.visit)


LEAF_CONDITIONS: Mapping[str, Condition[Evidence]] = {
    "late-like": Condition("a leaf looks like late blight", _alarmed("late")),
    "wilting": Condition("you saw it wilt", _alarmed("wilting")),
    "collapse": Condition(
        "severity rose by {collapse_points} points or more within {collapse_days} days, seen on "
        "{collapse_leaves} leaves or more",
        _alarmed("collapse"),
    ),
    "sudden": Condition("such a rise, seen on fewer leaves", lambda e: bool(e.sudden)),
    "peroxide acts": Condition(
        "sprayed with peroxide less than {wait_hours} hours ago",
        lambda e: e.hours_since_spray is not None and e.hours_since_spray < e.limits.wait_hours,
    ),
    "burned": Condition(
        "a burn was seen on it in the last {burn_pause_days} days", lambda e: e.burn is not None
    ),
    "unlooked": Condition(
        "sprayed with peroxide in the last {test_open_days} days, and not yet looked at for burn",
        lambda e: e.awaits_look,
    ),
    "cannot tell": Condition("the burn check could not tell", lambda e: e.check is not None),
    "resting": Condition(
        "sprayed with peroxide, and {between_hours} hours are not over",
        lambda e: e.rests_until is not None and e.today < e.rests_until,
    ),
    "season over": Condition(
        "nothing was photographed or logged for {quiet_days} days", lambda e: e.season_over
    ),
    "never measured": Condition("no measured photo", lambda e: e.visit is None),
    "undated": Condition(
        "all its last photos have no date but their file's",
        lambda e: e.visit is not None and not e.visit.is_dated,
    ),
    "old photo": Condition(
        "the last measured photo is older than {photo_days} days",
        lambda e: (e.age_days or 0) > e.limits.photo_days,
    ),
    "your choice": Condition("you chose it for the spot-test", lambda e: e.wants_test),
    "untested": Condition("no spot-test holds or is open", lambda e: e.gate.state == "untested"),
    "running": Condition(
        "another plant that was sprayed awaits its look for burn",
        lambda e: e.gate.state == "running",
    ),
    "settling": Condition(
        "a spot-test showed no burn, and one more day is not over",
        lambda e: e.gate.state == "settling",
    ),
    "passed": Condition(
        "a spot-test of the last {test_valid_days} days showed no burn",
        lambda e: e.gate.state == "passed",
    ),
    "blocked": Condition("a burn was seen in the garden", lambda e: e.gate.state == "blocked"),
    "sick": Condition("sick", needs_care),
    "not fresh": Condition("the photo is older than {fresh_days} days", lambda e: not is_fresh(e)),
    "flagged": Condition(
        "all its photos are flagged as doubtful",
        lambda e: e.visit is not None and bool(e.visit.doubts),
    ),
    "kind unsure": Condition(
        "blight-like, early or late not told apart", _has_blight_of_unsure_kind
    ),
    "doubtful": Condition(
        "the interval is wider than {wide_points} points or reaches below {sick_pct} %, or the "
        "pattern is unsure",
        lambda e: bool(doubt_of(e)),
    ),
    "can be settled": Condition(
        "fewer than {walk_leaves} leaves were photographed, or up to {most_leaves} would settle it",
        lambda e: e.more_leaves is not None,
    ),
    "chosen": Condition("the rule chose it for the spot-test", lambda e: e.test_plant == e.plant),
    "another chosen": Condition(
        "another plant was chosen for the spot-test", lambda e: bool(e.test_plant)
    ),
    "due": Condition(
        "its preventive spray is due",
        lambda e: e.limits.preventive != "none" and e.due.day <= e.today,
    ),
    "treated": Condition(
        "severity {sick_pct} % or more, treated, not sicker since",
        lambda e: e.returned is False and _severity(e) >= e.limits.sick_pct,
    ),
    "marked": Condition(
        "severity {watch_pct} % or more", lambda e: _severity(e) >= e.limits.watch_pct
    ),
    "else": Condition("nothing of all this", lambda e: True),
}

LEAF_RULES: tuple[Rule, ...] = (
    Rule(
        "late-blight-like",
        ("late-like",),
        "isolate",
        "Isolate {plants}: keep apart, touch last, bag what you cut, do not compost it, and show "
        "it to an extension service or plant clinic.",
        "Late blight spreads within days, so what looks like it is never spot-tested. It stays "
        "isolated until you log that it is over (seen cleared, seen gone), or two looks in a row, "
        "{isolate_days} days on and later, surely show it healthier and without blight.",
        "isolate",
    ),
    Rule(
        "wilting",
        ("wilting",),
        "isolate",
        "Isolate {plants}: water at the root first; if it does not stand up again, bag it, do not "
        "compost it, and show it to an extension service or plant clinic.",
        "A plant that wilts away is another matter than leaf spot, and is never spot-tested. It "
        "stays isolated until you log that it is over (seen cleared, seen gone).",
        "isolate",
    ),
    Rule(
        "collapse",
        ("collapse",),
        "isolate",
        "Isolate {plants}: keep apart, touch last, bag what you cut, do not compost it, and show "
        "it to an extension service or plant clinic.",
        "Leaf spot does not rise so fast, and a collapsing plant is never spot-tested. It stays "
        "isolated as what looks like late blight does.",
        "isolate",
    ),
    Rule(
        "peroxide acts",
        ("peroxide acts",),
        "waiting",
        "",
        "Peroxide acts for a day: nothing is sprayed, and a burn cannot be judged yet.",
    ),
    Rule(
        "burned",
        ("burned",),
        "rest",
        "Let {plants} recover: rinse the leaves with plain water, spray nothing on them, and leave "
        "peroxide alone; if you try again later, take half the strength on another plant.",
        "A burned plant is left alone.",
        "burned",
    ),
    Rule(
        "check again",
        ("unlooked", "cannot tell"),
        "check for burn",
        "Look at {plants} for burn again: photograph the sprayed leaves and those of an unsprayed "
        "plant in the same light.",
        "“Cannot tell” opens nothing: only a check that saw no burn does.",
        "burn-check",
    ),
    Rule(
        "check for burn",
        ("unlooked",),
        "check for burn",
        "Look at {plants} for burn: photograph the sprayed leaves and those of an unsprayed plant, "
        "and run the burn check, or log what you see: seen burned, seen no-burn.",
        "Each plant sprayed with peroxide is looked at for burn, and before that nothing else is "
        "sprayed.",
        "burn-check",
    ),
    Rule(
        "resting",
        ("resting",),
        "rest",
        "",
        "After the day that peroxide acts, one more day to be safe.",
    ),
    Rule(
        "season over",
        ("season over",),
        "watch",
        "Photograph {plants} if they still stand; if the season is over, log it: spotlamp log seen "
        "gone all.",
        "Nothing was photographed or logged for more than {quiet_days} days, so nothing is asked "
        "for by what was known before.",
        "photo",
    ),
    Rule(
        "never photographed",
        ("never measured",),
        "watch",
        "Photograph {plants}: {walk}.",
        "Without a measured photo nothing is known of the plant, and nothing is sprayed on it.",
        "photo",
    ),
    Rule(
        "no date",
        ("undated",),
        "watch",
        "Say when the last photos of {plants} were taken (spotlamp fix PHOTO --taken DAY), or take "
        "new ones: {walk}.",
        "A file's date may be that of a copy, so nothing is sprayed by it.",
        "photo",
    ),
    Rule(
        "old photo",
        ("old photo",),
        "watch",
        "Photograph {plants} again: {walk}.",
        "An old photo says nothing of today, and nothing is sprayed by it.",
        "photo",
    ),
    Rule(
        "sudden rise",
        ("sudden",),
        "watch",
        "Photograph {plants} again, today if you can: {walk}.",
        "A fast rise on one leaf may be the choice of the leaf; on more it isolates the plant.",
        "photo",
    ),
    Rule(
        "test of your choice",
        ("your choice", "untested"),
        "spot-test",
        "Spot-test {plants}: photograph it and an unsprayed plant first, then spray it alone with "
        "the 3 % peroxide mix.",
        "You chose it. One plant first, 24 hours, a look for burn, one more day, then the others.",
        "spot-test",
    ),
    Rule(
        "flagged",
        ("sick", "flagged"),
        "watch",
        "Take better photos of {plants}, in open shade, on plain paper: {walk}.",
        "A doubtful photo asks for another photo, not for peroxide.",
        "photo",
    ),
    Rule(
        "blight, kind unsure",
        ("sick", "kind unsure"),
        "watch",
        "Photograph {plants} again, lesions close by: {walk}. Show one to an extension service or "
        "plant clinic if it spreads.",
        "As long as it may be late blight, it is not spot-tested.",
        "photo",
    ),
    Rule(
        "doubtful",
        ("sick", "doubtful", "can be settled"),
        "watch",
        "Photograph more leaves on one day, on plain paper: {counts}.",
        "An uncertain reading asks for more leaves, not for peroxide.",
        "photo",
    ),
    Rule(
        "open",
        ("sick", "doubtful"),
        "watch",
        "",
        "What further leaves would not settle waits for the next walk, and for peroxide as well.",
    ),
    Rule(
        "sick, not fresh",
        ("sick", "not fresh"),
        "watch",
        "Photograph {plants} again before peroxide goes on it: {walk}.",
        "Peroxide follows today's state, not that of some days ago.",
        "photo",
    ),
    Rule(
        "blocked by a burn",
        ("sick", "blocked"),
        "hold",
        "",
        "A burn blocks the treatment of the others: rinse the burned plant, and later test a "
        "weaker mix on one plant, or stop.",
    ),
    Rule(
        "treat",
        ("sick", "passed"),
        "treat",
        "Spray {plants} with the 3 % peroxide mix, and nothing else that day.",
        "Only sick plants, after a test on one plant that showed no burn. That does not make it "
        "safe: look at these for burn as well.",
        "treat",
    ),
    Rule(
        "one more day",
        ("sick", "settling"),
        "hold",
        "Spray {plants} with the 3 % peroxide mix, and nothing else that day.",
        "The test showed no burn: one more day to be safe, then the others that are sick. That "
        "does not make it safe: look at these for burn as well.",
        "treat",
    ),
    Rule(
        "test is running",
        ("sick", "running"),
        "hold",
        "",
        "It waits for the look for burn at the plant that was sprayed before.",
    ),
    Rule(
        "spot-test",
        ("sick", "untested", "chosen"),
        "spot-test",
        "Spot-test {plants}: photograph it and an unsprayed plant first, then spray it alone with "
        "the 3 % peroxide mix.",
        "One plant first, 24 hours, a look for burn, one more day, then the others.",
        "spot-test",
    ),
    Rule(
        "another first",
        ("sick", "untested", "another chosen"),
        "hold",
        "",
        "It waits until the mix was tried on one plant.",
    ),
    Rule(
        "none to test",
        ("sick", "untested"),
        "hold",
        "Choose yourself whether to try the mix on {plants}, and log the choice; the program does "
        "not propose the only, the best or a nearly lost plant.",
        "No plant of the garden fits the rule for a spot-test.",
        "choose",
    ),
    Rule(
        "prevent",
        ("due",),
        "prevent",
        "",
        "Prevention every {interval_days} days, and again the morning after a day with more than "
        "{rain_mm} mm of rain.",
    ),
    Rule(
        "treated",
        ("treated",),
        "watch",
        "",
        "Dead tissue stays. It was treated and is no sicker since: look for new lesions.",
    ),
    Rule(
        "a few lesions",
        ("marked",),
        "watch",
        "",
        "Too little for peroxide; it is looked at again soon.",
    ),
    Rule("clear", ("else",), "clear", "", "Next to nothing was found."),
)

NIGHT_CONDITIONS: Mapping[str, Condition[NightEvidence]] = {
    "counted": Condition(
        "caterpillars counted at night, none picked since",
        lambda e: e.look is not None and e.look.count > 0 and not e.picked_since_look,
    ),
    "cocoons": Condition(
        "you saw white cocoons on all of them", lambda e: e.look is not None and e.left_to_pick <= 0
    ),
    "old count": Condition(
        "the count is older than {night_days} days", lambda e: e.look_age_days > e.limits.night_days
    ),
    "picked": Condition("picked since the last look at night", lambda e: e.picked_since_look),
    "feeding": Condition(
        "droppings, or {chewed_pct} % of a leaf eaten, and no look at night since",
        lambda e: e.feeding is not None,
    ),
}

NIGHT_RULES: tuple[Rule, ...] = (
    Rule(
        "cocoons",
        ("counted", "cocoons"),
        "watch",
        "",
        "Caterpillars with white cocoons are left: small wasps hatch from them and help.",
    ),
    Rule(
        "old count",
        ("counted", "old count"),
        "watch",
        "Look at {plants} again tonight with the UV torch, and photograph it.",
        "Caterpillars have moved on since an old count.",
        "night",
    ),
    Rule(
        "pick",
        ("counted",),
        "pick caterpillars",
        "Pick the caterpillars off {plants} by hand; leave any with white cocoons on its back.",
        "Each one counted is picked: a hornworm strips a plant in a day or two.",
        "pick",
    ),
    Rule(
        "look again after picking",
        ("picked",),
        "watch",
        "Look at {plants} once more at night with the UV torch, and photograph it.",
        "Some are missed at the first picking.",
        "night",
    ),
    Rule(
        "look tonight",
        ("feeding",),
        "watch",
        "Look at {plants} tonight with the UV torch, and photograph it.",
        "Droppings or eaten leaves without a find: by day the caterpillars are hardly seen.",
        "night",
    ),
)
