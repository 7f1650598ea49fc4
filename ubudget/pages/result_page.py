"""One result as a page: figure, budget, calibration, traceability, and the derivation step by step."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.traceability import chain_of
from ubudget.pages.derivation import derivation_parts
from ubudget.pages.figures import dof_text, percent, plain, unit_text
from ubudget.pages.html import Cell, figure, formula, heading, page, paragraph, table
from ubudget.pages.page_pictures import calibration_picture, calibrations_of, shares_picture
from ubudget.pages.result_words import equation_of, symbols_of
from ubudget.pages.statement import heading as name_of
from ubudget.pages.statement import roles_of, statement
from ubudget.pages.told_html import told_markup
from ubudget.pages.trace_picture import drawing
from ubudget.pages.trace_tree import trees
from ubudget.pages.wording import interval_text


def result_page(evaluation: Evaluation, row: int, fingerprint: str, program: str) -> str:
    """The page of the result in that row of the results."""
    title = f"{name_of(evaluation.results[row])}: how this result came about"
    return page(
        title,
        [
            heading(1, title),
            *origin(evaluation, fingerprint, program),
            *result_sections(evaluation, row, "b", 2),
            heading(2, "Derivation"),
            *told_markup(derivation_parts(evaluation, row), "b"),
        ],
    )


def origin(evaluation: Evaluation, fingerprint: str, program: str) -> Iterator[str]:
    """Method, run, program and fingerprint: what the page was made from."""
    document, run = evaluation.records.method.document, evaluation.records.run
    words = f"Method {document.id}, {document.title}, version {document.version}, {document.status}."
    yield paragraph(words)
    if run is not None:
        yield paragraph(f"Run {evaluation.records.name} of {run.file.run.date.isoformat()}, {run.file.run.analyst}.")
    yield paragraph(f"Calculated by {program}; fingerprint of the records {fingerprint}.", "faint")


def result_sections(evaluation: Evaluation, row: int, anchor: str, level: int) -> Iterator[str]:
    """Figure and statement, budget with chart, calibrations and chain of one result."""
    result = evaluation.results[row]
    yield f'<p class="figure">{formula(interval_text(result) + unit_text(result.unit))}</p>'
    yield paragraph(statement(result, evaluation.records.method, roles_of(evaluation)[row]))
    for flag in result.flags:
        yield paragraph(f"Needs a decision: {flag}.", "attend")
    yield heading(level, "Equation", f"{anchor}-equation")
    yield f'<p class="equation">{formula(equation_of(evaluation, row))}</p>'
    symbols = [[Cell(formula(symbol), markup=True), Cell(words)] for symbol, words in symbols_of(evaluation, row)]
    if symbols:
        yield table("Symbols", [Cell("symbol"), Cell("quantity")], symbols)
    if result.value is None:
        return
    yield heading(level, "Budget", f"{anchor}-budget")
    yield from budget(evaluation, row)
    for one in calibrations_of(evaluation, row):
        yield heading(level, f"Calibration {one.title}")
        words = "Circles: readings of the standards that were used. Line: the curve. Cross: the result's own reading."
        yield figure(calibration_picture(one), words)
    yield heading(level, "Traceability", f"{anchor}-trace")
    chain = chain_of(evaluation, row)
    words = "Boxes rest on those to their right, up to the SI or a named reference."
    yield figure(drawing(trees(evaluation, (chain,))), words, on_white=True)


def budget(evaluation: Evaluation, row: int) -> Iterator[str]:
    """Shares by group as a chart, and the table of all input quantities, the largest share first."""
    result = evaluation.results[row]
    shares: dict[str, float] = {}
    for entry in result.budget:
        shares[entry.group] = shares.get(entry.group, 0.0) + entry.share
    ranked = sorted(((group, share) for group, share in shares.items() if share), key=lambda item: -item[1])
    if ranked:
        yield figure(shares_picture(ranked), "Shares of u² by group.")
    unit = unit_text(result.unit).strip()
    heads = (
        Cell("symbol"),
        Cell("quantity"),
        Cell("estimate", True),
        Cell("u", True),
        Cell("unit"),
        Cell("ν", True),
        Cell("c", True),
        Cell(f"c·u / {unit}" if unit else "c·u", True),
        Cell("share", True),
        Cell("source"),
    )
    rows = [
        [
            Cell(formula(entry.symbol), markup=True),
            Cell(entry.quantity),
            Cell("" if entry.estimate is None else plain(entry.estimate), True),
            Cell("" if entry.standard_uncertainty is None else plain(entry.standard_uncertainty, 4), True),
            Cell(entry.unit),
            Cell(dof_text(entry.degrees_of_freedom) if entry.standard_uncertainty else "", True),
            Cell("" if entry.sensitivity_coefficient is None else plain(entry.sensitivity_coefficient, 5), True),
            Cell(plain(entry.contribution, 4), True),
            Cell(percent(entry.share), True),
            Cell(entry.source, long=True),
        ]
        for entry in sorted(result.budget, key=lambda entry: -abs(entry.share))
    ]
    yield table("Uncertainty budget", heads, rows)
    yield paragraph(
        f"u = {plain(result.standard_uncertainty or 0.0)}{unit_text(result.unit)}, "
        f"k = {plain(result.coverage_factor or 0.0, 4)}, U = k·u = "
        f"{plain(result.expanded_uncertainty or 0.0)}{unit_text(result.unit)}, "
        f"ν_eff = {dof_text(result.effective_degrees_of_freedom)}."
    )
