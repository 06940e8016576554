"""Put the registry of flags into the documents that explain it."""

from scripts.workshop.figures.write import as_table, fill
from vision.flags import FLAGS

__all__ = ["flag_sentences", "flags_table"]


def flags_table() -> str:
    """Return what each flag says, and whether a photo with it is still measured."""
    rows = [[f"`{f.name}`", f.sentence, "yes" if f.measurable else "no"] for f in FLAGS.values()]
    return as_table(["flag", "what it says", "measured?"], rows)


def flag_sentences() -> str:
    """Return the same for a grower: flags of photos that are measured, then those that are not."""
    return "\n\n".join(
        f"## {heading}\n\n{_sentences(measurable)}"
        for heading, measurable in (("Measured all the same", True), ("Not measured", False))
    )


def _sentences(measurable: bool) -> str:
    flags = [flag for flag in FLAGS.values() if flag.measurable is measurable]
    return "\n".join(f"- `{flag.name}`: {flag.sentence}" for flag in flags)


def main() -> None:
    """Write both."""
    fill("flags", flags_table())
    fill("flag-sentences", flag_sentences())


if __name__ == "__main__":
    main()
