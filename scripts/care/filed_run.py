"""A run with its progress shown and its photos filed: shared by score, night and demo."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from models.garden.beds import Garden
from scripts.care.record import last_season
from scripts.common.moments import now_in
from scripts.common.progress import PhotoProgress
from scripts.common.terminal import fail, say
from scripts.score.filing import filing
from scripts.score.run import Run, score_paths
from scripts.score.store import Settings
from scripts.score.summary import measured, summary
from vision.errors import SpotlampError
from vision.photo.address import Place

if TYPE_CHECKING:
    from models.care.season import Season

__all__ = ["FiledRun", "run_and_file", "tell"]


class FiledRun(NamedTuple):
    """A run; what is said about the filing, and the garden's season, where there is a garden."""

    run: Run
    filed: str = ""
    season: "Season | None" = None


def run_and_file(
    paths: Sequence[Place],
    out: Place,
    garden: Path | None = None,
    plant: str = "",
    *,
    settings: Settings | None = None,
    in_garden: bool = True,
    **options: Any,  # noqa: ANN401  handed on as they are
) -> FiledRun:
    """Score photos with their progress shown, and file them into the garden's journal.

    Parameters
    ----------
    paths : sequence of Path or Address
        Photos, and folders of them.
    out : Path or Address
        Folder of the results.
    garden : Path, optional
        The garden's folder; found from where one stands otherwise.
    plant : str
        Plant of the photos that nothing else gives to one.
    settings : Settings, optional
        What changes a reading.
    in_garden : bool
        False where nothing is to be filed, wherever one stands.
    **options
        Of ``scripts.score.run.score_paths``.
    """
    settings = settings or Settings()
    if not in_garden:
        return FiledRun(_run(paths, out, settings, options))
    with filing(paths, settings, garden, plant) as filer:
        if filer is None:
            return FiledRun(_run(paths, out, settings, options))
        options["on_result"] = filer.file
        if options.get("parquet"):
            options["garden"] = filer.place[1].name
        run = _run(paths, out, settings, options)
        return FiledRun(run, filer.report(), _season(*filer.place))


def _season(folder: Path, garden: Garden) -> "Season | None":
    """Return the garden's season as it now stands; None where its record cannot be judged."""
    try:
        return last_season(folder, garden, now_in(garden.time_zone))
    except SpotlampError:  # such as settings that are wrong: what was measured is told anyway
        return None


def _run(paths: Sequence[Place], out: Place, settings: Settings, options: dict[str, Any]) -> Run:
    with PhotoProgress() as progress:
        return score_paths(
            paths,
            out,
            settings=settings,
            on_start=progress.start,
            on_done=progress.done,
            **options,
        )


def tell(done: FiledRun, torch_nm: float | None = None, nothing: str = "measured") -> None:
    """Print the summary, and what was filed; end with 1 if no photo at all could be measured.

    Parameters
    ----------
    done : FiledRun
        What was run.
    torch_nm : float, optional
        Wavelength of the UV torch, in nm.
    nothing : str
        What no photo could be, in the last sentence.
    """
    say(summary(done.run, torch_nm, season=done.season))
    if done.filed:
        say(f"\n{done.filed}")
    if not measured(done.run.results):
        fail(f"No photo could be {nothing}.")
