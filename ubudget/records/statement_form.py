"""How the statement of a result is written: layout, notation, decimal mark, and how U is given."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator
from pydantic.dataclasses import dataclass

from ubudget.records.strict import STRICT

Layout = Literal["interval", "concise", "table", "paragraph"]
Notation = Literal["plain", "scientific"]
DecimalMark = Literal["point", "comma"]
StatedAs = Literal["absolute", "relative"]


@dataclass(frozen=True, config=STRICT, kw_only=True)
class StatementForm:
    """How results are written in the client's report. The workbook and its figures do not follow it."""

    layout: Layout = "interval"
    """`interval`: value ± U, a line for each result; `concise`: standard uncertainty in brackets, 100.021(35);
    `table`: value and U in columns of their own; `paragraph`: all that is said of a result, for each result."""
    notation: Notation = "plain"
    """`scientific`: with a power of ten, a multiple of three, that value and uncertainty share."""
    decimal_mark: DecimalMark = "point"
    """Of numbers in the statement; labels and remarks stay as they are written."""
    uncertainty: StatedAs = "absolute"
    """`relative`: the expanded uncertainty in per cent of the value."""

    @model_validator(mode="after")
    def _brackets_hold_digits_of_the_value(self) -> StatementForm:
        if self.layout == "concise" and self.uncertainty == "relative":
            raise ValueError(
                'layout = "concise" with uncertainty = "relative"; accepted: one of the two, since the figure in '
                "brackets stands for digits of the value"
            )
        return self


PLAIN = StatementForm()
