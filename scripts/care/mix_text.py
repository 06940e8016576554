"""What goes into a tank of spray, said in words."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from models.mix import (
    G_PER_OZ,
    IMP_GAL_L,
    PEROXIDE_G_PER_MOL,
    US_FL_OZ_ML,
    US_GAL_L,
    US_TSP_ML,
    Aspirin,
    Mixture,
    aspirin_for,
    check_together,
    mix,
    parse_strength_pct,
    parse_volume_l,
)
from models.numerals import plain_number
from scripts.common.terminal import LINE

__all__ = ["TankSaid", "mix_text", "tank_said"]

_LEAST_WEIGHED_G = 1.0
_NO_SCALE = ": less than a kitchen scale shows, so mix a larger tank"


@dataclass(frozen=True)
class TankSaid:
    """What goes into a tank, in words.

    Attributes
    ----------
    title : str
        The recipe.
    rows : tuple of (str, str)
        What to do, and how much.
    notes : tuple of str
        How it is used, and what else goes in.
    cautions : tuple of str
        Of the recipe.
    """

    title: str
    rows: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


def tank_said(
    recipe: str,
    water: str,
    *,
    bottle: str | None = None,
    half: bool = False,
    made_up: bool = False,
    together: Sequence[str] = (),
) -> TankSaid:
    """Return what goes into a tank, and the cautions.

    Parameters
    ----------
    recipe : str
        ``soda`` or ``peroxide``.
    water : str
        An amount as typed, such as ``2l``.
    bottle : str, optional
        Strength on the bottle of peroxide, such as ``3%``.
    half : bool
        Half the usual strength.
    made_up : bool
        Whether the amount is what the tank holds in the end.
    together : sequence of str
        What else goes into the tank.

    Raises
    ------
    SpotlampError
        With the reason why it is not mixed.
    """
    tank = mix(
        recipe,
        parse_volume_l(water),
        bottle_pct=None if bottle is None else parse_strength_pct(bottle),
        share=0.5 if half else 1.0,
        convention="made up to" if made_up else "added to",
    )
    additions = check_together(recipe, tuple(together))
    strength = "half strength of " if tank.share < 1 else ""
    notes = [tank.recipe.use]
    if "aspirin" in additions:
        notes.append(_with_aspirin(aspirin_for(tank.water_l)))
    return TankSaid(
        title=f"{strength}{tank.recipe.title}".capitalize(),
        rows=tuple(_rows(tank)),
        notes=tuple(notes),
        cautions=tuple(tank.recipe.cautions),
    )


def mix_text(said: TankSaid) -> str:
    """Return what goes into a tank as lines for the terminal."""
    rows = [f"  {what:<11}{amount}" for what, amount in said.rows]
    notes = [line for note in said.notes for line in ("", *textwrap.wrap(note, LINE))]
    return "\n".join([said.title, *rows, *notes, "", *(_item(one) for one in said.cautions)])


def _rows(tank: Mixture) -> list[tuple[str, str]]:
    end = ", in the end" if tank.convention == "made up to" else ""
    water = ("water", f"{_volume(tank.water_l)}{end}")
    return [water, *(_soda_rows(tank) if tank.grams is not None else _peroxide_rows(tank))]


def _soda_rows(tank: Mixture) -> list[tuple[str, str]]:
    grams, least, most = tank.grams or 0.0, tank.least_grams or 0.0, tank.most_grams or 0.0
    litres = tank.water_l
    no_scale = _NO_SCALE if grams < _LEAST_WEIGHED_G else ""
    return [
        (
            "weigh",
            f"{_amount(grams, 1)} g of baking soda ({_amount(grams / G_PER_OZ, 2)} oz){no_scale}",
        ),
        (
            "by spoon",
            f"{_spoons(tank.amount_ml)}, which may weigh {_amount(least, 0)} to "
            f"{_amount(most, 0)} g, by how it is packed",
        ),
        (
            "makes",
            f"{tank.g_per_l:.2f} g/L = {tank.percent:.3f} % "
            f"(by spoon {least / litres / 10:.2f} to {most / litres / 10:.2f} %)",
        ),
    ]


def _peroxide_rows(tank: Mixture) -> list[tuple[str, str]]:
    millimolar = 1000 * tank.g_per_l / PEROXIDE_G_PER_MOL
    added = "added to the water" if tank.convention == "added to" else "then water up to the mark"
    return [
        (
            "measure",
            f"{_amount(tank.amount_ml, 1)} mL of 3 % hydrogen peroxide "
            f"({_amount(tank.amount_ml / US_FL_OZ_ML, 2)} US fl oz), {added}",
        ),
        ("by spoon", _spoons(tank.amount_ml)),
        ("makes", f"{tank.percent:.3f} % ({millimolar:.0f} mM)"),
    ]


def _amount(value: float, decimals: int) -> str:
    """Return an amount with fixed decimals; one too small for them with two digits, never as 0."""
    fixed = f"{value:.{decimals}f}"
    return fixed if float(fixed) >= 10 ** (1 - decimals) / 2 else plain_number(value, 2)


def _volume(litres: float) -> str:
    gallons = plain_number(litres / US_GAL_L), plain_number(litres / IMP_GAL_L)
    return f"{plain_number(litres)} L ({gallons[0]} US gal, {gallons[1]} imperial gal)"


def _spoons(millilitres: float) -> str:
    """Say an amount in level US tablespoons and teaspoons, to the nearest quarter teaspoon."""
    quarters = round(4 * millilitres / US_TSP_ML)
    if not quarters:
        return "less than a quarter of a US teaspoon"
    large, small = divmod(quarters, 12)
    parts = [f"{large} US tablespoon{'s' * (large != 1)}"] if large else []
    if small or not large:
        parts.append(f"{small / 4:g} US teaspoon{'s' * (small != 4)}")
    return f"{' and '.join(parts)}, level"


def _with_aspirin(aspirin: Aspirin) -> str:
    head = (
        f"Aspirin: {_amount(aspirin.tablets, 1)} tablets by the rule of thumb, or "
        f"{_amount(aspirin.least_mg, 0)} to {_amount(aspirin.most_mg, 0)} mg by published garden "
        "advice, crushed and dissolved."
    )
    return f"{head} {aspirin.note}"


def _item(text: str) -> str:
    return textwrap.fill(text, LINE, initial_indent="- ", subsequent_indent="  ")
