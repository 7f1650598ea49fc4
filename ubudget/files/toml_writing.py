"""A plain document as TOML text (TOML 1.0.0): the same document gives the same text, and reading gives it back."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_LONGEST_LINE = 110


def toml_text(document: Mapping[str, Any]) -> str:
    """The document as text. Raises `TypeError` for a value that TOML does not know."""
    return "\n".join(_table(document, ())).strip("\n") + "\n"


def _table(table: Mapping[str, Any], path: tuple[str, ...]) -> Iterator[str]:
    """Its own keys first: what stands behind the heading of another table would belong there."""
    inner = {key: value for key, value in table.items() if _is_table(value)}
    for key, value in table.items():
        if key not in inner:
            yield f"{_key(key)} = {_value(value)}"
    for key, value in inner.items():
        at = (*path, key)
        name = ".".join(_key(step) for step in at)
        if isinstance(value, Mapping):
            yield from (("", f"[{name}]") if _needs_heading(value) else ())
            yield from _table(value, at)
        else:
            for entry in value:
                yield from ("", f"[[{name}]]")
                yield from _table(entry, at)


def _is_table(value: Any) -> bool:
    """Whether a value stands under a heading of its own: a table, or a list of nothing but tables."""
    if isinstance(value, list):
        return bool(value) and all(isinstance(entry, Mapping) for entry in value)
    return isinstance(value, Mapping)


def _needs_heading(table: Mapping[str, Any]) -> bool:
    """A table that holds only tables is implied by their headings."""
    return not table or any(not _is_table(value) for value in table.values())


def _key(key: str) -> str:
    return key if _BARE_KEY.fullmatch(key) else _text(key)


def _text(text: str) -> str:
    """A basic string; its escapes are those of JSON, and the delete character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    if isinstance(value, list):
        entries = [_value(entry) for entry in value]
        line = f"[{', '.join(entries)}]"
        return line if len(line) <= _LONGEST_LINE else "[\n" + "".join(f"  {entry},\n" for entry in entries) + "]"
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(key)} = {_value(inner)}" for key, inner in value.items()) + " }"
    raise TypeError(f"TOML has no value of type {type(value).__name__}")
