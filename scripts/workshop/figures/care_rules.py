"""Put the decision tables and the thresholds into their document, `models/care/RULES.md`."""

from models.care.rule_table import rules_markdown, thresholds_markdown
from models.care.thresholds import Thresholds
from scripts.workshop.figures.write import fill

__all__ = ["rules_text"]


def rules_text() -> str:
    """Return what stands in the document, with the default thresholds."""
    limits = Thresholds()
    return f"{rules_markdown(limits)}\n\n{thresholds_markdown(limits)}"


def main() -> None:
    """Write them."""
    fill("care-rules", rules_text())


if __name__ == "__main__":
    main()
