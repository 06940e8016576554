"""Put how each learned file came about into the document, from ``vision/learned.json``.

    python -m scripts.workshop figures learned

Also notes the checksum of each file as it lies there: change the entry beside it first.
"""

import json
from hashlib import sha256
from pathlib import Path
from typing import Any

from scripts.workshop.figures.write import ROOT, as_table, fill

__all__ = ["LEARNED", "checksum", "entries", "learned_text"]

LEARNED = ROOT / "vision" / "learned.json"


def entries() -> list[dict[str, Any]]:
    """Return the entry of each learned file of ``vision``, as kept."""
    found: list[dict[str, Any]] = json.loads(LEARNED.read_text("utf-8"))
    return found


def checksum(file: Path) -> str:
    """Return a file's SHA-256, in hexadecimal digits."""
    return sha256(file.read_bytes()).hexdigest()


def learned_text() -> str:
    """Return the table of learned files, as it stands in the document."""
    head = ["file", "learned from", "made on", "measuring version", "by", "how"]
    rows = [
        [
            f"`{one['file'].removeprefix('vision/')}`",
            "; ".join(one["data"]),
            one["made_on"],
            str(one["measuring_version"] or "none yet"),
            f"`{one['command']}`" + (f", seed {one['seed']}" if one["seed"] else ""),
            one["how"],
        ]
        for one in entries()
    ]
    return as_table(head, rows)


def main() -> None:
    """Note the checksums, and write the table."""
    noted = [one | {"sha256": checksum(ROOT / one["file"])} for one in entries()]
    LEARNED.write_text(json.dumps(noted, indent=1, ensure_ascii=False) + "\n", "utf-8")
    fill("learned", learned_text())


if __name__ == "__main__":
    main()
