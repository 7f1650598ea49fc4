"""Every layout of the report: the numbers read back, and what belongs to them is said once."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal
from itertools import product
from typing import get_args

import pytest
from pydantic import ValidationError

from tests.statements.examples import EXAMPLES, evaluated, result, with_results
from tests.statements.test_number_forms import RAISED, number
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.pages.statement import amount, statement, statement_lines
from ubudget.records.statement_form import DecimalMark, Layout, Notation, StatedAs, StatementForm

FORMS = [
    StatementForm(layout=layout, notation=notation, decimal_mark=mark, uncertainty=stated)
    for layout, notation, mark, stated in product(
        *(get_args(choices) for choices in (Layout, Notation, DecimalMark, StatedAs))
    )
    if (layout, stated) != ("concise", "relative")
]
RINSE = EXAMPLES / "rinse_water"
POWER = re.compile(r"× 10([⁻⁰¹²³⁴-⁹]+)")


def one_line(evaluation: Evaluation, form: StatementForm) -> str:
    return " ".join(" ".join(statement_lines(evaluation, form=form)).split())


def numbers_of(told: Result, text: str) -> tuple[Decimal, Decimal]:
    """First and second number of what is said of a result, without its label."""
    power = POWER.search(text)
    raised = power[1].translate(RAISED) if power else None
    first, second = re.findall(r"(?<![\d.,])-?\d+(?:[.,]\d+)?", POWER.sub("", text))[:2]
    if re.search(r"\d\(\d", text):
        places = len(re.split("[.,]", first)[1]) if re.search("[.,]", first) else 0
        return number(first, raised), number(second, raised).scaleb(-places)
    return number(first, raised), number(second, None if "% of the value" in text else raised)


@pytest.mark.parametrize("form", FORMS, ids=lambda form: "-".join(vars(form)[name] for name in list(vars(form))[:4]))
def test_every_form_reads_back_to_what_is_reported(form: StatementForm) -> None:
    """Unlike units, decades and derived results; scientific and plain."""
    evaluation = evaluated(RINSE)
    whole = one_line(evaluation, form)
    for told in evaluation.results:
        text = amount(told, form)
        unit = "" if told.unit == "1" else f" {told.unit}"
        value, stated = numbers_of(told, text.replace(unit, "") if unit else text)
        assert told.reported_value is not None and told.reported_expanded_uncertainty is not None
        assert stated > 0
        if form.layout == "concise":
            # GUM 7.2.2: u itself, the value to its place. U = k u, within the rounding of both.
            assert told.standard_uncertainty == pytest.approx(float(stated), rel=0.05)
            assert told.value == pytest.approx(float(value), abs=float(stated) * 0.06)
            assert len(stated.as_tuple().digits) == 2
        else:
            assert float(value) == told.reported_value
            if form.uncertainty == "relative":
                assert float(stated) == pytest.approx(
                    100 * (told.expanded_uncertainty or 0) / abs(told.value or 1), rel=0.05
                )
            else:
                assert float(stated) == told.reported_expanded_uncertainty
        assert ("," in text) <= (form.decimal_mark == "comma")
        if form.layout != "table":
            assert text in whole
    # ISO/IEC 17025:2017, 7.8.3.1 c and GUM 7.2: what the uncertainty is, and what it leaves out, stands in each form.
    assert "does not include: sampling at the works" in whole
    assert ("standard uncertainty u" in whole) == (form.layout == "concise")
    assert ("expanded uncertainty U = k u" in whole) == (form.layout != "concise")
    if form.layout != "paragraph":
        assert whole.count("does not include") == 1
    if form.decimal_mark == "comma" and form.layout != "concise":
        assert "95,45 %" in whole and "95.45" not in whole


@pytest.mark.parametrize("form", [form for form in FORMS if form.layout == "table"], ids=str)
def test_rows_of_the_table_hold_the_reported_numbers(form: StatementForm) -> None:
    evaluation = evaluated(RINSE)
    lines = statement_lines(evaluation, form=form)
    rows = [line for line in lines if re.match(r"(RINSE|OUT)-\S+ +(Cu|Zn|Ca|Mg) ", line)]
    assert len(rows) == 24
    for row, told in zip(rows, evaluation.results, strict=False):
        *_, line, value, stated = re.split(r" {2,}", row)[:5]
        power = POWER.search(row)
        raised = power[1].translate(RAISED) if power else None
        assert line == told.line
        assert float(number(value, raised)) == told.reported_value
        if form.uncertainty == "absolute":
            assert float(number(stated, raised)) == told.reported_expanded_uncertainty
        assert told.unit in row


@pytest.mark.parametrize("form", FORMS, ids=str)
def test_a_text_in_place_of_a_number_stands_in_every_form(form: StatementForm) -> None:
    below = result(reported_as="< 0.05")
    expected = "< 0,05" if form.decimal_mark == "comma" else "< 0.05"
    assert amount(below, form) == f"{expected} mg/kg"
    evaluation = with_results(below)
    told = statement(below, evaluation.records.method, form=form)
    assert f"{expected} mg/kg" in told and "±" not in told and "in brackets" not in told
    assert expected in one_line(evaluation, form)


@pytest.mark.parametrize("form", FORMS, ids=str)
def test_lines_fit_in_eighty_columns(form: StatementForm) -> None:
    missing = result(value=None, reported_value=None, reported_expanded_uncertainty=None, flags=("no reading left",))
    exact = result(expanded_uncertainty=0.0, reported_expanded_uncertainty=0.0, standard_uncertainty=0.0)
    lines = statement_lines(with_results(missing, exact), form=form)
    assert max(map(len, lines)) <= 80
    text = " ".join(" ".join(lines).split())
    assert "not available" in text and "no reading left" in text
    assert "none" in text if form.layout == "table" else "without an uncertainty" in text
    assert "Run SED-2026-0317 of 2026-03-17" in text


def test_the_method_has_the_form_and_a_call_goes_before_it() -> None:
    evaluation = evaluated()
    method = replace(evaluation.records.method, statement=StatementForm(layout="concise", decimal_mark="comma"))
    told = replace(evaluation, records=replace(evaluation.records, method=method))
    assert "46,8(13) mg/kg" in " ".join(statement_lines(told))
    assert "(46.8 ± 2.7) mg/kg" in " ".join(statement_lines(told, form=StatementForm()))
    assert "46,8(13) mg/kg" in statement(result(), method)


def test_brackets_and_a_relative_uncertainty_do_not_go_together() -> None:
    with pytest.raises(ValidationError, match="one of the two"):
        StatementForm(layout="concise", uncertainty="relative")


def test_hundreds_and_a_value_of_zero() -> None:
    # GUM 7.2.6: no digit beyond the place of U; scientific notation shows which are known.
    large = result(value=12345.0, expanded_uncertainty=1234.0, reported_value=12300.0,
                   reported_expanded_uncertainty=1200.0, decimals=-2)  # fmt: skip
    assert amount(large) == "(12300 ± 1200) mg/kg"
    assert amount(large, StatementForm(notation="scientific")) == "(12.3 ± 1.2) × 10³ mg/kg"
    near = result(value=0.001, expanded_uncertainty=0.12, reported_value=0.0, reported_expanded_uncertainty=0.12)
    near = replace(near, decimals=2)
    assert amount(near, StatementForm(uncertainty="relative")) == "(0.00 ± 0.12) mg/kg"
