"""Mixing a tank: the amounts and cautions of ``spotlamp mix``."""

from starlette.requests import Request
from starlette.responses import Response

from models.mix import ADDITIONS, RECIPES
from scripts.care.mix_text import TankSaid, tank_said
from scripts.page.pages import FORESEEN, Pages, sentence_of

__all__ = ["mix"]

_MOST = 40  # signs of an amount that is typed


def mix(pages: Pages, request: Request) -> Response:
    """Say what goes into a tank."""
    asked = {name: text[:_MOST].strip() for name, text in request.query_params.items()}
    together = [text[:_MOST] for text in request.query_params.getlist("with") if text]
    said, wrong = _said(asked, together) if asked.get("water") else (None, "")
    units = pages.desk.garden().units
    return pages.show(
        request,
        "mix.html",
        here="mix",
        tank=said,
        wrong=wrong,
        asked=asked,
        recipes=list(RECIPES),
        additions=ADDITIONS,
        usual_water="1us-gal" if units == "US" else "2l",
    )


def _said(asked: dict[str, str], together: list[str]) -> tuple[TankSaid | None, str]:
    recipe = asked.get("recipe", "")
    try:
        said = tank_said(
            recipe,
            asked["water"],
            bottle=(asked.get("bottle") or None) if recipe != "soda" else None,
            half="half" in asked,
            made_up="made_up" in asked,
            together=together,
        )
    except FORESEEN as error:
        return None, sentence_of(error)
    return said, ""
