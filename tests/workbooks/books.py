"""Workbooks of the shipped examples, planned and written once for the tests that recalculate them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from ubudget.evaluation.coverage import EFFECTIVE_DOF, EXPANDED, FACTOR, STANDARD
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.files.reading import read_records, records_from_texts
from ubudget.files.workbook_writer import book_bytes
from ubudget.pages.book import Book
from ubudget.pages.layout import COMPUTATION, METHOD, place_tables
from ubudget.pages.plan import plan_book
from ubudget.pages.text_sheets import last_row_of, method_cells
from ubudget.records.records import Edit, Records

EXAMPLES = Path(__file__).parents[2] / "worked_examples"
HARBOUR = EXAMPLES / "harbour_sediment"
PUBLISHED = [*sorted((EXAMPLES / "published").glob("*.toml")), EXAMPLES / "published" / "quam_a5"]
REPORTED = (STANDARD, EXPANDED, EFFECTIVE_DOF, FACTOR)


@dataclass(frozen=True)
class Written:
    """An example with its evaluation and plan."""

    records: Records
    evaluation: Evaluation
    book: Book

    def save(self, path: Path) -> Path:
        path.write_bytes(book_bytes(self.book))
        return path

    def result_cells(self) -> dict[str, list[str]]:
        """Cells of value, u, U, effective degrees of freedom and k of every result."""
        first = last_row_of(method_cells(self.evaluation), 1) + 3
        home = place_tables(self.evaluation.graph, {METHOD: first})["results"]
        rows = range(len(self.evaluation.keys))
        columns = (self.evaluation.assembly.value, *REPORTED)
        return {COMPUTATION: [home.cell(column, row, COMPUTATION) for column in columns for row in rows]}

    def result_numbers(self) -> list[float]:
        """The library's numbers for `result_cells`."""
        columns = (self.evaluation.assembly.value, *REPORTED)
        return [number for column in columns for number in self.evaluation.column(column).tolist()]


def evaluated(records: Records) -> Evaluation:
    evaluation, findings = evaluate(records)
    assert evaluation is not None, [finding.line() for finding in findings]
    return evaluation


@cache
def written(path: Path) -> Written:
    records, findings = read_records(path)
    assert records is not None, [finding.line() for finding in findings]
    evaluation = evaluated(records)
    return Written(records, evaluation, plan_book(evaluation))


def edited(records: Records, edits: list[Edit]) -> Evaluation:
    """The library's evaluation of the records with edits."""
    changed, findings = records_from_texts(records.texts, edits)
    assert changed is not None, [finding.line() for finding in findings]
    return evaluated(changed)
