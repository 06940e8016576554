"""What is known of a spray, in plain sentences."""

from collections.abc import Sequence

from models.numerals import counted
from models.progress import Effect
from models.progress.needed import Needed
from scripts.trend.words import day_words, rate_words, signed

__all__ = ["effect_words"]

GREEN_NEVER = (
    "Killed tissue never turns green again. Success therefore shows as no new growth, not as a "
    "falling severity."
)


def effect_words(effect: Effect) -> list[str]:
    """Return what is known of a spray, sentence by sentence."""
    name = f"{effect.spray.product or 'spray'} of {day_words(effect.spray.at.date())}"
    if effect.comparison == "none" or effect.difference_per_day is None:
        return [f"Whether the {name} worked cannot be told: {effect.reason}.", GREEN_NEVER]
    said = [_verdict_words(effect, name), _difference_words(effect)]
    if effect.stopped is not None and effect.verdict != "cannot tell":
        said.append(
            "On the sprayed plants growth has stopped."
            if effect.stopped
            else "On the sprayed plants it still grows."
        )
    if effect.needed:
        said.append(_needed_words(effect.needed, effect))
    elif effect.verdict == "cannot tell" and effect.low_per_day is None:
        said.append("Three sprayed and three unsprayed plants are the least that can tell.")
    elif effect.verdict == "cannot tell":
        said.append("Without the spray it hardly grew either, so there was nothing to stop.")
    return [*said, *effect.cautions, GREEN_NEVER]


def _verdict_words(effect: Effect, name: str) -> str:
    beside = "unsprayed ones" if effect.comparison == "beside unsprayed" else "before it"
    match effect.verdict:
        case "slower":
            return f"After the {name}, the sprayed plants grew sicker more slowly than {beside}."
        case "faster":
            return f"After the {name}, the sprayed plants grew sicker faster than {beside}."
        case "no difference":
            return f"The {name} made no difference that matters."
        case _:
            return f"Whether the {name} worked cannot be told: {effect.reason}."


def _difference_words(effect: Effect) -> str:
    sprayed = _mean([one.after_per_day for one in effect.sprayed])
    words = (
        f"Growth a day after it: {rate_words(sprayed)} on "
        f"{counted(len(effect.sprayed), 'sprayed plant')}"
    )
    if effect.comparison == "beside unsprayed":
        unsprayed = _mean([one.after_per_day for one in effect.unsprayed])
        words += (
            f", {rate_words(unsprayed)} on {counted(len(effect.unsprayed), 'unsprayed plant')} "
            "over the same days"
        )
    else:
        before = [one.before_per_day for one in effect.sprayed if one.before_per_day is not None]
        words += f"; before it {rate_words(_mean(before))}"
    return f"{words}. {_interval_words(effect)}"


def _interval_words(effect: Effect) -> str:
    difference = _points(effect.difference_per_day or 0.0)
    what = "Difference, given each plant's own growth before:" if effect.adjusted else "Difference"
    if effect.low_per_day is None or effect.high_per_day is None:
        return f"{what} {difference} points a day."
    low, high = _points(effect.low_per_day), _points(effect.high_per_day)
    return f"{what} {difference} points a day (95 % interval {low} to {high})."


def _points(rate_per_day: float) -> str:
    return signed(100 * rate_per_day)


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)


def _needed_words(needed: Needed, effect: Effect) -> str:
    stop = f"To see a full stop of that growth ({rate_words(needed.stop_per_day)} a day)"
    beside = effect.comparison == "beside unsprayed"
    sides = "sprayed and as many unsprayed plants" if beside else "sprayed plants"
    ways = [f"about {needed.plants_each} {sides}"] if needed.plants_each else []
    if needed.leaves:
        ways.append(f"about {needed.leaves} leaves on each of these plants and visits")
    if not ways:
        return f"{stop} more plants would be needed than a garden has: they differ too much."
    closing = "" if needed.leaves or not beside else "; more leaves of the same plants would not do"
    return f"{stop}, {', or '.join(ways)} would be needed{closing}."
