"""The record of a validation of the installation: what was held against what, with which outcome.

ISO/IEC 17025:2017, 7.11.2 asks a laboratory to validate the functioning of its information systems before use and after
changes, and to document it; 6.4.4 to verify before use. The names, dates and signatures are given by persons."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from ubudget.evaluation.expected_figures import Comparison
from ubudget.pages.figures import plain
from ubudget.pages.listing import WIDTH, TextColumn, table_lines, wrapped

PASS, FAIL = "pass", "FAIL"
SCOPE = (
    "This record shows that the installation gives the figures of the cases below, on this computer and on this day. "
    "Whether a method, its equation and its input quantities are right is for the laboratory's own validation. Keep it "
    "with the records of the laboratory, and repeat it after every change of program, packages or computer "
    "(ISO/IEC 17025:2017, 7.11.2)."
)
_WORDS = {
    "relative_standard_uncertainty": "relative u",
    "standard_uncertainty": "u",
    "combined_variance": "u²",
    "effective_degrees_of_freedom": "ν effective",
    "coverage_factor": "k",
    "reported_expanded_uncertainty": "reported U",
    "expanded_uncertainty": "U",
    "reported_value": "reported value",
}
BY = {
    "printed": "printed digits",
    "recomputed": "worked out outside",
    "independent": "independent calculation",
}


@dataclass(frozen=True)
class BookCheck:
    """The workbook of a case as a spreadsheet program recalculated it."""

    formulas: int
    largest: float
    differing: tuple[str, ...]
    fault: str
    passed: bool


@dataclass(frozen=True)
class CaseRecord:
    """One case. `workbook` None: no spreadsheet program; `inputs` None: no independent calculation, and `why_not`."""

    name: str
    source: str
    short: str = ""
    """Title and section of the source alone."""
    note: str = ""
    fingerprint: str = ""
    reference: str = ""
    figures: tuple[Comparison, ...] = ()
    workbook: BookCheck | None = None
    inputs: Mapping[str, Any] | None = None
    why_not: str = ""
    faults: tuple[str, ...] = ()
    """What kept the case from being calculated."""
    attend: tuple[str, ...] = ()

    @property
    def failing(self) -> tuple[Comparison, ...]:
        return tuple(figure for figure in self.figures if not figure.passed)

    @property
    def passed(self) -> bool:
        checked = bool(self.figures) or self.workbook is not None
        return checked and not self.faults and not self.failing and (self.workbook is None or self.workbook.passed)


@dataclass(frozen=True)
class ValidationRecord:
    """`files`: what was found of the package's files; `wrong_files`: those that are not as released, as far as they
    could be `compared`."""

    day: date
    reviewer: str
    program: str
    files: str
    fingerprint: str
    compared: bool
    wrong_files: tuple[str, ...]
    engine: str
    """Empty: no spreadsheet program was found."""
    versions: Mapping[str, str] = field(default_factory=dict)
    cases: tuple[CaseRecord, ...] = ()

    @property
    def passed(self) -> bool:
        return not self.wrong_files and bool(self.cases) and all(case.passed for case in self.cases)

    @property
    def attend(self) -> tuple[str, ...]:
        return tuple(f"{case.name}: {text}" for case in self.cases for text in case.attend)

    @property
    def verdict(self) -> str:
        failing = [case.name for case in self.cases if not case.passed]
        if self.passed:
            return f"{len(self.cases)} cases, all pass"
        if self.wrong_files:
            failing.insert(0, "installation")
        return f"{len(self.cases)} cases, these fail: {', '.join(failing) or 'none was calculated'}"


def record_lines(record: ValidationRecord, width: int = WIDTH) -> Iterator[str]:
    """For a terminal: one line a case, then what fails."""
    yield from wrapped(f"{record.program}, validation of this installation, {record.day}", width=width)
    yield from wrapped(f"files   {record.files}", hanging="        ", width=width)
    yield from wrapped(f"engine  {record.engine or NO_ENGINE}", hanging="        ", width=width)
    yield ""
    yield from _table_lines(record, width)
    yield ""
    yield from wrapped(record.verdict, width=width)


def _table_lines(record: ValidationRecord, width: int) -> Iterator[str]:
    rows = [_installation_row(record), *(_row(case) for case in record.cases)]
    headings = ("case", "figures", "workbook", "independent", "verdict")
    yield from table_lines(
        [
            TextColumn(heading, [row[at] for row in rows], "left" if at in (0, 4) else "right")
            for at, heading in enumerate(headings)
        ],
        width=width,
    )
    for name in record.wrong_files:
        yield from wrapped(f"installation: {name}", hanging="    ", width=width)
    for case in record.cases:
        for text in failures(case):
            yield from wrapped(f"{case.name}: {text}", hanging="    ", width=width)


NO_ENGINE = "no spreadsheet program found on the path; workbooks were not recalculated"


def _installation_row(record: ValidationRecord) -> tuple[str, str, str, str, str]:
    return "installation", "", "", "", FAIL if record.wrong_files else PASS if record.compared else "not compared"


def _row(case: CaseRecord) -> tuple[str, str, str, str, str]:
    source = [figure for figure in case.figures if figure.by != "independent"]
    second = [figure for figure in case.figures if figure.by == "independent"]
    book = case.workbook
    formulas = (
        "" if book is None else str(book.formulas) if book.passed else f"{len(book.differing)} of {book.formulas}"
    )
    return case.name, _counted(source), formulas, _counted(second), PASS if case.passed else FAIL


def _counted(figures: Sequence[Comparison]) -> str:
    passed = sum(figure.passed for figure in figures)
    return "" if not figures else str(passed) if passed == len(figures) else f"{passed} of {len(figures)}"


def failures(case: CaseRecord) -> Iterator[str]:
    """What fails in a case, in words."""
    yield from case.faults
    if not case.figures and case.workbook is None and not case.faults:
        yield "nothing is stated that could be compared"
    for figure in case.failing:
        yield f"{figure_name(figure)}: {BY[figure.by]} {figure.expected}, obtained {number_text(figure.obtained)}"
    book = case.workbook
    if book is not None and not book.passed:
        yield book.fault or f"the recalculated workbook differs in {len(book.differing)} cells: " + "; ".join(
            book.differing[:2]
        )


def record_text_lines(record: ValidationRecord) -> Iterator[str]:
    """The whole record as text: head, versions, cases one after the other, every figure."""
    yield "Record of validation"
    yield "===================="
    yield ""
    for name, told in head(record):
        yield from wrapped(f"{name:<14}{told}", hanging=" " * 14)
    yield ""
    yield from wrapped(SCOPE)
    yield ""
    yield from _table_lines(record, WIDTH)
    for case in record.cases:
        yield ""
        yield f"-- {case.name}: {PASS if case.passed else FAIL}"
        for text in about(case):
            yield from wrapped(text, "   ", "     ")
        if case.figures:
            yield from table_lines(
                [
                    TextColumn("figure", [figure_name(figure) for figure in case.figures], widest=30),
                    TextColumn("held against", [figure.by for figure in case.figures]),
                    TextColumn("expected", [expected_text(figure) for figure in case.figures], "right"),
                    TextColumn("obtained", [number_text(figure.obtained) for figure in case.figures], "right"),
                    TextColumn("difference", [difference_text(figure) for figure in case.figures], "right"),
                    TextColumn("", ["" if figure.passed else FAIL for figure in case.figures]),
                ],
                "   ",
            )
    yield ""
    for sign in SIGNS:
        yield f"{sign:<34}{'.' * 40}"


SIGNS = ("Performed by (name, date)", "Reviewed by (name, date)", "Released for use (name, date)")


def head(record: ValidationRecord) -> list[tuple[str, str]]:
    """What stands at the head of the record."""
    return [
        ("date", record.day.isoformat()),
        ("reviewer", record.reviewer or "not named"),
        ("verdict", record.verdict),
        ("program", record.program),
        ("files", record.files),
        ("fingerprint", record.fingerprint),
        ("engine", record.engine or NO_ENGINE),
        *record.versions.items(),
    ]


def about(case: CaseRecord) -> Iterator[str]:
    """Source, remarks and workbook of a case, one text each."""
    yield f"source: {case.source}"
    if case.note:
        yield f"note: {case.note}"
    if case.reference:
        yield f"reference data: {case.reference}"
    if case.fingerprint:
        yield f"fingerprint of its files: {case.fingerprint}"
    book = case.workbook
    if book is not None and book.passed:
        yield f"workbook: {book.formulas} formulas recalculated, largest relative difference {plain(book.largest, 2)}"
    if case.inputs is None and case.why_not:
        yield f"independent calculation: not made, {case.why_not}"
    yield from (f"FAIL: {text}" for text in failures(case))
    yield from (f"attend: {text}" for text in case.attend)


def figure_name(figure: Comparison) -> str:
    """`SED-01/Cu: u`: the figure by its symbol, as readers of budgets write it."""
    result, found, name = figure.what.rpartition(": ")
    return result + found + _WORDS.get(name, name)


def number_text(value: float | None) -> str:
    return "infinite" if value is None else plain(value, 9)


def expected_text(figure: Comparison) -> str:
    """As printed; a calculated number with the digits that obtained ones have."""
    if figure.by == "printed" or figure.expected == "infinite":
        return figure.expected
    return plain(float(figure.expected), 9)


def difference_text(figure: Comparison) -> str:
    return "" if figure.difference is None else plain(figure.difference, 2)
