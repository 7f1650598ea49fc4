"""The small language of a plan: what to change, in words, several changes of one option parted by semicolons.

`replicates 5`, `portions 2; mass 0.5 g`, `ware V=F100`, `certificate STK-CU=1 mg/L`: a word, then a number, an
amount, or what is changed and what it becomes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from ubudget.errors import UbudgetError
from ubudget.records.amount import Amount, parse_amount

COUNTS = ("replicates", "portions", "blanks", "standards", "standard readings")
AMOUNTS = ("mass", "certificate", "input")
NAMES = ("ware", "class")
FORMS = {
    "replicates": "replicates 5, or replicates SYMBOL=5 for an input with readings",
    "portions": "portions 2",
    "blanks": "blanks 6",
    "standards": "standards 2",
    "standard readings": "standard readings 6",
    "mass": "mass 0.5 g, or mass SYMBOL=0.5 g",
    "ware": "ware SYMBOL=ITEM or ware ITEM=ITEM",
    "class": "class ITEM=A",
    "certificate": "certificate ITEM=1 mg/L, or ITEM/ANALYTE=1 mg/L",
    "input": "input SYMBOL=0.005",
}
"""Word → how it is written."""
MOST = 1000


@dataclass(frozen=True)
class Clause:
    """One change. `of` is what it is about, empty where there is only one; `to` is a number, an amount or a name."""

    word: str
    of: str
    to: int | Amount | str
    text: str

    @property
    def count(self) -> int:
        assert isinstance(self.to, int)
        return self.to

    @property
    def amount(self) -> Amount:
        assert isinstance(self.to, Amount)
        return self.to

    @property
    def name(self) -> str:
        assert isinstance(self.to, str)
        return self.to

    def refused(self, found: str, accepted: str, remedy: str) -> UbudgetError:
        """What is wrong with this change, in one line."""
        return UbudgetError(f"{self.text}: found {found}; accepted: {accepted}; {remedy}")


@dataclass(frozen=True)
class Option:
    """Changes that are tried together."""

    text: str
    clauses: tuple[Clause, ...]


def option(text: str) -> Option:
    """An option as a person writes it. Raises `UbudgetError`."""
    parts = [part.strip() for part in text.split(";") if part.strip()]
    clauses = tuple(_clause(part) for part in parts)
    if not clauses:
        raise UbudgetError(f'"{text}": found no change; accepted: e.g. "replicates 5; mass 0.5 g"; write one')
    twice = [clause.text for number, clause in enumerate(clauses) if _key(clause) in map(_key, clauses[:number])]
    if twice:
        raise UbudgetError(f'"{text}": found {twice[0]} beside another one; accepted: each change once; delete one')
    return Option("; ".join(clause.text for clause in clauses), clauses)


def _key(clause: Clause) -> tuple[str, str]:
    return clause.word, clause.of


def _clause(text: str) -> Clause:
    words = text.split()
    word = " ".join(words[:2]) if " ".join(words[:2]) in FORMS else words[0]
    rest = text.split(None, len(word.split()))[len(word.split()) :]
    if word not in FORMS:
        accepted = "; ".join(FORMS.values())
        raise UbudgetError(f"{text}: found the unknown change {word}; accepted: {accepted}; correct the word")
    told = rest[0].strip() if rest else ""
    of, equals, to = (part.strip() for part in told.rpartition("="))
    needs = word in (*NAMES, "certificate", "input")
    takes = needs or word in ("mass", "replicates")
    if not to or (needs and not of) or (equals and not (takes and of)):
        raise UbudgetError(f"{text}: found {told or 'nothing'}; accepted: {FORMS[word]}; write it like that")
    read: Callable[[str], int | Amount | str] = _count if word in COUNTS else parse_amount if word in AMOUNTS else str
    try:
        figure = read(to)
    except ValueError as error:
        raise UbudgetError(f"{text}: found {to}; {error}; correct it") from None
    if isinstance(figure, Amount) and figure.value <= 0:
        raise UbudgetError(f"{text}: found {to}; accepted: an amount above zero; correct it")
    return Clause(word, of, figure, text)


def _count(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= MOST:
        raise ValueError(f"accepted: a whole number from 1 to {MOST}")
    return int(text)
