"""Equation and symbols of one result, the method's or those of a derived one."""

from __future__ import annotations

from ubudget.evaluation.evaluate import Evaluation


def equation_of(evaluation: Evaluation, row: int) -> str:
    """The equation of a result as the method writes it."""
    derived = evaluation.assembly.derived.get(row)
    return derived.definition.equation if derived else evaluation.records.method.document.equation


def symbols_of(evaluation: Evaluation, row: int) -> list[tuple[str, str]]:
    """The symbols of that equation, each with what it stands for."""
    derived = evaluation.assembly.derived.get(row)
    if derived:
        return list(derived.symbols)
    return [(symbol, operation.quantity) for symbol, operation in evaluation.records.method.symbols.items()]
