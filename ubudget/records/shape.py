"""The shape of a record, read from its dataclass: which fields it has, what each holds, what its docstring says.

Whoever lays records out in another form (a workbook to be filled in) asks here, so that a field added to a dataclass
is known everywhere at once.
"""

from __future__ import annotations

import ast
import dataclasses
import datetime as dt
import inspect
import itertools
import sys
import types
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from ubudget.records.amount import Amount
from ubudget.records.stated import Stated

Kind = Literal["text", "amount", "number", "whole number", "yes or no", "date", "any"]
"""`any`: several kinds are accepted, or a structure that no single cell shows; it is written as JSON then."""

_KINDS: dict[Any, Kind] = {
    str: "text",
    Amount: "amount",
    float: "number",
    int: "whole number",
    bool: "yes or no",
    dt.date: "date",
}


@dataclass(frozen=True)
class Scalar:
    """One value."""

    kind: Kind
    choices: tuple[str | int, ...] = ()
    """What is accepted, where the record lists it."""


@dataclass(frozen=True)
class Several:
    """A list of single values."""

    of: Scalar


@dataclass(frozen=True)
class Keyed:
    """A table of keys that the laboratory chooses; each holds one value, a list of them, or a record."""

    of: Scalar | Several | RecordShape | Alternatives


@dataclass(frozen=True)
class Rows:
    """A list of records."""

    of: RecordShape


@dataclass(frozen=True)
class Alternatives:
    """One of several records; the field `tag` says which."""

    tag: str
    members: dict[str, RecordShape]


@dataclass(frozen=True)
class FieldShape:
    key: str
    """As the documents spell it."""
    shape: Shape
    required: bool
    default: Any
    """`None` where there is none, or where it says nothing."""
    words: str
    """Docstring of the field, empty where it has none."""


@dataclass(frozen=True)
class RecordShape:
    name: str
    """Of the dataclass."""
    fields: tuple[FieldShape, ...]
    words: str
    """First paragraph of the docstring of the dataclass."""


Shape = Scalar | Several | Keyed | Rows | Alternatives | RecordShape


@cache
def shape_of(record: type) -> RecordShape:
    """The shape of a pydantic dataclass; how an uncertainty is stated comes after what it is stated of."""
    words = _field_words(record)
    fields = []
    for name, info in record.__pydantic_fields__.items():  # type: ignore[attr-defined]  # pydantic adds it
        default = None if info.is_required() else info.get_default(call_default_factory=True)
        plain = default if isinstance(default, (str, int, float, bool)) and default != "" else None
        fields.append(
            FieldShape(info.alias or name, _shape(info.annotation), info.is_required(), plain, words.get(name, ""))
        )
    if issubclass(record, Stated) and record is not Stated:
        fields.sort(key=lambda field: field.key in {stated.key for stated in shape_of(Stated).fields})
    if any(dataclasses.is_dataclass(parent) for parent in record.__mro__[1:]):
        # What a record extends comes first in it; a reader looks for what must be filled in.
        fields.sort(key=lambda field: not field.required)
    return RecordShape(record.__name__, tuple(fields), _paragraph(record.__doc__ or ""))


def _shape(annotation: Any) -> Shape:
    annotation = _bare(annotation)
    origin, inner = get_origin(annotation), get_args(annotation)
    if annotation in _KINDS:
        return Scalar(_KINDS[annotation])
    if origin is Literal:
        kind: Kind = "whole number" if all(isinstance(choice, int) for choice in inner) else "text"
        return Scalar(kind, inner)
    if dataclasses.is_dataclass(annotation) and isinstance(annotation, type):
        return shape_of(annotation)
    if origin in (tuple, list) and inner:
        entry = _shape(inner[0])
        if isinstance(entry, Scalar):
            return Several(entry)
        return Rows(entry) if isinstance(entry, RecordShape) else Scalar("any")
    if origin is dict:
        entry = _shape(inner[1])
        return Keyed(entry) if not isinstance(entry, (Keyed, Rows)) else Scalar("any")
    if origin in (Union, types.UnionType):
        return _alternatives(inner)
    return Scalar("any")


def _bare(annotation: Any) -> Any:
    """Without what is annotated, and without `None` beside it."""
    while True:
        if get_origin(annotation) is Annotated:
            annotation = get_args(annotation)[0]
            continue
        if get_origin(annotation) in (Union, types.UnionType):
            present = [option for option in get_args(annotation) if option is not type(None)]
            if len(present) == 1:
                annotation = present[0]
                continue
        return annotation


def _alternatives(options: tuple[Any, ...]) -> Shape:
    """Records that one field tells apart; anything else is `any`."""
    shapes = [shape for shape in map(_shape, options) if isinstance(shape, RecordShape)]
    tags = [_fixed(shape) for shape in shapes]
    common = [key for key in tags[0] if all(key in fixed for fixed in tags)] if len(shapes) == len(options) else []
    if len(common) != 1:
        return Scalar("any")
    (tag,) = common
    return Alternatives(tag, {fixed[tag]: shape for fixed, shape in zip(tags, shapes, strict=True)})


def _fixed(record: RecordShape) -> dict[str, str]:
    """Fields that accept one value alone, and that value."""
    scalars = [(field.key, field.shape) for field in record.fields if isinstance(field.shape, Scalar)]
    return {key: str(shape.choices[0]) for key, shape in scalars if len(shape.choices) == 1}


@cache
def _field_words(record: type) -> dict[str, str]:
    """The text that stands below each field of a dataclass and of those it extends."""
    found: dict[str, str] = {}
    for parent in reversed(record.__mro__):
        if not dataclasses.is_dataclass(parent):
            continue
        for field, text in itertools.pairwise(_bodies(parent.__module__).get(parent.__qualname__, [])):
            if (
                isinstance(field, ast.AnnAssign)
                and isinstance(field.target, ast.Name)
                and isinstance(text, ast.Expr)
                and isinstance(text.value, ast.Constant)
                and isinstance(text.value.value, str)
            ):
                found[field.target.id] = _paragraph(text.value.value)
    return found


@cache
def _bodies(module: str) -> dict[str, list[ast.stmt]]:
    """Statements of the classes of a module by qualified name; its source is parsed once for all of them."""
    try:
        tree = ast.parse(inspect.getsource(sys.modules[module]))
    except (OSError, TypeError, KeyError):  # an installation without sources: the fields still stand
        return {}
    return dict(_classes(tree.body, ""))


def _classes(body: list[ast.stmt], prefix: str) -> Iterator[tuple[str, list[ast.stmt]]]:
    for node in body:
        if isinstance(node, ast.ClassDef):
            yield f"{prefix}{node.name}", node.body
            yield from _classes(node.body, f"{prefix}{node.name}.")


def _paragraph(text: str) -> str:
    """The first paragraph on one line, without the marks of code."""
    return " ".join(text.strip().split("\n\n")[0].split()).replace("`", "")
