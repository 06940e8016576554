"""Adding photos: chosen, dropped or taken; what became of each."""

from collections.abc import Iterator

from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from models.garden.beds import Garden
from scripts.common.files import CannotWriteError
from scripts.common.which_garden import known_plant
from scripts.page.arrivals import MOST_BYTES, MOST_FILES, Arrival, RefusedError
from scripts.page.pages import FORESEEN, Pages, Said, Values, any_of, sentence_of, uploads_in
from vision.photo.find import PHOTO_ENDINGS

__all__ = ["add", "arrivals_json", "take_photos"]


def add(pages: Pages, request: Request) -> Response:
    """Ask for photos, and show what became of those that came."""
    garden = pages.desk.garden()
    shown = pages.arrivals.shown()
    return pages.show(
        request,
        "add.html",
        here="add",
        plant=request.query_params.get("plant", "")[:100],
        names=[plant.name for plant in garden.plants],
        endings=",".join(sorted(PHOTO_ENDINGS)),
        most_files=MOST_FILES,
        most_mb=MOST_BYTES // 2**20,
        arrivals=shown,
        waiting=sum(one.state == "waiting" for one in shown),
    )


def arrivals_json(pages: Pages, _: Request) -> Response:
    """Return what became of the photos that came, for the page's module."""
    return JSONResponse([_plain(one) for one in pages.arrivals.shown()])


def take_photos(pages: Pages, request: Request, form: Values, files: FormData) -> Response:
    """Take photos in: those that lie whole on the disk are accepted, the others named."""
    try:
        plant = _plant(pages.desk.garden(), any_of(form, "plant", 100))
    except FORESEEN as error:
        return _answer(pages, request, [], [sentence_of(error)])
    taken: list[Arrival] = []
    refused: list[str] = []
    for file in uploads_in(files, "photos"):
        try:
            taken.append(_taken(pages, plant, file))
        except (RefusedError, CannotWriteError) as error:
            refused.append(sentence_of(error))
    return _answer(pages, request, taken, refused)


def _plant(garden: Garden, name: str) -> str:
    return known_plant(garden, name) if name else ""


def _taken(pages: Pages, plant: str, file: UploadFile) -> Arrival:
    return pages.arrivals.take(file.filename or "", plant, file.file)


def _answer(pages: Pages, request: Request, taken: list[Arrival], refused: list[str]) -> Response:
    if request.headers.get("accept") == "application/json":
        body = {"taken": [_plain(one) for one in taken], "refused": refused}
        return JSONResponse(body)
    words = "\n".join(_words(taken, refused))
    return pages.back(request, "/add", Said(words, wrong=bool(refused)))


def _words(taken: list[Arrival], refused: list[str]) -> Iterator[str]:
    if taken:
        count = "1 photo" if len(taken) == 1 else f"{len(taken)} photos"
        yield f"{count} taken in, and scored one after the other."
    yield from refused
    if not taken and not refused:
        yield "No photo was chosen."


def _plain(one: Arrival) -> dict[str, str]:
    return {
        "key": one.key,
        "name": one.name,
        "state": one.state,
        "words": one.words,
        "photo": one.sha256,
    }
