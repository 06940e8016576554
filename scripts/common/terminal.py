"""What all commands share: the app itself, common options, and one sentence for each error."""

import functools
import logging
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Annotated, Any, Literal, NoReturn

import typer
from typer.core import TyperGroup

import scripts
from models.remarks import remarks_to
from vision.errors import NOTHING_DONE, SpotlampError
from vision.photo.address import Place
from vision.photo.find import OUTPUT_MARKER, PHOTO_ENDINGS, holds_photos, printable

__all__ = [
    "COMMAND_ORDER",
    "LINE",
    "AsOf",
    "ClassifierFile",
    "Cluster",
    "GardenFolder",
    "Jobs",
    "Masks",
    "Out",
    "OutPlace",
    "Overlays",
    "PlantName",
    "Tables",
    "WeatherFile",
    "WholeLines",
    "app",
    "fail",
    "one_sentence_errors",
    "refuse_filled",
    "refuse_photos_as_out",
    "require_opencv",
    "sample_garden",
    "sample_night_round",
    "sample_season",
    "say",
]

INTERRUPTED = 130
LINE = 100  # signs a line


@contextmanager
def _printable_refusals() -> Iterator[None]:
    """Make what Typer itself says of wrong usage, with the words it was given, fit to be shown."""
    try:
        yield
    except Exception as refusal:
        message = getattr(refusal, "message", None)  # of all of Typer's own errors
        if isinstance(message, str):
            with suppress(AttributeError):  # another library's own error, whose message is fixed
                refusal.message = printable(message)  # type: ignore[attr-defined]  # it has it
        raise


_WHOLE = 10_000  # signs: longer than any first sentence
COMMAND_ORDER = (
    *("new", "score", "night", "assign", "fix", "tags", "today", "flag", "plan", "log", "mix"),
    *("burn", "weather", "trend", "howmany", "relabel", "season", "serve", "report", "check"),
    *("train", "export", "import", "restore", "demo", "guide", "columns"),
)


class WholeLines(TyperGroup):
    """A group of commands that lists each with its whole first sentence."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:  # noqa: ANN401  Typer does not show what it takes
        """Write the list."""
        commands = [(name, self.commands[name]) for name in self.list_commands(ctx)]
        rows = [(name, one.get_short_help_str(_WHOLE)) for name, one in commands if not one.hidden]
        with formatter.section("Commands"):
            formatter.write_dl(rows)


class _Commands(WholeLines):
    """The group of all commands, listed in the order in which a season's work needs them."""

    def list_commands(self, ctx: Any) -> list[str]:  # noqa: ANN401  likewise
        """Return the names of the commands; one without a place in the order comes last."""
        names = super().list_commands(ctx)
        places = {name: place for place, name in enumerate(COMMAND_ORDER)}
        return sorted(names, key=lambda name: places.get(name, len(places)))

    def invoke(self, ctx: Any) -> Any:  # noqa: ANN401  likewise
        """Run the command that was named."""
        with _printable_refusals():
            return super().invoke(ctx)


app = typer.Typer(
    name="spotlamp",
    cls=_Commands,
    help="Measures spots, blight and yellowing on tomato leaves from phone photos.",
    no_args_is_help=True,
    add_completion=False,
    # Plain help: the coloured one costs a tenth of a second at every start.
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)

Out = Annotated[
    Path, typer.Option("--out", metavar="DIR", help="Folder of the results; made if need be.")
]
OutPlace = Annotated[
    str,
    typer.Option(
        "--out", metavar="DIR", help="Folder of the results, or its address; made if need be."
    ),
]
Masks = Annotated[
    bool,
    typer.Option(
        "--masks",
        help="Also write DIR/masks: a PNG a photo, 1 leaf, 2 halo, 3 lesion in each pixel.",
    ),
]
Overlays = Annotated[
    bool,
    typer.Option("--overlays", help="Also write DIR/overlays: each photo with what was counted."),
]
Jobs = Annotated[
    int | None,
    typer.Option("--jobs", min=1, metavar="N", help="Processes at work; all cores by default."),
]
Tables = Annotated[
    Literal["csv", "parquet"],
    typer.Option(
        "--table",
        help='With "parquet", also write DIR/parquet: the tables in parts by garden and month.',
    ),
]
Cluster = Annotated[
    str,
    typer.Option(
        "--cluster",
        metavar="ADDRESS",
        help="Measure on a running Dask cluster, in the place of this computer.",
    ),
]
ClassifierFile = Annotated[
    Path | None,
    typer.Option(
        "--classifier",
        metavar="FILE",
        help='Pattern classifier of your own, made by "spotlamp train".',
    ),
]

PlantName = Annotated[
    str,
    typer.Option(
        "--plant", metavar="NAME", help="Plant of the photos that nothing else gives to one."
    ),
]
GardenFolder = Annotated[
    Path | None,
    typer.Option(
        "--garden", metavar="DIR", help="The garden's folder; found from where you stand otherwise."
    ),
]

AsOf = Annotated[
    str | None, typer.Option("--at", metavar="TIME", help="As of a time; now by default.")
]
WeatherFile = Annotated[
    Path | None,
    typer.Option(
        "--weather",
        metavar="FILE",
        exists=True,
        dir_okay=False,
        help="A station's file with a forecast, in the place of the garden's own.",
    ),
]


def _show_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import PackageNotFoundError, version

        try:
            print(f"spotlamp {version('spotlamp')}")
        except PackageNotFoundError:
            print("spotlamp (not installed: run from its source folder)")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_show_version, is_eager=True, help="Show the version and exit."
        ),
    ] = False,
) -> None:
    """Take the options that stand before any command."""


def sample_garden() -> Path | None:
    """Return the folder of the bundled sample photos: inside the package, or in the checkout."""
    return _bundled("garden")


def sample_night_round() -> Path | None:
    """Return the folder of the bundled UV night photos."""
    return _bundled("night/garden")


def sample_season() -> Path | None:
    """Return the folder of the bundled sample season: inside the package, or in the checkout."""
    return _bundled("season")


def _bundled(name: str) -> Path | None:
    package = Path(scripts.__file__).resolve().parent
    places = (package / "sample_images" / name, package.parent / "sample_images" / name)
    return next((place for place in places if place.is_dir()), None)


def require_opencv() -> None:
    """Say in one sentence, before any work, that OpenCV cannot be loaded."""
    from vision import opencv

    opencv.require_opencv()


@contextmanager
def one_sentence_errors() -> Iterator[None]:
    """Turn foreseen errors into one sentence on standard error and an exit code.

    Raises
    ------
    typer.Exit
        In place of a foreseen error.
    BrokenPipeError
        As it came: who reads our words has gone.
    """
    # The driver of a server's journal writes lines of its own where a connection breaks.
    logging.getLogger("psycopg").setLevel(logging.CRITICAL)
    try:
        with remarks_to(functools.cache(_warn)):  # each sentence once
            yield
    except KeyboardInterrupt:
        fail("Stopped. Whole files stay; photos already measured are kept.", INTERRUPTED)
    except SpotlampError as error:
        fail(str(error), error.exit_code)
    except BrokenPipeError:  # who reads our words has gone: no sentence would reach them
        raise
    except OSError as error:  # of a file or folder that nobody asked about more closely
        what = f"“{error.filename}”" if error.filename else "A file or folder"
        fail(f"{what} cannot be used: {error.strerror or error}.")


@one_sentence_errors()
def refuse_photos_as_out(paths: Sequence[Place], out: Place) -> None:
    """Refuse results among photos: the next run would take the pictures for photos.

    Those to be scored are not alone in this: whatever photos lie there would be passed over from
    now on, as results.

    Raises
    ------
    typer.BadParameter
        When photos lie in the folder named.
    """
    if any(_lies_in(path, out) for path in paths):
        raise typer.BadParameter(
            f"{out} holds the photos; name a folder of its own, as {out / 'results'}.",
            param_hint="--out",
        )
    # What lies at an address may be more than can be looked through here.
    if not isinstance(out, Path):
        return
    if out.is_dir() and not (out / OUTPUT_MARKER).exists() and holds_photos(out):
        raise typer.BadParameter(
            f"{out} holds photos; name a folder of its own, as {out / 'results'}.",
            param_hint="--out",
        )


def _lies_in(path: Place, out: Place) -> bool:
    """Whether photos that are given lie in the folder of the results, or below it."""
    if isinstance(path, Path) and isinstance(out, Path):
        target = out.resolve()
        folder = path.resolve() if path.is_dir() else path.resolve().parent
        return target == folder or target in folder.parents
    if isinstance(path, Path) or isinstance(out, Path):
        return False
    folder_parts = path.parts if path.suffix.lower() not in PHOTO_ENDINGS else path.parent.parts
    return path.driver == out.driver and folder_parts[: len(out.parts)] == out.parts


@one_sentence_errors()
def refuse_filled(out: Path, name: str) -> None:
    """Refuse a folder in which something lies: what a demo makes is not mixed with one's own.

    Parameters
    ----------
    out : Path
        Where the demo would go.
    name : str
        Of the sub-folder to be named in its place.

    Raises
    ------
    typer.BadParameter
        When it is not empty.
    """
    if out.is_dir() and any(out.iterdir()):
        raise typer.BadParameter(
            f"{out} is not empty; name a new folder for the demo, as {out / name}.",
            param_hint="--out",
        )


def fail(sentence: str, code: int = NOTHING_DONE) -> NoReturn:
    """Print one sentence on standard error, on one line, and end with an exit code.

    Raises
    ------
    typer.Exit
        Always.
    """
    _warn(sentence)
    raise typer.Exit(code)


def _warn(sentence: str) -> None:
    print(_shown(" ".join(sentence.split("\n")), sys.stderr.encoding), file=sys.stderr)


def say(text: str) -> None:
    """Print a text; all that a command says goes through here or through `fail`.

    Names, notes and headers were written by others: what would steer the terminal is shown as
    escapes, and so are signs that the terminal cannot show. A line end is taken for ours: a text
    of others that may hold some goes through ``vision.photo.find.printable`` before it is put in.
    """
    lines = (_shown(line, sys.stdout.encoding) for line in text.split("\n"))
    print("\n".join(lines))


def _shown(line: str, encoding: str | None) -> str:
    """Return a line with signs that the terminal cannot, or must not, show replaced."""
    encoding = encoding or "utf-8"
    return printable(line).encode(encoding, errors="backslashreplace").decode(encoding)
