"""Value and uncertainty as digits: printed forms of the GUM, and every form read back."""

from __future__ import annotations

import re
import tomllib
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from uncertainties import ufloat

import ubudget
from tests.statements.examples import evaluated, runs
from ubudget.errors import UbudgetError
from ubudget.pages.number_forms import at_place, pair

PRINTED = tomllib.loads((Path(__file__).parent / "data" / "printed_forms.toml").read_text(encoding="utf-8"))
RAISED = str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")


def number(text: str, power: str | None) -> Decimal:
    exponent = int(power.translate(RAISED)) if power else 0
    return Decimal(text.replace(",", ".")).scaleb(exponent)


def read_interval(text: str) -> tuple[Decimal, Decimal]:
    """Value and U of `(1.234 ± 0.056) × 10³ mg/kg`."""
    match = re.fullmatch(r"\(?(-?[\d.,]+) ± ([\d.,]+)\)?(?: × 10([⁻⁰¹²³⁴-⁹]+))?( mg/kg)?", text)
    assert match is not None, text
    return number(match[1], match[3]), number(match[2], match[3])


def read_relative(text: str) -> tuple[Decimal, Decimal]:
    """Value and U in per cent of `46.8 mg/kg ± 5.8 % of the value`."""
    match = re.fullmatch(r"(-?[\d.,]+)(?: × 10([⁻⁰¹²³⁴-⁹]+))? mg/kg ± ([\d.,]+) % of the value", text)
    assert match is not None, text
    return number(match[1], match[2]), number(match[3], None)


def read_brackets(text: str) -> tuple[Decimal, Decimal]:
    """Value and u of `100.021(35) × 10³ mg/kg`: last digits of the value, as the GUM explains them."""
    match = re.fullmatch(r"(-?[\d.,]+)\((\d+)\)(?: × 10([⁻⁰¹²³⁴-⁹]+))? mg/kg", text)
    assert match is not None, text
    last = re.split("[.,]", match[1])[1:]
    return number(match[1], match[3]), number(match[2], match[3]).scaleb(-len("".join(last)))


def rounded_by_hand(uncertainty: float, digits: int) -> Decimal:
    """By decimal arithmetic on the shortest text of the float; one digit by the 5 % rule."""
    exact = Decimal(repr(uncertainty))
    for place in (exact.adjusted() + 1 - digits, exact.adjusted() + 2 - digits):
        near = exact.quantize(Decimal(1).scaleb(place), ROUND_HALF_UP)
        if digits == 1 and near < exact * 95 / 100:
            near = exact.quantize(Decimal(1).scaleb(place), ROUND_CEILING)
        if len(near.as_tuple().digits) <= digits:
            return near
    raise AssertionError(uncertainty)


@pytest.mark.parametrize("case", PRINTED["form"], ids=lambda case: case["source"][:28])
def test_forms_that_the_gum_prints(case: dict[str, Any]) -> None:
    stated = {name: case[name] for name in ("u", "U", "k") if name in case}
    unit = case["unit"]
    if "in_brackets" in case:
        assert ubudget.statement_text(case["value"], unit=unit, u=case["u"]) == case["in_brackets"]
        # The form with ± is that of U; the GUM prints it with u as well, and says that it is better avoided.
        stated = {"U": case["u"]}
    assert ubudget.statement_text(case["value"], unit=unit, **stated) == case["with_sign"]


@pytest.mark.parametrize("case", PRINTED["rounding"])
def test_rounding_of_ea_4_02(case: dict[str, Any]) -> None:
    assert str(pair(1.0, case["U"], case["digits"]).uncertainty) == case["reported"]


@pytest.mark.parametrize(
    ("value", "U", "notation", "text"),
    [
        # By the rule of JCGM 100:2008, 7.2.6, by hand; engineering exponents: common practice, no source.
        (12345.0, 1234.0, "plain", "(12300 ± 1200) mg/kg"),
        (12345.0, 1234.0, "scientific", "(12.3 ± 1.2) × 10³ mg/kg"),
        (1234.0, 56.0, "scientific", "(1.234 ± 0.056) × 10³ mg/kg"),
        (990.0, 123.0, "scientific", "(0.99 ± 0.12) × 10³ mg/kg"),
        (46.8, 2.7, "scientific", "(46.8 ± 2.7) mg/kg"),
        (0.0, 12000.0, "scientific", "(0 ± 12) × 10³ mg/kg"),
        (-3.1e-7, 2e-8, "plain", "(-0.000000310 ± 0.000000020) mg/kg"),
        (-3.1e-7, 2e-8, "scientific", "(-310 ± 20) × 10⁻⁹ mg/kg"),
        (-0.0001, 0.12, "plain", "(0.00 ± 0.12) mg/kg"),
        (12.3, 0.4, "plain", "(12.30 ± 0.40) mg/kg"),
        (9.996, 0.0996, "plain", "(10.00 ± 0.10) mg/kg"),
    ],
)
def test_zeros_are_kept_and_place_holders_avoided(value: float, U: float, notation: Any, text: str) -> None:
    assert ubudget.statement_text(value, U, "mg/kg", notation=notation) == text


def test_relative_is_said_to_be_so_where_the_unit_is_per_cent() -> None:
    text = ubudget.statement_text(3.456, 0.1, "%", uncertainty="relative", k=2.13, decimal_mark="comma")
    assert text == "3,46 % ± 2,9 % of the value, k = 2,13"


@given(
    # Fifteen digits, as cells have them.
    value=st.floats(-1e9, 1e9).map(lambda x: float(f"{x:.15g}")).filter(lambda x: x == 0 or abs(x) > 1e-12),
    decade=st.floats(-9, 7),
    digits=st.sampled_from([1, 2]),
)
@settings(max_examples=60, deadline=None)
def test_every_form_reads_back_to_the_rounded_numbers(value: float, decade: float, digits: Any) -> None:
    uncertainty = 10.0**decade
    stated = rounded_by_hand(uncertainty, digits)
    exponent = stated.adjusted() + 1 - digits
    shown = Decimal(repr(value)).quantize(Decimal(1).scaleb(exponent), ROUND_HALF_UP)
    for notation, mark in product(("plain", "scientific"), ("point", "comma")):
        form: dict[str, Any] = {"notation": notation, "decimal_mark": mark, "digits": digits}
        assert read_interval(ubudget.statement_text(value, uncertainty, "mg/kg", **form)) == (shown, stated)
        assert read_brackets(ubudget.statement_text(value, unit="mg/kg", u=uncertainty, **form)) == (shown, stated)
        if shown:
            text = ubudget.statement_text(value, uncertainty, "mg/kg", uncertainty="relative", **form)
            percent = rounded_by_hand(100 * uncertainty / abs(value), digits)
            assert read_relative(text) == (shown, percent) and percent > 0
    assert stated > 0


def is_tie(x: float, exponent: int) -> bool:
    """Whether a number lies in the middle between two numbers of that place."""
    return Decimal(repr(x)).scaleb(-exponent) % 1 in (Decimal("0.5"), Decimal("-0.5"))


@given(value=st.floats(1e-3, 1e5), decade=st.floats(-4, 0.9))
@settings(max_examples=40, deadline=None)
def test_brackets_equal_those_of_another_library(value: float, decade: float) -> None:
    """The package uncertainties, format `S`, two digits of u; ties, which are even there and go up here, aside."""
    u = 10.0**decade
    exponent = pair(1, u).uncertainty.adjusted() - 1
    assume(not is_tie(value, exponent) and not is_tie(u, exponent))
    theirs = format(ufloat(value, u), ".2ufS")
    # That library writes the point in brackets where u reaches above it; the GUM counts in last digits.
    digits = re.sub(r"\(([\d.]+)\)", lambda match: f"({int(match[1].replace('.', ''))})", theirs)
    assert ubudget.statement_text(value, u=u) == digits


def test_reported_figures_of_every_example_equal_those_of_its_evaluation() -> None:
    """The rounding of texts is decimal, that of the evaluation is a formula: two ways to one figure."""
    for run in runs():
        evaluation = evaluated(run)
        for result in evaluation.results:
            assert result.value is not None and result.expanded_uncertainty and result.reported_value is not None
            numbers = pair(result.value, result.expanded_uncertainty, evaluation.records.method.rounding.digits)
            assert numbers.decimals == result.decimals
            assert float(numbers.uncertainty) == result.reported_expanded_uncertainty
            assert numbers.value == at_place(result.reported_value, result.decimals)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        ({}, "both or none of U and u"),
        ({"U": 1.0, "u": 1.0}, "both or none"),
        ({"U": 0.0}, "above zero"),
        ({"U": float("nan")}, "finite"),
        ({"U": 1.0, "notation": "roman"}, "plain, scientific"),
        ({"u": 1.0, "k": 2.0}, "u with k"),
        ({"U": 1000.0, "uncertainty": "relative"}, "rounded to 0"),
    ],
)
def test_what_cannot_be_stated_is_refused_in_one_line(call: dict[str, Any], words: str) -> None:
    with pytest.raises(UbudgetError, match=words):
        ubudget.statement_text(1.0, **call)
