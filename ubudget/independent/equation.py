"""Equation text to a value in decimals of sixty digits, by a whitelist of the grammar."""

from __future__ import annotations

import ast
from collections.abc import Callable, Mapping
from decimal import Decimal

_BINARY: dict[type[ast.operator], Callable[[Decimal, Decimal], Decimal]] = {
    ast.Add: lambda a, b: a + b,
    ast.Sub: lambda a, b: a - b,
    ast.Mult: lambda a, b: a * b,
    ast.Div: lambda a, b: a / b,
    ast.Pow: lambda a, b: a**b,
}
_FUNCTIONS: dict[str, Callable[[Decimal], Decimal]] = {
    "sqrt": Decimal.sqrt,
    "exp": Decimal.exp,
    "ln": Decimal.ln,
    "log10": Decimal.log10,
    "abs": abs,
}


def value_of(text: str, quantities: Mapping[str, Decimal]) -> Decimal:
    """One side of an equation at the given quantities. Raises `ValueError` for what is no plain arithmetic."""
    plain = text.replace("^", "**").replace("·", "*").replace("\N{MINUS SIGN}", "-").strip()
    try:
        body = ast.parse(plain, mode="eval").body
    except SyntaxError:
        raise ValueError(f"no equation: {text!r}") from None
    return _value(body, quantities)


def _value(node: ast.expr, quantities: Mapping[str, Decimal]) -> Decimal:
    if isinstance(node, ast.Constant) and type(node.value) in (int, float):
        return Decimal(repr(node.value))
    if isinstance(node, ast.Name) and node.id in quantities:
        return quantities[node.id]
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.UAdd):
        inner = _value(node.operand, quantities)
        return -inner if isinstance(node.op, ast.USub) else inner
    if isinstance(node, ast.BinOp) and type(node.op) in _BINARY:
        return _BINARY[type(node.op)](_value(node.left, quantities), _value(node.right, quantities))
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and len(node.args) == 1 and not node.keywords:
        function = _FUNCTIONS.get(node.func.id)
        if function is not None:
            return function(_value(node.args[0], quantities))
    raise ValueError(f"no plain arithmetic: {ast.unparse(node)[:60]!r}")
