"""A method that stands alone, as text: inputs whose sum or other equation is the result; invented."""

from __future__ import annotations

from pathlib import Path

from tests.workbooks.books import evaluated
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.files.reading import read_records


def method_text(inputs: dict[str, str], equation: str = "", coverage: str = 'rule = "dominating term"') -> str:
    """`inputs`: symbol → lines of its table, beside operation, quantity and unit."""
    parts = [
        f'[symbols.{symbol}]\noperation = "input"\nquantity = "part {symbol}"\nunit = "mg"\n{lines}\n'
        for symbol, lines in inputs.items()
    ]
    return (
        '[method]\nid = "SUM"\ntitle = "Sum of parts"\nversion = "1"\nstatus = "approved"\n'
        f'measurand = "mass"\nunit = "mg"\nequation = "y = {equation or " + ".join(inputs)}"\n'
        f"\n{''.join(parts)}\n[coverage]\n{coverage}\n"
    )


def rectangular(half_width: float, more: str = "", estimate: float = 0) -> str:
    return f'estimate = "{estimate} mg"\nhalf_width = "{half_width} mg"\ndistribution = "rectangular"\n{more}'


def normal(u: float, more: str = "", estimate: float = 0) -> str:
    return f'estimate = "{estimate} mg"\nu = "{u} mg"\n{more}'


def evaluation_of(text: str, folder: Path) -> Evaluation:
    path = folder / "method.toml"
    path.write_text(text, encoding="utf-8")
    records, findings = read_records(path)
    assert records is not None, [finding.line() for finding in findings]
    return evaluated(records)


def result_of(text: str, folder: Path) -> Result:
    (result,) = evaluation_of(text, folder).results
    return result
