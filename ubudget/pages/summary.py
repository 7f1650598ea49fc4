"""One screen on one result: the figure, its equation, what carries most of its uncertainty, and where that stands."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.evaluation.budgets import BudgetRow
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.propagation import Slot
from ubudget.pages.figures import dof_text, percent, plain, unit_text
from ubudget.pages.layout import BUDGET, COMPUTATION
from ubudget.pages.listing import GAP, WIDTH, wrapped
from ubudget.pages.plan import placements_of
from ubudget.pages.result_words import equation_of
from ubudget.pages.statement import amount, factor, heading, quantity
from ubudget.pages.wording import line_label

GROUPS = 5
"""Groups that are named; the others are summed."""
_HANGING = "    "


def summary(evaluation: Evaluation, row: int, width: int = WIDTH) -> list[str]:
    """Lines of text, none wider than `width`, on the result in that row of the results."""
    return list(_lines(evaluation, row, width))


def _lines(evaluation: Evaluation, row: int, width: int) -> Iterator[str]:
    result = evaluation.results[row]
    title = heading(result)
    yield title
    yield "=" * min(len(title), width)
    yield from wrapped(f"Result: {amount(result)}", "", _HANGING, width)
    yield from wrapped(f"Measurand: {quantity(result)}", "", _HANGING, width)
    yield from wrapped(f"Equation: {equation_of(evaluation, row)}", "", _HANGING, width)
    if result.value is None:
        return
    unit = unit_text(result.unit)
    u, expanded = plain(result.standard_uncertainty or 0.0, 4), plain(result.expanded_uncertainty or 0.0, 4)
    yield from wrapped(
        f"u = {u}{unit}, k = {factor(result, evaluation.records.method.coverage)}, U = k·u = {expanded}{unit}, "
        f"ν_eff = {dof_text(result.effective_degrees_of_freedom)}",
        "",
        _HANGING,
        width,
    )
    for flag in result.flags:
        yield from wrapped(f"Needs a decision: {flag}.", "", _HANGING, width)
    yield ""
    yield from _groups(evaluation, row, width)
    yield ""
    yield from wrapped(_where(evaluation, row), width=width)


def _groups(evaluation: Evaluation, row: int, width: int) -> Iterator[str]:
    """The largest groups, each with its largest input quantity and where that stands in the workbook."""
    present = [slot for slot in evaluation.slots if slot.rows[row] >= 0]
    budget = evaluation.results[row].budget
    slots: dict[str, Slot] = {entry.symbol: slot for slot, entry in zip(present, budget, strict=False)}
    shares: dict[str, float] = {}
    for entry in budget:
        shares[entry.group] = shares.get(entry.group, 0.0) + entry.share
    ranked = sorted((group for group in shares if shares[group] != 0), key=lambda group: -shares[group])
    largest = [
        max((entry for entry in budget if entry.group == group), key=lambda entry: abs(entry.share))
        for group in ranked[:GROUPS]
    ]
    placements = placements_of(evaluation)

    def place(entry: BudgetRow) -> str:
        slot = slots.get(entry.symbol)
        if slot is None:
            return COMPUTATION
        there = placements[slot.table]
        return f"{there.sheet}, row {there.row(int(slot.rows[row]))}"

    if not largest:
        yield "No input quantity has an uncertainty."
        return
    yield from wrapped("Share of u² by group: its largest input quantity (its place in the workbook)", width=width)
    for group, entry in zip(ranked, largest, strict=False):
        text = f"{group or 'input quantities'}: {entry.symbol}, {entry.quantity} ({place(entry)})"
        yield from wrapped(text, f"{percent(shares[group]):>8}{GAP}", " " * (8 + len(GAP)), width)
    rest = ranked[GROUPS:]
    if rest:
        share = percent(sum(shares[group] for group in rest))
        yield from wrapped(f"others: {', '.join(rest)}", f"{share:>8}{GAP}", " " * (8 + len(GAP)), width)


def _where(evaluation: Evaluation, row: int) -> str:
    result = evaluation.results[row]
    return (
        f"In the workbook: sheet {BUDGET} with sample {result.sample} and measured quantity "
        f"{line_label(result.analyte, result.line)}; sheet {COMPUTATION}, row "
        f"{placements_of(evaluation)['results'].row(row)}."
    )
