"""``spotlamp mix``: amounts for a tank of spray."""

import textwrap
from typing import TYPE_CHECKING, Annotated

import typer

from models.numerals import plain_number
from scripts.common.terminal import LINE, app, one_sentence_errors, say

if TYPE_CHECKING:
    from models.mix import Aspirin, Mixture

__all__ = ["mix"]

_LEAST_WEIGHED_G = 1.0
_NO_SCALE = ": less than a kitchen scale shows, so mix a larger tank"


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
        from models.mix import (
            aspirin_for,
            check_together,
            parse_strength_pct,
            parse_volume_l,
        )
        from models.mix import mix as mix_tank

        tank = mix_tank(
            recipe,
            parse_volume_l(water),
            bottle_pct=None if bottle is None else parse_strength_pct(bottle),
            share=0.5 if half else 1.0,
            convention="made up to" if made_up else "added to",
        )
        additions = check_together(recipe, tuple(together or ()))
        say(_described(tank))
        if "aspirin" in additions:
            say(_with_aspirin(aspirin_for(tank.water_l)))
        say("\n".join(_item(caution) for caution in tank.recipe.cautions))


def _described(tank: "Mixture") -> str:
    strength = "half strength of " if tank.share < 1 else ""
    lines = [f"{strength}{tank.recipe.title}".capitalize(), f"  water      {_volume(tank.water_l)}"]
    if tank.convention == "made up to":
        lines[1] += ", in the end"
    lines += _soda_lines(tank) if tank.grams is not None else _peroxide_lines(tank)
    return "\n".join([*lines, "", *textwrap.wrap(tank.recipe.use, LINE), ""])


def _soda_lines(tank: "Mixture") -> list[str]:
    from models.mix import G_PER_OZ

    grams, least, most = tank.grams or 0.0, tank.least_grams or 0.0, tank.most_grams or 0.0
    litres = tank.water_l
    return [
        f"  weigh      {_amount(grams, 1)} g of baking soda ({_amount(grams / G_PER_OZ, 2)} oz)"
        + (_NO_SCALE if grams < _LEAST_WEIGHED_G else ""),
        f"  by spoon   {_spoons(tank.amount_ml)}, which may weigh {_amount(least, 0)} to "
        f"{_amount(most, 0)} g, by how it is packed",
        f"  makes      {tank.g_per_l:.2f} g/L = {tank.percent:.3f} % "
        f"(by spoon {least / litres / 10:.2f} to {most / litres / 10:.2f} %)",
    ]


def _peroxide_lines(tank: "Mixture") -> list[str]:
    from models.mix import PEROXIDE_G_PER_MOL, US_FL_OZ_ML

    millimolar = 1000 * tank.g_per_l / PEROXIDE_G_PER_MOL
    added = "added to the water" if tank.convention == "added to" else "then water up to the mark"
    return [
        f"  measure    {_amount(tank.amount_ml, 1)} mL of 3 % hydrogen peroxide "
        f"({_amount(tank.amount_ml / US_FL_OZ_ML, 2)} US fl oz), {added}",
        f"  by spoon   {_spoons(tank.amount_ml)}",
        f"  makes      {tank.percent:.3f} % ({millimolar:.0f} mM)",
    ]


def _amount(value: float, decimals: int) -> str:
    """Return an amount with fixed decimals; one too small for them with two digits, never as 0."""
    fixed = f"{value:.{decimals}f}"
    return fixed if float(fixed) >= 10 ** (1 - decimals) / 2 else plain_number(value, 2)


def _volume(litres: float) -> str:
    from models.mix import IMP_GAL_L, US_GAL_L

    gallons = plain_number(litres / US_GAL_L), plain_number(litres / IMP_GAL_L)
    return f"{plain_number(litres)} L ({gallons[0]} US gal, {gallons[1]} imperial gal)"


def _spoons(millilitres: float) -> str:
    """Say an amount in level US tablespoons and teaspoons, to the nearest quarter teaspoon."""
    from models.mix import US_TSP_ML

    quarters = round(4 * millilitres / US_TSP_ML)
    if not quarters:
        return "less than a quarter of a US teaspoon"
    large, small = divmod(quarters, 12)
    parts = [f"{large} US tablespoon{'s' * (large != 1)}"] if large else []
    if small or not large:
        parts.append(f"{small / 4:g} US teaspoon{'s' * (small != 4)}")
    return f"{' and '.join(parts)}, level"


def _with_aspirin(aspirin: "Aspirin") -> str:
    head = (
        f"Aspirin: {_amount(aspirin.tablets, 1)} tablets by the rule of thumb, or "
        f"{_amount(aspirin.least_mg, 0)} to {_amount(aspirin.most_mg, 0)} mg by published garden "
        "advice, crushed and dissolved."
    )
    return "\n".join([*textwrap.wrap(f"{head} {aspirin.note}", LINE), ""])


def _item(text: str) -> str:
    return textwrap.fill(text, LINE, initial_indent="- ", subsequent_indent="  ")
