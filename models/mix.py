"""Spray arithmetic: how much of what for a tank of any size, and what must not be mixed.

The amounts are rules of thumb of the trade, not of a registered product. Volumes are litres and
millilitres, masses grams; other units are only read and shown.
"""

import math
import re
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Literal

from vision.errors import SpotlampError

__all__ = [
    "ADDITIONS",
    "G_PER_OZ",
    "IMP_GAL_L",
    "PEROXIDE_G_PER_MOL",
    "RECIPES",
    "UNITS_ML",
    "US_FL_OZ_ML",
    "US_GAL_L",
    "US_TSP_ML",
    "Aspirin",
    "CannotMixError",
    "Convention",
    "Mixture",
    "Recipe",
    "aspirin_for",
    "check_together",
    "mix",
    "parse_strength_pct",
    "parse_volume_l",
]

US_TSP_ML = 4.92892159375
US_TBSP_ML = 3 * US_TSP_ML
US_FL_OZ_ML = 2 * US_TBSP_ML
US_GAL_L = 3.785411784
IMP_GAL_L = 4.54609
IMP_FL_OZ_ML = 1000 * IMP_GAL_L / 160
G_PER_OZ = 28.349523125

UNITS_ML = {
    "ml": 1.0,
    "l": 1000.0,
    "us-fl-oz": US_FL_OZ_ML,
    "us-pint": 1000 * US_GAL_L / 8,
    "us-quart": 1000 * US_GAL_L / 4,
    "us-gal": 1000 * US_GAL_L,
    "imp-fl-oz": IMP_FL_OZ_ML,
    "imp-pint": 1000 * IMP_GAL_L / 8,
    "imp-gal": 1000 * IMP_GAL_L,
}
"""Units in which a tank's volume is read, in mL."""

_SAME = {
    **dict.fromkeys(("litre", "litres", "liter", "liters"), "l"),
    **dict.fromkeys(("millilitre", "millilitres", "milliliter", "milliliters"), "ml"),
}
_EITHER = {"gal": "gallon", "gallon": "gallon", "gallons": "gallon", "pint": "pint"}
_EITHER |= {"pints": "pint", "pt": "pint", "quart": "quart", "quarts": "quart", "oz": "ounce"}

SODA_G_PER_TSP = 4.6  # level US teaspoon, as food-composition tables have it (from memory)
SODA_LEAST_G_PER_TSP, SODA_MOST_G_PER_TSP = 4.0, 7.0  # by packing
ONLY_STRENGTH_PCT = 3.0
PEROXIDE_G_PER_MOL = 34.01
ASPIRIN_TABLETS_PER_GAL = 2
ASPIRIN_PUBLISHED_MG_PER_GAL = (81.0, 250.0)

Convention = Literal["added to", "made up to"]


class CannotMixError(SpotlampError):
    """Something that is not mixed here; the message is one sentence for people."""


@dataclass(frozen=True)
class Recipe:
    """A rule of the trade for one tank.

    Attributes
    ----------
    name : str
        ``soda`` or ``peroxide``.
    title : str
        For people.
    tbsp_per_gal : float
        Level US tablespoons to a US gallon of water.
    use : str
        One sentence: what it is used for.
    cautions : tuple of str
        Sentences that belong to it.
    """

    name: str
    title: str
    tbsp_per_gal: float
    use: str
    cautions: tuple[str, ...]


_FIRST = (
    "The label of what you use and your local rules come first; these amounts are a garden "
    "practice, not a registered product. If you sell your produce, ask your extension service."
)
_LAST = (
    "Spray in the morning on dry leaves, not above 32 °C that day or the next, not in wind, not "
    "before rain.",
    "Pick ripe fruit first, and wash what you pick later. Keep children and pets away until it "
    "is dry.",
)

RECIPES = {
    "soda": Recipe(
        "soda",
        "baking soda, preventive spray",
        2.0,
        "Preventive: over the top and on the undersides of the leaves, every 14 days and again "
        "the morning after real rain (a day with more than 0.5 mm). More often may "
        "burn leaves.",
        (
            _FIRST,
            "Wear gloves and eye protection.",
            "The full strength lies above the 0.5 % that is usually named as the most leaves bear "
            "(from memory), and has burnt leaves in hot weather: try a few leaves first, or use "
            "half of it.",
            *_LAST,
        ),
    ),
    "peroxide": Recipe(
        "peroxide",
        "hydrogen peroxide, curative spray",
        10.0,
        "Curative, for sick plants only: one plant first, 24 hours, a look for burn, one more day, "
        "and only then the others; look at these for burn as well. Never on a plant that may have "
        "late blight.",
        (
            _FIRST,
            "Wear gloves and eye protection: 3 % irritates eyes and bleaches skin and clothes.",
            "No trial was found in which peroxide at this strength cures leaf spot or blight.",
            "Mix fresh, nothing else in the tank; let what is left over stand open, never closed, "
            "and pour it away the same day.",
            *_LAST,
        ),
    ),
}

ADDITIONS = ("aspirin", "copper", "oil", "peroxide", "soap", "soda", "sulphur", "vinegar")
"""What may be named as a second thing in the tank; most of it is refused."""

_ALIASES = {"sulfur": "sulphur", "baking soda": "soda", "hydrogen peroxide": "peroxide"}
_ALONE = "hydrogen peroxide goes into the tank alone"
_ONE = "two products in one tank are not mixed here"
_REASONS = (
    ("peroxide", "vinegar", f"they make peracetic acid, which hurts eyes and lungs; {_ALONE}"),
    ("peroxide", "soda", f"soda breaks it down; {_ALONE}"),
    ("peroxide", "copper", f"copper breaks it down; {_ALONE}"),
    *(("peroxide", other, _ALONE) for other in ("sulphur", "soap", "oil", "aspirin")),
    ("soda", "vinegar", "an acid makes soda foam over, and nothing useful is left"),
    *(("soda", other, _ONE) for other in ("copper", "sulphur", "soap", "oil")),
    ("oil", "sulphur", "within two weeks of each other they burn leaves (from memory)"),
)
_NEVER = {frozenset({first, second}): reason for first, second, reason in _REASONS}


@dataclass(frozen=True)
class Mixture:
    """What goes into one tank.

    Attributes
    ----------
    recipe : Recipe
        The rule behind it.
    water_l : float
        The volume asked for, L.
    convention : {"added to", "made up to"}
        Whether ``water_l`` is the water to which the ingredient is added, or what the tank holds
        in the end.
    share : float
        Of the recipe's strength: 1, or 0.5 for half.
    amount_ml : float
        Ingredient by volume, mL: peroxide of 3 %, or soda by the level spoon.
    grams : float or None
        Soda by weight, g; None for peroxide.
    least_grams, most_grams : float or None
        What the same spoons weigh, loosely and tightly packed, g.
    g_per_l : float
        Final concentration, g of soda or of pure peroxide per L.
    """

    recipe: Recipe
    water_l: float
    convention: Convention
    share: float
    amount_ml: float
    grams: float | None
    least_grams: float | None
    most_grams: float | None
    g_per_l: float

    @property
    def percent(self) -> float:
        """Final concentration, g per 100 mL."""
        return self.g_per_l / 10

    @property
    def spoons(self) -> float:
        """Ingredient in level US tablespoons."""
        return self.amount_ml / US_TBSP_ML


def mix(
    name: str,
    water_l: float,
    *,
    bottle_pct: float | None = None,
    share: float = 1.0,
    convention: Convention = "added to",
) -> Mixture:
    """Work out the amounts for one tank.

    Parameters
    ----------
    name : str
        A name from ``RECIPES``.
    water_l : float
        Volume, L, above 0.
    bottle_pct : float or None
        Strength on the bottle of peroxide, percent; anything but 3 is refused.
    share : float
        Of the recipe's strength, above 0 and at most 1.
    convention : {"added to", "made up to"}
        What ``water_l`` means. The usual one is "added to".

    Raises
    ------
    CannotMixError
        With the reason in one sentence.
    """
    if name not in RECIPES:
        near = get_close_matches(name.lower(), [*RECIPES, *_ALIASES], n=1)
        meant = f" Did you mean {near[0]}?" if near else ""
        raise CannotMixError(f"There is no recipe “{name}”; there are {', '.join(RECIPES)}.{meant}")
    if not (math.isfinite(water_l) and water_l > 0):
        raise CannotMixError("The amount of water must be above 0.")
    if not 0 < share <= 1:
        raise CannotMixError("A tank is mixed at the recipe's strength or weaker, never stronger.")
    recipe = RECIPES[name]
    amount_ml = share * recipe.tbsp_per_gal * US_TBSP_ML * water_l / US_GAL_L
    if name == "soda":
        return _soda(recipe, water_l, convention, share, amount_ml)
    _check_bottle(bottle_pct)
    # 3 % is taken as 3 g in 100 mL.
    litres = water_l + (amount_ml / 1000 if convention == "added to" else 0)
    g_per_l = amount_ml * ONLY_STRENGTH_PCT / 100 / litres
    return Mixture(recipe, water_l, convention, share, amount_ml, None, None, None, g_per_l)


def _soda(
    recipe: Recipe, water_l: float, convention: Convention, share: float, amount_ml: float
) -> Mixture:
    """Weigh soda; what it adds to the volume is too little to count."""
    spoons = amount_ml / US_TSP_ML
    grams, least, most = (
        spoons * each for each in (SODA_G_PER_TSP, SODA_LEAST_G_PER_TSP, SODA_MOST_G_PER_TSP)
    )
    return Mixture(
        recipe, water_l, convention, share, amount_ml, grams, least, most, grams / water_l
    )


def _check_bottle(bottle_pct: float | None) -> None:
    """Refuse every peroxide but that of 3 %; no way to thin a stronger one is given."""
    if bottle_pct is None:
        raise CannotMixError(
            "Read the strength of the hydrogen peroxide on the bottle and state it: --bottle 3%."
        )
    if not math.isclose(bottle_pct, ONLY_STRENGTH_PCT, abs_tol=1e-9):
        why = (
            "a stronger one burns leaves, skin and eyes, a slip in thinning it does the same, and "
            "above 8 % it is corrosive and feeds fire"
            if not bottle_pct < ONLY_STRENGTH_PCT
            else "the amounts hold for 3 %, and a weaker one may be old or something else"
        )
        raise CannotMixError(
            f"The bottle says {bottle_pct:g} %, and only hydrogen peroxide of 3 % is mixed here: "
            f"{why}."
        )


@dataclass(frozen=True)
class Aspirin:
    """The addition of aspirin, as some gardeners do it.

    Attributes
    ----------
    tablets : float
        Tablets for the tank by the rule of the trade, whatever their strength.
    least_mg, most_mg : float
        Aspirin for the same tank by published garden advice, mg.
    """

    tablets: float
    least_mg: float
    most_mg: float
    note: str = (
        "Practice without registration: aspirin is too little researched to be a registered "
        "spray, and no effect on your plants is promised. Published garden advice is less than "
        "two common tablets of 325 mg to the US gallon."
    )


def aspirin_for(water_l: float) -> Aspirin:
    """Return how much aspirin gardeners put into a tank of preventive spray of ``water_l`` L."""
    gallons = water_l / US_GAL_L
    least, most = ASPIRIN_PUBLISHED_MG_PER_GAL
    return Aspirin(ASPIRIN_TABLETS_PER_GAL * gallons, least * gallons, most * gallons)


def check_together(name: str, additions: tuple[str, ...]) -> tuple[str, ...]:
    """Return the additions that may go into the tank; refuse the others.

    Parameters
    ----------
    name : str
        The recipe's name.
    additions : tuple of str
        What else is to go in, such as ``aspirin``.

    Raises
    ------
    CannotMixError
        With the reason, for the first pair that is not mixed.
    """
    known = [_ALIASES.get(one.strip().lower(), one.strip().lower()) for one in additions]
    for one in known:
        if one not in ADDITIONS:
            raise CannotMixError(
                f"“{one}” with {name} is not mixed here: nothing is known of the two together, "
                "and two products in one tank are against the rule."
            )
    tank = [name, *known]
    for place, first in enumerate(tank):
        for second in tank[place + 1 :]:
            reason = _NEVER.get(frozenset({first, second}))
            if reason:
                raise CannotMixError(f"Never {first} and {second} in one tank: {reason}.")
    return tuple(one for one in dict.fromkeys(known) if one != name)


_AMOUNT = re.compile(r"\s*(\d+(?:[.,]\d+)?|\d+/\d+)\s*([A-Za-z][A-Za-z .-]*?)\s*")


def parse_volume_l(text: str) -> float:
    """Read a volume such as ``2 l``, ``1 us-gal`` or ``500ml``.

    Returns
    -------
    float
        Litres, above 0.

    Raises
    ------
    CannotMixError
        With one sentence, also where a gallon or pint could be the US or the imperial one.
    """
    found = _AMOUNT.fullmatch(text)
    if not found:
        raise CannotMixError(f"“{text}” is no amount of water; write it as 2l or 1us-gal.")
    value = _number(found[1])
    unit = re.sub(r"[ .]+", "-", found[2].lower()).strip("-")
    unit = unit.replace("imperial", "imp").replace("gallons", "gal").replace("gallon", "gal")
    unit = _SAME.get(unit, unit)
    if unit in _EITHER:
        raise CannotMixError(
            f"“{text}”: say which {_EITHER[unit]}, the US or the imperial one, which is a fifth "
            "larger; write it as 1us-gal, 1imp-gal, or in litres."
            if _EITHER[unit] == "gallon"
            else f"“{text}”: say which {_EITHER[unit]}, as in {', '.join(UNITS_ML)}."
        )
    if unit not in UNITS_ML:
        raise CannotMixError(f"“{text}” has no unit known here; there are {', '.join(UNITS_ML)}.")
    if not value > 0:
        raise CannotMixError("The amount of water must be above 0.")
    return value * UNITS_ML[unit] / 1000


def _number(text: str) -> float:
    if "/" in text:
        above, below = (int(part) for part in text.split("/"))
        return above / below if below else 0.0
    return float(text.replace(",", "."))


def parse_strength_pct(text: str) -> float:
    """Read a strength such as ``3``, ``3%`` or ``3 %``.

    Raises
    ------
    CannotMixError
        With one sentence where it is no percentage.
    """
    found = re.fullmatch(r"\s*(\d{1,3}(?:[.,]\d+)?)\s*%?\s*", text)
    if not found:
        raise CannotMixError(f"“{text}” is no strength in percent; write it as it stands: 3%.")
    return float(found[1].replace(",", "."))
