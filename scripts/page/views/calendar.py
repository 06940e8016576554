"""The plan as a calendar that phones subscribe to, and as it is printed."""

import hmac
from urllib.parse import parse_qs

from starlette.requests import Request
from starlette.responses import Response

from models.care.words import time_words
from scripts.care.text import PARTS, again_words
from scripts.page.guard import SCHEME
from scripts.page.pages import Pages
from scripts.page.standing import Standing
from scripts.page.views.today import by_day

__all__ = ["calendar", "calendar_opens", "plan_ics"]

PATH = "/plan.ics"


def calendar(pages: Pages, request: Request) -> Response:
    """Show where the calendar is, and the plan."""
    standing = pages.desk.standing()
    address = f"{SCHEME}://{request.headers['host']}{PATH}?key={_key(pages)}"
    return pages.show(
        request,
        "calendar.html",
        here="calendar",
        trouble=standing.trouble,
        address=address,
        days=by_day(standing.plan.tasks),
        parts_of_day=PARTS,
        time_words=time_words,
        again_words=again_words,
        this_computer=pages.door is None,
    )


def plan_ics(pages: Pages, _: Request) -> Response:
    """Return the plan as a calendar file."""
    data = _calendar(pages.desk.standing())
    return Response(data, media_type="text/calendar; charset=utf-8")


def calendar_opens(pages: Pages, path: str, query: str) -> bool:
    """Whether an address is the calendar's with its key: calendars carry no cookie."""
    given = parse_qs(query).get("key", [""])[0]
    return path == PATH and hmac.compare_digest(given.encode(), _key(pages).encode())


def _key(pages: Pages) -> str:
    return pages.signed("calendar")[:32]


def _calendar(standing: Standing) -> bytes:
    from scripts.care.calendar_file import calendar_bytes  # its library takes a while to import

    # Whoever subscribes sees the whole plan each time: nothing of an earlier one need be cancelled.
    season = standing.season
    sells = season.limits.sells_produce
    return calendar_bytes(season.garden, standing.plan.tasks, season.now, sells_produce=sells)
