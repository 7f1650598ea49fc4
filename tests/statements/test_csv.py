"""CSV for a laboratory information management system."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.statements.examples import evaluated, result, runs, with_results
from ubudget.files.statement_csv import COLUMNS, statement_csv


def rows(text: str, delimiter: str = ",") -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))


@pytest.mark.parametrize(
    ("mark", "separator", "sign"),
    [
        ("point", None, ","),
        ("comma", None, ";"),
        ("comma", "comma", ","),
        ("point", "tab", "\t"),
        ("point", "semicolon", ";"),
    ],
)
def test_numbers_are_those_reported_with_their_zeros(mark: Any, separator: str | None, sign: str) -> None:
    for run in runs():
        evaluation = evaluated(run)
        text = statement_csv(evaluation, mark, separator)
        # RFC 4180, 2: lines end with CRLF, the last one too.
        assert text.endswith("\r\n") and text.count("\n") == text.count("\r\n")
        for row, told in zip(rows(text, sign), evaluation.results, strict=True):
            value, expanded = row["reported_value"], row["reported_expanded_uncertainty"]
            if told.reported_as:
                assert (value, expanded, row["reported_as"].replace(",", ".")) == ("", "", told.reported_as)
                continue
            assert float(value.replace(",", ".")) == told.reported_value
            assert float(expanded.replace(",", ".")) == told.reported_expanded_uncertainty
            assert ("," in value) == (mark == "comma" and told.decimals > 0)
            places = value.replace(",", ".").partition(".")[2]
            assert len(places) == max(0, told.decimals)
            assert row["not_included"] == evaluation.records.method.document.not_included.rstrip(". ")


def test_every_column_of_the_demonstration() -> None:
    row = next(row for row in rows(statement_csv(evaluated())) if row["sample"] == "SED-01")
    assert tuple(row) == COLUMNS
    assert row == {
        "sample": "SED-01",
        "analyte": "Cu",
        "line": "324.754",
        "reported_value": "46.8",
        "reported_expanded_uncertainty": "2.7",
        "reported_as": "",
        "unit": "mg/kg",
        "coverage_factor": "2.04",
        "coverage_probability": "0.9545",
        "measurand": "mass fraction of the acid-extractable element",
        "basis": "dry mass",
        "flags": "",
        "reference_material": "",
        "not_included": "sampling in the harbour, transport and sample splitting before the laboratory",
        "method": "M-SED-03",
        "method_version": "3.1",
        "run": "SED-2026-0317",
        "date": "2026-03-17",
    }


def test_what_is_not_reported_stays_empty() -> None:
    missing = result(
        value=None, reported_value=None, reported_expanded_uncertainty=None, flags=("no reading left", "b")
    )
    exact = result(expanded_uncertainty=0.0, reported_expanded_uncertainty=0.0, standard_uncertainty=0.0)
    told = with_results(result(reported_as="< 0.05"), missing, exact)
    below, gone, without, *_ = rows(statement_csv(told, "comma"), ";")
    assert (without["reported_value"], without["reported_expanded_uncertainty"]) == ("46,8", "")
    assert (below["reported_value"], below["reported_expanded_uncertainty"], below["reported_as"]) == ("", "", "< 0,05")
    assert (gone["reported_value"], gone["coverage_factor"], gone["flags"]) == ("", "", "no reading left; b")


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t"])
def test_a_text_never_becomes_a_formula_and_a_negative_number_stays_one(sign: str) -> None:
    """Spreadsheet programs take a field that begins so for a formula (common practice, no source)."""
    told = result(sample=f'{sign}HYPERLINK("x")', reported_value=-3.1, reported_expanded_uncertainty=2.2)
    row, *_ = rows(statement_csv(with_results(told, basis=f"{sign}1", not_included=f"{sign}2")))
    assert row["sample"] == f'\'{sign}HYPERLINK("x")'
    assert row["not_included"] == f"'{sign}2"
    assert row["reported_value"] == "-3.1"


@given(st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\x00"), min_size=1, max_size=20))
@settings(max_examples=15, deadline=None)
def test_any_text_is_one_field(words: str) -> None:
    (row, *rest) = rows(statement_csv(with_results(result(sample=words))))
    assert row["sample"].removeprefix("'") == words.removeprefix("'")
    assert len(rest) == 51 and None not in row
