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
from ubudget.pages.limit_derivation import limit_parts
from ubudget.pages.listing import WIDTH, TextColumn
from ubudget.pages.plan import placements_of
from ubudget.pages.result_words import equation_of, symbols_of
from ubudget.pages.second_order_words import second_order_parts
from ubudget.pages.statement import amount, heading, quantity, roles_of, statement
from ubudget.pages.summary import summary
from ubudget.pages.told import Blank, Figures, Part, Sentence, Title, inside
from ubudget.pages.told_text import text_lines
from ubudget.pages.walk import Target, Walk
from ubudget.pages.widening_words import fall_of_factor
from ubudget.quantity.graph import Formula, Given
from ubudget.quantity.units import per

COUNTABLE_DOF = 1e12
"""Terms of more degrees of freedom are not listed: they come from variances known exactly, or are none."""


def derivation(evaluation: Evaluation, row: int, width: int = WIDTH) -> list[str]:
    """Lines of text, none wider than `width`, on the result in that row of the results: a summary that fits a screen,
    then the derivation."""
    return [*summary(evaluation, row, width), "", "", *text_lines(derivation_parts(evaluation, row), width)]


def derivation_parts(evaluation: Evaluation, row: int) -> Iterator[Part]:
    """The derivation of the result in that row of the results, part by part."""
    return _Derivation(evaluation, row).parts()


@dataclass(frozen=True)
class _Share:
    """A group of the budget and its share of the variance."""

    group: str
    share: float


class _Derivation:
    def __init__(self, evaluation: Evaluation, row: int) -> None:
        self.evaluation, self.row = evaluation, row
        self.result: Result = evaluation.results[row]
        self.table = evaluation.propagated.table
        self.walk = Walk(evaluation.graph, evaluation.numbers)
        self.printer = EquationPrinter(self.walk, evaluation.records, placements_of(evaluation))
        present = [slot for slot in evaluation.slots if slot.rows[row] >= 0]
        # The budget has a row for each slot that is present, in the same order; covariances follow.
        self.slots: list[tuple[Slot, BudgetRow]] = list(zip(present, self.result.budget, strict=False))
        self.covariances = self.result.budget[len(present) :]

    def parts(self) -> Iterator[Part]:
        yield from self._measurand()
        if self.result.value is None:
            yield from self._section("Result")
            yield Sentence(amount(self.result))
            return
        yield from self._values()
        yield from self._partials()
        yield from self._inputs()
        yield from self._combination()
        yield from self._degrees_of_freedom()
        yield from self._expansion()
        yield from self._section("7  Terms of second order")
        yield from second_order_parts(self.evaluation, self.row)
        yield from limit_parts(self.evaluation, self.row, self.printer)

    def _section(self, title: str) -> Iterator[Part]:
        yield Title(title, 2)

    def _target(self, column: str) -> Target:
        return Target(self.table, (self.row,), column)

    def _measurand(self) -> Iterator[Part]:
        document, run = self.evaluation.records.method.document, self.evaluation.records.run
        title = f"Derivation of {heading(self.result)}"
        yield Title(title, 1)
        texts = [
            f"Measurand: {quantity(self.result)}, in {self.result.unit}",
            f"Method: {document.id}, {document.title}, version {document.version}, {document.status}",
            f"Run: {self.evaluation.records.name}, {run.file.run.date.isoformat()}" if run else "",
            f"Equation: {equation_of(self.evaluation, self.row)}",
        ]
        for text in filter(None, texts):
            yield Sentence(text, 0, INDENT)
        for symbol, words in symbols_of(self.evaluation, self.row):
            yield Sentence(f"{symbol}: {words}", INDENT, INDENT * 2)
        yield from self._derived_from()
        for flag in self.result.flags:
            yield Sentence(f"To be noted: {flag}.", 0, INDENT)
        yield Blank()
        yield Sentence(
            f"Numbers are shown with up to {SHOWN_DIGITS} significant digits and calculated with all of theirs. "
            "A number in square brackets names the block that tells where a quantity comes from."
        )

    def _derived_from(self) -> Iterator[Part]:
        if self.row in self.evaluation.assembly.derived:
            document = self.evaluation.records.method.document
            text = f"Derived from results of the method's equation {document.equation}, correlations included"
            yield Sentence(text, 0, INDENT)

    def _values(self) -> Iterator[Part]:
        yield from self._section("1  Value")
        for block in self.walk.visit([self._target(self.evaluation.assembly.value)]):
            yield from self.printer.block(block)

    def _partials(self) -> Iterator[Part]:
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
        yield Sentence("Taken at the estimates (GUM 5.1.3); deviations with the estimate zero are left out.")
        for block in blocks:
            yield from self.printer.block(block, reduced=True)

    def _inputs(self) -> Iterator[Part]:
        yield from self._section("3  Input quantities")
        for share in self._groups():
            yield Blank()
            yield Sentence(f"{share.group or 'input quantities'}: {percent(share.share)} of u²")
            members = [(slot, row) for slot, row in self.slots if row.group == share.group]
            members.sort(key=lambda pair: -abs(pair[1].contribution))
            for slot, row in members:
                if row.standard_uncertainty:
                    yield Blank()
                    yield from self._input(slot, row)
            yield from self._without_uncertainty([row for _, row in members if not row.standard_uncertainty])
            for row in self.covariances:
                if row.group == share.group:
                    yield Blank()
                    yield from self._covariance(row)

    def _input(self, slot: Slot, row: BudgetRow) -> Iterator[Part]:
        def fact(name: str, text: str) -> Sentence:
            return Sentence(f"{name}: {text}", INDENT, INDENT * 2)

        yield Sentence(f"{row.symbol}: {row.quantity}", 2, INDENT)
        given = isinstance(self.evaluation.graph.tables[slot.table].by_name[slot.column], Given)
        estimate = plain(row.estimate or 0.0, 15 if given else SHOWN_DIGITS)
        yield fact("estimate", f"{estimate}{unit_text(row.unit)}")
        yield fact(
            "evaluation",
            f"type {row.evaluation}, {row.distribution} distribution, degrees of freedom "
            f"{'infinite' if row.degrees_of_freedom is None else plain(row.degrees_of_freedom, 4)}",
        )
        yield fact("source", row.source or "not stated")
        yield from self._standard_uncertainty(slot, row.unit)
        target = self._target(slot.sensitivity)
        unit = per(self.result.unit, row.unit)
        yield from self.printer.equation(target, INDENT, name=f"c({slot.symbol})", unit=unit, reduced=True)
        c, u = plain(row.sensitivity_coefficient or 0.0), plain(row.standard_uncertainty or 0.0)
        yield Sentence(
            f"c·u = {c}·{u} = {plain(row.contribution)}{unit_text(self.result.unit)}, {percent(row.share)} of u²",
            INDENT,
            INDENT * 2,
        )

    def _without_uncertainty(self, rows: Sequence[BudgetRow]) -> Iterator[Part]:
        """Input quantities with u = 0, those of one kind and one reason together."""
        kinds: dict[tuple[str, str], list[BudgetRow]] = {}
        for row in rows:
            kinds.setdefault((row.quantity, row.source), []).append(row)
        for (name, source), alike in kinds.items():
            yield Blank()
            yield Sentence(f"{', '.join(row.symbol for row in alike)}: {name}", 2, INDENT)
            if len(alike) == 1:
                estimate = f"{plain(alike[0].estimate or 0.0)}{unit_text(alike[0].unit)}"
                yield Sentence(f"estimate: {estimate}", INDENT, INDENT * 2)
            yield Sentence(f"u: 0{unit_text(alike[0].unit)}, {source}", INDENT, INDENT * 2)

    def _standard_uncertainty(self, slot: Slot, unit: str) -> Iterator[Part]:
        leaf = self.evaluation.graph.tables[slot.table].leaf_of[slot.column]
        target = Target(slot.table, (int(slot.rows[self.row]),), leaf.u)
        stated = self.evaluation.graph.tables[slot.table].by_name.get("stated as")
        if stated is not None and not isinstance(stated, Formula):
            yield Sentence(f"stated as: {stated.values[target.rows[0]]}", INDENT, INDENT * 2)
        known = self.walk.home(target)
        if known is not None:
            value = f"{plain(self.walk.values(target)[0])}{unit_text(unit)}"
            text = f"u({slot.symbol}) = {value}, from [{known.number}]"
            yield Sentence(text, INDENT, INDENT * 2)
            return
        expression = self.walk.expressions(target)[0]
        blocks = self.walk.visit(list(self.walk.targets(target, expression).values()))
        yield from self.printer.equation(target, INDENT, name=f"u({slot.symbol})", unit=unit)
        for block in blocks:
            yield from inside(self.printer.block(block))
        if blocks:
            yield Blank()

    def _covariance(self, row: BudgetRow) -> Iterator[Part]:
        text = (
            f"{row.symbol}: 2·c·c·u·u·r = {plain(row.contribution)} {row.unit}, {percent(row.share)} of u²; "
            f"{row.source} (GUM 5.2.2 eq. 16)"
        )
        yield Sentence(text, 2, INDENT)

    def _groups(self) -> list[_Share]:
        shares: dict[str, float] = {}
        for row in self.result.budget:
            shares[row.group] = shares.get(row.group, 0.0) + row.share
        return sorted((_Share(*item) for item in shares.items()), key=lambda share: -share.share)

    def _combination(self) -> Iterator[Part]:
        yield from self._section("4  Combined standard uncertainty")
        counted = [(share, row) for share in self._groups() for row in self._ranked(share.group)]
        unit = self.result.unit
        columns = (
            TextColumn("group", [share.group for share, _ in counted], widest=18),
            TextColumn("input quantity", [row.symbol for _, row in counted], widest=28),
            TextColumn(
                "c·u",
                [_blank_if(row.standard_uncertainty is None, row.contribution) for _, row in counted],
                "right",
            ),
            TextColumn("(c·u)²", [plain(self._variance(row), 5) for _, row in counted], "right"),
            TextColumn("share", [percent(row.share) for _, row in counted], "right"),
        )
        if counted:
            yield Figures((), columns)
        total = sum(self._variance(row) for row in self.result.budget)
        yield Blank()
        column = self.walk.column(self._target(STANDARD))
        clause = f"  ({column.clause})" if isinstance(column, Formula) else ""
        yield Sentence(f"u² = sum of (c·u)² = {plain(total)}")
        u = plain(self.result.standard_uncertainty or 0.0)
        yield Sentence(f"u = sqrt({plain(total)}) = {u}{unit_text(unit)}{clause}")
        yield Blank()
        for share in self._groups():
            yield Sentence(f"{share.group or 'input quantities'}: {percent(share.share)}")

    def _ranked(self, group: str) -> list[BudgetRow]:
        rows = [row for row in self.result.budget if row.group == group and row.contribution != 0]
        return sorted(rows, key=lambda row: -abs(row.share))

    def _variance(self, row: BudgetRow) -> float:
        return row.contribution if row.standard_uncertainty is None else row.contribution**2

    def _degrees_of_freedom(self) -> Iterator[Part]:
        yield from self._section("5  Effective degrees of freedom")
        target = self._target(EFFECTIVE_DOF)
        expression = self.walk.expressions(target)[0]
        terms = [
            term
            for term in self.walk.targets(target, expression).values()
            if isinstance(self.walk.column(term), Formula) and self.walk.values(term)[0] > 1 / COUNTABLE_DOF
        ]
        if not terms:
            yield Sentence("No contribution rests on a finite number of degrees of freedom: infinite.")
            return
        yield Sentence(
            "Each variance estimate with finite degrees of freedom ν adds (its share of u²)²/ν. Contributions that "
            "rest on one estimate are added first."
        )
        for term in terms:
            yield Blank()
            yield from self.printer.equation(term, 2, reduced=True)
        yield Blank()
        total = sum(self.walk.values(term)[0] for term in terms)
        nu = plain(self.result.effective_degrees_of_freedom or 0.0)
        yield Sentence(f"ν_eff = 1/{plain(total)} = {nu}  (GUM G.4.1 eq. G.2b)")

    def _expansion(self) -> Iterator[Part]:
        yield from self._section("6  Expanded uncertainty and reported result")
        behind = (FIRST, SECOND, DOMINATING, EDGE, OF_TERMS)
        known = self.evaluation.graph.tables[self.table].by_name
        for column in (*(name for name in behind if name in known), FACTOR, EXPANDED, REPORTED_U, REPORTED):
            yield from self.printer.equation(self._target(column), 0)
            yield Blank()
        for words in fall_of_factor(self.result):
            yield Sentence(words)
            yield Blank()
        yield Sentence(statement(self.result, self.evaluation.records.method, roles_of(self.evaluation)[self.row]))


def _blank_if(blank: bool, value: float) -> str:
    return "" if blank else plain(value, 5)
