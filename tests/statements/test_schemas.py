"""The published schemas hold for what every worked example prints, and refuse what is not so.

JSON Schema, draft 2020-12; checked by the package jsonschema."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from tests.statements.examples import evaluated, result, runs, with_results
from ubudget.files.exchange import evaluation_object, json_text, statements_object
from ubudget.files.schemas import SCHEMAS, schema_text
from ubudget.records.statement_form import StatementForm

EVALUATE, STATEMENT = (Draft202012Validator(json.loads(schema_text(name))) for name in SCHEMAS)


def through_text(value: Any) -> Any:
    return json.loads(json_text(value))


@pytest.mark.parametrize("validator", [EVALUATE, STATEMENT], ids=SCHEMAS)
def test_the_schema_is_one(validator: Draft202012Validator) -> None:
    Draft202012Validator.check_schema(validator.schema)
    assert validator.schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_every_example_keeps_to_them() -> None:
    for run in runs():
        evaluation = evaluated(run)
        assert list(EVALUATE.iter_errors(through_text(evaluation_object(evaluation)))) == []
        assert list(STATEMENT.iter_errors(through_text(statements_object(evaluation)))) == []


def test_results_that_are_not_available_or_below_a_limit_keep_to_them() -> None:
    figures = (
        "value", "standard_uncertainty", "coverage_factor", "expanded_uncertainty", "reported_value",
        "reported_expanded_uncertainty",
    )  # fmt: skip
    missing = result(**dict.fromkeys(figures), flags=("no reading left",), budget_rows=tuple)
    evaluation = with_results(missing, result(reported_as="< 0.05"))
    assert list(EVALUATE.iter_errors(through_text(evaluation_object(evaluation)))) == []
    told = through_text(statements_object(evaluation, StatementForm(decimal_mark="comma")))
    assert list(STATEMENT.iter_errors(told)) == []
    gone, below = told[:2]
    assert gone["reported_value"] is None and gone["reported"].startswith("not available")
    assert (below["reported_value"], below["reported_as"], below["reported"]) == (None, "< 0.05", "< 0,05 mg/kg")


def test_statements_hold_the_reported_numbers_and_what_is_left_out() -> None:
    evaluation = evaluated()
    for entry, told in zip(through_text(statements_object(evaluation)), evaluation.results, strict=True):
        assert entry["reported_value"] == told.reported_value
        assert entry["reported_expanded_uncertainty"] == told.reported_expanded_uncertainty
        assert entry["not_included"].startswith("sampling in the harbour")
        assert entry["reported"] in entry["statement"]
        # Every key is described, so that a reader of the schema knows it.
        assert entry.keys() == STATEMENT.schema["$defs"]["result"]["properties"].keys()


def spoiled(change: Callable[[dict[str, Any]], Any]) -> dict[str, Any]:
    told = copy.deepcopy(through_text(evaluation_object(evaluated())))
    change(told)
    return told


@pytest.mark.parametrize(
    "change",
    [
        lambda told: told.pop("findings"),
        lambda told: told["results"][0].pop("basis"),
        lambda told: told["results"][0].update(value="46.8"),
        lambda told: told["results"][0].update(value=None),
        lambda told: told["results"][0].update(coverage_probability=95.45),
        lambda told: told["results"][0].update(flags="none"),
        lambda told: told["results"][0]["budget"][0].update(evaluation="C"),
        lambda told: told["results"][0]["budget"][0].update(standard_uncertainty=-1),
        lambda told: told["results"][0]["budget"][0].update(symbol="cov(a, b)"),
        lambda told: told["method"].update(fingerprint="x"),
        lambda told: told["run"].update(date="17.03.2026"),
        lambda told: told["findings"].append({"severity": "bad"}),
    ],
)
def test_what_breaks_the_contract_is_refused(change: Callable[[dict[str, Any]], Any]) -> None:
    assert not EVALUATE.is_valid(spoiled(change))


def test_further_keys_are_let_through() -> None:
    assert EVALUATE.is_valid(spoiled(lambda told: told["results"][0].update(decisions=[], simulation=None)))


def test_zero_is_no_uncertainty_and_a_text_stands_alone() -> None:
    told = through_text(statements_object(evaluated()))
    assert STATEMENT.is_valid(told)
    assert not STATEMENT.is_valid([{**told[0], "reported_expanded_uncertainty": 0}])
    assert not STATEMENT.is_valid([{**told[0], "reported_as": "< 1"}])
