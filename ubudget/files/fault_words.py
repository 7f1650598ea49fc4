"""Faults of a document against its record, in the words of laboratory staff."""

from __future__ import annotations

import datetime as dt
import difflib
import json
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from ubudget.files.toml_text import Path, faulty_values
from ubudget.records.finding import Finding

RecordType = TypeVar("RecordType")

_NAMING_KEYS = ("id", "label", "number", "name", "item", "solution", "what")
_SINGULAR = {
    "symbols": "symbol",
    "analytes": "analyte",
    "stocks": "stock",
    "data": "data",
    "atomic_weights": "atomic weight",
}


def validate_document(
    adapter: TypeAdapter[RecordType], document: dict[str, Any], file: str, findings: list[Finding]
) -> RecordType | None:
    """The record, or `None` where the document has faults; every fault is added to `findings`."""
    faulty = list(faulty_values(document))
    findings.extend(
        Finding("stop", file, place_words(fault.path, document), fault.found, fault.accepted, fault.remedy)
        for fault in faulty
    )
    try:
        # As JSON: strict scalars, while tables and lists still become records and tuples.
        text = json.dumps(document, default=_iso)
    except ValueError:  # a whole number of thousands of digits, which is among the findings
        return None
    try:
        record = adapter.validate_json(text, by_alias=True, by_name=False)
    except ValidationError as error:
        known = {fault.path for fault in faulty}
        schema = adapter.json_schema()
        for details in error.errors(include_url=False):
            path = _path_in(details["loc"], document)
            if path not in known:
                findings.append(_finding(details, path, document, file, schema))
        return None
    return None if faulty else record


def place_words(path: Sequence[str | int], document: Any) -> str:
    """`equipment 3 (F50-2), certificate 1 (C-77), due` for a path of keys and 0-based positions."""
    words: list[str] = []
    value = document
    for step in path:
        value = _inside(value, step)
        if isinstance(step, int):
            name = _name_of(value)
            words[-1:] = [f"{words[-1] if words else 'entry'} {step + 1}{f' ({name})' if name else ''}"]
        elif words and words[-1] in _SINGULAR:
            words[-1] = f"{_SINGULAR[words[-1]]} {_cut(step)}"
        else:
            words.append(_cut(step))
    return ", ".join(words) or "whole file"


def shown(value: Any) -> str:
    """A value of a document as its writer would recognise it."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    if isinstance(value, str):
        return f'"{_cut(value)}"' if value else "an empty text"
    if isinstance(value, int) and abs(value) >= 10**15:
        return "a whole number of more than 15 digits"
    return _cut(str(value))


def _iso(value: Any) -> str:
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    raise TypeError(f"a value of type {type(value).__name__} in a document")


def _cut(text: str) -> str:
    plain = "".join(character if character.isprintable() else " " for character in text)
    return plain if len(plain) <= 60 else f"{plain[:57]}..."


def _inside(value: Any, step: str | int) -> Any:
    if isinstance(value, dict) and isinstance(step, str):
        return value.get(step)
    if isinstance(value, list) and isinstance(step, int) and step < len(value):
        return value[step]
    return None


def _name_of(value: Any) -> str:
    if not isinstance(value, dict):
        return ""
    names = (value.get(key) for key in _NAMING_KEYS)
    return _cut(next((name for name in names if isinstance(name, str) and name), ""))


def _path_in(location: Sequence[str | int], document: Any) -> Path:
    """The place without the name of the kind of record that validation adds after a symbol."""
    path: list[str | int] = []
    value = document
    for step in location:
        names_kind = isinstance(value, dict) and value.get("operation") == step and step not in value
        if names_kind:
            continue
        path.append(step)
        value = _inside(value, step)
    return tuple(path)


def _finding(details: ErrorDetails, path: Path, document: Any, file: str, schema: dict[str, Any]) -> Finding:
    value: Any = document
    for step in path:
        value = _inside(value, step)
    found, accepted, remedy = _words(details, path, value, document, schema)
    return Finding("stop", file, place_words(path, document), found, accepted, remedy)


def _words(
    details: ErrorDetails, path: Path, value: Any, document: Any, schema: dict[str, Any]
) -> tuple[str, str, str]:
    """Found, accepted, remedy."""
    kind = details["type"]
    context = details.get("ctx", {})
    if kind in ("unexpected_keyword_argument", "extra_forbidden"):
        return _unknown_key(str(path[-1]), accepted_keys(schema, path[:-1], document))
    if kind == "value_error":
        found, separator, accepted = str(context["error"]).partition("; accepted: ")
        if not separator:
            return shown(value), found.removeprefix("accepted: "), "correct the value"
        said = found if isinstance(value, (dict, list)) else f"{shown(value)} ({found})"
        return said, accepted, "correct the entry" if isinstance(value, (dict, list)) else "correct the value"
    if kind in ("missing", "missing_argument", "missing_keyword_only_argument"):
        return "nothing", "an entry: it cannot be left out", f"add {path[-1]}"
    if kind == "union_tag_invalid":
        tags = str(context["expected_tags"]).replace("'", '"')
        return f"the unknown operation {_cut(str(context['tag']))}", tags, "correct the operation"
    if kind == "union_tag_not_found":
        return "no operation", "operation = one of the operations of the bench", "add operation"
    for name, words in _ACCEPTED.items():
        if kind.startswith(name):
            return shown(value), words(context), "correct the value"
    return shown(value), "another value", "compare the file with a worked example"


_ACCEPTED: dict[str, Callable[[dict[str, Any]], str]] = {
    "string_type": lambda context: "text in quotes",
    "string_too_short": lambda context: "a text that is not empty",
    "float_": lambda context: "a number without unit and without quotes",
    "int_": lambda context: "a whole number",
    "bool_": lambda context: "true or false",
    "date_": lambda context: "a date, year-month-day, e.g. 2025-03-04",
    "finite_number": lambda context: "a finite number",
    "literal_error": lambda context: str(context["expected"]).replace("'", '"'),
    "greater_than_equal": lambda context: f"{context['ge']:g} or more",
    "greater_than": lambda context: f"a number above {context['gt']:g}",
    "less_than_equal": lambda context: f"{context['le']:g} or less",
    "less_than": lambda context: f"a number below {context['lt']:g}",
    "tuple_type": lambda context: "a list, e.g. [a, b], or [[tables]] of this name",
    "too_long": lambda context: f"{context['max_length']} entries",
    "too_short": lambda context: f"{context['min_length']} entries",
    "dict_type": lambda context: "a table with keys",
    "dataclass_type": lambda context: "a table with keys",
    "model_attributes_type": lambda context: "a table with keys",
}


def _unknown_key(key: str, accepted: list[str]) -> tuple[str, str, str]:
    nearest = difflib.get_close_matches(key, accepted, n=1)
    remedy = f"did you mean {nearest[0]}?" if nearest else "delete it or correct its spelling"
    return f"the unknown key {_cut(key)}", ", ".join(accepted) or "the keys of this table", remedy


def accepted_keys(schema: dict[str, Any], path: Path, document: Any) -> list[str]:
    """Keys that the record knows at a place of the document."""
    node: dict[str, Any] = schema
    value = document
    for step in (*path, None):
        node = _resolved(node, schema, value)
        if step is None:
            break
        inner = node.get("items") if isinstance(step, int) else node.get("properties", {}).get(step)
        inner = inner if isinstance(inner, dict) else node.get("additionalProperties")
        node = inner if isinstance(inner, dict) else {}
        value = _inside(value, step)
    return list(node.get("properties", {}))


def _resolved(node: dict[str, Any], schema: dict[str, Any], value: Any) -> dict[str, Any]:
    """The node behind references, optional values and the choice by `operation`."""
    while True:
        if "$ref" in node:
            node = schema["$defs"][node["$ref"].rpartition("/")[2]]
        elif "discriminator" in node:
            mapping = node["discriminator"]["mapping"]
            chosen = mapping.get(value.get("operation")) if isinstance(value, dict) else None
            node = {"$ref": chosen} if chosen else {}
        elif "anyOf" in node:
            node = next((option for option in node["anyOf"] if option.get("type") != "null"), {})
        else:
            return node
