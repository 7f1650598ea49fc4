"""The traceability of each result: the items it depends on, their evidence, and the chains above them.

What a result depends on is read from its budget: each input quantity names the register items on which it rests
(`quantity.graph.Trait.items`), so that an item which no input quantity of the result rests on is no link.
"""

from __future__ import annotations

from dataclasses import dataclass

from ubudget.evaluation.budgets import BudgetRow
from ubudget.evaluation.certificates import Ending, Evidence, Register
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.items_behind import items_behind
from ubudget.quantity.graph import Label
from ubudget.records.additions import StandardAdditions
from ubudget.records.calibration import Calibration
from ubudget.records.records import Records


@dataclass(frozen=True)
class Link:
    """One item in the chain of a result. `share` is the part of the result's variance that rests on it, where it is
    an item of the laboratory; `lower` are the items below a link that stands above others."""

    evidence: Evidence
    symbols: tuple[str, ...]
    """Input quantities that rest on it."""
    operations: tuple[str, ...]
    """Symbols of the method by which it enters the result."""
    lower: tuple[str, ...]
    share: float | None
    contribution: float | None
    """Root of the sum of (c·u)² of its input quantities, in the unit of the result."""
    ending: Ending | None
    """Where the chain ends above an item of the laboratory."""


@dataclass(frozen=True)
class Chain:
    sample: str
    analyte: str
    line: str | None
    links: tuple[Link, ...]
    """Items of the laboratory in the order of the budget, then what stands above them."""
    stated: tuple[BudgetRow, ...]
    """Input quantities that no register item vouches for: studies and statements of the method, readings."""


def chains(evaluation: Evaluation) -> tuple[Chain, ...]:
    """The chain of every result; one that cannot be calculated has no links."""
    register = Register(evaluation.records)
    return tuple(chain_of(evaluation, row, register) for row in range(len(evaluation.keys)))


def telling_chains(evaluation: Evaluation) -> tuple[Chain, ...]:
    """The chains that name something new: an item that no earlier result of the analyte rests on by that symbol.

    What the chains of a run say together of items, analytes and operations, these few say, in the same order."""
    register = Register(evaluation.records)
    told: set[tuple[str, str, str]] = set()
    telling = []
    for row, key in enumerate(evaluation.keys):
        if evaluation.usable(row):
            named = {(key.analyte, "", "")}
            named |= {
                (key.analyte, slot.symbol, item) for slot, items in evaluation.items_by_slot(row) for item in items
            }
            if not named <= told:
                told |= named
                telling.append(chain_of(evaluation, row, register))
    return tuple(telling)


def chain_of(evaluation: Evaluation, row: int, register: Register | None = None) -> Chain:
    """The chain of one result."""
    register = register or Register(evaluation.records)
    result = evaluation.results[row]
    budget = result.budget
    analytes = tuple(dict.fromkeys(analyte for analyte, _ in result.lines)) or (result.analyte,)
    by_item: dict[tuple[str, str], list[BudgetRow]] = {}
    stated = []
    named = zip(budget, evaluation.items_of(row), analytes_of(evaluation, row), strict=False)
    for part, items, analyte in named:
        for item in items:
            by_item.setdefault((item, _analyte_for(register, item, analyte, analytes)), []).append(part)
        if not items:
            stated.append(part)
    behind: dict[tuple[str, str], list[str]] = {}
    for symbol, items in items_behind(evaluation.graph, evaluation.slots_behind, row) if budget else ():
        for item in items:
            key = (item, _analyte_for(register, item, result.analyte, analytes))
            by_item.setdefault(key, [])
            behind.setdefault(key, []).append(symbol)
    for item, calibrated in register.calibrating.items() if budget else ():
        # Standards taken as exact leave no input quantity, but the result rests on their stock all the same.
        for analyte in analytes:
            if analyte in calibrated:
                by_item.setdefault((item, _analyte_for(register, item, analyte, analytes)), [])
    links, above = [], dict[str, list[str]]()
    higher: dict[str, Evidence] = {}
    for (item, analyte), parts in by_item.items():
        evidence = register.evidence(item, analyte)
        walk = register.walk(evidence)
        below = item
        for upper in walk.links:
            higher.setdefault(upper.item, upper)
            if below not in above.setdefault(upper.item, []):
                above[upper.item].append(below)
            below = upper.item
        symbols = tuple(dict.fromkeys([*(part.symbol for part in parts), *behind.get((item, analyte), ())]))
        operations = tuple(dict.fromkeys(operation_of(evaluation.records, symbol) for symbol in symbols or ("",)))
        share, spread = sum(part.share for part in parts), sum(part.contribution**2 for part in parts) ** 0.5
        links.append(Link(evidence, symbols, operations, (), share, spread, walk.ending))
    links += [Link(evidence, (), (), tuple(above[item]), None, None, None) for item, evidence in higher.items()]
    return Chain(result.sample, result.analyte, result.line, tuple(links), tuple(stated))


def analytes_of(evaluation: Evaluation, row: int) -> tuple[str, ...]:
    """Analyte to which each line of a result's budget belongs, where the table of the input quantity says it."""
    found = []
    for slot in evaluation.slots:
        if slot.rows[row] >= 0:
            label = evaluation.graph.tables[slot.table].by_name.get("analyte")
            found.append(label.values[int(slot.rows[row])] if isinstance(label, Label) else "")
    return tuple(found)


def _analyte_for(register: Register, item: str, own: str, analytes: tuple[str, ...]) -> str:
    """Analyte whose value of an item counts: that of a plain result; of a derived one the input quantity's own, or the
    first for which the item's certificate has a value."""
    if len(analytes) == 1:
        return analytes[0]
    if own in analytes and register.evidence(item, own).certified is not None:
        return own
    return next((one for one in analytes if register.evidence(item, one).certified is not None), analytes[0])


def operation_of(records: Records, symbol: str) -> str:
    """Symbol of the method behind an input quantity: `m` for `m.gross indication`; the calibration, or the standard
    additions, for what belongs to stock solutions and standards."""
    own = symbol.partition(".")[0].partition(" ")[0]
    if own in records.method.symbols:
        return own
    return next(
        (
            name
            for name, operation in records.method.symbols.items()
            if isinstance(operation, Calibration | StandardAdditions)
        ),
        own,
    )
