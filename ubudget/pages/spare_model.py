"""The tables of a workbook with spare rows: what each row waits for, and the columns that only such a workbook has.

`Spare.keys` gives for each row the things that it waits for (a sample that is complete, a reading …). A formula that
refers to another row needs no guard where it waits for all that the other row waits for.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from dataclasses import dataclass, replace
from functools import cached_property

from ubudget.bench.blank import BLANK_VALUES
from ubudget.bench.linearity import LEVEL_POINTS
from ubudget.bench.portions import BLANK_PORTIONS, PORTIONS
from ubudget.bench.readings import POINTS, READINGS
from ubudget.bench.standards import STANDARDS
from ubudget.bench.ware import WARE
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.spare_evaluation import STEPS, belongs, chosen_names, ware_leaves
from ubudget.pages.evidence import LAST, with_evidence
from ubudget.quantity.expression import Apply, Expression
from ubudget.quantity.graph import Formula, Graph, Label, Span, Table
from ubudget.records.finding import Finding
from ubudget.records.records import Records
from ubudget.records.spare_run import RUN_AS_FILES, lines_of, ware_of
from ubudget.records.volume import Volume

RESULTS, SIGNALS, LEVELS, CURVES = "results", "measured lines", "levels", "curves"
DILUTIONS = "dilutions of "
STATUS, READY, KIND = "status of the row", "ready (1 = yes)", "kind"
ROW_OF, READ_DILUTED, DILUTED, PLACE = "row on the sheet of ", "read diluted: ", "diluted", "place of the level"
SHOWN_X, SHOWN_Y, SHOWN_FITTED = "x shown", "y shown", "fitted shown"
Keys = frozenset[Hashable]
ALWAYS: Keys = frozenset()

_FIXED = {
    "reporting", "constants", "inputs", "observations", "precision", "correlations", "lines", "line points",
    "balances", "repeatability by load", "check weighings", "weights", "minimum masses", "ware",
    "recoveries", "recovery tests", "recovery studies", "recovery references",
    "atomic weights", "molar masses", "conversion factors",
    "stocks", "stocks by the other basis", "kept standards",
    "curves", "linearity", "weighting", "pooled scatter", "blanks",
}  # fmt: skip
"""Tables whose rows do not follow the rows of a run."""
_FIXED_STARTS = ("preparation steps", "curves by item: ", "buoyancy of ")
"""Starts of names of more of them: prepared standards are those of the specimen."""


@dataclass(frozen=True, eq=False)
class Spare:
    """An evaluation in which every spare row exists. `records` are those of the specimen."""

    records: Records
    evaluation: Evaluation

    @cached_property
    def graph(self) -> Graph:
        """The graph of the evaluation with the columns that only this workbook has."""
        graph = _with_portions(with_evidence(self.evaluation.graph), self)
        for name, labels in self._added().items():
            if name in graph.tables:
                table = graph.tables[name]
                added = [Label(label, heading, ("",) * table.size, rank=rank) for label, heading, rank in labels]
                graph = graph.with_table(table.with_columns(added, {}))
        return graph

    @cached_property
    def steps(self) -> str | None:
        """Table of the dilution steps of the samples, where there is one."""
        return next((name for name in self.evaluation.graph.tables if self._of_samples(name, STEPS)), None)

    @cached_property
    def dilutions(self) -> str | None:
        return next((name for name in self.evaluation.graph.tables if self._of_samples(name, DILUTIONS)), None)

    def _of_samples(self, name: str, start: str) -> bool:
        symbol = self.records.method.symbols.get(name.removeprefix(start))
        return name.startswith(start) and getattr(symbol, "of", "") == "sample"

    @cached_property
    def analytes(self) -> list[str]:
        return list(dict.fromkeys(analyte for analyte, _ in lines_of(self.records)))

    @cached_property
    def materials(self) -> dict[int, str]:
        """Rows of the portions that are for a reference material, and its label."""
        structure = self.evaluation.assembly.structure
        assert structure is not None
        return {n: p.sample for n, p in enumerate(structure.portions) if p.kind == "reference material"}

    @cached_property
    def fitted(self) -> str:
        """Table of the points that the curves are fitted to: single readings, or level means."""
        span = self.evaluation.graph.tables[CURVES].references["all mark"]
        return span.table

    @cached_property
    def needs_blank(self) -> bool:
        """Whether results take more of the first blank than its readings: its volume, its dilution factor."""
        tables = self.evaluation.graph.tables
        return BLANK_PORTIONS in tables or any(n.startswith(DILUTIONS) and n != self.dilutions for n in tables)

    @cached_property
    def _ware_columns(self) -> dict[tuple[str, str], bool]:
        """Table and column of each leaf of ware that rows name → whether it brings degrees of freedom."""
        leaves = ware_leaves(self.records, self.evaluation.graph)
        return {(table.name, leaf.column): leaf.dof is not None for table, leaf in leaves}

    def fixed_ware(self, table: str, symbol: str) -> list[str]:
        """Ware that serves whatever the rows name, for the standards or by the method.

        A row that names it for a volume would share its deviation (an individual piece), or the degrees of freedom of
        its repeatability."""
        own = [dof for (name, column), dof in self._ware_columns.items() if name == table and belongs(column, symbol)]
        named: set[str] = set()
        counted: set[str] = set()
        for other in self.evaluation.graph.tables.values():
            for leaf in other.leaves:
                if (other.name, leaf.column) not in self._ware_columns:
                    items = {item for trait in leaf.traits for item in trait.items}
                    named |= items
                    counted |= items if leaf.dof is not None and any(own) else set()
        return [
            item.id
            for item in ware_of(self.records)
            if item.id in counted or (item.id in named and item.use == "individual")
        ]

    @cached_property
    def prepared(self) -> frozenset[str]:
        """Standards prepared by steps that are read: which errors they share rests on all of them being read."""
        run, structure = self.records.run, self.evaluation.assembly.structure
        assert run is not None and structure is not None
        read = {item.solution for item in structure.standard_readings}
        return frozenset(standard.label for standard in run.file.standards if standard.steps and standard.label in read)

    def chosen(self, table: str) -> dict[str, str]:
        """Symbol of each volume whose ware the rows of a table name → label column that names it."""
        if table == self.steps:
            return dict(zip(chosen_names(self.records, table), ("aliquot item", "flask item"), strict=True))
        return {symbol: f"{symbol}.ware" for symbol in chosen_names(self.records, table)}

    def word_of(self, table: str, symbol: str) -> str:
        """What the reader calls the ware: the heading of its column in the samples table."""
        if table == self.steps:
            return "pipette" if symbol.endswith(".aliquot") else "flask"
        operation = self.records.method.symbols[symbol]
        assert isinstance(operation, Volume)
        return operation.ware_column

    def _added(self) -> dict[str, list[tuple[str, str, int]]]:
        """Table → its further columns: name, heading, rank."""
        added: dict[str, list[tuple[str, str, int]]] = {
            STANDARDS: [(STATUS, "status", 0), (READY, READY, LAST)],
            READINGS: [(STATUS, "status", 0)],
            POINTS: [(STATUS, "status", 0)],
            LEVELS: [(PLACE, PLACE, LAST)],
            WARE: [(KIND, KIND, LAST)],
        }
        added[self.fitted] += [
            (SHOWN_X, "x, for the chart", LAST),
            (SHOWN_Y, "y, for the chart", LAST),
            (SHOWN_FITTED, "curve, for the chart", LAST),
        ]
        for table in (PORTIONS, BLANK_PORTIONS, self.steps or ""):
            rows = [
                (f"{ROW_OF}{symbol}", f"{ROW_OF}ware: {self.word_of(table, symbol)}", LAST)
                for symbol in self.chosen(table)
            ]
            marks = []
            if table == self.steps and len(self.analytes) > 1:
                marks = [
                    (f"{READ_DILUTED}{a}", f"{a} read diluted (empty or 1 = yes, 0 = no)", 0) for a in self.analytes
                ]
            added[table] = [*marks, (STATUS, "status", 0), *rows, (READY, READY, LAST)]
        if self.steps:
            added[RESULTS] = [(DILUTED, "diluted (1 = yes)", LAST)]
        return added

    # -- what each row waits for ------------------------------------------------------------------------------------

    @cached_property
    def keys(self) -> dict[str, list[Keys]]:
        """Table → what each of its rows waits for; tables that are always there are absent."""
        evaluation, structure = self.evaluation, self.evaluation.assembly.structure
        assert structure is not None
        portion = {portion.solution: number for number, portion in enumerate(structure.portions)}
        blank = {portion.solution: number for number, portion in enumerate(structure.blanks)}
        tables = evaluation.graph.tables
        keys: dict[str, list[Keys]] = {
            PORTIONS: [frozenset({("portion", n)}) for n in range(len(portion))],
            BLANK_PORTIONS: [frozenset({("blank", n)}) for n in range(len(blank))],
            SIGNALS: [frozenset({("signal", n)}) for n in range(len(structure.measured))],
        }
        if self.steps:
            keys[self.steps] = [frozenset({("step", n)}) for n in range(len(portion))]
        for name in tables:
            if name.startswith(DILUTIONS):
                of_samples = name == self.dilutions
                keys[name] = keys[PORTIONS if of_samples else BLANK_PORTIONS][: tables[name].size]
        own = self._signal_of_readings()
        keys[READINGS] = [frozenset({("signal", m), ("reading", n)}) for n, m in enumerate(own)]
        blank_rows = [n for n, item in enumerate(structure.measured) if item.solution in structure.blank_solutions]
        keys[BLANK_VALUES] = [frozenset({("signal", n)}) for n in blank_rows]
        keys[RESULTS] = [
            frozenset({("portion", row.portion), ("signal", row.measured), ("blank", 0)}) for row in structure.results
        ]
        keys |= self._keys_of_levels()
        return {name: rows for name, rows in keys.items() if name in self.graph.tables}

    def _signal_of_readings(self) -> list[int]:
        structure = self.evaluation.assembly.structure
        assert structure is not None
        return [n for n, item in enumerate(structure.measured) for _ in item.reading.values]

    @cached_property
    def level_of_points(self) -> list[int]:
        """Row of the levels of each standard's reading."""
        structure = self.evaluation.assembly.structure
        assert structure is not None
        return [n for n, item in enumerate(structure.standard_readings) for _ in item.reading.values]

    @cached_property
    def standard_of_level(self) -> list[int]:
        """Row of the standards of each level."""
        labels = self.graph.tables[STANDARDS]
        row_of = {key: n for n, key in enumerate(zip(labels.texts("standard"), labels.texts("analyte"), strict=True))}
        structure = self.evaluation.assembly.structure
        assert structure is not None
        return [row_of[item.solution, item.line[0]] for item in structure.standard_readings]

    def _keys_of_levels(self) -> dict[str, list[Keys]]:
        standards: list[Keys] = [frozenset({("standard", n)}) for n in range(self.graph.tables[STANDARDS].size)]
        levels: list[Keys] = [standards[s] | {("level", n)} for n, s in enumerate(self.standard_of_level)]
        points: list[Keys] = [levels[level] | {("point", n)} for n, level in enumerate(self.level_of_points)]
        return {STANDARDS: standards, LEVELS: levels, LEVEL_POINTS: levels, POINTS: points}

    def findings(self) -> list[Finding]:
        """Tables and totals that spare rows cannot follow."""
        if "last used" not in self.evaluation.graph.tables[CURVES].by_name:
            found = "a curve of two standards, which are certain ones"
            return [self._refused(found)]
        keys, found_in = self.keys, list[str]()
        known = {*keys, *_FIXED}
        for name, table in self.graph.tables.items():
            if name not in known and not name.startswith(_FIXED_STARTS):
                found_in.append(f"the table of {name}")
            for column in table.columns:
                if isinstance(column, Formula) and any(_totals_products(e, table, keys) for e in column.expressions):
                    found_in.append(f"{column.heading} of the {name}")
        return [self._refused(each) for each in dict.fromkeys(found_in)]

    def _refused(self, found: str) -> Finding:
        accepted = "with --empty: what README names under spare rows"
        return Finding("stop", self.records.file("method"), "symbols", found, accepted, RUN_AS_FILES)


def _totals_products(expression: Expression, table: Table, keys: Iterable[str]) -> bool:
    """Whether a total multiplies rows that may show nothing: text times a number is an error."""
    if not isinstance(expression, Apply):
        return False
    if expression.operation == "total_of":
        spans = [table.references.get(symbol) for symbol in expression.symbols]
        if any(isinstance(span, Span) and span.table in set(keys) for span in spans):
            return True
    return any(_totals_products(argument, table, keys) for argument in expression.arguments)


def _with_portions(graph: Graph, spare: Spare) -> Graph:
    """Tables of the portions also where nothing but their labels is recorded."""
    structure = spare.evaluation.assembly.structure
    assert structure is not None
    tables = dict(graph.tables)
    for name, title, portions in (
        (PORTIONS, "Test portions", structure.portions),
        (BLANK_PORTIONS, "Blanks", structure.blanks),
    ):
        if name not in tables and portions:
            labels = (
                Label("sample", "sample", tuple(portion.sample for portion in portions)),
                Label("portion", "portion", tuple("1" for _ in portions)),
                Label("matrix", "matrix", tuple(portion.matrix for portion in portions)),
            )
            tables[name] = Table(name, title, len(portions), labels)
    return replace(graph, tables=tables)
