"""Numbers as people write them."""

from decimal import Decimal


def spell_number(value: float | None) -> str:
    """Spell a stored number in full and without an exponent: `1.27`, `260`; nothing for None.

    The number is finite; every digit that tells it from its neighbours is kept.
    """
    if value is None:
        return ""
    # Adding nothing takes the sign from a zero.
    text = format(Decimal(repr(float(value) + 0.0)), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text
