"""Whether two units measure the same kind of quantity, and the factor between them."""

from __future__ import annotations

import re
from functools import cache
from tokenize import TokenError
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pint

_PLAIN_UNIT = re.compile(r"[A-Za-zµμΩ°%0-9/*^·.() -]{0,40}")
_BIG_POWER = re.compile(r"[0-9]{3,}")


@cache
def _units() -> pint.UnitRegistry[float]:
    from pint import UnitRegistry  # opening it takes a tenth of a second, and most runs need no comparison

    return UnitRegistry()


@cache
def factor_between(given: str, wanted: str) -> float | None:
    """The number by which a value in `given` is multiplied to be in `wanted`; `None` where they do not
    convert, or one of them is no unit. Bare numbers and the unit `1` are dimensionless."""
    if given == wanted:
        return 1.0
    from pint import PintError

    try:
        return float(_units().convert(1.0, _unit(given), _unit(wanted)))
    except (
        PintError,
        TokenError,
        ArithmeticError,
        AttributeError,
        AssertionError,
        LookupError,
        SyntaxError,
        TypeError,
        ValueError,
    ):
        # Text that is no unit leaves the unit parser in any of these ways.
        return None


def _unit(text: str) -> str:
    if not _PLAIN_UNIT.fullmatch(text) or _BIG_POWER.search(text):
        raise ValueError("not a unit")
    return "dimensionless" if text in ("", "1") else text.replace("·", "*").replace("%", "percent")
