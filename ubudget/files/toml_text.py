"""TOML text to a plain document; every fault of the text in the words of laboratory staff, with its line."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from ubudget.records.amount import MOST_DIGITS, significant_digits
from ubudget.records.finding import Finding

LONGEST_TEXT = 255
"""Longest text that a spreadsheet formula can compare."""
DEEPEST = 12
"""Tables within tables; the records need six."""

_AT = re.compile(r"\s*\((?:at line (\d+), column (\d+)|at end of document)\)$")
_DECIMAL_COMMA = re.compile(r"=\s*([+-]?[0-9]+,[0-9]+)")
_UNQUOTED_AMOUNT = re.compile(r"=\s*([+-]?[0-9][0-9.eE+-]*\s*[A-Za-zµμ°%][^#\"']*?)\s*(?:#|$)")
_UNQUOTED_TEXT = re.compile(r"=\s*([^\s\"'\[{0-9+-][^#\"']*?)\s*(?:#|$)")
_GIANT = re.compile(r"(?<![0-9_])[0-9][0-9_]{4000}")
_LONG_KEY = re.compile(r"""(?<![\w-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){40}""")
"""Names within names; the parser keeps every beginning of such a key, so that 20,000 names would fill the memory."""

_SEEN = 160
"""Signs of a faulty line that are looked at: the patterns above take the third power of its length."""

Path = tuple[str | int, ...]


@dataclass(frozen=True)
class FaultyPlace:
    """A fault at one place of a document."""

    path: Path
    found: str
    accepted: str
    remedy: str


def parse_toml(text: str, file: str) -> tuple[dict[str, Any] | None, list[Finding]]:
    """The document, or `None` with the finding that says line and column; numbers of too many digits."""
    long_numbers: list[str] = []

    def as_float(written: str) -> float:
        if significant_digits(written) <= MOST_DIGITS or written.lstrip("+-") in ("inf", "nan"):
            return float(written)
        long_numbers.append(written)
        return float(f"{float(written):.{MOST_DIGITS}g}")

    if _LONG_KEY.search(text):
        return None, [_too_deep(file)]
    try:
        document = tomllib.loads(text, parse_float=as_float)
    except RecursionError:
        return None, [_too_deep(file)]
    except ValueError as error:
        return None, [_syntax_finding(str(error), text, file)]
    if nesting(document) > DEEPEST:
        return None, [_too_deep(file)]
    return document, list(_long_numbers(long_numbers, text, file))


def nesting(document: Any) -> int:
    """How many tables and lists stand within each other."""
    deepest, level = 0, [document]
    while level:
        level = [
            inner
            for outer in level
            if isinstance(outer, (dict, list))
            for inner in (outer.values() if isinstance(outer, dict) else outer)
        ]
        deepest += 1
    return deepest - 1


def faulty_values(document: dict[str, Any]) -> Iterator[FaultyPlace]:
    """Text that no cell can hold and whole numbers of too many digits, wherever they stand."""
    waiting: list[tuple[Path, Any]] = [((), document)]
    while waiting:
        path, value = waiting.pop()
        if isinstance(value, dict):
            for key, inner in value.items():
                fault = faulty_text(key)
                if fault is not None:
                    yield FaultyPlace(path, f"a key with {fault[0]}", *fault[1:])
                waiting.append(((*path, key), inner))
        elif isinstance(value, list):
            waiting.extend(((*path, position), inner) for position, inner in enumerate(value))
        elif isinstance(value, str):
            fault = faulty_text(value, line_breaks=True)
            if fault is not None:
                yield FaultyPlace(path, *fault)
        elif isinstance(value, int) and abs(value) >= 10**MOST_DIGITS:
            accepted = f"at most {MOST_DIGITS} digits"
            yield FaultyPlace(path, f"a whole number of more than {MOST_DIGITS} digits", accepted, "shorten it")


def faulty_text(text: str, line_breaks: bool = False) -> tuple[str, str, str] | None:
    """What is wrong with a text, what is accepted and what to do; `None` where a cell can hold it."""
    if len(text) > LONGEST_TEXT:
        return f"text of {len(text)} characters", f"at most {LONGEST_TEXT} characters", "shorten the text"
    if text.isprintable():
        return None
    for position, character in enumerate(text, start=1):
        if character == "\n" and line_breaks:
            continue
        if unicodedata.category(character) in ("Cc", "Cs") or character in "\ufffe\uffff":
            return (
                f"control character U+{ord(character):04X} at position {position}",
                "printable text",
                "delete the character and type the text again",
            )
    return None


def _syntax_finding(message: str, text: str, file: str) -> Finding:
    at = _AT.search(message)
    lines = text.split("\n")
    if at and at.group(1):
        line, column = int(at.group(1)), int(at.group(2))
        place = f"line {line}, column {column}"
        source = lines[line - 1] if line <= len(lines) else ""
    elif message.startswith("Exceeds the limit"):
        giant = _GIANT.search(text)
        place, source = f"line {text[: giant.start()].count(chr(10)) + 1}" if giant else "whole file", ""
    else:
        place, source = f"line {len(lines)}, end of the file", lines[-1]
    return Finding("stop", file, place, *_syntax_words(_AT.sub("", message), source))


def _syntax_words(message: str, source: str) -> tuple[str, str, str]:
    """Found, accepted, remedy."""
    source = source[:_SEEN]
    comma = _DECIMAL_COMMA.search(source)
    if comma:
        point = comma.group(1).replace(",", ".")
        return f"a decimal comma in {comma.group(1)}", "a decimal point", f"write {point}"
    amount = _UNQUOTED_AMOUNT.search(source)
    if amount:
        quoted = f'"{amount.group(1)}"'
        return (
            f"{amount.group(1)} without quotes",
            "a number with its unit as text in quotes",
            f"write {quoted}",
        )
    if "overwrite" in message or "mutate" in message or "twice" in message or "ambiguous" in message.lower():
        return f"a key or table given twice: {_shown(source)}", "each key once", "delete one of them"
    if message.startswith("Exceeds the limit"):
        return "a number of thousands of digits", f"at most {MOST_DIGITS} digits", "shorten the number"
    if message.startswith("Illegal character") and "\\n" not in message:
        return "a control character", "printable text", "delete the character and type the text again"
    unquoted = _UNQUOTED_TEXT.search(source)
    if unquoted and unquoted.group(1) not in ("true", "false"):
        return (
            f"text without quotes: {_shown(unquoted.group(1))}",
            "text in double quotes",
            "put it in quotes",
        )
    return (
        _shown(source) if source.strip() else "an unfinished entry",
        'one entry a line: key = "text", key = number, key = 2025-03-04, or a [table]',
        "look for a missing quote, bracket or equals sign in this line or the one before",
    )


def _shown(source: str) -> str:
    text = "".join(character if character.isprintable() else " " for character in source).strip()
    return text if len(text) <= 60 else f"{text[:57]}..."


def _long_numbers(numbers: Iterable[str], text: str, file: str) -> Iterator[Finding]:
    """Numbers of too many digits, which are given in the order of the text."""
    at, line = 0, 1
    for number in numbers:
        found = text.find(number, at)
        if found >= 0:
            line += text.count("\n", at, found)
            at = found
        yield Finding(
            "stop",
            file,
            f"line {line}",
            f"{number[:40]}, a number of {significant_digits(number)} significant digits",
            f"at most {MOST_DIGITS} significant digits",
            "round the number",
        )


def _too_deep(file: str) -> Finding:
    return Finding(
        "stop",
        file,
        "whole file",
        f"tables or lists nested more than {DEEPEST} deep",
        "the tables of this kind of file, which nest at most six deep",
        "compare the file with a worked example",
    )
