"""The record of a validation as a page."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.pages.figures import plain
from ubudget.pages.html import Cell, heading, page, paragraph, table
from ubudget.pages.validation_record import (
    BY,
    FAIL,
    PASS,
    SCOPE,
    SIGNS,
    CaseRecord,
    ValidationRecord,
    about,
    difference_text,
    expected_text,
    figure_name,
    head,
    number_text,
)


def record_page(record: ValidationRecord) -> str:
    """The whole record, every figure of every case."""
    return page(f"Record of validation, {record.day}", _body(record))


def _body(record: ValidationRecord) -> Iterator[str]:
    yield heading(1, "Record of validation")
    yield paragraph(record.verdict, "figure" if record.passed else "figure attend")
    yield paragraph(SCOPE)
    yield table("Installation", _headings("what", "found"), [[Cell(name), Cell(told)] for name, told in head(record)])
    yield from (paragraph(f"{FAIL}: {name}", "attend") for name in record.wrong_files)
    yield table(
        "Cases",
        _headings("case", "source", "figures", "formulas recalculated", "verdict"),
        [_row(case) for case in record.cases],
    )
    for case in record.cases:
        yield from _case(case)
    yield table("Signatures", _headings("step", "signature"), [[Cell(sign), Cell("")] for sign in SIGNS])


def _headings(*texts: str) -> list[Cell]:
    return [Cell(text, number=text in _NUMBERS) for text in texts]


_NUMBERS = ("figures", "formulas recalculated", "expected", "obtained", "difference", "allowed")


def _row(case: CaseRecord) -> list[Cell]:
    formulas = "not made" if case.workbook is None else str(case.workbook.formulas)
    figures = f"{len(case.figures) - len(case.failing)} of {len(case.figures)}"
    return [
        Cell(case.name),
        Cell(case.short),
        Cell(figures, number=True),
        Cell(formulas, number=True),
        Cell(PASS if case.passed else FAIL),
    ]


def _case(case: CaseRecord) -> Iterator[str]:
    yield heading(2, f"{case.name}: {PASS if case.passed else FAIL}")
    for text in about(case):
        yield paragraph(text, "attend" if text.startswith((FAIL, "attend")) else "")
    if case.figures:
        yield table(
            f"Figures of {case.name}",
            _headings("figure", "held against", "expected", "obtained", "difference", "allowed", "verdict"),
            [
                [
                    Cell(figure_name(figure)),
                    Cell(BY[figure.by]),
                    Cell(expected_text(figure), number=True),
                    Cell(number_text(figure.obtained), number=True),
                    Cell(difference_text(figure), number=True),
                    Cell(plain(figure.allowed, 2), number=True),
                    Cell(PASS if figure.passed else FAIL),
                ]
                for figure in case.figures
            ],
        )
