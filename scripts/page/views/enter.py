"""The door: a device of the home network gives the code that the terminal shows."""

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from scripts.page.door import CODE_DIGITS, Answer
from scripts.page.guard import cookie_of
from scripts.page.pages import Pages, Values, any_of

__all__ = ["enter", "give_code"]


def enter(pages: Pages, request: Request) -> Response:
    """Ask for the code."""
    if pages.door is None or pages.door.knows(cookie_of(request.headers, pages.cookie)):
        return RedirectResponse("/", 303)
    code = "".join(sign for sign in request.query_params.get("code", "") if sign.isdecimal())
    return _ask(pages, request, code[:CODE_DIGITS])


def give_code(pages: Pages, request: Request, form: Values, _: FormData) -> Response:
    """Let a device in that gives the right code."""
    if pages.door is None:
        return RedirectResponse("/", 303)
    answer = pages.door.give(any_of(form, "code", 40))
    if answer.what == "in":
        inside = RedirectResponse("/", 303)
        pages.set_cookie(inside, pages.cookie, answer.token)
        return inside
    status = 403 if answer.what == "wrong" else 429
    response = _ask(pages, request, "", _words(answer), status)
    response.headers["retry-after"] = str(answer.wait_s)
    return response


def _ask(pages: Pages, request: Request, code: str, wrong: str = "", status: int = 200) -> Response:
    # Whose garden it is, only those learn who are let in.
    hidden = {"ways": (), "garden_name": "", "now_words": ""}
    values = {"code": code, "digits": CODE_DIGITS, "wrong": wrong, **hidden}
    return pages.show(request, "enter.html", status=status, **values)


def _words(answer: Answer) -> str:
    if answer.what == "wrong":
        return f"That is not the code. The next one is looked at in {answer.wait_s} s."
    if answer.what == "wait":
        return f"Too soon: wait {answer.wait_s} s, then give the code that the terminal shows."
    minutes = -(-answer.wait_s // 60)
    return (
        f"Too many wrong codes: the door stays shut for {minutes} min. The terminal shows a new "
        "code."
    )
