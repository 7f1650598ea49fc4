"""What differs between two documents, key by key; entries of lists are the same where their names are."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

_NAMING = (
    "id",
    "name",
    "label",
    "number",
    "item",
    "sample",
    "portion",
    "solution",
    "analyte",
    "line",
    "block",
    "position",
    "replicate",
    "between",
    "reference_material",
)
"""Keys that tell which entry of a list one is; all that it has, together."""
_SINGULAR = {
    "symbols": "symbol",
    "analytes": "analyte",
    "stocks": "stock",
    "data": "data",
    "for": "case",
    "atomic_weights": "atomic weight",
}
_SUMMARY = ("operation", "title", "value", "estimate", "concentration")
LONGEST = 200


@dataclass(frozen=True)
class FieldChange:
    """A field of a record; `was` empty: added, `now` empty: removed."""

    document: str
    place: str
    was: str
    now: str


def differences(document: str, old: Any, new: Any) -> Iterator[FieldChange]:
    """Fields of two parsed documents (tables, lists, plain values) that are not the same, in the order of the old."""
    yield from _between(document, (), old, new)


def _between(document: str, path: tuple[str, ...], old: Any, new: Any) -> Iterator[FieldChange]:
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        for key in dict.fromkeys([*old, *new]):
            yield from _between(document, (*path, str(key)), old.get(key), new.get(key))
    elif (_is_entries(old) or _is_entries(new)) and all(_is_entries(side) or not side for side in (old, new)):
        before, after = _named(old or []), _named(new or [])
        key = path[-1] if path else "row"
        for name in dict.fromkeys([*before, *after]):
            place = (*path[:-1], f"{_SINGULAR.get(key, key)} {name}")
            yield from _between(document, place, before.get(name), after.get(name))
    elif not _same(old, new):
        yield FieldChange(document, _words(path), shown(old), shown(new))


def _is_entries(value: Any) -> bool:
    return isinstance(value, Sequence) and bool(value) and all(isinstance(entry, Mapping) for entry in value)


def _named(entries: Sequence[Mapping[str, Any]]) -> dict[str, Mapping[str, Any]]:
    """Entries by their names; a name that stands several times is counted on."""
    counts: Counter[str] = Counter()
    found = {}
    for number, entry in enumerate(entries, start=1):
        parts = [_name(entry[key]) for key in _NAMING if entry.get(key) not in (None, "")]
        name = " ".join(parts) or str(number)
        counts[name] += 1
        found[f"{name} ({counts[name]})" if counts[name] > 1 else name] = entry
    return found


def _name(value: Any) -> str:
    return " and ".join(map(str, value)) if isinstance(value, list) else str(value)


def _same(old: Any, new: Any) -> bool:
    """Whether two fields say the same; 1, 1.0 and the text 1.00 of a table are one number."""
    if old == new and isinstance(old, bool) == isinstance(new, bool):
        return True
    try:
        return not isinstance(old, bool) and not isinstance(new, bool) and float(old) == float(new)
    except (TypeError, ValueError):
        return False


def _words(path: Sequence[str]) -> str:
    words: list[str] = []
    for step in path:
        if words and words[-1] in _SINGULAR:
            words[-1] = f"{_SINGULAR[words[-1]]} {step}"
        else:
            words.append(step)
    return ", ".join(words) or "whole file"


def shown(value: Any) -> str:
    """A value in one line; of a table its names and what says most of it."""
    if value is None:
        return ""
    if isinstance(value, Mapping):
        told = [f"{key} {shown(value[key])}" for key in _SUMMARY if value.get(key) not in (None, "")]
        text = "; ".join(told) or ", ".join(f"{key} {shown(part)}" for key, part in value.items())
    elif isinstance(value, list | tuple):
        text = "[" + ", ".join(shown(part) for part in value) + "]"
    elif isinstance(value, bool):
        text = "true" if value else "false"
    else:
        text = str(value)
    text = " ".join(text.split()) or '""'
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1]}…"
