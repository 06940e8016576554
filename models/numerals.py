"""Numbers as people read them."""

from decimal import Decimal

__all__ = ["counted", "plain_number"]


def plain_number(value: float, digits: int = 3) -> str:
    """Return a number with so many significant digits, and never with an exponent.

    >>> plain_number(12.7), plain_number(0.0361234), plain_number(123456.0, 2)
    ('12.7', '0.0361', '120000')
    """
    return format(Decimal(f"{value:.{digits}g}"), "f")


def counted(count: int, one: str, many: str = "") -> str:
    """Return a number with its thing, in the plural where it is not one.

    >>> counted(1, "bed"), counted(2, "bed"), counted(3, "leaf", "leaves")
    ('1 bed', '2 beds', '3 leaves')
    """
    return f"{count} {one if count == 1 else many or one + 's'}"
