"""Sheet `decisions`: each decision in words by formula, above the limits with their rules.

The steps between stand on the sheet of computation."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ubudget.evaluation.comparisons import REASONS
from ubudget.evaluation.decision_equations import FAIL, WORDS
from ubudget.evaluation.decision_tables import (
    CODE,
    DECISIONS,
    MET,
    PROBABILITY,
    QUANTIFICATION_MET,
    REASON,
    RISK,
    U_MET,
    VALUE,
    agreed_words,
    selected_words,
)
from ubudget.evaluation.decisions import Decided, decisions_of
from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages import layout
from ubudget.pages.book import Band, BandColumn, Highlight, LooseCell, Sheet
from ubudget.pages.decision_words import CAUTION
from ubudget.pages.formats import format_for
from ubudget.pages.paper import on_paper
from ubudget.pages.placement import Placement
from ubudget.pages.rendering import Renderer
from ubudget.pages.wording import line_label
from ubudget.quantity.graph import Formula, Graph
from ubudget.quantity.spelling import column_letters
from ubudget.records.tolerance_limit import NON_BINARY, ToleranceLimit

NAME = "decisions in words"
DECISION, WHY = "decision", "why nothing can be stated"
NOTE_ACROSS = 10
PROBABILITY_FORMAT = "0.0000"
_WHY = ("", *REASONS.values())


def decision_rows(graph: Graph) -> int:
    """Rows of the band in words; 0 where nothing is decided."""
    return graph.tables[DECISIONS].size if DECISIONS in graph.tables else 0


def decisions_sheet(evaluation: Evaluation, placements: dict[str, Placement], renderer: Renderer) -> Sheet | None:
    """The sheet, where results are compared with limits."""
    if DECISIONS not in placements:
        return None
    words = _Words(evaluation, placements[DECISIONS]).band()
    bands = (words, *layout.bands_of(layout.DECISIONS, placements, renderer))
    note = f"{layout.note_of(layout.DECISIONS, placements)} {CAUTION}"
    sheet = Sheet(
        layout.DECISIONS,
        bands,
        (*layout.headline(layout.DECISIONS, note), *_agreements(evaluation, bands[-1].last_row + 3)),
        highlights=(_attention(words),),
    )
    return on_paper(sheet, placements)


def _agreements(evaluation: Evaluation, row: int) -> Iterator[LooseCell]:
    """Source, basis and rule of each limit, and who agreed it; figures stand in the open cells above."""
    yield LooseCell(row, 1, "Sources, rules and agreements", "label", across=4)
    for number, limit in enumerate(evaluation.records.method.tolerance_limits, start=1):
        parts = (
            f"{limit.name} ({selected_words(limit)}): {limit.source}",
            f"Basis: {limit.basis or 'not stated'}",
            f"Rule: {limit.rule}{_band(limit)}; {limit.compares} value, u {limit.uncertainty}, "
            f"{limit.distribution} distribution",
            f"Knowledge before the measurement: {limit.prior or 'none, only the measurement'}",
            f"Agreed: {agreed_words(limit)}",
        )
        yield LooseCell(row + number, 1, ". ".join(parts) + ".", "note", across=NOTE_ACROSS)


def _band(limit: ToleranceLimit) -> str:
    if limit.guard_multiple is not None:
        return ", guard band a multiple of U"
    return ", guard band by a one-sided risk" if limit.guard_risk is not None else ""


def _attention(words: Band) -> Highlight:
    headings = [column.heading for column in words.columns]
    letter, last = column_letters(headings.index(DECISION) + 1), column_letters(len(headings))
    cell = f"${letter}{words.first_row}"
    where = f"A{words.first_row}:{last}{words.last_row}"
    return Highlight(where, f'OR({cell}="{WORDS[FAIL]}",{cell}="{WORDS[0]}")', "attention")


@dataclass(frozen=True, eq=False)
class _Words:
    """The band in words, looked up from the steps."""

    evaluation: Evaluation
    home: Placement

    @cached_property
    def decided(self) -> list[Decided]:
        return [one for of_result in decisions_of(self.evaluation) for one in of_result]

    def band(self) -> Band:
        decided = self.decided
        results = [self.evaluation.results[one.result] for one in decided]
        four_words = np.array([one.limit.rule == NON_BINARY for one in decided])
        columns = [
            BandColumn("sample", [result.sample for result in results], "label", width=14.0),
            BandColumn("measured quantity", [line_label(r.analyte, r.line) for r in results], "label", width=16.0),
            BandColumn("limit", [one.limit.name for one in decided], "label", width=18.0),
            replace(
                self._told(DECISION, CODE, WORDS, [one.words for one in decided], WORDS[0]), style="result", width=20.0
            ),
            BandColumn("decision rule", [one.limit.rule for one in decided], "label", width=19.0),
            BandColumn("unit", [result.unit for result in results], "label", width=9.0),
            self._figure("value compared", VALUE),
            *self._sides("limit", "limit"),
            *self._sides("acceptance limit", "acceptance"),
            *(self._sides("rejection limit", "rejection", four_words) if four_words.any() else []),
            self._figure("conformance probability", PROBABILITY, "JCGM 106, 7", PROBABILITY_FORMAT),
            self._figure("specific risk of the decision", RISK, "JCGM 106, 9.3", PROBABILITY_FORMAT),
            *self._requirement("largest U at the limit", U_MET, [one.required_U for one in decided]),
            *self._requirement(
                "largest quantification limit",
                QUANTIFICATION_MET,
                [one.required_quantification_limit for one in decided],
            ),
            replace(self._told(WHY, REASON, _WHY, [one.reason for one in decided]), style="flag", width=30.0),
        ]
        return Band(NAME, layout.FIRST_BAND, 1, tuple(columns), "Decisions")

    def _requirement(self, heading: str, column: str, shown: list[str]) -> list[BandColumn]:
        return [self._told(heading, column, MET, shown)] if self._has(column) else []

    def _has(self, column: str) -> bool:
        return column in self.home.table.by_name

    def _sides(self, heading: str, part: str, where: np.ndarray | None = None) -> list[BandColumn]:
        names = [name for name in ("lower", "upper") if self._has(f"{name} {part}")]
        return [self._figure(f"{name} {heading}", f"{name} {part}", where=where) for name in names]

    def _cells(self, column: str) -> list[str]:
        return [self.home.cell(column, row, layout.DECISIONS) for row in range(self.home.table.size)]

    def _figure(
        self, heading: str, column: str, remark: str = "", number_format: str = "", where: np.ndarray | None = None
    ) -> BandColumn:
        """A number of the steps, where the row has it, `where` wants it, and something is stated."""
        numbers = self.evaluation.column(column, DECISIONS)
        stated = np.array([not one.reason for one in self.decided])
        formula = self.home.table.by_name[column]
        way = formula.way if isinstance(formula, Formula) else None
        present = np.ones(len(numbers), dtype=bool) if way is None else way > 0
        present = present if where is None else present & where
        pairs = zip(present.tolist(), self._cells(REASON), self._cells(column), strict=True)
        formulas = [f'IF({reason}>0,"",{cell})' if there else None for there, reason, cell in pairs]
        shown = present & stated
        return BandColumn(
            heading,
            [number if there else None for number, there in zip(numbers.tolist(), shown.tolist(), strict=True)],
            "number",
            formulas=formulas,
            number_format=number_format or format_for(numbers[shown]),
            remark=remark,
        )

    def _told(self, heading: str, column: str, words: Sequence[str], shown: list[str], none: str = "") -> BandColumn:
        """The words of a code, chosen by formula."""
        choice = ",".join(f'"{text}"' for text in words[1:])
        return BandColumn(
            heading,
            shown,
            "text",
            formulas=[f'IF({cell}=0,"{none}",CHOOSE({cell},{choice}))' for cell in self._cells(column)],
            longest=[max(words, key=len)] * len(shown),
            width=16.0,
        )
