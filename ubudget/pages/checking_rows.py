"""Where the rows and sheets of an issued workbook stand in one that was changed since.

A row that was put in or taken out moves all rows below it. Rows are recognised by what identifies them: their fixed
texts and numbers, and where they calculate; not by what is calculated or typed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from functools import cached_property

from ubudget.pages.cells_as_read import BookAsRead, SheetAsRead, address_of, place_of
from ubudget.pages.formula_tokens import Reference, Token

Signature = tuple[tuple[int, str], ...]
_SMALL = 250_000
"""Pairs of rows that are weighed against each other one by one."""
_REPEATED = 2_000_000
"""Pairs of rows that hold the same; with more of them rows cannot be told apart in reasonable time."""
_SAME_SHEET = 0.5
"""Part of the fixed texts that a sheet under another name must share."""


@dataclass(frozen=True)
class Lines:
    """Rows, or columns, as issued → as found; empty where none moved."""

    moved: Mapping[int, int] = field(default_factory=dict)
    """Lines that stand elsewhere, or may do so."""
    deleted: tuple[int, ...] = ()
    inserted: tuple[int, ...] = ()
    """Lines as found that were not issued."""

    @property
    def unmoved(self) -> bool:
        return not (self.deleted or self.inserted)

    def at(self, issued: int) -> int | None:
        """Where a line stands now; `None` where it was deleted."""
        if self.unmoved:
            return issued
        if issued in self._gone:
            return None
        beyond = len(self.inserted) - len(self.deleted) if self.moved else 0
        return self.moved.get(issued, issued + beyond)

    @cached_property
    def _gone(self) -> frozenset[int]:
        return frozenset(self.deleted)


@dataclass(frozen=True)
class Shift:
    """What moved on a sheet: rows, or columns."""

    rows: Lines = field(default_factory=Lines)
    columns: Lines = field(default_factory=Lines)

    @property
    def unmoved(self) -> bool:
        return self.rows.unmoved and self.columns.unmoved

    def address(self, issued: str) -> str | None:
        """Where a cell stands now; `None` where it was deleted."""
        if self.unmoved:
            return issued
        column, row = place_of(issued)
        there, found = self.columns.at(column), self.rows.at(row)
        return None if there is None or found is None else address_of(there, found)

    def inserted(self, found: str) -> bool:
        """Whether a cell as found stands in a row or column that was not issued."""
        column, row = place_of(found)
        return row in self.rows.inserted or column in self.columns.inserted


UNMOVED = Shift()


def shift_of(issued: SheetAsRead, found: SheetAsRead) -> Shift:
    """How rows moved, or else how columns did; nothing where no shift explains more than their own places do."""
    rows = _lines(signatures(issued, down=True), signatures(found, down=True))
    if not rows.unmoved:
        return Shift(rows)
    return Shift(columns=_lines(signatures(issued, down=False), signatures(found, down=False)))


def _lines(one: Sequence[Signature], other: Sequence[Signature]) -> Lines:
    in_place = sum(a == b for a, b in zip(one, other, strict=False))
    start, end = _common(one, other)
    left, right = one[start : len(one) - end], other[start : len(other) - end]
    alike = Counter(right)
    if sum(count * alike[each] for each, count in Counter(left).items()) > _REPEATED:
        return Lines()
    pairs = [(n, n) for n in range(start)]
    pairs += [(start + a, start + b) for a, b in _paired(left, right)]
    pairs += [(len(one) - end + n, len(other) - end + n) for n in range(end)]
    filled = [(a, b) for a, b in pairs if one[a] or other[b]]
    if all(a == b for a, b in filled):
        return _without_last(one, len(other))
    if sum(one[a] == other[b] for a, b in pairs) <= in_place:
        return Lines()
    there, here = {a for a, _ in pairs}, {b for _, b in pairs}
    return Lines(
        {a + 1: b + 1 for a, b in pairs},
        tuple(n + 1 for n in range(len(one)) if n not in there),
        tuple(n + 1 for n in range(len(other)) if n not in here),
    )


def _without_last(one: Sequence[Signature], size: int) -> Lines:
    """Without lines of several cells behind which nothing stands any more."""
    gone = tuple(row for row in range(size + 1, len(one) + 1) if len(one[row - 1]) > 1)
    return Lines({}, gone) if gone and len(gone) == len(one) - size else Lines()


def signatures(sheet: SheetAsRead, *, down: bool) -> list[Signature]:
    """What identifies each row, or each column, from the first to the last one that holds something."""
    found: dict[int, list[tuple[int, str]]] = {}
    for address, cell in sheet.cells.items():
        if cell.formula is not None:
            said = "="
        elif not cell.locked:
            said = ""
        elif isinstance(cell.value, float):
            said = f"{cell.value:.12g}"
        elif cell.value is None:
            continue
        else:
            said = f"'{cell.value}"
        column, row = place_of(address)
        line, across = (row, column) if down else (column, row)
        found.setdefault(line, []).append((across, said))
    last = max(found, default=0)
    return [tuple(sorted(found.get(line, ()))) for line in range(1, last + 1)]


def _common(one: Sequence[Signature], other: Sequence[Signature]) -> tuple[int, int]:
    """How many rows agree from the first and, of the rest, from the last one on."""
    least = min(len(one), len(other))
    start = next((n for n in range(least) if one[n] != other[n]), least)
    rest = least - start
    end = next((n for n in range(rest) if one[-1 - n] != other[-1 - n]), rest)
    return start, end


def _paired(one: Sequence[Signature], other: Sequence[Signature]) -> list[tuple[int, int]]:
    pairs: list[tuple[int, int]] = []
    for what, a, b, c, d in SequenceMatcher(None, one, other, autojunk=False).get_opcodes():
        if what == "equal" or (what == "replace" and b - a == d - c):
            pairs += zip(range(a, b), range(c, d), strict=True)
        elif what == "replace":
            pairs += _most_alike(one, other, range(a, b), range(c, d))
    return pairs


def _most_alike(
    one: Sequence[Signature], other: Sequence[Signature], rows: range, others: range
) -> list[tuple[int, int]]:
    """Rows of two stretches of unequal length in order, so that they share as much as possible."""
    if len(rows) * len(others) > _SMALL:
        return list(zip(rows, others, strict=False))
    best = [[0] * (len(others) + 1) for _ in range(len(rows) + 1)]
    alike = [[len(set(one[a]) & set(other[b])) for b in others] for a in rows]
    for i in range(len(rows) - 1, -1, -1):
        for j in range(len(others) - 1, -1, -1):
            best[i][j] = max(best[i + 1][j], best[i][j + 1], best[i + 1][j + 1] + alike[i][j])
    pairs, i, j = [], 0, 0
    while i < len(rows) and j < len(others):
        if alike[i][j] and best[i][j] == best[i + 1][j + 1] + alike[i][j]:
            pairs.append((rows[i], others[j]))
            i, j = i + 1, j + 1
        elif best[i][j] == best[i + 1][j]:
            i += 1
        else:
            j += 1
    return pairs


def sheets_renamed(issued: BookAsRead, found: BookAsRead) -> dict[str, str]:
    """Sheets as issued → the name under which each stands now; those that are gone are left out."""
    there = {sheet.name: sheet.name for sheet in issued.sheets if sheet.name in found.by_name}
    left = [sheet for sheet in found.sheets if sheet.name not in there]
    for sheet in issued.sheets:
        if sheet.name not in there and left:
            mine = _texts(sheet)
            share, best = max(
                ((len(mine & _texts(other)) / max(1, len(mine)), other) for other in left), key=lambda pair: pair[0]
            )
            if share >= _SAME_SHEET:
                there[sheet.name] = best.name
                left.remove(best)
    return there


def _texts(sheet: SheetAsRead) -> set[str]:
    return {cell.value for cell in sheet.cells.values() if cell.formula is None and isinstance(cell.value, str)}


@dataclass(frozen=True)
class Moves:
    """What moved in a workbook: rows or columns by sheet as issued, and names of sheets as issued → as found."""

    shifts: Mapping[str, Shift]
    names: Mapping[str, str]
    gone: frozenset[str] = frozenset()
    """Sheets as issued that are no longer there."""

    @property
    def none(self) -> bool:
        same_names = all(a == b for a, b in self.names.items())
        return same_names and not self.gone and all(each.unmoved for each in self.shifts.values())

    def explain(self, issued: tuple[Token, ...], found: tuple[Token, ...], home: str) -> bool:
        """Whether a formula as found is the one issued, moved along by the spreadsheet program: its references
        follow their rows, and those to what was deleted are lost."""
        at = behind = 0
        while at < len(issued):
            token = issued[at]
            if not isinstance(token, Reference):
                if behind >= len(found) or not _alike(token, found[behind]):
                    return False
                at, behind = at + 1, behind + 1
                continue
            last = issued[at + 2] if issued[at + 1 : at + 2] == (":",) else None
            ends = (token, last) if isinstance(last, Reference) else (token,)
            count = self._length(ends, found[behind:], home)
            if count is None:
                return False
            at, behind = at + (3 if len(ends) == 2 else 1), behind + count
        return behind == len(found)

    def _length(self, ends: tuple[Reference, ...], found: tuple[Token, ...], home: str) -> int | None:
        """How many tokens of those found stand for a reference or range as issued; `None` where they do not."""
        sheet = ends[0].sheet or home
        shift = self.shifts.get(sheet, UNMOVED)
        rows = _surviving(shift.rows, ends[0].row, ends[-1].row)
        columns = _surviving(shift.columns, ends[0].column, ends[-1].column)
        if sheet not in self.names or rows is None or columns is None:
            return _lost(found)
        name = self.names[sheet]
        moved = [
            end._replace(row=row, column=column, sheet="")
            for end, row, column in zip(ends, rows, columns, strict=False)
        ]
        here = [token for token in found[:3] if isinstance(token, Reference)] if len(ends) == 2 else list(found[:1])
        if len(here) != len(ends) or (len(ends) == 2 and found[1:2] != (":",)):
            return None
        for wanted, token in zip(moved, here, strict=True):
            if not isinstance(token, Reference) or token._replace(sheet="") != wanted:
                return None
            if (token.sheet or self.names.get(home, home)) not in (name, sheet):
                return None
        return 2 * len(ends) - 1


def _surviving(lines: Lines, first: int, last: int) -> tuple[int, int] | None:
    """The first and last line of a range as they stand now, of those that are left."""
    while first <= last and lines.at(first) is None:
        first += 1
    while last >= first and lines.at(last) is None:
        last -= 1
    ends = lines.at(first), lines.at(last)
    return None if first > last or ends[0] is None or ends[1] is None else (ends[0], ends[1])


def _alike(token: Token, found: Token) -> bool:
    if isinstance(token, float) and isinstance(found, float):
        return f"{token:.15g}" == f"{found:.15g}"
    return token == found


def _lost(found: tuple[Token, ...]) -> int | None:
    """A lost reference, as programs write it: #REF!, #REF!A5, #REF!.A5:#REF!.A7, samples!#REF!."""
    count = 0
    while count < len(found):
        token = found[count]
        fault = isinstance(token, str) and "#REF!" in token
        if not fault and not (count and (isinstance(token, Reference) or token in (".", ":"))):
            break
        count += 1
    return count or None
