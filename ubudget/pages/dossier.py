"""The dossier of a run: what a quality officer files, on one page that prints well.

Results, findings, amendments, method, and for each result its budget, calibration and traceability; with versions and
fingerprints, so that the file can be held against the records later."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ubudget.evaluation.decisions import decisions_of
from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.amendment_words import amended_lines
from ubudget.pages.decision_words import CAUTION, probability_words, zone_words
from ubudget.pages.derivation import derivation_parts
from ubudget.pages.figures import dof_text, plain
from ubudget.pages.html import Cell, formula, heading, page, paragraph, said, table
from ubudget.pages.result_page import origin, result_sections
from ubudget.pages.results_table import coverage_line, finding_line
from ubudget.pages.statement import heading as name_of
from ubudget.pages.told_html import told_markup
from ubudget.pages.wording import interval_text


def dossier(
    evaluation: Evaluation, rows: Sequence[int], fingerprint: str, program: str, *, derivations: bool = False
) -> str:
    """The page for the results in these rows; `derivations` adds each step of each result."""
    records = evaluation.records
    title = f"Dossier of {records.name}"
    return page(
        title,
        [
            heading(1, title),
            *origin(evaluation, fingerprint, program),
            *_signatures(),
            *_results(evaluation, rows),
            *_decisions(evaluation, rows),
            *_findings(evaluation),
            *_amendments(evaluation),
            *_method(evaluation),
            *(part for row in rows for part in _result(evaluation, row, derivations)),
            *_cautions(evaluation),
        ],
    )


def _signatures() -> Iterator[str]:
    """Fields that a person fills by hand."""
    names = ("prepared", "checked", "authorised")
    yield table(
        "To be signed",
        [Cell(""), Cell("name"), Cell("date"), Cell("signature")],
        [[Cell(name), Cell(""), Cell(""), Cell("")] for name in names],
    )


def _results(evaluation: Evaluation, rows: Sequence[int]) -> Iterator[str]:
    yield heading(2, "Results")
    heads = (
        Cell("sample"),
        Cell("measured quantity"),
        Cell("value ± U", True),
        Cell("unit"),
        Cell("k", True),
        Cell("ν", True),
        Cell("to be looked at"),
    )
    cells = []
    for row in rows:
        result = evaluation.results[row]
        link = f'<a href="#result{row + 1}">{said(result.sample)}</a>'
        cells.append(
            [
                Cell(link, markup=True),
                Cell(" ".join(filter(None, (result.analyte, result.line)))),
                Cell(interval_text(result), True),
                Cell(result.unit),
                Cell("" if result.coverage_factor is None else plain(result.coverage_factor, 3), True),
                Cell("" if result.value is None else dof_text(result.effective_degrees_of_freedom), True),
                Cell("; ".join(result.flags)),
            ]
        )
    yield table("Reported results", heads, cells)
    document = evaluation.records.method.document
    yield paragraph(coverage_line(evaluation.records.method.coverage))
    left_out = document.not_included
    yield paragraph(f"U does not include: {left_out}." if left_out else "The method names nothing that U leaves out.")


def _decisions(evaluation: Evaluation, rows: Sequence[int]) -> Iterator[str]:
    """Results beside their limits; nothing where the method has none."""
    decided = decisions_of(evaluation)
    cells = [
        [
            Cell(evaluation.results[row].sample),
            Cell(" ".join(filter(None, (evaluation.results[row].analyte, evaluation.results[row].line)))),
            Cell(one.limit.name),
            Cell(zone_words(one), True),
            Cell(evaluation.results[row].unit),
            Cell(f"{one.words}: {one.reason}" if one.reason else one.words),
            Cell("" if one.probability is None else probability_words(one.probability), True),
        ]
        for row in rows
        for one in decided[row]
    ]
    if not cells:
        return
    heads = [Cell(name) for name in ("sample", "measured quantity", "limit")]
    heads += [Cell("accepted", True), Cell("unit"), Cell("decision"), Cell("conforms with probability", True)]
    yield heading(2, "Decisions on conformity")
    yield table("Results beside their limits", heads, cells)
    yield paragraph(CAUTION)


def _findings(evaluation: Evaluation) -> Iterator[str]:
    yield heading(2, "Findings")
    if not evaluation.findings:
        yield paragraph("None.")
    for finding in evaluation.findings:
        yield paragraph(finding_line(finding), "attend" if finding.severity == "attend" else "")


def _amendments(evaluation: Evaluation) -> Iterator[str]:
    lines = list(amended_lines(evaluation.records))
    yield heading(2, "Amendments and exclusions")
    if not lines:
        yield paragraph("None.")
        return
    heads = [Cell(text) for text in ("what", "from", "to", "reason", "who", "when")]
    yield table("What was amended since the measurement", heads, [[Cell(text) for text in line] for line in lines])


def _method(evaluation: Evaluation) -> Iterator[str]:
    method = evaluation.records.method
    document = method.document
    yield heading(2, "Method")
    facts = (
        ("document", document.id),
        ("title", document.title),
        ("version and status", f"{document.version}, {document.status}"),
        ("author", document.author),
        ("approved by", document.approver),
        ("effective from", document.effective.isoformat() if document.effective else ""),
        ("review due", document.review.isoformat() if document.review else ""),
        ("measurand", ", ".join(filter(None, (document.measurand, document.basis)))),
        ("defined by", document.defined_by),
    )
    yield table("The method", [Cell("what"), Cell("is")], [[Cell(name), Cell(text)] for name, text in facts if text])
    yield f'<p class="equation">{formula(document.equation)}</p>'
    if method.effects:
        effects = [[Cell(effect), Cell(mark)] for effect, mark in method.effects.items()]
        yield table("Random effects", [Cell("effect"), Cell("how it is counted")], effects)
    for reference in document.references:
        yield paragraph(f"Reference: {reference}")


def _result(evaluation: Evaluation, row: int, derivations: bool) -> Iterator[str]:
    yield f'<section class="result" aria-labelledby="result{row + 1}">'
    yield heading(2, name_of(evaluation.results[row]), f"result{row + 1}")
    anchor = f"r{row + 1}b"
    yield from result_sections(evaluation, row, anchor, 3)
    if derivations:
        yield heading(3, "Derivation")
        yield from told_markup(derivation_parts(evaluation, row), anchor, 2)
    yield "</section>"


def _cautions(evaluation: Evaluation) -> Iterator[str]:
    yield heading(2, "Cautions")
    for caution in evaluation.records.method.document.cautions:
        yield paragraph(caution)
    yield paragraph(
        "A wrong result can do harm where health or compliance depend on it. Whether method, equation and input "
        "quantities are right is for the laboratory's own validation and for the people licensed to practise; the "
        "calculation says what the records say."
    )
