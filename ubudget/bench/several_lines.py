"""One reported value for each sample and analyte with several lines, by the rule of the method.

Lines of one digest share mass, volume, stock and more: their difference d has u(d) by propagation of d = a - b, in
which the shared parts cancel; a mean keeps them whole. The first usable line is the reference of the test |d|/u(d), and
a line that differs from it takes no part. Choice and weights are constants of propagation: decided, not measured.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import USABLE, Context
from ubudget.bench.derived import Source
from ubudget.bench.folding import APART, FOLDS, fold
from ubudget.bench.result_keys import ResultKey
from ubudget.bench.result_table import ANALYTE, LINE, SAMPLE, STATUS
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import Place, Trait
from ubudget.records.several_lines import FIRST, WEIGHTED, WIDENED, SeveralLines

LINE_RULE, LINE_PAIRS, REPORTED_VALUES = "line rule", "line pairs", "reported values"
DIFFERENCE, U_DIFFERENCE, RATIO, AGREES = "d", "u of the difference", "ratio of the difference", "agrees"
UNSHARED = "unshared variance"
"""Column of the results of the lines: sum of the (c·u)² of deviations that no other line of the analyte has."""
NO_LINE = 3000
"""Status of a reported value for which no line is within range and free of flags."""
DEVIATION = "d_lines"


@dataclass(frozen=True)
class _Group:
    """A sample and an analyte: rows of its lines, -1 where a line of the method was not read."""

    key: ResultKey
    rows: tuple[int, ...]


def lines_to_report(context: Context, lines: Source) -> bool:
    """Whether the method reports one value from several lines, and the run has such."""
    return context.records.method.several_lines is not None and bool(_groups(context, lines))


def _groups(context: Context, lines: Source) -> list[_Group]:
    found: dict[tuple[str, str], dict[str, int]] = {}
    portions: dict[tuple[str, str], tuple[int, ...]] = {}
    for row, key in enumerate(lines.keys):
        names = context.records.method.analytes.get(key.analyte, ())
        if len(names) > 1 and key.line in names:
            found.setdefault((key.sample, key.analyte), {})[key.line or ""] = row
            portions[key.sample, key.analyte] = key.portions
    return [
        _Group(
            ResultKey(sample, analyte, None, portions[sample, analyte]),
            tuple(rows.get(name, -1) for name in context.records.method.analytes[analyte]),
        )
        for (sample, analyte), rows in found.items()
    ]


def add_reported_values(context: Context, lines: Source) -> Source:
    """Tables `line rule`, `line pairs` and `reported values`; the columns of uncertainties that they name are added by
    propagation (`evaluation.line_agreement`)."""
    rule = context.records.method.several_lines
    assert rule is not None
    groups = _groups(context, lines)
    _add_rule(context, rule)
    pairs = _add_pairs(context, lines, groups)
    return _Values(context, rule, lines, groups, pairs).build()


def _add_rule(context: Context, rule: SeveralLines) -> None:
    table = TableBuilder(LINE_RULE, "Agreement of lines", 1, context.shared)
    table.label("rule", "rule", [rule.rule])
    place = Place("method", ("several_lines", "limit"), "")
    table.given("limit", "largest |d|/u(d) of lines that agree", "", [rule.limit], [place])
    context.tables[LINE_RULE] = table.build()


def _add_pairs(context: Context, lines: Source, groups: list[_Group]) -> dict[tuple[int, int], int]:
    """Every two lines of a group, by their rows; gives the row of the pair."""
    pairs = [pair for group in groups for pair in combinations([row for row in group.rows if row >= 0], 2)]
    if not pairs:
        return {}
    table = TableBuilder(LINE_PAIRS, "Differences of lines", len(pairs), context.shared)
    table.label(SAMPLE, "sample", [lines.keys[a].sample for a, _ in pairs])
    table.label(ANALYTE, "analyte", [lines.keys[a].analyte for a, _ in pairs])
    table.label(LINE, "lines", [f"{lines.keys[a].line} - {lines.keys[b].line}" for a, b in pairs])
    a = table.pick("a", lines.table, lines.column, [a for a, _ in pairs])
    b = table.pick("b", lines.table, lines.column, [b for _, b in pairs])
    d = table.formula(DIFFERENCE, "difference d", lines.unit, a - b)
    size = apply("abs", d)
    u = Symbol(U_DIFFERENCE)
    limit = table.pick("limit of agreement", LINE_RULE, "limit", [0] * len(pairs))
    table.formula(RATIO, "|d|/u(d)", "", apply("ratio_or_zero", size, u), "ISO Guide 33")
    table.formula(AGREES, "agrees (1) or not (0)", "", apply("if_less", limit * u, size, 0, 1))
    context.tables[LINE_PAIRS] = table.build()
    return {pair: row for row, pair in enumerate(pairs)}


class _Values:
    """The table `reported values`, one row for each group."""

    def __init__(
        self,
        context: Context,
        rule: SeveralLines,
        lines: Source,
        groups: list[_Group],
        pairs: dict[tuple[int, int], int],
    ) -> None:
        self.context, self.rule, self.lines, self.groups, self.pairs = context, rule, lines, groups, pairs
        self.table = TableBuilder(REPORTED_VALUES, "Values reported from several lines", len(groups), context.shared)
        self.most = max(len(group.rows) for group in groups)
        self.marks = [mark.name for mark in FOLDS if mark.name in context.tables[lines.table].by_name]

    def build(self) -> Source:
        table, unit, name = self.table, self.lines.unit, self.lines.column
        table.label(SAMPLE, "sample", [group.key.sample for group in self.groups])
        table.label(ANALYTE, "analyte", [group.key.analyte for group in self.groups])
        table.label(LINE, "line", [""] * len(self.groups))
        usable = [self._usable(number) for number in range(self.most)]
        first = [self._first(number, usable) for number in range(self.most)]
        apart = {
            (r, i): self._apart(r, i, usable, first) for r, i in combinations(range(self.most), 2) if self._has(r, i)
        }
        total = fold("add", list(apart.values())) if apart else Number(0)
        taken = [self._taken(number, usable, apart) for number in range(self.most)]
        weights = self._weights(first, taken)
        value: Expression = fold("add", [self._of(number, name) * weights[number] for number in range(self.most)])
        if self.rule.disagreement == WIDENED:
            value = value + self._deviation(apart)
        decided = [f"weight {number + 1}" for number in range(self.most)]
        table.freeze(*decided)
        table.hold(*decided, STATUS)
        table.formula(name, name, unit, value, "method, several lines")
        sound = fold("add", list(usable))
        table.formula(STATUS, USABLE, "", apply("if_less", sound, 0.5, NO_LINE, 0))
        table.formula(APART, "usable lines that differ from the first", "", total)
        self.context.tables[REPORTED_VALUES] = table.build()
        keys = tuple(group.key for group in self.groups)
        return Source(REPORTED_VALUES, name, unit, keys, (None,) * len(keys))

    def _rows(self, number: int) -> list[int]:
        return [group.rows[number] if number < len(group.rows) else -1 for group in self.groups]

    def _of(self, number: int, column: str, absent: float = 0.0) -> Symbol:
        return self.table.pick(
            f"{column} of line {number + 1}", self.lines.table, column, self._rows(number), absent=absent
        )

    def _usable(self, number: int) -> Symbol:
        """Within range and free of flags; a line that was not read is not."""
        told = [self._of(number, STATUS, absent=1.0), *(apply("abs", self._of(number, mark)) for mark in self.marks)]
        sum_of_marks = fold("add", told)
        heading = f"line {number + 1} within range and free of flags"
        return self.table.formula(f"usable {number + 1}", heading, "", apply("if_less", sum_of_marks, 0.5, 1, 0))

    def _first(self, number: int, usable: list[Symbol]) -> Symbol:
        mark: Expression = usable[number]
        for earlier in usable[:number]:
            mark = mark * (1 - earlier)
        return self.table.formula(f"first {number + 1}", f"line {number + 1} is the first usable one", "", mark)

    def _pair_rows(self, r: int, i: int) -> list[int]:
        rows = zip(self._rows(r), self._rows(i), strict=True)
        return [self.pairs.get(pair, -1) for pair in rows]

    def _has(self, r: int, i: int) -> bool:
        return max(self._pair_rows(r, i)) >= 0

    def _apart(self, r: int, i: int, usable: list[Symbol], first: list[Symbol]) -> Symbol:
        agrees = self.table.pick(f"agreement of {r + 1} and {i + 1}", LINE_PAIRS, AGREES, self._pair_rows(r, i))
        heading = f"line {i + 1} differs from the first usable one, line {r + 1}"
        return self.table.formula(f"apart {r + 1} {i + 1}", heading, "", first[r] * usable[i] * (1 - agrees))

    def _taken(self, number: int, usable: list[Symbol], apart: dict[tuple[int, int], Symbol]) -> Symbol:
        mark: Expression = usable[number]
        for (_, i), differs in apart.items():
            if i == number:
                mark = mark - differs
        return self.table.formula(
            f"taken {number + 1}", f"line {number + 1} agrees with the first usable one", "", mark
        )

    def _weights(self, first: list[Symbol], taken: list[Symbol]) -> list[Symbol]:
        """Constants of propagation: which lines are taken, and the variances that they do not share."""
        scores: list[Symbol] = first if self.rule.rule == FIRST else taken
        if self.rule.rule == WEIGHTED:
            scores = []
            for number, mark in enumerate(taken):
                variance = apply("larger", self._of(number, UNSHARED), 1e-300)
                heading = f"line {number + 1} taken, over its unshared variance"
                scores.append(self.table.formula(f"score {number + 1}", heading, "", mark / variance))
        total = fold("add", list(scores))
        return [
            self.table.formula(
                f"weight {number + 1}", f"weight of line {number + 1}", "", apply("ratio_or_zero", score, total)
            )
            for number, score in enumerate(scores)
        ]

    def _deviation(self, apart: dict[tuple[int, int], Symbol]) -> Expression:
        """What the lines differ by, as a rectangular distribution as wide as the largest difference."""
        sizes: list[Expression] = []
        for (r, i), differs in apart.items():
            d = self.table.pick(f"d of {r + 1} and {i + 1}", LINE_PAIRS, DIFFERENCE, self._pair_rows(r, i))
            sizes.append(differs * apply("abs", d))
        if not sizes:
            return Number(0)
        largest = self.table.formula(
            "largest difference", "largest |d| of lines apart", self.lines.unit, fold("larger", sizes)
        )
        trait = Trait(
            DEVIATION,
            "disagreement of lines",
            "lines",
            "B",
            "rectangular",
            "method, several lines: |d|/(2·√3) of the largest difference",
        )
        return self.table.deviation(
            DEVIATION,
            "disagreement of lines",
            self.lines.unit,
            largest / (2 * apply("sqrt", 3)),
            [trait] * len(self.groups),
            clause="GUM 4.3.7",
        )
