"""The garden page as one application: its pages by path, behind the guard."""

import os
import secrets
import traceback
from collections.abc import AsyncIterator, Awaitable, Callable, Collection
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from scripts.page.arrivals import MOST_FILES
from scripts.page.door import Door
from scripts.page.guard import SMALL_BODY_BYTES, Guard
from scripts.page.pages import FORESEEN, LOOKS, Handler, Pages, Values, posted, sentence_of
from scripts.page.pictures import kept_folder
from scripts.page.standing import Desk
from scripts.page.templating import HERE
from scripts.page.views import (
    add,
    beds,
    calendar,
    enter,
    fix,
    log,
    night,
    photo,
    tank,
    today,
    weather,
)
from scripts.page.views.photo import NoSuchPhotoError

__all__ = ["garden_app", "is_own_path", "kept_secret"]

ADD = "/add"
_MOST_PHOTOS_BYTES = 2 * 2**30  # of one form; the page's module sends photos one by one

View = Callable[[Pages, Request], Response]
_NOT_FOUND = "There is no such page."
_SHA256 = "{sha256:str}"


def garden_app(
    desk: Desk,
    *,
    hosts: Collection[str],
    port: int,
    door: Door | None = None,
) -> ASGIApp:
    """Return the application of one garden.

    Parameters
    ----------
    desk : Desk
        Hands out the garden as it stands.
    hosts : collection of str
        Names with ports under which it is reached.
    port : int
        Where it listens.
    door : Door, optional
        Lets devices of the home network in; without one, only this computer is served.
    """
    pages = Pages(desk, kept_secret(desk.folder), port, door)
    app = Starlette(
        routes=_routes(pages),
        lifespan=_working(pages),
        exception_handlers={
            HTTPException: _http_problem(pages),
            Exception: _surprise(pages),
        },
    )
    return Guard(
        app,
        hosts=hosts,
        cookie=pages.cookie,
        door=door,
        body_limit=lambda path: _MOST_PHOTOS_BYTES if path == ADD else SMALL_BODY_BYTES,
        opened_by=lambda path, query: calendar.calendar_opens(pages, path, query),
    )


def _working(pages: Pages) -> Callable[[Starlette], AbstractAsyncContextManager[None]]:
    """Return what works beside the requests as long as the application runs."""

    @asynccontextmanager
    async def work(_: Starlette) -> AsyncIterator[None]:
        pages.ahead.start()
        pages.arrivals.start()
        try:
            yield
        finally:
            pages.arrivals.close()
            pages.ahead.close()
            pages.outlines.close()
            pages.desk.close()

    return work


def kept_secret(garden_folder: Path) -> bytes:
    """Return what signs the tokens of a garden's pages, made once and read by its owner alone."""
    place = kept_folder(garden_folder) / "secret"
    if not place.is_file():
        descriptor = os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "wb") as stream:
            stream.write(secrets.token_bytes(32))
    return place.read_bytes()


def _routes(pages: Pages) -> list[Route | Mount]:
    read: dict[str, View] = {
        "/": today.today,
        "/beds": beds.beds,
        "/plant/{name:str}": beds.plant,
        f"/photo/{_SHA256}": photo.photo,
        "/picture/{size:str}/" + _SHA256 + ".jpg": photo.picture,
        ADD: add.add,
        "/arrivals.json": add.arrivals_json,
        "/night": night.night,
        "/log": log.log,
        "/mix": tank.mix,
        "/weather": weather.weather,
        "/calendar": calendar.calendar,
        "/plan.ics": calendar.plan_ics,
        "/enter": enter.enter,
    }
    changed: dict[str, Handler] = {
        "/tick": today.tick_off,
        "/log": log.add_entry,
        "/log/{number:int}/correct": log.correct_entry,
        "/log/{number:int}/withdraw": log.withdraw_entry,
        f"/photo/{_SHA256}/fix": fix.put_right,
        f"/photo/{_SHA256}/undo/{{number:int}}": fix.take_back,
        "/season/new": beds.begin_season,
        "/season/undo": beds.reopen_season,
        "/look": _choose_look,
        "/enter": enter.give_code,
    }
    return [
        *(Route(path, _reading(pages, view), methods=["GET"]) for path, view in read.items()),
        *(
            Route(path, posted(pages, handler), methods=["POST"])
            for path, handler in changed.items()
        ),
        Route(ADD, posted(pages, add.take_photos, most_files=MOST_FILES), methods=["POST"]),
        Mount("/static", StaticFiles(directory=HERE / "static")),
    ]


def _reading(pages: Pages, view: View) -> Callable[[Request], Response]:
    """Return a page's function as Starlette calls it: in a thread, errors said in a sentence."""

    def read(request: Request) -> Response:
        try:
            return view(pages, request)
        except NoSuchPhotoError as error:
            return pages.problem(request, sentence_of(error), 404)
        except FORESEEN as error:
            return pages.problem(request, sentence_of(error), 409)

    return read


def _choose_look(pages: Pages, request: Request, form: Values, _: object) -> Response:
    look = form.get("look", "")
    back = form.get("back", "/")
    response = pages.back(request, back if is_own_path(back) else "/")
    if look in dict(LOOKS):
        pages.set_cookie(response, pages.look_cookie, look)
    return response


def is_own_path(path: str) -> bool:
    """Whether a path leads to a page of ours and nowhere else."""
    return path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable()


def _http_problem(pages: Pages) -> Callable[[Request, Exception], Awaitable[Response]]:
    async def answer(request: Request, error: Exception) -> Response:
        status = error.status_code if isinstance(error, HTTPException) else 500
        sentence = _NOT_FOUND if status in (404, 405) else str(getattr(error, "detail", error))
        return await run_in_threadpool(pages.problem, request, sentence, status)

    return answer


def _surprise(pages: Pages) -> Callable[[Request, Exception], Awaitable[Response]]:
    async def answer(request: Request, error: Exception) -> Response:
        place = traceback.extract_tb(error.__traceback__)[-1]
        what = f"{type(error).__name__}, in {Path(place.filename).name}, line {place.lineno}"
        sentence = f"The page met an error inside the program ({what}). Nothing was changed."
        return await run_in_threadpool(pages.problem, request, sentence, 500)

    return answer
