"""The decision tables as text, for ``RULES.md`` and for ``spotlamp flag --rules``."""

from collections.abc import Iterable, Mapping
from dataclasses import fields
from typing import Any

from models.care.choice import CHOICE_RULE
from models.care.habits import HABITS
from models.care.review import LOG_RULES
from models.care.rules import (
    LEAF_CONDITIONS,
    LEAF_RULES,
    NIGHT_CONDITIONS,
    NIGHT_RULES,
    Condition,
    Rule,
)
from models.care.thresholds import Thresholds, filled, shown

__all__ = ["rules_markdown", "thresholds_markdown"]

_HEAD = (
    "Leaves: the first row that fits gives the status. Severity is the mean of the leaves "
    "photographed that day. *Sick* means a severity of {sick_pct} % or more that is not merely "
    "what a treated disease left behind: from {again_days} days after peroxide on, a plant counts "
    "again when the whole interval lies above that of the last photos within those days."
)


def rules_markdown(limits: Thresholds) -> str:
    """Return all tables with a garden's thresholds filled in."""
    choice = f"Which plant is spot-tested: {CHOICE_RULE} `spotlamp log choose PLANT` overrules it."
    return "\n\n".join(
        [
            filled(_HEAD, limits),
            _table(LEAF_RULES, LEAF_CONDITIONS, limits),
            choice,
            "Caterpillars: a second status, where a row fits.",
            _table(NIGHT_RULES, NIGHT_CONDITIONS, limits),
            "What is logged against a rule stays as it happened, and is pointed out:",
            "\n".join(f"- {filled(rule.words, limits)}" for rule in LOG_RULES),
            "Habits, offered when the record gives the reason (practice):",
            "\n".join(f"- `{h.name}`, when {filled(h.when, limits)}: {h.advice}" for h in HABITS),
        ]
    )


def thresholds_markdown(limits: Thresholds) -> str:
    """Return the thresholds as a table: name, value, reason of the default."""
    rows = [
        (f"`{field.name}`", shown(getattr(limits, field.name)), str(field.metadata["why"]))
        for field in fields(limits)
    ]
    return _markdown(("setting", "value", "why"), rows)


def _table(
    rules: Iterable[Rule], conditions: Mapping[str, Condition[Any]], limits: Thresholds
) -> str:
    rows = [
        (
            str(number),
            filled("; ".join(conditions[name].words for name in rule.when), limits),
            rule.status,
            filled(rule.why, limits),
        )
        for number, rule in enumerate(rules, 1)
    ]
    return _markdown(("", "when", "status", "rule"), rows)


def _markdown(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    lines = [head, tuple("---" for _ in head), *rows]
    return "\n".join(f"| {' | '.join(cells)} |" for cells in lines)
