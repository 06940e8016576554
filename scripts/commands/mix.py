"""``spotlamp mix``: amounts for a tank of spray."""

from typing import Annotated

import typer

from scripts.common.terminal import app, one_sentence_errors, say

__all__ = ["mix"]


@app.command()
def mix(
    recipe: Annotated[str, typer.Argument(metavar="RECIPE", help="soda or peroxide.")],
    water: Annotated[
        str,
        typer.Option(
            "--water", metavar="AMOUNT", help="Water for the tank: 2l, 1us-gal, 1imp-gal."
        ),
    ],
    bottle: Annotated[
        str | None,
        typer.Option("--bottle", metavar="PCT", help="Strength on the bottle of peroxide: 3%."),
    ] = None,
    half: Annotated[bool, typer.Option("--half", help="Half the usual strength.")] = False,
    made_up: Annotated[
        bool,
        typer.Option("--made-up", help="AMOUNT is what the tank holds in the end, not the water."),
    ] = False,
    together: Annotated[
        list[str] | None,
        typer.Option("--with", metavar="WHAT", help="Something else for the tank, as aspirin."),
    ] = None,
) -> None:
    """Say how much baking soda or hydrogen peroxide goes into a tank.

    Reads nothing and writes nothing but the screen; answers at once. RECIPE is soda (preventive)
    or peroxide (curative, one plant first). Only hydrogen peroxide of 3 % is mixed, and nothing
    that must not be in one tank. The recipes are garden practice, not registered products.

    Ends with 0 when done, 1 when it is not mixed, with the reason, 2 for wrong usage.
    """
    if bottle is not None and recipe == "soda":
        raise typer.BadParameter(
            "it is the strength of peroxide; soda has none.", param_hint="--bottle"
        )
    with one_sentence_errors():
        from scripts.care.mix_text import mix_text, tank_said

        said = tank_said(
            recipe, water, bottle=bottle, half=half, made_up=made_up, together=together or ()
        )
        say(mix_text(said))
