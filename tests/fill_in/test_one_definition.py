"""The tables come from the dataclasses of the records: a field that is added there appears by itself."""

from __future__ import annotations

import datetime as dt
import io
from typing import Annotated, Any, Literal

import pytest
from openpyxl import load_workbook
from pydantic import Field, TypeAdapter
from pydantic.dataclasses import dataclass

from tests.fill_in.workbooks import FOLDERS, records_of
from ubudget.files.fill_in_writing import fill_in_bytes
from ubudget.pages.fill_in_tables import tables_of_records
from ubudget.records.amount import AnyAmount, PositiveAmount
from ubudget.records.method import Method
from ubudget.records.register import Register
from ubudget.records.run import RunFile
from ubudget.records.shape import Keyed, RecordShape, Rows, Scalar, Several, shape_of


@dataclass(kw_only=True)
class _Part:
    """A part of it."""

    size: AnyAmount


@dataclass(kw_only=True)
class _Whole:
    """A record that nobody has written yet."""

    text: str
    amount: PositiveAmount | None = None
    """What the field
    says."""
    choice: Literal["a", "b"] = "a"
    digits: Literal[1, 2] = 2
    mark: bool | None = None
    day: dt.date | None = None
    number: Annotated[float, Field(gt=0)] | None = None
    count: Annotated[int, Field(ge=1)] = 1
    entries: tuple[float, ...] = ()
    parts: Annotated[tuple[_Part, ...], Field(strict=False, alias="part")] = ()
    one: _Part | None = None
    named: dict[str, AnyAmount] = Field(default_factory=dict)
    either: float | str = 1.0


def test_each_kind_of_field_is_understood() -> None:
    shape = shape_of(_Whole)
    fields = {field.key: field for field in shape.fields}
    assert {key: field.shape for key, field in fields.items() if isinstance(field.shape, Scalar)} == {
        "text": Scalar("text"),
        "amount": Scalar("amount"),
        "choice": Scalar("text", ("a", "b")),
        "digits": Scalar("whole number", (1, 2)),
        "mark": Scalar("yes or no"),
        "day": Scalar("date"),
        "number": Scalar("number"),
        "count": Scalar("whole number"),
        "either": Scalar("any"),
    }
    assert fields["entries"].shape == Several(Scalar("number"))
    assert fields["named"].shape == Keyed(Scalar("amount"))
    part = RecordShape("_Part", shape_of(_Part).fields, "A part of it.")
    assert (fields["part"].shape, fields["one"].shape) == (Rows(part), part)
    assert fields["amount"].words == "What the field says."
    assert (fields["text"].required, fields["choice"].required, fields["choice"].default) == (True, False, "a")


def _leaves(schema: dict[str, Any]) -> set[tuple[str, str]]:
    """Record and field of everything that the schema of pydantic's own making knows."""
    found = set()
    for name, node in [*schema["$defs"].items(), ("", schema)]:
        if name != "Amount":
            found |= {(name, key) for key in node.get("properties", {})}
    return found


@pytest.mark.parametrize("record", [Method, Register, RunFile])
def test_every_field_has_its_place(record: type) -> None:
    """Against the JSON schema that pydantic makes of the same dataclasses by a way of its own."""
    keys = {key for _, key in _leaves(TypeAdapter(record).json_schema(by_alias=True))}
    told = {step for table in tables_of_records() for column in table.columns for step in (*column.path, table.tag)}
    told |= {step for table in tables_of_records() for step in table.path}
    assert keys - told == set()


def test_headings_of_a_table_differ() -> None:
    for table in tables_of_records():
        headings = [*table.keys, *(column.heading for column in table.columns)]
        assert len(set(headings)) == len(headings), table.name


def test_names_of_tables_can_be_names_of_sheets() -> None:
    """At most 31 characters, none of : \\ / ? * [ ] (ECMA-376 part 1, 18.2.19, and the common spreadsheets)."""
    for table in tables_of_records():
        assert len(table.name) <= 31 and not set(table.name) & set(":\\/?*[]"), table.name


def test_lists_to_choose_from_are_those_of_the_records() -> None:
    book = load_workbook(io.BytesIO(fill_in_bytes(records_of(FOLDERS[0]))))
    sheet = book["equipment"]
    offered = {
        str(rule.formula1).strip('"')
        for rule in sheet.data_validations.dataValidation
        if rule.type == "list" and not str(rule.formula1).startswith("'")
    }
    kinds = TypeAdapter(Register).json_schema()["$defs"]["Equipment"]["properties"]["kind"]["enum"]
    assert ",".join(kinds) in offered


def test_nothing_in_it_is_a_formula_and_nothing_is_hidden() -> None:
    book = load_workbook(io.BytesIO(fill_in_bytes(records_of(FOLDERS[0]))))
    for sheet in book.worksheets:
        assert sheet.sheet_state == "visible"
        assert [cell.coordinate for row in sheet.iter_rows() for cell in row if cell.data_type == "f"] == []
