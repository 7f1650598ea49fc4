"""Equation and symbols of one result, the method's or those of a derived one."""

from __future__ import annotations

from ubudget.evaluation.evaluate import Evaluation


def equation_of(evaluation: Evaluation, row: int) -> str:
    """The equation of a result as the method writes it."""
    derived, method = evaluation.assembly.derived.get(row), evaluation.records.method
    if derived:
        return derived.definition.equation
    lines = evaluation.assembly.lines_of(row)
    if lines and method.several_lines:
        return f"{method.document.equation}, for each of the lines {', '.join(lines)}; {method.several_lines.rule}"
    return method.document.equation


def symbols_of(evaluation: Evaluation, row: int) -> list[tuple[str, str]]:
    """The symbols of that equation, each with what it stands for."""
    derived = evaluation.assembly.derived.get(row)
    if derived:
        return list(derived.symbols)
    return [(symbol, operation.quantity) for symbol, operation in evaluation.records.method.symbols.items()]
