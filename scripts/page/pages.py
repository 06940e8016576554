"""How a page is made: the frame that all share, its words, and how errors are said."""

import hashlib
import hmac
import secrets
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from threading import Lock
from typing import Any

import jinja2
import typer
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from models.care.words import time_words
from scripts.page.ahead import Ahead
from scripts.page.arrivals import Arrivals
from scripts.page.door import Door
from scripts.page.drawing import Outlines
from scripts.page.guard import cookie_of
from scripts.page.standing import Desk
from scripts.page.templating import HERE, template_environment
from vision.errors import SpotlampError
from vision.flags import explain
from vision.photo.find import printable

__all__ = [
    "FORESEEN",
    "LOOKS",
    "WAYS",
    "Handler",
    "Pages",
    "Said",
    "Values",
    "Way",
    "any_of",
    "posted",
    "sentence_of",
    "uploads_in",
]

_YEAR_S = 365 * 24 * 3600
_MOST_SAID = 500  # devices for which a word is kept

Values = Mapping[str, str]


@dataclass(frozen=True)
class Way:
    """A way to a page: its key, its path, its words, and whether it may hide on a small screen."""

    key: str
    path: str
    words: str
    further: bool = False


WAYS = (
    Way("today", "/", "Today"),
    Way("beds", "/beds", "Beds"),
    Way("add", "/add", "Add photos"),
    Way("night", "/night", "Night"),
    Way("log", "/log", "Log", further=True),
    Way("mix", "/mix", "Mix", further=True),
    Way("weather", "/weather", "Weather", further=True),
    Way("calendar", "/calendar", "Calendar", further=True),
)
LOOKS = (("auto", "as this device"), ("light", "light"), ("dark", "dark"), ("night", "red"))


@dataclass(frozen=True)
class Said:
    """What is said over the next page: its words, the way to undo it, and whether it is a problem.

    Attributes
    ----------
    words : str
        Shown as they are, line by line.
    undo : str
        Where a form that undoes it goes; empty where nothing is to be undone.
    wrong : bool
        Whether something could not be done.
    """

    words: str
    undo: str = ""
    wrong: bool = False


@dataclass(eq=False)
class Pages:
    """What all pages need.

    Attributes
    ----------
    desk : Desk
        Hands out the garden as it stands.
    secret : bytes
        Behind the tokens of forms and of the calendar's address.
    port : int
        Where the page listens; part of the cookies' names, which all ports of a computer share.
    door : Door or None
        Lets devices of the home network in.
    outlines : Outlines
        Makes what is drawn over photos.
    ahead : Ahead
        Gathers the garden before anybody asks.
    arrivals : Arrivals
        Takes photos in, and scores them.
    """

    desk: Desk
    secret: bytes
    port: int
    door: Door | None = None
    outlines: Outlines = field(init=False)
    ahead: Ahead = field(init=False)
    arrivals: Arrivals = field(init=False)
    _said: dict[str, Said] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    def __post_init__(self) -> None:
        """Make what works beside the requests."""
        self.outlines = Outlines(self.desk.folder)
        self.ahead = Ahead(self.desk)
        self.arrivals = Arrivals(self.desk.folder, filed=self.ahead.gather)

    @property
    def cookie(self) -> str:
        """Name of the cookie that holds a device's token."""
        return f"spotlamp-{self.port}"

    @property
    def look_cookie(self) -> str:
        """Name of the cookie that holds the look that was chosen."""
        return f"spotlamp-look-{self.port}"

    def device(self, request: Request) -> str:
        """Return the token of the device that asks; a new one for one that has none."""
        known = cookie_of(request.headers, self.cookie)
        if known:
            return known
        if not hasattr(request.state, "device"):
            request.state.device = secrets.token_urlsafe(24)
        return str(request.state.device)

    def token(self, request: Request, purpose: str = "form") -> str:
        """Return what a form must bring back, so that no other site can send it."""
        return self.signed(f"{purpose}/{self.device(request)}")

    def signed(self, text: str) -> str:
        """Return the signature of a text."""
        return hmac.new(self.secret, text.encode(), hashlib.sha256).hexdigest()

    def may_change(self, request: Request, form: Values) -> bool:
        """Whether a form was made by a page of ours, for this device."""
        given = request.headers.get("x-spotlamp-form") or form.get("csrf", "")
        known = bool(cookie_of(request.headers, self.cookie))
        return known and hmac.compare_digest(str(given).encode(), self.token(request).encode())

    def say(self, request: Request, said: Said) -> None:
        """Keep words for the next page that this device sees."""
        with self._lock:
            if len(self._said) >= _MOST_SAID:
                self._said.clear()
            self._said[self.device(request)] = said

    def show(
        self, request: Request, template: str, *, status: int = 200, **values: object
    ) -> Response:
        """Return a page."""
        with self._lock:
            said = self._said.pop(self.device(request), None)
        frame = self._frame(request)
        text = _templates().get_template(template).render({**frame, "said": said, **values})
        response = HTMLResponse(text, status)
        self._remember(request, response)
        return response

    def problem(self, request: Request, sentence: str, status: int) -> Response:
        """Return a page that says in a sentence what is wrong."""
        return self.show(request, "problem.html", status=status, sentence=sentence)

    def back(self, request: Request, path: str, said: Said | None = None) -> Response:
        """Lead a device on to a page after it changed something, with words to say there."""
        if said is not None:
            self.say(request, said)
        response = RedirectResponse(path, 303)
        self._remember(request, response)
        return response

    def look(self, request: Request) -> str:
        """Return the look that was chosen; empty for that of the device."""
        chosen = cookie_of(request.headers, self.look_cookie)
        return chosen if chosen in dict(LOOKS) and chosen != "auto" else ""

    def _frame(self, request: Request) -> dict[str, object]:
        token = self.token(request)
        look = self.look(request)
        frame: dict[str, object] = {
            "ways": WAYS,
            "looks": LOOKS,
            "look": look,
            "chosen_look": look,
            "csrf": token,
            "hidden": lambda: Markup('<input type="hidden" name="csrf" value="{}">').format(token),
            "here": "",
            "back": request.url.path,
            "version": _version(),
            "explain": explain,
            "trouble": "",
            "remarks": self.desk.remarks,
            "is_past": self.desk.at is not None,
        }
        return frame | self._garden_words()

    def _garden_words(self) -> dict[str, object]:
        try:
            garden = self.desk.garden()
            now = self.desk.now(garden)
        except SpotlampError:  # the page that is shown says it
            return {"garden_name": "", "now_words": ""}
        return {"garden_name": garden.name, "now_words": f"{time_words(now)} {now.year}"}

    def _remember(self, request: Request, response: Response) -> None:
        if cookie_of(request.headers, self.cookie):
            return
        self.set_cookie(response, self.cookie, self.device(request))

    def set_cookie(self, response: Response, name: str, value: str) -> None:
        """Hand a device something to keep, which no script and no other site sees."""
        response.set_cookie(name, value, max_age=_YEAR_S, httponly=True, samesite="lax")


Handler = Callable[["Pages", Request, Values, FormData], Response]


def posted(
    pages: Pages, handler: Handler, *, most_files: int = 0
) -> Callable[[Request], Awaitable[Response]]:
    """Return what takes a form: reads it, checks its token, and hands it to a handler in a thread.

    Parameters
    ----------
    pages : Pages
        Checks the token.
    handler : callable
        Takes the request, the form's texts, and the form with its files.
    most_files : int
        Files taken with one form.
    """

    async def take(request: Request) -> Response:
        async with request.form(max_files=most_files, max_fields=60) as form:
            texts = {name: value for name, value in form.items() if isinstance(value, str)}
            if not pages.may_change(request, texts):
                sentence = (
                    "This form is no longer valid: go back, load the page again, and send it anew."
                )
                return await run_in_threadpool(pages.problem, request, sentence, 403)
            return await run_in_threadpool(handler, pages, request, texts, form)

    return take


def uploads_in(form: FormData, name: str) -> list[UploadFile]:
    """Return the files of a form's field, without empty ones."""
    files = [one for one in form.getlist(name) if isinstance(one, UploadFile)]
    return [one for one in files if one.filename]


def sentence_of(error: Exception) -> str:
    """Return the sentence of an error that was foreseen."""
    if isinstance(error, typer.BadParameter):
        return printable(error.message[:1].upper() + error.message[1:])
    return printable(str(error))


FORESEEN: tuple[type[Exception], ...] = (SpotlampError, typer.BadParameter)


@cache
def _templates() -> jinja2.Environment:
    return template_environment()


@cache
def _version() -> str:
    """Return what changes with our own files, so that no browser keeps old ones."""
    files = sorted((HERE / "static").iterdir())
    digest = hashlib.sha256(b"".join(file.read_bytes() for file in files if file.is_file()))
    return digest.hexdigest()[:12]


def any_of(values: Mapping[str, Any], name: str, most: int = 500) -> str:
    """Return a text of a form, cut where nobody would write so much; empty where there is none."""
    return str(values.get(name, ""))[:most].strip()
