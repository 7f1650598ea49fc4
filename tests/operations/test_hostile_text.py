"""Equation text is data: whatever it holds, it becomes an expression or is refused, at once and in words."""

from __future__ import annotations

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ubudget.quantity.derivative import derivative
from ubudget.quantity.expression import Expression
from ubudget.quantity.numbers import evaluate
from ubudget.quantity.parsing import EquationError, parse, parse_definition
from ubudget.quantity.spelling import cell_text, readable_text

REFUSED = {
    "tower of powers": "9**9**9**9",
    "tower of powers with carets": "9^9^9^9",
    "infinite quotient": "1/0",
    "root of a negative number": "sqrt(-1)*0+ln(-2)",
    "huge whole number": "9" * 990,
    "huge float": "1e999",
    "too long": "a+" * 600 + "a",
    "10,000 brackets": "(" * 10_000 + "a" + ")" * 10_000,
    "100 brackets": "(" * 100 + "a" + ")" * 100,
    "unclosed brackets": "(" * 39,
    "chain of signs": "-" * 900 + "a",
    "chain of inverted bits": "~" * 900 + "a",
    "chain of negations": "not " * 200 + "a",
    "chain of powers": "a**" * 300 + "a",
    "attribute": "a.__class__",
    "attribute of a number": "(1).real",
    "import": "__import__('os').system('echo no')",
    "call of a call": "exp(a)(b)",
    "unknown function": "eval(a)",
    "function of the house that equations may not use": "student(a, b)",
    "too many values": "sqrt(a, b)",
    "no value": "sqrt()",
    "keyword": "sqrt(a=1)",
    "unpacking": "sqrt(*a)",
    "lambda": "lambda: 1",
    "comprehension": "[a for a in b]",
    "generator": "sqrt(a for a in b)",
    "walrus": "(a := 1)",
    "assignment": "a = 1",
    "two statements": "a; b",
    "two lines": "a\nb",
    "carriage return": "a\rb",
    "comment": "a # b",
    "conditional": "a if b else c",
    "comparison": "a < b",
    "boolean": "a and b",
    "subscript": "a[0]",
    "slice": "a[::2]",
    "text": "'a'",
    "formatted text": "f'{a}'",
    "bytes": "b'a'",
    "truth": "True",
    "nothing": "None",
    "ellipsis": "...",
    "complex number": "1j",
    "set": "{a}",
    "dictionary": "{a: b}",
    "tuple": "a, b",
    "await": "await a",
    "yield": "(yield a)",
    "remainder": "a % b",
    "whole quotient": "a // b",
    "shift": "1 << 99999999",
    "matrix product": "a @ b",
    "bits": "a | b",
    "empty": "",
    "blank": "   ",
    "decimal comma": "1,5*a",
    "look-alike division": "a∕b",
    "full-width star": "a＊b",
    "full-width digit": "１+a",
    "null character": "a\x00b",
    "surrogate": "a\ud800",
    "right-to-left override": "a\u202eb",
    "cell formula": "=A1",
    "cell reference with sheet": "Sheet1!A1",
}


@pytest.mark.parametrize("text", REFUSED.values(), ids=REFUSED.keys())
def test_hostile_text_is_refused_at_once(text: str) -> None:
    start = time.process_time()
    with pytest.raises(EquationError) as refusal:
        parse(text)
    assert time.process_time() - start < 0.1
    assert refusal.value.found and refusal.value.accepted
    assert len(str(refusal.value)) < 400


@pytest.mark.parametrize("text", ["w", "= c", "2w = c", "w.x = c", "w = c = d", "w == c", "w[0] = c", ""])
def test_a_definition_is_one_name_and_one_expression(text: str) -> None:
    with pytest.raises(EquationError):
        parse_definition(text)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("2*3+4", 10),
        ("2+3*4", 14),
        ("2^3^2", 512),
        ("-2^2", -4),
        ("(-2)^2", 4),
        ("7 - 2 - 1", 4),
        ("8/4/2", 1),
        ("2·3 \N{MINUS SIGN} 1", 5),
        ("sqrt(16)*ln(exp(2))", 8),
        ("log10(1000) + abs(-1)", 4),
        ("1e3/2.5E-1", 4000),
        ("-(-(-3))", -3),
    ],
)
def test_ordinary_text_means_what_school_says(text: str, value: float) -> None:
    """Order of operations as in any textbook of arithmetic; powers from right to left."""
    assert float(evaluate(parse(text), lambda _: 0.0)) == pytest.approx(value, rel=1e-12)


LARGEST = {
    "powers of powers": "a^" * 118 + "a",
    "quotients": "/".join(["a"] * 119),
    "quotients of powers": "a^b/" * 59 + "a^b",
    "differences": "-".join(["a"] * 119),
    "exponentials": "exp(" * 39 + "a*a" + ")" * 39,
    "roots": "sqrt(" * 39 + "a" + ")" * 39,
}


@pytest.mark.parametrize("text", LARGEST.values(), ids=LARGEST.keys())
def test_the_largest_accepted_equations_are_worked_with_at_once(text: str) -> None:
    start = time.process_time()
    slope = derivative(parse(text), "a")
    assert readable_text(slope) and cell_text(slope, lambda _: "A1")
    assert time.process_time() - start < 1


def outcome(text: str) -> Expression | EquationError:
    try:
        return parse(text)
    except EquationError as error:
        return error


@settings(derandomize=True, max_examples=300, deadline=None)
@given(st.text(max_size=80))
def test_any_text_is_an_expression_or_refused(text: str) -> None:
    assert isinstance(outcome(text), Expression | EquationError)


@settings(derandomize=True, max_examples=500, deadline=None)
@given(st.text(alphabet="ab1.9e()+-*/^ ,·=~_<:[]sqrtlnexp", max_size=60))
def test_any_text_of_the_alphabet_is_an_expression_or_refused(text: str) -> None:
    assert isinstance(outcome(text), Expression | EquationError)
