"""A value with its uncertainty as one text, in the forms of JCGM 100:2008, 7.2.2 and 7.2.4."""

from __future__ import annotations

import math
from typing import Literal, get_args

from ubudget.errors import UbudgetError
from ubudget.pages.figures import unit_text
from ubudget.pages.number_forms import Pair, digits_of, in_brackets, marked, pair, relative, text
from ubudget.records.statement_form import DecimalMark, Notation, StatedAs, StatementForm


def interval(numbers: Pair, form: StatementForm, unit: str = "") -> str:
    """`(46.8 ± 2.7) mg/kg`, `(1.234 ± 0.056) × 10³ mg/kg`; a plain number without power of ten has no brackets."""
    shown = digits_of(numbers, form.notation, form.decimal_mark)
    inner = f"{shown.value} ± {shown.uncertainty}"
    behind = f"{shown.power}{unit_text(unit)}"
    return f"({inner}){behind}" if behind else inner


def interval_relative(numbers: Pair, percent: str, form: StatementForm, unit: str = "") -> str:
    """`46.8 mg/kg ± 5.8 % of the value`: a per cent alone could be one of the unit."""
    shown = digits_of(numbers, form.notation, form.decimal_mark)
    return f"{shown.value}{shown.power}{unit_text(unit)} ± {percent} % of the value"


def brackets(numbers: Pair, form: StatementForm, unit: str = "") -> str:
    """`100.02147(35) g`, `1.234(56) × 10³ mg/kg`: the uncertainty in units of the last digit of the value."""
    shown = in_brackets(numbers, form.notation, form.decimal_mark)
    return f"{shown.value}({shown.uncertainty}){shown.power}{unit_text(unit)}"


def statement_text(
    value: float,
    U: float | None = None,
    unit: str = "",
    *,
    u: float | None = None,
    k: float | None = None,
    digits: Literal[1, 2] = 2,
    notation: Notation = "plain",
    decimal_mark: DecimalMark = "point",
    uncertainty: StatedAs = "absolute",
) -> str:
    """A value with its uncertainty, rounded together: with the expanded uncertainty `U` as `(46.8 ± 2.7) mg/kg`, or
    with the standard uncertainty `u` in brackets as `46.8(13) mg/kg` (JCGM 100:2008, 7.2.2 and 7.2.4).

    `value`, `U` and `u` are unrounded, in the unit `unit`. U or u is rounded to `digits` significant digits (7.2.6;
    one digit by the 5 % rule of EA-4/02 6.3), the value to its place. `k` is added behind U, as given. `notation`
    `"scientific"` writes a power of ten that both share. `uncertainty` `"relative"` gives U in per cent of the value.

    Raises `UbudgetError` unless one of U and u is given, above zero, and all numbers are finite; for a relative U of
    a value that is rounded to zero; and for any other word than these."""
    given = [number for number in (value, U, u, k) if number is not None]
    stated = U if u is None else u
    if stated is None or (U is not None and u is not None):
        raise UbudgetError("statement_text: found both or none of U and u; accepted: one of them; leave the other out")
    if not all(math.isfinite(number) for number in given) or stated <= 0:
        raise UbudgetError(
            f"statement_text: found value {value}, uncertainty {stated}, k {k}; accepted: finite numbers, and an "
            "uncertainty above zero"
        )
    for name, word, accepted in (
        ("digits", digits, (1, 2)),
        ("notation", notation, get_args(Notation)),
        ("decimal_mark", decimal_mark, get_args(DecimalMark)),
        ("uncertainty", uncertainty, get_args(StatedAs)),
    ):
        if word not in accepted:
            raise UbudgetError(
                f"statement_text: found {name} {word!r}; accepted: one of {', '.join(map(str, accepted))}"
            )
    if u is not None and (uncertainty == "relative" or k is not None):
        raise UbudgetError("statement_text: found u with k, or as relative; accepted: these go with U; give U instead")
    form = StatementForm(notation=notation, decimal_mark=decimal_mark, uncertainty=uncertainty)
    numbers = pair(value, stated, digits)
    if u is not None:
        return brackets(numbers, form, unit)
    factor = "" if k is None else marked(f", k = {k:g}", decimal_mark)
    if uncertainty == "absolute":
        return interval(numbers, form, unit) + factor
    percent = relative(value, stated, digits)
    if percent is None or not numbers.value:
        raise UbudgetError(
            "statement_text: found a relative U of a value rounded to 0; accepted: another value; state U itself"
        )
    return interval_relative(numbers, text(percent, decimal_mark), form, unit) + factor
