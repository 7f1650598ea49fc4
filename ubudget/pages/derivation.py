"""The derivation of one result as an assessor reads it (rendering 3: words).

From the measurand and its equation down to readings and certificates; the partial derivatives; each input quantity
with its standard uncertainty, sensitivity coefficient and contribution; their sum, degrees of freedom, coverage
factor, rounding and statement. All equations are those of the graph, the same that numbers and cells follow.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from ubudget.evaluation.budgets import BudgetRow
from ubudget.evaluation.coverage import EFFECTIVE_DOF, EXPANDED, FACTOR, REPORTED, REPORTED_U, STANDARD
from ubudget.evaluation.dominance import DOMINATING, EDGE, FIRST, OF_TERMS, SECOND
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.evaluation.propagation import Slot
from ubudget.pages.equations import INDENT, EquationPrinter
from ubudget.pages.figures import SHOWN_DIGITS, percent, plain, unit_text
from ubudget.pages.listing import WIDTH, TextColumn, table_lines, wrapped
from ubudget.pages.result_words import equation_of, symbols_of
from ubudget.pages.second_order_words import second_order_lines
from ubudget.pages.statement import amount, heading, quantity, roles_of, statement
from ubudget.pages.summary import summary
from ubudget.pages.walk import Target, Walk
from ubudget.pages.widening_words import fall_of_factor
from ubudget.quantity.graph import Formula, Given
from ubudget.quantity.units import per

COUNTABLE_DOF = 1e12
"""Terms of more degrees of freedom are not listed: they come from variances known exactly, or are none."""


def derivation(evaluation: Evaluation, row: int, width: int = WIDTH) -> list[str]:
    """Lines of text, none wider than `width`, on the result in that row of the results: a summary that fits a screen,
    then the derivation."""
    full = _Derivation(evaluation, row, width).lines()
    return [*summary(evaluation, row, width), "", "", *full]


@dataclass(frozen=True)
class _Share:
    """A group of the budget and its share of the variance."""

    group: str
    share: float


class _Derivation:
    def __init__(self, evaluation: Evaluation, row: int, width: int) -> None:
        self.evaluation, self.row, self.width = evaluation, row, width
        self.result: Result = evaluation.results[row]
        self.table = evaluation.propagated.table
        self.walk = Walk(evaluation.graph, evaluation.numbers)
        self.printer = EquationPrinter(self.walk, evaluation.records, width)
        present = [slot for slot in evaluation.slots if slot.rows[row] >= 0]
        # The budget has a row for each slot that is present, in the same order; covariances follow.
        self.slots: list[tuple[Slot, BudgetRow]] = list(zip(present, self.result.budget, strict=False))
        self.covariances = self.result.budget[len(present) :]

    def lines(self) -> Iterator[str]:
        yield from self._measurand()
        if self.result.value is None:
            yield from self._section("Result")
            yield from wrapped(amount(self.result), width=self.width)
            return
        yield from self._values()
        yield from self._partials()
        yield from self._inputs()
        yield from self._combination()
        yield from self._degrees_of_freedom()
        yield from self._expansion()
        yield from self._section("7  Terms of second order")
        yield from second_order_lines(self.evaluation, self.row, self.width)

    def _section(self, title: str) -> Iterator[str]:
        yield ""
        yield title
        yield "=" * len(title)

    def _target(self, column: str) -> Target:
        return Target(self.table, (self.row,), column)

    def _measurand(self) -> Iterator[str]:
        document, run = self.evaluation.records.method.document, self.evaluation.records.run
        title = f"Derivation of {heading(self.result)}"
        yield title
        yield "=" * min(len(title), self.width)
        texts = [
            f"Measurand: {quantity(self.result)}, in {self.result.unit}",
            f"Method: {document.id}, {document.title}, version {document.version}, {document.status}",
            f"Run: {self.evaluation.records.name}, {run.file.run.date.isoformat()}" if run else "",
            f"Equation: {equation_of(self.evaluation, self.row)}",
        ]
        for text in filter(None, texts):
            yield from wrapped(text, "", INDENT, self.width)
        for symbol, words in symbols_of(self.evaluation, self.row):
            yield from wrapped(f"{symbol}: {words}", INDENT, INDENT * 2, self.width)
        yield from self._derived_from()
        for flag in self.result.flags:
            yield from wrapped(f"To be noted: {flag}.", "", INDENT, self.width)
        yield ""
        yield from wrapped(
            f"Numbers are shown with up to {SHOWN_DIGITS} significant digits and calculated with all of theirs. "
            "A number in square brackets names the block that tells where a quantity comes from.",
            width=self.width,
        )

    def _derived_from(self) -> Iterator[str]:
        if self.row in self.evaluation.assembly.derived:
            document = self.evaluation.records.method.document
            text = f"Derived from results of the method's equation {document.equation}, correlations included"
            yield from wrapped(text, "", INDENT, self.width)

    def _values(self) -> Iterator[str]:
        yield from self._section("1  Value")
        for block in self.walk.visit([self._target(self.evaluation.assembly.value)]):
            yield from self.printer.block(block)

    def _partials(self) -> Iterator[str]:
        targets: list[Target] = []
        for slot, row in self.slots:
            if row.standard_uncertainty:
                target = self._target(slot.sensitivity)
                expression = self.walk.expressions(target, reduced=True)[0]
                targets += self.walk.targets(target, expression, reduced=True).values()
        blocks = self.walk.visit(targets, reduced=True)
        if not blocks:
            return
        yield from self._section("2  Partial derivatives")
        yield from wrapped(
            "Taken at the estimates (GUM 5.1.3); deviations with the estimate zero are left out.",
            width=self.width,
        )
        for block in blocks:
            yield from self.printer.block(block, reduced=True)

    def _inputs(self) -> Iterator[str]:
        yield from self._section("3  Input quantities")
        for share in self._groups():
            yield ""
            yield f"{share.group or 'input quantities'}: {percent(share.share)} of u²"
            members = [(slot, row) for slot, row in self.slots if row.group == share.group]
            members.sort(key=lambda pair: -abs(pair[1].contribution))
            for slot, row in members:
                if row.standard_uncertainty:
                    yield ""
                    yield from self._input(slot, row)
            yield from self._without_uncertainty([row for _, row in members if not row.standard_uncertainty])
            for row in self.covariances:
                if row.group == share.group:
                    yield ""
                    yield from self._covariance(row)

    def _input(self, slot: Slot, row: BudgetRow) -> Iterator[str]:
        def fact(name: str, text: str) -> list[str]:
            return wrapped(f"{name}: {text}", INDENT, INDENT * 2, self.width)

        yield from wrapped(f"{row.symbol}: {row.quantity}", "  ", INDENT, self.width)
        given = isinstance(self.evaluation.graph.tables[slot.table].by_name[slot.column], Given)
        estimate = plain(row.estimate or 0.0, 15 if given else SHOWN_DIGITS)
        yield from fact("estimate", f"{estimate}{unit_text(row.unit)}")
        yield from fact(
            "evaluation",
            f"type {row.evaluation}, {row.distribution} distribution, degrees of freedom "
            f"{'infinite' if row.degrees_of_freedom is None else plain(row.degrees_of_freedom, 4)}",
        )
        yield from fact("source", row.source or "not stated")
        yield from self._standard_uncertainty(slot, row.unit)
        target = self._target(slot.sensitivity)
        unit = per(self.result.unit, row.unit)
        yield from self.printer.equation(target, INDENT, name=f"c({slot.symbol})", unit=unit, reduced=True)
        c, u = plain(row.sensitivity_coefficient or 0.0), plain(row.standard_uncertainty or 0.0)
        yield from wrapped(
            f"c·u = {c}·{u} = {plain(row.contribution)}{unit_text(self.result.unit)}, {percent(row.share)} of u²",
            INDENT,
            INDENT * 2,
            self.width,
        )

    def _without_uncertainty(self, rows: Sequence[BudgetRow]) -> Iterator[str]:
        """Input quantities with u = 0, those of one kind and one reason together."""
        kinds: dict[tuple[str, str], list[BudgetRow]] = {}
        for row in rows:
            kinds.setdefault((row.quantity, row.source), []).append(row)
        for (name, source), alike in kinds.items():
            yield ""
            yield from wrapped(f"{', '.join(row.symbol for row in alike)}: {name}", "  ", INDENT, self.width)
            if len(alike) == 1:
                estimate = f"{plain(alike[0].estimate or 0.0)}{unit_text(alike[0].unit)}"
                yield from wrapped(f"estimate: {estimate}", INDENT, INDENT * 2, self.width)
            yield from wrapped(f"u: 0{unit_text(alike[0].unit)}, {source}", INDENT, INDENT * 2, self.width)

    def _standard_uncertainty(self, slot: Slot, unit: str) -> Iterator[str]:
        leaf = self.evaluation.graph.tables[slot.table].leaf_of[slot.column]
        target = Target(slot.table, (int(slot.rows[self.row]),), leaf.u)
        stated = self.evaluation.graph.tables[slot.table].by_name.get("stated as")
        if stated is not None and not isinstance(stated, Formula):
            yield from wrapped(f"stated as: {stated.values[target.rows[0]]}", INDENT, INDENT * 2, self.width)
        known = self.walk.home(target)
        if known is not None:
            value = f"{plain(self.walk.values(target)[0])}{unit_text(unit)}"
            text = f"u({slot.symbol}) = {value}, from [{known.number}]"
            yield from wrapped(text, INDENT, INDENT * 2, self.width)
            return
        expression = self.walk.expressions(target)[0]
        blocks = self.walk.visit(list(self.walk.targets(target, expression).values()))
        yield from self.printer.equation(target, INDENT, name=f"u({slot.symbol})", unit=unit)
        for block in blocks:
            yield from (f"{INDENT}{line}".rstrip() for line in self.printer_inside.block(block))
        if blocks:
            yield ""

    @property
    def printer_inside(self) -> EquationPrinter:
        return EquationPrinter(self.walk, self.evaluation.records, self.width - len(INDENT))

    def _covariance(self, row: BudgetRow) -> Iterator[str]:
        text = (
            f"{row.symbol}: 2·c·c·u·u·r = {plain(row.contribution)} {row.unit}, {percent(row.share)} of u²; "
            f"{row.source} (GUM 5.2.2 eq. 16)"
        )
        yield from wrapped(text, "  ", INDENT, self.width)

    def _groups(self) -> list[_Share]:
        shares: dict[str, float] = {}
        for row in self.result.budget:
            shares[row.group] = shares.get(row.group, 0.0) + row.share
        return sorted((_Share(*item) for item in shares.items()), key=lambda share: -share.share)

    def _combination(self) -> Iterator[str]:
        yield from self._section("4  Combined standard uncertainty")
        counted = [(share, row) for share in self._groups() for row in self._ranked(share.group)]
        unit = self.result.unit
        columns = [
            TextColumn("group", [share.group for share, _ in counted], widest=18),
            TextColumn("input quantity", [row.symbol for _, row in counted], widest=28),
            TextColumn(
                "c·u",
                [_blank_if(row.standard_uncertainty is None, row.contribution) for _, row in counted],
                "right",
            ),
            TextColumn("(c·u)²", [plain(self._variance(row), 5) for _, row in counted], "right"),
            TextColumn("share", [percent(row.share) for _, row in counted], "right"),
        ]
        if counted:
            yield from table_lines(columns, width=self.width)
        total = sum(self._variance(row) for row in self.result.budget)
        yield ""
        column = self.walk.column(self._target(STANDARD))
        clause = f"  ({column.clause})" if isinstance(column, Formula) else ""
        yield from wrapped(f"u² = sum of (c·u)² = {plain(total)}", width=self.width)
        u = plain(self.result.standard_uncertainty or 0.0)
        yield from wrapped(f"u = sqrt({plain(total)}) = {u}{unit_text(unit)}{clause}", width=self.width)
        yield ""
        for share in self._groups():
            yield f"{share.group or 'input quantities'}: {percent(share.share)}"

    def _ranked(self, group: str) -> list[BudgetRow]:
        rows = [row for row in self.result.budget if row.group == group and row.contribution != 0]
        return sorted(rows, key=lambda row: -abs(row.share))

    def _variance(self, row: BudgetRow) -> float:
        return row.contribution if row.standard_uncertainty is None else row.contribution**2

    def _degrees_of_freedom(self) -> Iterator[str]:
        yield from self._section("5  Effective degrees of freedom")
        target = self._target(EFFECTIVE_DOF)
        expression = self.walk.expressions(target)[0]
        terms = [
            term
            for term in self.walk.targets(target, expression).values()
            if isinstance(self.walk.column(term), Formula) and self.walk.values(term)[0] > 1 / COUNTABLE_DOF
        ]
        if not terms:
            yield from wrapped(
                "No contribution rests on a finite number of degrees of freedom: infinite.", width=self.width
            )
            return
        yield from wrapped(
            "Each variance estimate with finite degrees of freedom ν adds (its share of u²)²/ν. Contributions that "
            "rest on one estimate are added first.",
            width=self.width,
        )
        for term in terms:
            yield ""
            yield from self.printer.equation(term, "  ", reduced=True)
        yield ""
        total = sum(self.walk.values(term)[0] for term in terms)
        nu = plain(self.result.effective_degrees_of_freedom or 0.0)
        yield from wrapped(f"ν_eff = 1/{plain(total)} = {nu}  (GUM G.4.1 eq. G.2b)", width=self.width)

    def _expansion(self) -> Iterator[str]:
        yield from self._section("6  Expanded uncertainty and reported result")
        behind = (FIRST, SECOND, DOMINATING, EDGE, OF_TERMS)
        known = self.evaluation.graph.tables[self.table].by_name
        for column in (*(name for name in behind if name in known), FACTOR, EXPANDED, REPORTED_U, REPORTED):
            yield from self.printer.equation(self._target(column), "")
            yield ""
        for sentence in fall_of_factor(self.result):
            yield from wrapped(sentence, width=self.width)
            yield ""
        yield from wrapped(
            statement(self.result, self.evaluation.records.method, roles_of(self.evaluation)[self.row]),
            width=self.width,
        )


def _blank_if(blank: bool, value: float) -> str:
    return "" if blank else plain(value, 5)
