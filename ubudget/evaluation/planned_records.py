"""What changes of a plan share: the part of the records that they are about, or one line that says it is missing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from ubudget.evaluation.plan_clauses import Clause
from ubudget.records.amount import Amount
from ubudget.records.method import Method, Symbol
from ubudget.records.records import Records
from ubudget.records.register import Register
from ubudget.records.run import Portion, Run


def run_of(records: Records, clause: Clause) -> Run:
    if records.run is None:
        raise clause.refused("a method file alone", "a run with samples", "name the folder of a run")
    return records.run


def register_of(records: Records, clause: Clause) -> Register:
    if records.register is None:
        raise clause.refused("no register", "a run with a register", "name one in the run file")
    return records.register


def with_symbol(records: Records, name: str, symbol: Symbol) -> Records:
    method: Method = replace(records.method, symbols={**records.method.symbols, name: symbol})
    return replace(records, method=method)


def with_columns(records: Records, clause: Clause, cells: Callable[[Portion], dict[str, Amount | str]]) -> Records:
    """The records with other cells in the rows of samples and reference materials."""
    run = run_of(records, clause)

    def rows() -> Iterator[Portion]:
        for portion in run.portions:
            own = {} if portion.kind == "blank" else cells(portion)
            yield replace(portion, columns={**portion.columns, **own}) if own else portion

    return replace(records, run=replace(run, portions=tuple(rows())))
