"""What edits of a workbook bring about, told by the workbook's own sheets and cells.

A finding names a field of the records; whoever types into cells knows no such fields. Which edits are behind a finding
is found by trying: a smallest set of them with which it arises is looked for by halves (U. Junker, QUICKXPLAIN,
AAAI-04, 2004), so that edits which bring it about only together are named together.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import replace

from ubudget.records.finding import Finding
from ubudget.records.records import Edit

_CELLS_NAMED = 4
_TRIALS = 60
"""Readings, or evaluations, of the records with a part of the edits; a run of 50 results takes half a second each."""
_NUMBER = re.compile(r"[-+]?\d[\d.]*(?:e[-+]?\d+)?")
_TABLE_ROW = re.compile(r"\brow \d+ \((.*?)\)")

Found = Callable[[Sequence[Edit]], Iterable[Finding]]
"""The findings that records have with some edits."""


def told_by_cell(
    findings: Iterable[Finding], before: Collection[Finding], edits: Sequence[Edit], workbook: str, found: Found
) -> list[Finding]:
    """Findings that `edits` brought, with file and cells of the workbook; those that were there `before` as they are.

    An edit without a cell is not named."""
    search = _Search(edits, before, found)
    return [
        finding
        if finding in before
        else replace(finding, file=workbook, place=f"{_cells(search.behind(finding), edits)} ({_about(finding)})")
        for finding in findings
    ]


def _cells(behind: Sequence[Edit], edits: Sequence[Edit]) -> str:
    named = list(dict.fromkeys(edit.cell for edit in behind if edit.cell))
    if not named:
        named = list(dict.fromkeys(edit.cell for edit in edits if edit.cell))
        return f"edited cells, {'; '.join(named[:_CELLS_NAMED])}" + _more(named) if named else "edited cells"
    return "; ".join(named[:_CELLS_NAMED]) + _more(named)


def _more(named: Sequence[str]) -> str:
    return f"; {len(named) - _CELLS_NAMED} more" if len(named) > _CELLS_NAMED else ""


def _about(finding: Finding) -> str:
    """The place without the row of a text table, which no sheet of the workbook counts alike."""
    return _TABLE_ROW.sub(r"\1", finding.place)


class _Search:
    """Edits behind findings; what was tried for one is kept for the others."""

    def __init__(self, edits: Sequence[Edit], before: Collection[Finding], found: Found) -> None:
        self._edits, self._found = edits, found
        self._before = set(before)
        self._kinds_before = {_kind(finding) for finding in before}
        self._tried: dict[frozenset[int], tuple[set[Finding], set[Finding]]] = {}
        self._known: list[tuple[int, ...]] = []

    def behind(self, finding: Finding) -> list[Edit]:
        """The edits behind a finding, empty where they are not found in time."""
        try:
            return [self._edits[number] for number in self._numbers(finding)]
        except TimeoutError:
            return []

    def _numbers(self, finding: Finding) -> list[int]:
        left = list(range(len(self._edits)))
        behind: list[int] = []
        for known in self._known:
            if self._arises(finding, known):
                return list(known)
        while len(behind) < _CELLS_NAMED and self._arises(finding, left):
            cause = self._smallest(finding, (), False, left)
            if not cause:
                break
            self._known.append(tuple(cause))
            behind += cause
            left = [number for number in left if number not in cause]
        return sorted(behind)

    def _smallest(self, finding: Finding, given: Sequence[int], enlarged: bool, edits: Sequence[int]) -> list[int]:
        if enlarged and self._arises(finding, given):
            return []
        if len(edits) == 1:
            return list(edits)
        first, second = edits[: len(edits) // 2], edits[len(edits) // 2 :]
        of_second = self._smallest(finding, (*given, *first), True, second)
        of_first = self._smallest(finding, (*given, *of_second), bool(of_second), first)
        return [*of_first, *of_second]

    def _arises(self, finding: Finding, numbers: Iterable[int]) -> bool:
        """With these edits; figures in its words may differ, unless they alone are new."""
        alike, same = self._findings(frozenset(numbers))
        return finding in same if _kind(finding) in self._kinds_before else _kind(finding) in alike

    def _findings(self, numbers: frozenset[int]) -> tuple[set[Finding], set[Finding]]:
        if numbers not in self._tried:
            if len(self._tried) >= _TRIALS:
                raise TimeoutError
            same = set(self._found([self._edits[number] for number in sorted(numbers)]) if numbers else self._before)
            self._tried[numbers] = {_kind(finding) for finding in same}, same
        return self._tried[numbers]


def _kind(finding: Finding) -> Finding:
    """A finding without the figures in its words."""
    return replace(finding, found=_NUMBER.sub("#", finding.found), accepted=_NUMBER.sub("#", finding.accepted))
