"""Draw the chart of the sample season anew.

    python -m scripts.workshop paint season_chart [FILE]

Scores the season's photos into a journal that is thrown away, as ``spotlamp demo --season`` does,
and draws the chart of ``spotlamp trend``, smaller. Costs half a minute.
"""

import sys
import tempfile
from pathlib import Path

from scripts.cli import app
from scripts.trend.chart import draw_trend
from scripts.trend.read import read_trend
from scripts.workshop.paint.pictures import PICTURE

__all__ = ["CHART", "season_chart"]

CHART = PICTURE.with_name("season.png")
_DPI = 110


def season_chart(chart: Path) -> None:
    """Build the sample season's journal and write its chart as a PNG of at most 150 kB."""
    with tempfile.TemporaryDirectory() as folder:
        app(["demo", "--season", "--out", folder], standalone_mode=False)
        chart.write_bytes(draw_trend(read_trend(Path(folder)), _DPI)["trend.png"])


def main() -> None:
    """Draw it, into the documents' picture or into FILE."""
    written = Path(sys.argv[1]) if len(sys.argv) > 1 else CHART
    season_chart(written)
    print(f"Drawn into {written}")


if __name__ == "__main__":
    main()
