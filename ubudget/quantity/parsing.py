"""Equation text to expression, by a whitelist: numbers, names, + - * / ^ and the functions of the operation table.

Text is data: nothing is evaluated. Length and nesting are limited before Python's own grammar sees the text, so that
hostile text is refused at once.
"""

from __future__ import annotations

import ast
import math
import re
import warnings

from ubudget.quantity.derivative import tidy
from ubudget.quantity.expression import Apply, Expression, Number, Symbol
from ubudget.quantity.operations import TABLE

LONGEST = 1_000
DEEPEST = 40
MOST_NESTED = 120
"""Levels of the tree, one for each term of a long sum. Derivatives nest deeper than their equation."""

FUNCTIONS = {row.name: row for row in TABLE.values() if row.in_equations and row.binding == 9}
_BINARY: dict[type[ast.operator], str] = {
    ast.Add: "add",
    ast.Sub: "subtract",
    ast.Mult: "multiply",
    ast.Div: "divide",
    ast.Pow: "power",
}
_NAME = re.compile(r"^[A-Za-z_]\w*$")
_ACCEPTED = "numbers, symbols, + - * / ^, brackets and " + ", ".join(sorted(FUNCTIONS))


class EquationError(ValueError):
    """Equation text that is not accepted: what was found and what is accepted."""

    def __init__(self, found: str, accepted: str = _ACCEPTED) -> None:
        super().__init__(f"found {found}; accepted: {accepted}")
        self.found = found
        self.accepted = accepted


def parse(text: str) -> Expression:
    """The expression of one side of an equation, e.g. `c*V/m`. Raises `EquationError`."""
    if len(text) > LONGEST:
        raise EquationError(f"{len(text)} characters", f"at most {LONGEST} characters; name intermediate quantities")
    depth = _depth(text)
    if depth > DEEPEST:
        raise EquationError(f"brackets {depth} deep", f"at most {DEEPEST}; name intermediate quantities")
    plain = text.replace("^", "**").replace("·", "*").replace("\N{MINUS SIGN}", "-").strip()
    if not plain or "\n" in plain or "#" in plain:
        raise EquationError(repr(text[:40]))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # the grammar warns of text such as `1or 2`
            tree = ast.parse(plain, mode="eval")
    except (SyntaxError, ValueError, MemoryError, RecursionError, SyntaxWarning, DeprecationWarning):
        raise EquationError(f"text that is no equation: {text[:60]!r}") from None
    return _convert(tree.body, 0)


def parse_definition(text: str) -> tuple[str, Expression]:
    """Name and expression of `name = expression`. Raises `EquationError`."""
    left, equals, right = text.partition("=")
    if not equals or not _NAME.match(left.strip()):
        raise EquationError(repr(text[:60]), "one equation, e.g. w = c*V/m")
    return left.strip(), parse(right)


def _depth(text: str) -> int:
    depth = deepest = 0
    for character in text:
        depth += (character == "(") - (character == ")")
        deepest = max(deepest, depth)
    # A chain of signs nests without brackets.
    longest_signs = max((len(run) for run in re.findall(r"[-+~\s]{2,}", text)), default=0)
    return max(deepest, longest_signs)


def _convert(node: ast.expr, level: int) -> Expression:
    if level > MOST_NESTED:
        raise EquationError(f"more than {MOST_NESTED} nested parts", "name intermediate quantities")
    if isinstance(node, ast.Constant) and type(node.value) in (int, float):
        return _number(node.value)
    if isinstance(node, ast.Name):
        return Symbol(node.id)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, (ast.USub, ast.UAdd)):
        inner = _convert(node.operand, level + 1)
        return -inner if isinstance(node.op, ast.USub) else inner
    if isinstance(node, ast.BinOp) and type(node.op) in _BINARY:
        pair = (_convert(node.left, level + 1), _convert(node.right, level + 1))
        return _finite(Apply(_BINARY[type(node.op)], pair))
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and not node.keywords:
        row = FUNCTIONS.get(node.func.id)
        if row is None:
            raise EquationError(f"the function {node.func.id[:30]}")
        if len(node.args) != row.arity:
            raise EquationError(f"{row.name} with {len(node.args)} values", f"{row.name} with {row.arity}")
        return Apply(row.name, tuple(_convert(argument, level + 1) for argument in node.args))
    raise EquationError(f"a part that is no arithmetic ({type(node).__name__.lower()})")


def _number(value: int | float | object) -> Number:
    try:
        number = float(value)  # type: ignore[arg-type]  # int or float, checked by the caller
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise EquationError("a number that is too large")
    return Number(number)


def _finite(expression: Apply) -> Expression:
    """The expression, unless its numbers alone already give no finite value (9**9**9)."""
    if not expression.symbols:
        folded = tidy(expression)
        if not (isinstance(folded, Number) and math.isfinite(folded.value)):
            raise EquationError("numbers that give no finite value")
    return expression
